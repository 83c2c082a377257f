"""Local processes that evaluate cases: spawned, one BLAS thread each, one case at a time.

Each worker is a separate executor, so that the case of a worker that dies is known, and groups of
cases stay with their bone. Only plain tasks and outcomes are passed.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from buttress.fe.errors import ButtressError
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task

AHEAD = 2
"""Cases given to a worker at a time: one in progress and one waiting, so that it never idles."""
WORTH_SHARING = 3
"""A group is divided among workers only while it has more cases left than this."""
CHANCES = 2
"""Number of workers that die on a case before the case is taken as the cause."""
HOPELESS = 4
"""Deaths per worker, without a single case solved, after which the cases are not the cause."""
Groups = Sequence[Sequence[Task]]

_evaluator: Evaluator | None = None
_limits: Any = None


def begin() -> None:
    """Initialise a worker: leave Ctrl-C to its parent, limit BLAS to one thread.

    It ends with its parent, since a parent that was killed cannot notify it.
    """
    global _limits
    from threadpoolctl import threadpool_limits

    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _limits = threadpool_limits(limits=1)


@contextlib.contextmanager
def pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes for a block; what they have in hand is dropped when it ends with an error."""
    made = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), begin)
    try:
        yield made
    except BaseException:
        _drop(made)
        raise
    made.shutdown()


def _drop(executor: ProcessPoolExecutor) -> None:
    """End processes at once: what they have in hand is not needed."""
    # Private, and None once they have ended; `kill_workers` is there from 3.14 on only.
    for process in list((executor._processes or {}).values()):
        process.kill()
    executor.shutdown(wait=True, cancel_futures=True)


def _start(options: Options) -> None:
    """A new worker with its own evaluator."""
    global _evaluator
    begin()
    _evaluator = Evaluator(options)


@contextlib.contextmanager
def _deaf() -> Iterator[None]:
    """Context in which Ctrl-C is deferred: a process started in it never receives it.

    A terminal sends Ctrl-C to the whole group, including a worker that is still starting.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(task: Task) -> Outcome:
    assert _evaluator is not None
    return _evaluator.evaluate(task)


def here(groups: Groups, options: Options, stop: Callable[[], bool]) -> Iterator[Outcome]:
    """Evaluate all cases in this process."""
    evaluator = Evaluator(options)
    for group in groups:
        for task in group:
            if stop():
                return
            yield evaluator.evaluate(task)


class _Queue:
    """Cases not yet assigned, in groups that should each stay with one worker."""

    def __init__(self, groups: Groups) -> None:
        self.waiting = deque(deque(g) for g in groups if g)
        self.open: list[deque[Task]] = []

    def next(self, group: deque[Task]) -> tuple[Task, deque[Task]] | None:
        """The next case for a worker on a group: from that group, a new one, or the rear half of
        the largest group in progress (contiguous, so that neighbours still share their parts).
        """
        if not group and self.waiting:
            group = self.waiting.popleft()
            self.open.append(group)
        elif not group:
            largest = max(self.open, key=len, default=group)
            if len(largest) > WORTH_SHARING:
                half = [largest.pop() for _ in range(len(largest) // 2)]
                group = deque(reversed(half))
                self.open.append(group)
        return (group.popleft(), group) if group else None


class _Worker:
    """One process and the cases that it has."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.group: deque[Task] = deque()
        self.cases: dict[Future[Outcome], Task] = {}
        self.executor = self._new()

    def _new(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"),
                                   initializer=_start, initargs=(self.options,))

    def give(self, task: Task) -> None:
        """Assign a case to the process, which starts with the first one."""
        with _deaf():
            self.cases[self.executor.submit(_work, task)] = task

    def revive(self) -> list[Task]:
        """A new process in place of one that died; returns the cases that it had, oldest first."""
        lost = list(self.cases.values())
        self.cases.clear()
        self.executor.shutdown(wait=False)
        self.executor = self._new()
        return lost

    def end(self) -> None:
        """End the process: immediately where it still has cases, whose results are not needed."""
        if self.cases:
            _drop(self.executor)
        self.executor.shutdown(wait=True, cancel_futures=True)


def local(groups: Groups, options: Options, workers: int, stop: Callable[[], bool]
          ) -> Iterator[Outcome]:
    """Evaluate all cases in ``workers`` processes, in order of completion.

    Once ``stop`` returns true no more cases are assigned and those in progress are finished;
    closing the iterator earlier abandons them. A case that kills two workers becomes an outcome
    with the failure "worker died".
    """
    queue, pool = _Queue(groups), [_Worker(options) for _ in range(workers)]
    deaths: Counter[int] = Counter()
    again: deque[Task] = deque()
    alive = False  # whether any case has come back
    try:
        while True:
            _fill(pool, queue, again, stop)
            flying = {f: w for w in pool for f in w.cases}
            if not flying:
                return
            done, _ = wait(flying, timeout=0.5, return_when=FIRST_COMPLETED)
            for future in done:
                worker = flying[future]
                if future not in worker.cases:
                    continue  # its worker has died and been replaced in this round
                try:
                    outcome = future.result()
                except BrokenProcessPool:
                    yield from _buried(worker.revive(), deaths, again)
                    if not alive and deaths.total() > HOPELESS * workers:
                        raise ButtressError("worker processes die before they solve a case: "
                                            "possibly out of memory") from None
                    continue
                alive = True
                del worker.cases[future]
                yield outcome
    finally:
        for worker in pool:
            worker.end()


def _fill(pool: list[_Worker], queue: _Queue, again: deque[Task], stop: Callable[[], bool]) -> None:
    """Keep every worker supplied; a case on which a worker died is assigned alone."""
    for worker in pool:
        while len(worker.cases) < AHEAD and not stop():
            if again:
                if worker.cases:
                    break
                worker.give(again.popleft())
                break
            found = queue.next(worker.group)
            if found is None:
                break
            task, worker.group = found
            worker.give(task)


def _buried(lost: list[Task], deaths: Counter[int], again: deque[Task]) -> Iterator[Outcome]:
    """Cases of a worker that died: each is run alone, so that only the cause fails."""
    for task in lost:
        deaths[task.number] += 1
        if deaths[task.number] >= CHANCES:
            outcome = Outcome(task.number, task.hash)
            outcome.fail("worker died", f"{CHANCES} workers died while solving this case "
                                        "(killed, or out of memory)")
            yield outcome
        else:
            print(f"a worker died; case {task.number} is solved again", file=sys.stderr)
            again.append(task)
