"""Counts in words."""

from __future__ import annotations


def counted(number: int, what: str) -> str:
    """A number with its noun in the singular or plural: ``1 case``, ``2 cases``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
