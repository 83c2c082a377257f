"""The errors that a user may see. The command line catches only these."""

from __future__ import annotations


class ButtressError(Exception):
    """Base of every error with a message for the user.

    ``beside``: whether it is told next to results that were shown.
    """

    beside = False

    def document(self) -> dict[str, str | int | None]:
        """For JSON: the parts of the message, empty where there are none."""
        return {"message": str(self)}


class InputError(ButtressError):
    """Invalid input: names the location (file and key), the value and what was expected.

    Parameters are all text ready for display; empty ones are left out of the message. ``line``: of
    the key in the file.
    """

    def __init__(self, message: str, *, file: str = "", key: str = "", value: str = "",
                 expected: str = "", line: int | None = None) -> None:
        self.message, self.file, self.key = message, file, key
        self.value, self.expected, self.line = value, expected, line
        super().__init__(str(self))

    def __str__(self) -> str:
        message, line, more = self.message.partition("\n")
        parts = [message]
        if self.key:
            parts.append(f"key: {self.key}" + (f" (line {self.line})" if self.line else ""))
        if self.value:
            parts.append(f"value: {self.value}")
        if self.expected:
            parts.append(f"expected: {self.expected}")
        text = "; ".join(parts) + line + more
        return f"{self.file}: {text}" if self.file else text

    def document(self) -> dict[str, str | int | None]:
        """For JSON: the parts of the message, empty where there are none."""
        return {"message": self.message, "file": self.file, "key": self.key, "line": self.line,
                "value": self.value, "expected": self.expected}

    def at(self, *, file: str = "", key: str = "", line: int | None = None) -> InputError:
        """The same error with the file, key or line added where it was unknown."""
        return InputError(self.message, file=self.file or file, key=self.key or key,
                          value=self.value, expected=self.expected, line=self.line or line)


class SolveError(ButtressError):
    """A computation failed: states what was being solved and which check failed."""
