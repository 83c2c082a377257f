"""An outline with the shape of a proximal tibia, for `outline = "anatomical"`.

Coronal: an eminence with two spines, a concave medial and a nearly flat lateral plateau that lies a
little higher, and condyles that flare differently. Sagittal, a slice of one condyle: its plateau
falls to the back, concave on the medial condyle and slightly convex on the lateral one, and its
posterior surface runs to the shaft at a published angle. All sizes are rows of `data/anatomy.toml`;
cuts are horizontal, as with an outline from a file.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Protocol

import numpy as np
from scipy.interpolate import PchipInterpolator

from buttress.fe.arrays import FloatArray
from buttress.study.outline import Drawn
from buttress.study.tables import number

CORNER_POINTS = 5
"""Vertices of the rounded edge of the plateau."""


class Sizes(Protocol):
    """What of `[section]` the outline is drawn from: lengths in mm, the slope in degrees."""

    @property
    def width_mm(self) -> float: ...
    @property
    def shaft_width_mm(self) -> float: ...
    @property
    def depth_mm(self) -> float: ...
    @property
    def shaft_depth_mm(self) -> float: ...
    @property
    def height_mm(self) -> float: ...
    @property
    def sagittal(self) -> bool: ...
    @property
    def slice_condyle(self) -> str: ...
    @property
    def slope(self) -> float: ...
    @property
    def shaft_offset(self) -> float: ...


def anatomical(given: Sizes) -> Drawn:
    """The outline of a section of the given sizes, mm."""
    if given.sagittal:
        return _sagittal(given.depth_mm, given.shaft_depth_mm, given.height_mm,
                         given.slice_condyle, given.slope, given.shaft_offset)
    return _coronal(given.width_mm, given.shaft_width_mm, given.height_mm)


# Every variant of a study is read anew, nearly always with the same sizes.
@lru_cache(maxsize=64)
def _coronal(width_mm: float, shaft_width_mm: float, height_mm: float) -> Drawn:
    def row(field: str) -> float:
        return number("anatomy", "anatomical coronal", field)

    half, shaft = width_mm / 2, shaft_width_mm / 2
    end = 1.0 - number("anatomy", "outline", "corner") / half
    out, spine = row("eminence_half_width"), row("spine_place")
    knots = ((-end, 0.0), (-row("lowest_place"), -row("medial_depth")), (-out, 0.0),
             (-spine, row("medial_spine")), (0.0, row("valley")), (spine, row("lateral_spine")),
             (out, 0.0), (row("lowest_place"), row("lateral_rise")), (end, 0.0))
    fall = np.tan(np.radians(row("coronal_slope")))
    top = _joint_line(knots, half, fall)
    walls = []
    for sign, side in ((-1.0, "medial"), (1.0, "lateral")):
        share = _share(
            number("anatomy", "outline", "plateau_end"), number("anatomy", "outline", "flare_end"),
            ((number("anatomy", "outline", "upper_depth"), row(f"{side}_upper")),
             (number("anatomy", "outline", "lower_depth"), row(f"{side}_lower"))))
        start = top[0] if sign < 0 else top[-1]
        walls.append(_wall(start, sign, sign * half, sign * shaft, share, height_mm))
    return Drawn(walls[0], walls[1], top)


@lru_cache(maxsize=64)
def _sagittal(depth_mm: float, shaft_depth_mm: float, height_mm: float, side: str, slope: float,
              offset: float) -> Drawn:
    def row(field: str) -> float:
        return number("anatomy", "anatomical sagittal", field)

    half = depth_mm / 2
    end = 1.0 - number("anatomy", "outline", "corner") / half
    bow = row("lateral_rise") if side == "lateral" else -row("medial_depth")
    top = _joint_line(((-end, 0.0), (0.0, bow), (end, 0.0)), half,
                      -np.tan(np.radians(slope)))
    front, back = (-offset + s * shaft_depth_mm / 2 for s in (-1.0, 1.0))
    usual = (number("anatomy", "outline", "plateau_end"), number("anatomy", "outline", "flare_end"))
    middle = 0.5 * sum(usual)
    before = _wall(top[0], -1.0, -half, front, _share(*usual, ((middle, 0.5),)), height_mm)
    # Behind: straight down below the rim, then at the published angle to the shaft, ends rounded.
    lip = row("posterior_lip")
    run = max(half - back, 1.0) / np.tan(np.radians(row(f"{side}_surface")))
    ease = row("ease")
    share = _share(lip, lip + run, ((lip + ease * run, 1.0 - ease), (lip + (1 - ease) * run, ease)))
    behind = _wall(top[-1], 1.0, half, back, share, height_mm)
    return Drawn(before, behind, top)


def _joint_line(knots: tuple[tuple[float, float], ...], half: float, rise: float) -> FloatArray:
    """Joint line through heights (mm) at shares of the half width, tilted by ``rise`` mm/mm."""
    at, height = np.array(knots).T
    at = at * half
    spacing = number("anatomy", "outline", "spacing")
    # Every knot is a vertex, so that a spine keeps its height.
    x = np.unique(np.concatenate([
        np.linspace(a, b, max(2, round((b - a) / spacing) + 1)) for a, b in
        zip(at[:-1], at[1:], strict=True)]).round(9))
    return np.column_stack([x, PchipInterpolator(at, height)(x) + rise * x])


def _share(start: float, end: float, between: tuple[tuple[float, float], ...]) -> PchipInterpolator:
    """Fraction of the way from shaft to plateau by depth below the rim: 1 at start, 0 at end."""
    depth = [start - 10.0, start, *(d for d, _ in between), end, end + 10.0]
    return PchipInterpolator(depth, [1.0, 1.0, *(s for _, s in between), 0.0, 0.0])


def _wall(start: FloatArray, sign: float, plateau: float, shaft: float, share: PchipInterpolator,
          height: float) -> FloatArray:
    """A wall (n, 2) from the end of the joint line down to the clamp, its upper edge rounded."""
    spacing, radius = (number("anatomy", "outline", k) for k in ("spacing", "corner"))
    begins, ends = float(share.x[1]), float(share.x[-2])
    angle = np.linspace(0.0, np.pi / 2, CORNER_POINTS)
    corner = np.column_stack([plateau - sign * radius * (1.0 - np.sin(angle)),
                              start[1] - radius * (1.0 - np.cos(angle))])
    depth = np.linspace(begins, ends, max(2, round((ends - begins) / spacing) + 1))
    flare = np.column_stack([shaft + (plateau - shaft) * share(depth), start[1] - depth])
    return np.vstack([start, corner[1:], flare, [[shaft, -height]]])
