"""Ending a long run in order: the cases in flight are finished, and how to go on is said."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from typing import Any

Say = Callable[[str], None]


@contextlib.contextmanager
def gentle_stop(say: Say) -> Iterator[Callable[[], bool]]:
    """Context in which the first Ctrl-C or SIGTERM only asks to stop; the next is as ever."""
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    # Not what was there before, which in a job in the background is to hear nothing.
    after: dict[signal.Signals, Any] = {signal.SIGINT: signal.default_int_handler,
                                        signal.SIGTERM: signal.SIG_DFL}
    before = {number: signal.getsignal(number) for number in after}

    def ask(number: int, frame: Any) -> None:
        asked.set()
        for each, handler in after.items():
            signal.signal(each, handler)
        say("stopping: the cases in flight are finished (Ctrl-C again to drop them)")

    for number in after:
        signal.signal(number, ask)
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def dropping(say: Say) -> Iterator[None]:
    """Context that says how to go on when a second Ctrl-C drops the cases in flight."""
    try:
        yield
    except KeyboardInterrupt:
        say("the cases in flight are dropped, what was stored is safe; "
            "the same command goes on from here")
        raise
