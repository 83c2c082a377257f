"""Keep a library's own lines off standard output, which belongs to what a command prints.

HiGHS prints a line of its own where it gives up on a program, whatever its options; with ``--json``
standard output is one document and nothing else.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Iterator
from functools import cache
from typing import Any


@contextlib.contextmanager
def output_to_errors() -> Iterator[None]:
    """Context in which what C code prints goes to standard error."""
    try:
        kept = os.dup(1)
        os.dup2(2, 1)
    except OSError:         # a process without these streams
        yield
        return
    try:
        yield
    finally:
        flush = _flush()
        if flush is not None:
            flush(None)     # what C holds back in a pipe would come out later
        os.dup2(kept, 1)
        os.close(kept)


@cache
def _flush() -> Any:
    """The C library's fflush; None where it cannot be reached."""
    if sys.platform == "win32":
        return None
    try:
        return ctypes.CDLL(None).fflush
    except (OSError, AttributeError):
        return None
