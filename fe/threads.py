"""BLAS limited to one thread where blocks are small (two threads are several times slower)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from threadpoolctl import threadpool_limits

_held = False


@contextmanager
def one_thread() -> Iterator[None]:
    """Context in which linear algebra libraries use one thread; may be nested."""
    global _held
    if _held:
        yield
        return
    with threadpool_limits(limits=1):
        _held = True
        try:
            yield
        finally:
            _held = False
