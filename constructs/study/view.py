"""How a section is looked at: the one place that says on which hand of the viewer its sides lie.

In files and on axes x points lateral (posterior in a sagittal section), whichever knee it is. A
coronal picture shows the bone from the front, as a radiograph is read: lateral of a right tibia is
on the viewer's left, so that x runs to the left there. A sagittal picture has anterior on the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Knee = Literal["right", "left"]
CORONAL = ("medial", "lateral")


@dataclass(frozen=True)
class View:
    """A knee and its section as seen. ``sides``: what lies at -x and at +x; ``condyle``: the one
    that a sagittal section cuts."""

    knee: Knee
    sides: tuple[str, str] = CORONAL
    condyle: str = ""

    @property
    def mirrored(self) -> bool:
        """Whether x runs to the viewer's left."""
        return self.sides == CORONAL and self.knee == "right"

    @property
    def sign(self) -> float:
        """Factor from x to a distance to the viewer's right."""
        return -1.0 if self.mirrored else 1.0

    @property
    def hands(self) -> tuple[str, str]:
        """Names of the sides on the viewer's left and on the viewer's right."""
        return (self.sides[1], self.sides[0]) if self.mirrored else self.sides

    @property
    def mark(self) -> str:
        """The side marker of a radiograph."""
        return self.knee[0].upper()

    @property
    def words(self) -> str:
        """What is seen and from where."""
        if self.sides == CORONAL:
            return f"{self.knee} tibia seen from the front"
        # With anterior on the left, the left knee is seen from its outer side.
        side = "lateral" if self.knee == "left" else "medial"
        return f"{self.knee} tibia, {self.condyle} condyle seen from the {side} side"

    @property
    def all_words(self) -> str:
        """The same with the sides of the picture."""
        return f"{self.words}, {self.hands[0]} on the left"

    @property
    def tilt_words(self) -> str:
        """What a positive tilt is, in the bone and as seen."""
        turn = "clockwise" if self.mirrored else "counter-clockwise"
        return f"positive where the {self.sides[1]} end rises ({turn} as drawn)"
