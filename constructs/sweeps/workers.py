"""Local processes that evaluate cases: spawned, one BLAS thread each, one case at a time.

Each worker is an executor of its own, so a worker that dies is known with the case that it had,
and groups of cases stay where their bone is. Nothing but plain tasks and outcomes is passed.
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
"""Cases given to a worker at once: one being solved and one waiting, so that it never idles."""
WORTH_SHARING = 3
"""A group is divided among workers only while more cases than this are left of it."""
CHANCES = 2
"""How often a case may be in a worker that dies before it counts as its cause."""
HOPELESS = 4
"""Deaths a worker, without a single case solved, after which it is not the cases' fault."""
Groups = Sequence[Sequence[Task]]

_evaluator: Evaluator | None = None
_limits: Any = None


def begin() -> None:
    """What a fresh worker does once: leave Ctrl-C to its parent, hold BLAS to one thread.

    It ends with its parent: one that was killed cannot say so.
    """
    global _limits
    from threadpoolctl import threadpool_limits

    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _limits = threadpool_limits(limits=1)


def _start(options: Options) -> None:
    """A fresh worker with an evaluator of its own."""
    global _evaluator
    begin()
    _evaluator = Evaluator(options)


@contextlib.contextmanager
def _deaf() -> Iterator[None]:
    """Context in which Ctrl-C waits: a process that is started in it never hears of it.

    A terminal sends Ctrl-C to the whole group, also to a worker that is still starting.
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
    """Cases still to be handed out, in groups that each want to stay with one worker."""

    def __init__(self, groups: Groups) -> None:
        self.waiting = deque(deque(g) for g in groups if g)
        self.open: list[deque[Task]] = []

    def next(self, group: deque[Task]) -> tuple[Task, deque[Task]] | None:
        """The next case for a worker at a group: of that group, of a new one, or of the rear half
        of the largest that others are at (in a row, so that what neighbours share stays shared).
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
        """Hand a case to the process, which starts with the first one."""
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
        """End the process: at once where it still has cases, which nobody waits for any more."""
        if self.cases:
            # Private, and None once they have ended; `kill_workers` is there from 3.14 on only.
            for process in list((self.executor._processes or {}).values()):
                process.kill()
        self.executor.shutdown(wait=True, cancel_futures=True)


def local(groups: Groups, options: Options, workers: int, stop: Callable[[], bool]
          ) -> Iterator[Outcome]:
    """Evaluate all cases in ``workers`` processes, in whatever order they get done.

    Where ``stop`` says so nothing more is handed out and the cases in flight are finished; whoever
    closes the iterator before drops them. A case that a worker dies of twice becomes an outcome
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
                        raise ButtressError("worker processes die before they solve anything: "
                                            "is there memory for them?") from None
                    continue
                alive = True
                del worker.cases[future]
                yield outcome
    finally:
        for worker in pool:
            worker.end()


def _fill(pool: list[_Worker], queue: _Queue, again: deque[Task], stop: Callable[[], bool]) -> None:
    """Keep every worker supplied; a case that has seen a worker die goes alone."""
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
    """Cases of a worker that died: each gets a worker to itself, so that only its cause dies."""
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
