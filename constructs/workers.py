"""Local processes that work on tasks: spawned, or forked from one that is kept ready; one BLAS
thread each, one task at a time.

Each worker is a separate executor, so that the task of a worker that dies is known, and groups of
tasks stay with what they share (the bone of a sweep's cases). Only plain tasks and outcomes are
passed.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.forkserver
import os
import signal
import sys
import threading
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.context import BaseContext
from typing import Any, Generic, Protocol, TypeVar

from buttress.fe.errors import ButtressError, InputError

MOST_WORKERS = 256
AHEAD = 2
"""Tasks given to a worker at a time: one in progress and one waiting, so that it never idles."""
WORTH_SHARING = 3
"""A group is divided among workers only while it has more tasks left than this."""
CHANCES = 2
"""Number of workers that die on a task before the task is taken as the cause."""
HOPELESS = 4
"""Deaths per worker, without a single task done, after which the tasks are not the cause."""
KILLED = f"{CHANCES} workers died while solving it (killed, or out of memory)"

_context: BaseContext = multiprocessing.get_context("spawn")
_worker: Callable[[Any], Any] | None = None
_limits: Any = None


class Numbered(Protocol):
    """A task: plain, and known by its number."""

    @property
    def number(self) -> int:
        """Its number."""


T = TypeVar("T", bound=Numbered)
R = TypeVar("R")


@dataclass(frozen=True)
class Job(Generic[T, R]):
    """What processes do with tasks.

    ``make``: called once in each process, returns what turns a task into its outcome. ``died``: the
    outcome of a task that has killed ``CHANCES`` workers. ``called``: a task's name in messages.
    ``ahead``: tasks that a worker has at a time; 1 where each takes long.
    """

    make: Callable[[], Callable[[T], R]]
    died: Callable[[T], R]
    called: Callable[[T], str]
    ahead: int = AHEAD


def keep_ready(*modules: str) -> None:
    """Let the processes of this one begin as forks of one that imports ``modules`` meanwhile.

    A spawned process needs about a second for that. Where there are no such processes, and from the
    second time on, nothing changes.
    """
    global _context
    if "forkserver" in multiprocessing.get_all_start_methods():
        _context = multiprocessing.get_context("forkserver")
        _context.set_forkserver_preload(list(modules))
        with _deaf():
            multiprocessing.forkserver.ensure_running()


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
    made = ProcessPoolExecutor(workers, _context, begin)
    try:
        with _alone():
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


def _start(make: Callable[[], Callable[[Any], Any]]) -> None:
    """A new worker with what it needs for all of its tasks."""
    global _worker
    begin()
    _worker = make()


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


@contextlib.contextmanager
def _alone() -> Iterator[None]:
    """Context in which processes start without the caller's main module, of which they need
    nothing: a script whose lines are not guarded would run once more in each of them.
    """
    main = vars(sys.modules["__main__"])
    kept: dict[str, Any] = {k: main[k] for k in ("__file__", "__spec__") if k in main}
    main.pop("__file__", None)
    main["__spec__"] = None
    try:
        yield
    finally:
        main.update(kept)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(task: Any) -> Any:
    assert _worker is not None
    return _worker(task)


def here(groups: Sequence[Sequence[T]], job: Job[T, R], stop: Callable[[], bool]) -> Iterator[R]:
    """Do all tasks in this process."""
    work = job.make()
    for group in groups:
        for task in group:
            if stop():
                return
            yield work(task)


class _Queue(Generic[T]):
    """Tasks not yet assigned, in groups that should each stay with one worker."""

    def __init__(self, groups: Sequence[Sequence[T]]) -> None:
        self.waiting = deque(deque(g) for g in groups if g)
        self.open: list[deque[T]] = []

    def next(self, group: deque[T]) -> tuple[T, deque[T]] | None:
        """The next task for a worker on a group: from that group, a new one, or the rear half of
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


class _Worker(Generic[T, R]):
    """One process and the tasks that it has."""

    def __init__(self, job: Job[T, R]) -> None:
        self.job = job
        self.group: deque[T] = deque()
        self.tasks: dict[Future[R], T] = {}
        self.executor = self._new()

    def _new(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(1, mp_context=_context, initializer=_start,
                                   initargs=(self.job.make,))

    def give(self, task: T) -> None:
        """Assign a task to the process, which starts with the first one."""
        with _deaf(), _alone():
            self.tasks[self.executor.submit(_work, task)] = task

    def revive(self) -> list[T]:
        """A new process in place of one that died; returns the tasks that it had, oldest first."""
        lost = list(self.tasks.values())
        self.tasks.clear()
        self.executor.shutdown(wait=False)
        self.executor = self._new()
        return lost

    def end(self) -> None:
        """End the process: immediately where it still has tasks, whose results are not needed."""
        if self.tasks:
            _drop(self.executor)
        self.executor.shutdown(wait=True, cancel_futures=True)


def local(groups: Sequence[Sequence[T]], job: Job[T, R], workers: int, stop: Callable[[], bool]
          ) -> Generator[R, None, None]:
    """Do all tasks in ``workers`` processes, in order of completion.

    Once ``stop`` returns true no more tasks are assigned and those in progress are finished;
    closing the iterator earlier abandons them. That a worker died is said on standard error, and
    its task is done again; a task that kills `CHANCES` workers has the outcome ``job.died``.
    """
    queue, pool = _Queue(groups), [_Worker(job) for _ in range(workers)]
    deaths: Counter[int] = Counter()
    again: deque[T] = deque()
    alive = False  # whether any task has come back
    try:
        while True:
            _fill(pool, queue, again, stop)
            flying = {f: w for w in pool for f in w.tasks}
            if not flying:
                return
            done, _ = wait(flying, timeout=0.5, return_when=FIRST_COMPLETED)
            for future in done:
                worker = flying[future]
                if future not in worker.tasks:
                    continue  # its worker has died and been replaced in this round
                try:
                    outcome = future.result()
                except BrokenProcessPool:
                    yield from _buried(worker.revive(), job, deaths, again)
                    if not alive and deaths.total() > HOPELESS * workers:
                        raise ButtressError("worker processes die before they solve a case: "
                                            "possibly out of memory") from None
                    continue
                alive = True
                del worker.tasks[future]
                yield outcome
    finally:
        for worker in pool:
            worker.end()


def _fill(pool: list[_Worker[T, R]], queue: _Queue[T], again: deque[T], stop: Callable[[], bool]
          ) -> None:
    """Keep every worker supplied; a task on which a worker died is assigned alone."""
    for worker in pool:
        while len(worker.tasks) < worker.job.ahead and not stop():
            if again:
                if worker.tasks:
                    break
                worker.give(again.popleft())
                break
            found = queue.next(worker.group)
            if found is None:
                break
            task, worker.group = found
            worker.give(task)


def _buried(lost: list[T], job: Job[T, R], deaths: Counter[int], again: deque[T]) -> Iterator[R]:
    """Tasks of a worker that died: each is done alone, so that only the cause fails."""
    for task in lost:
        deaths[task.number] += 1
        if deaths[task.number] >= CHANCES:
            yield job.died(task)
        else:
            print(f"a worker died; {job.called(task)} is solved again", file=sys.stderr)
            again.append(task)


def refuse_other(workers: int | None) -> None:
    """Raise InputError for what is no number of processes that one could ask for."""
    if workers is not None and (type(workers) is not int or not 0 <= workers <= MOST_WORKERS):
        raise InputError("not a number of workers", key="workers", value=str(workers),
                         expected=f"0 to {MOST_WORKERS}, or None for one per core")


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
