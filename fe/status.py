"""What came of a step: the words in which answers, files and messages say it."""

from __future__ import annotations

from enum import StrEnum


class Status(StrEnum):
    """What an answer is; *unconverged* means "not known" and is no verdict."""

    HELD = "held"
    NO_EQUILIBRIUM = "no equilibrium"
    UNCONVERGED = "unconverged"
