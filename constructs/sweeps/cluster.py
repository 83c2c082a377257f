"""Evaluate the same groups of cases on a running Dask cluster (extra ``cluster``)."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from buttress.fe.errors import ButtressError, InputError
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task

CHUNK = 8
"""Cases of one group per chunk: few enough to lose little, enough to amortise the bone."""
WAIT = 10.0
"""Seconds to wait for a scheduler and for a first worker."""
POLL = 0.01
CHANCES = 2
AHEAD = 3
"""Chunks in flight per worker thread."""

_evaluators: dict[str, Evaluator] = {}


def work(chunk: Sequence[Task], options: Options) -> list[Outcome]:
    """Evaluate some cases of one group; runs on a worker of the cluster."""
    key = repr(options)
    if key not in _evaluators:
        _evaluators.clear()
        _evaluators[key] = Evaluator(options)
    return [_evaluators[key].evaluate(task) for task in chunk]


def on_cluster(groups: Sequence[Sequence[Task]], options: Options, address: str,
               stop: Callable[[], bool]) -> Iterator[Outcome]:
    """Evaluate all cases on the workers of a Dask scheduler, in order of completion.

    If a worker dies, its chunk is solved again, case by case; a case that repeatedly kills workers
    becomes an outcome with the failure "worker died". Raises InputError where there is no scheduler
    or no worker.
    """
    client = connected(address)
    try:
        chunks = [list(g[i:i + CHUNK]) for g in groups for i in range(0, len(g), CHUNK)]
        chunks.reverse()
        room = max(1, AHEAD * sum(client.nthreads().values()))
        flying: dict[Any, list[Task]] = {}
        deaths: Counter[int] = Counter()
        while True:
            while chunks and len(flying) < room and not stop():
                chunk = chunks.pop()
                try:
                    flying[client.submit(work, chunk, options, pure=False)] = chunk
                except Exception:
                    _check(client, address)
                    raise
            if not flying:
                return
            ready = [future for future in flying if future.done()]
            if not ready:
                _check(client, address)
                time.sleep(POLL)
            for future in ready:
                if future.status == "pending":
                    continue  # the result was lost with its worker and is computed again
                chunk = flying.pop(future)
                try:
                    yield from future.result(timeout=WAIT)
                except TimeoutError:
                    flying[future] = chunk
                except Exception as error:  # any error that a cluster raises for a worker that died
                    _check(client, address)
                    reason = f"{type(error).__name__}: {error}"
                    for task in chunk:
                        deaths[task.number] += 1
                        if deaths[task.number] < CHANCES:
                            chunks.append([task])
                        else:
                            outcome = Outcome(task.number, task.hash)
                            outcome.fail("worker died", reason)
                            yield outcome
    finally:
        client.close(timeout=2)


def _check(client: Any, address: str) -> None:
    """Raise ButtressError where the scheduler is no longer reachable."""
    if client.status not in ("running", "connecting"):
        raise ButtressError(f"the cluster at {address} cannot be reached; solved cases are stored, "
                            "and the same command resumes from there")


def connected(address: str) -> Any:
    """A client of a scheduler with workers. Raises InputError where there is none."""
    try:
        import distributed
    except ImportError:
        raise InputError("sweeps on a cluster need an extra", key="--cluster", value=address,
                         expected='.venv/bin/pip install -e ".[cluster]"') from None
    try:
        # An invalid address leaves a client behind that raises errors when the process ends.
        distributed.comm.get_address_host_port(address)
        client = distributed.Client(address, timeout=WAIT, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"the cluster is not reachable: {error}", key="--cluster", value=address,
                         expected="the address of a running scheduler, as in tcp://host:8786"
                         ) from None
    try:
        client.wait_for_workers(1, timeout=WAIT)
    except TimeoutError:
        client.close(timeout=2)
        raise InputError("the cluster has no workers", key="--cluster", value=address,
                         expected="a worker connected to this scheduler") from None
    return client
