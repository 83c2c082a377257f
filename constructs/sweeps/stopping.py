"""Orderly end of a long run: cases in progress are finished, with a note on how to resume."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from typing import Any

Say = Callable[[str], None]


@contextlib.contextmanager
def gentle_stop(say: Say) -> Iterator[Callable[[], bool]]:
    """Context in which the first Ctrl-C or SIGTERM only requests a stop; the next acts as usual."""
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    # Not the previous handler, which in a background job ignores the signal.
    after: dict[signal.Signals, Any] = {signal.SIGINT: signal.default_int_handler,
                                        signal.SIGTERM: signal.SIG_DFL}
    before = {number: signal.getsignal(number) for number in after}

    def ask(number: int, frame: Any) -> None:
        asked.set()
        for each, handler in after.items():
            signal.signal(each, handler)
        say("stopping once the cases in progress are finished (Ctrl-C again to abandon them)")

    for number in after:
        signal.signal(number, ask)
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def dropping(say: Say) -> Iterator[None]:
    """Context that states how to resume when a second Ctrl-C abandons the cases in progress."""
    try:
        yield
    except KeyboardInterrupt:
        say("the cases in progress were abandoned; stored cases are safe, and "
            "the same command resumes from here")
        raise
