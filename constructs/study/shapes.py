"""The drawn outline of the default bone: a flare from the shaft to a plateau.

A cut is a line across the section at a level h; the bone is described by its cuts. In the coronal
plane cuts are horizontal and h is the height y. In a sagittal section they run parallel to the
joint line, which falls to the back, so that h = y - (height of the joint line at x).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator

from buttress.fe.arrays import FloatArray
from buttress.study.bone import SectionInput
from buttress.study.tables import number


@cache
def _taper_curve() -> PchipInterpolator:
    """Fraction of the way from shaft to plateau, by depth below the joint line."""
    knots = ("plateau_end", "upper_depth", "lower_depth", "flare_end")
    depth = [number("anatomy", "outline", k) for k in knots]
    share = [1.0, number("anatomy", "outline", "upper_fraction"),
             number("anatomy", "outline", "lower_fraction"), 0.0]
    return PchipInterpolator([depth[0] - 10.0, *depth, depth[-1] + 10.0], [1.0, *share, 0.0])


def taper(h: ArrayLike) -> FloatArray:
    """1 at the plateau, 0 at the shaft, monotone between (shape chosen by eye, see data)."""
    curve = _taper_curve()
    first, last = curve.x[1], curve.x[-2]
    below = np.clip(-np.asarray(h, dtype=float), first, last)
    return np.asarray(curve(below), dtype=float)


@dataclass(frozen=True)
class Flared:
    """Outline of the sizes in `[section]`; all lengths in mm."""

    given: SectionInput

    @property
    def fall(self) -> float:
        """Fall of the joint line per unit of x, mm/mm."""
        return float(np.tan(np.radians(self.given.slope)))

    def joint(self, x: ArrayLike) -> FloatArray:
        """Height y of the joint line at x [mm]."""
        return -self.fall * np.asarray(x, dtype=float) + 0.0

    def level(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Level h of the cut through a point [mm]."""
        return y + self.fall * x if self.fall else y

    def half_width(self, h: ArrayLike) -> FloatArray:
        """Half of the drawn width of the cut at a level, with the rounded plateau edge."""
        g = self.given
        wide, narrow = ((g.depth_mm, g.shaft_depth_mm) if g.sagittal
                        else (g.width_mm, g.shaft_width_mm))
        a = narrow / 2 + (wide - narrow) / 2 * taper(h)
        radius = number("anatomy", "outline", "corner")
        above = np.clip(np.asarray(h, dtype=float) + radius, 0.0, radius)
        return np.asarray(a - (radius - np.sqrt(radius**2 - above**2)))

    def centre(self, h: ArrayLike) -> FloatArray:
        """x of the middle of the cut at a level: 0 at the plateau, anterior to it at the shaft."""
        return -self.given.shaft_offset * (1.0 - taper(h)) + 0.0

    def walls(self) -> tuple[FloatArray, FloatArray]:
        """The surfaces at -x and at +x as points (n, 2), from the joint line down to the base."""
        found = []
        for sign in (-1.0, 1.0):
            levels = self._levels()
            x = self.centre(levels) + sign * self.half_width(levels)
            # The shaft is straight, so its last point keeps its x at the level of the base.
            found.append(np.column_stack([x, np.append(levels[:-1] + self.joint(x[:-1]),
                                                       -self.given.height_mm)]))
        return found[0], found[1]

    def joint_line(self) -> FloatArray:
        """The joint line as points (n, 2) from -x to +x, between the ends of the walls."""
        left, right = self.walls()
        return np.vstack([left[:1], right[:1]])

    def _levels(self) -> FloatArray:
        """Levels of the outline's vertices, from 0 down: dense where the outline is curved."""
        spacing = number("anatomy", "outline", "spacing")
        radius = number("anatomy", "outline", "corner")
        start = number("anatomy", "outline", "plateau_end")
        end = number("anatomy", "outline", "flare_end")
        angle = np.linspace(0.0, np.pi / 2, 5)
        corner = -radius * (1.0 - np.cos(angle))
        flare = -np.linspace(start, end, round((end - start) / spacing) + 1)
        return np.concatenate([corner, flare, [-self.given.height_mm]])
