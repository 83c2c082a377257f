"""The errors that a user may see. The command line catches only these."""

from __future__ import annotations


class ButtressError(Exception):
    """Base of every error with a message for the user."""


class InputError(ButtressError):
    """Invalid input: names the location (file and key), the value and what was expected.

    Parameters are all text ready for display; empty ones are left out of the message.
    """

    def __init__(self, message: str, *, file: str = "", key: str = "", value: str = "",
                 expected: str = "") -> None:
        self.message, self.file, self.key = message, file, key
        self.value, self.expected = value, expected
        super().__init__(str(self))

    def __str__(self) -> str:
        parts = [self.message]
        if self.key:
            parts.append(f"key: {self.key}")
        if self.value:
            parts.append(f"value: {self.value}")
        if self.expected:
            parts.append(f"expected: {self.expected}")
        text = "; ".join(parts)
        return f"{self.file}: {text}" if self.file else text

    def at(self, *, file: str = "", key: str = "") -> InputError:
        """The same error with the file or key added where it was unknown."""
        return InputError(self.message, file=self.file or file, key=self.key or key,
                          value=self.value, expected=self.expected)


class SolveError(ButtressError):
    """A computation failed: states what was being solved and which check failed."""
