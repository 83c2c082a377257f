"""BLAS limited to one thread where blocks are small (two threads are several times slower)."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from threadpoolctl import ThreadpoolController

_held = False
_known: tuple[int, ThreadpoolController] | None = None


@contextmanager
def one_thread() -> Iterator[None]:
    """Context in which linear algebra libraries use one thread; may be nested."""
    global _held
    if _held:
        yield
        return
    with _libraries().limit(limits=1):
        _held = True
        try:
            yield
        finally:
            _held = False


def _libraries() -> ThreadpoolController:
    """The libraries that are loaded. Only an import loads one, and looking for them takes as long
    as a small problem does."""
    global _known
    if _known is None or _known[0] != len(sys.modules):
        _known = len(sys.modules), ThreadpoolController()
    return _known[1]
