"""Text on an output that cannot write every sign, such as a console of an old encoding."""

from __future__ import annotations

import codecs
import sys

ERRORS = "buttress.signs"
PLAIN = {"\N{EN DASH}": "-", "\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " ",
         "\N{GREATER-THAN OR EQUAL TO}": ">=", "\N{MULTIPLICATION SIGN}": "x",
         "\N{DEGREE SIGN}": " deg", "\N{MIDDLE DOT}": "*",
         "\N{HORIZONTAL ELLIPSIS}": "...", "\N{SUPERSCRIPT TWO}": "2",
         "\N{SUPERSCRIPT THREE}": "3", "\N{LEFT DOUBLE QUOTATION MARK}": '"',
         "\N{RIGHT DOUBLE QUOTATION MARK}": '"', "\N{DOUBLE LOW-9 QUOTATION MARK}": '"'}
"""What stands for a sign where it cannot be written; any other, as in a name, becomes ``?``."""


def write_what_can_be_written() -> None:
    """Let standard output and standard error replace the signs that they cannot write."""
    codecs.register_error(ERRORS, _replaced)
    for stream in (sys.stdout, sys.stderr):
        # A stream that a program has put in their place, or none where it is closed, stays.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=ERRORS)


def writes(text: str) -> bool:
    """Whether standard output can write every sign of a text."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _replaced(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start:error.end]
    return "".join(PLAIN.get(sign, "?") for sign in signs), error.end
