"""States of the lesson that a test makes up, and what its steps say of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from buttress.lesson.catalogue import words_in
from buttress.lesson.look import Asked, Facts, Look, Push
from buttress.lesson.shipped import shipped_scenes
from buttress.lesson.step import Step

SCENES = shipped_scenes()
ENGLISH = words_in("en")
NOT = Look(False, 600.0)


def push(kind: str, share: float, aside: float = 0.0) -> Push:
    """A source's force on a fragment that carries 100 N."""
    return Push(kind, share, aside, (1e4 * share**2 + aside**2) ** 0.5)


USUAL = {"face": push("fracture", 0.6, -50.0), "plate": push("plate", 0.4, 50.0)}


def held(moved: float, **more: Any) -> Look:
    return Look(True, 600.0, moved_mm=moved, limit_mm=2.0, tilt_deg=more.pop("tilt", 0.5),
                gap_mm=more.pop("gap", 0.2), end_N=more.pop("end", 1500.0), on_N=100.0,
                pushes=more.pop("pushes", USUAL), **more)


class Told(Facts):
    """Facts whose states are what a test says."""

    def __init__(self, told: Callable[[Asked, str], Look], outside: float = 1.0) -> None:
        super().__init__(SCENES)
        self.told, self.outside = told, outside

    def look(self, asked: Asked) -> Look:
        return self.told(asked, self.scenes[asked.scene].choices[asked.choice].name)

    def upto(self, asked: Asked) -> float | None:
        return self.look(asked).end_N

    def fails(self, asked: Asked) -> float | None:
        return self.look(asked).end_N

    def beside(self, asked: Asked) -> float:
        return self.outside


def said(step: Callable[[Facts], Step], told: Callable[[Asked, str], Look], **more: Any
         ) -> str:
    return " ".join(step(Told(told, **more)).text)
