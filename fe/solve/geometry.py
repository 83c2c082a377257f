"""What a path asks of geometry that moves (`fe.moved` has the one there is)."""

from __future__ import annotations

from typing import Any, Protocol


class Geometry(Protocol):
    """Steps on moved geometry; points are those of `fe.solve.path`."""

    longest: float
    """Longest step of the ram [mm]."""

    def due(self, last: Any) -> bool:
        """Whether what follows a point is to be found on moved geometry."""

    def beyond(self, point: Any) -> float:
        """How much farther [mm] a piece has moved than to where a path ends."""

    def step(self, last: Any, place: float, zero: float, size: float, halved: int, hammer: bool,
             toward: Any = None) -> Any:
        """The next point at a position of the ram; None where it is not known, False where it
        moves too far for one step. ``halved``: how often the step was halved so far. ``toward``: a
        point farther on to which a step from the same point has led."""
