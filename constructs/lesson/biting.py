"""Places of a plate at which its screws begin to cross the fracture: forces change hands there."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.implants.placement import crossings, screw_axis
from buttress.study.study import Construct

STEP_MM = 0.25
DEEP_MM = 0.5
"""How much farther a plate goes until a screw that has reached the fragment's tip bears on it."""


def biting(section: Section, construct: Construct, lines: list[tuple[FloatArray, float]],
           span: tuple[float, float]) -> tuple[float, ...]:
    """Nodes around the places [mm] at which one more screw of a plate crosses the fracture.

    ``lines``: the fracture ``(n, 2)`` at some slopes, and how far the plate goes with its apex
    there. Two nodes for each screw, just before it bears on the fragment and just after, whatever
    the slope.
    """
    places = np.arange(span[0], span[1] + STEP_MM / 2, 8 * STEP_MM)
    starts: dict[int, list[float]] = {}
    for line, moves in lines:
        def crossing(place: float, line: FloatArray = line, moves: float = moves) -> int:
            return crossed(section, construct, line, place + moves)

        counts = [crossing(p) for p in places]
        for a, b, few, many in zip(places, places[1:], counts, counts[1:], strict=False):
            if many > few:
                starts.setdefault(many, []).append(_start(crossing, a, b, few))
    found: list[float] = []
    for begins in starts.values():
        found += [min(begins), max(begins) + DEEP_MM]
    return tuple(sorted({round(p / STEP_MM) * STEP_MM for p in found
                         if span[0] < p < span[1]}))


def _start(crossing: Callable[[float], int], low: float, high: float, few: int) -> float:
    while high - low > STEP_MM / 2:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if crossing(middle) <= few else (low, middle)
    return 0.5 * (low + high)


def crossed(section: Section, construct: Construct, line: FloatArray, up: float) -> int:
    """How many screws of the plates cross a line ``(n, 2)`` in bone, the plates moved ``up``."""
    plates = tuple(p.model_copy(update={"top_mm": p.top_mm + up}) for p in construct.plates)
    count = 0
    for screw in construct.screws:
        if screw.plate is None:
            continue
        try:
            axis = screw_axis(section, screw, plates)
        except InputError:   # off the bone there
            continue
        low, high = axis.in_bone
        met = crossings(axis.head, axis.direction, line)
        count += bool(((met >= low) & (met <= high)).any())
    return count
