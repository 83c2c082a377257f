"""SIGTERM and Ctrl-C end a command in the ordinary way, so that drafts and processes go."""

from __future__ import annotations

import signal
import sys
import threading


def end_on_signals() -> None:
    """Let SIGTERM and, unless it is ignored as in a background job, Ctrl-C end this process."""
    if threading.current_thread() is not threading.main_thread():
        return
    signal.signal(signal.SIGTERM, _end)
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _end)


def _end(number: int, frame: object) -> None:
    """End with 128 plus the number of the signal, or as Ctrl-C does.

    Python drops an exception in a callback of its own, such as that of a weak reference, of which
    drawing makes many. A signal that comes in one is therefore sent again.
    """
    before = sys.unraisablehook

    def dropped(what: sys.UnraisableHookArgs) -> None:
        if isinstance(what.exc_value, SystemExit | KeyboardInterrupt):
            threading.Timer(0.01, signal.raise_signal, [number]).start()
        else:
            before(what)

    sys.unraisablehook = dropped
    if number == signal.SIGINT:
        raise KeyboardInterrupt
    sys.exit(128 + number)
