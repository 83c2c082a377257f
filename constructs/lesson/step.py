"""A step of the tour, and the claims that it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from buttress.fe.errors import ButtressError
from buttress.lesson.look import Asked


@dataclass(frozen=True)
class Step:
    """A step of the tour: its title, its paragraphs, the points that it shows (one, or two side by
    side), what is put in place before anything is answered, and what the audience is asked: a
    question of `predict.js`, or ``which`` with its choices, the right one first. ``tries``: what
    to do on the screen, which is not printed."""

    title: str
    text: tuple[str, ...]
    shows: tuple[Asked, ...] = ()
    before: str = ""
    asks: str = ""
    which: tuple[str, ...] = ()
    tries: str = ""


class ContradictedError(ButtressError):
    """A sentence that the lesson cannot do without, and that the solved states contradict."""


def claim(holds: bool, sentence: str) -> str:
    """A sentence without an alternative. Raises `ContradictedError` where the states do not bear
    it out, so that no page is made."""
    if not holds:
        raise ContradictedError(f"the solved states contradict the lesson's claim: {sentence}")
    return sentence
