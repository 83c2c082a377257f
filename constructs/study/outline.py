"""An outline from a file, as a shape of the section: two walls, a joint line and the clamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Polygon
from shapely.geometry.polygon import orient

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.study.grids import number, text_lines

LARGEST = 1_000_000  # bytes of an outline file
MOST_POINTS = 5000
HEADER = "x_mm,y_mm"
UPWARD = np.cos(np.radians(45.0))  # an edge that faces up by more than this is joint surface
OFF_ORIGIN = 10.0  # mm by which the middle of the joint line may miss the origin
PLAUSIBLE = (25.0, 120.0)  # mm, width of a plateau in either plane


@dataclass(frozen=True, eq=False)
class Drawn:
    """Shape of a section from its outline; points in mm, walls and joint as in `shapes.Flared`.

    Cuts are horizontal: the level of a point is its height y.
    """

    left: FloatArray     # (n, 2) wall at -x, from the joint line down to the base
    right: FloatArray    # (m, 2) wall at +x
    top: FloatArray      # (k, 2) joint line from -x to +x, with the ends of the walls

    def joint(self, x: ArrayLike) -> FloatArray:
        """Height y of the joint line at x [mm]."""
        x = np.asarray(x, dtype=float)
        return np.asarray(np.interp(x, self.top[:, 0], self.top[:, 1]))

    def level(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Level h of the cut through a point [mm]."""
        del x
        return y

    def half_width(self, h: ArrayLike) -> FloatArray:
        """Half of the drawn width of the cut at a level [mm]."""
        return (self._at(self.right, h) - self._at(self.left, h)) / 2

    def centre(self, h: ArrayLike) -> FloatArray:
        """x of the middle of the cut at a level [mm]."""
        return (self._at(self.right, h) + self._at(self.left, h)) / 2

    def walls(self) -> tuple[FloatArray, FloatArray]:
        """The surfaces at -x and at +x."""
        return self.left, self.right

    def joint_line(self) -> FloatArray:
        """The joint line from -x to +x."""
        return self.top

    @staticmethod
    def _at(wall: FloatArray, h: ArrayLike) -> FloatArray:
        return np.asarray(np.interp(-np.asarray(h, dtype=float), -wall[:, 1], wall[:, 0]))


def points_of(raw: bytes, name: str) -> FloatArray:
    """Corners (n, 2) mm of an outline file. Raises InputError."""
    lines = text_lines(raw, name)
    if lines[0].replace(" ", "") != HEADER:
        shown = "".join(c for c in lines[0] if c.isprintable())[:30]
        raise InputError(f'the first line is "{shown}"', value=name,
                         expected=f"{HEADER}, so that the unit is stated; then one corner per line")
    if not 4 <= len(lines) <= MOST_POINTS + 1:
        raise InputError(f"an outline of {len(lines) - 1} corners", value=name,
                         expected=f"3 to {MOST_POINTS}")
    out = np.empty((len(lines) - 1, 2))
    for i, line in enumerate(lines[1:]):
        if line.count(",") != 1:
            raise InputError(f"line {i + 2} has {line.count(',') + 1} numbers", value=name,
                             expected="two per line, x and y in mm")
        for k, word in enumerate(line.split(",")):
            out[i, k] = number(word, f"line {i + 2}", name)
    if not np.isfinite(out).all():
        bad = int(np.flatnonzero(~np.isfinite(out).all(axis=1))[0]) + 2
        raise InputError(f"not a finite number in line {bad}", value=name,
                         expected="x and y in mm")
    return out


def drawn(points: FloatArray, height: float, name: str, smoothing: float = 0.05) -> Drawn:
    """The shape of an outline (n, 2) mm that is clamped `height` below the joint line.

    The outline is simplified, moving by at most `smoothing` mm, and cut off at the clamp. The joint
    line extends from the first to the last edge that faces up by more than 45 degrees. Raises
    InputError for an outline that crosses itself, does not reach the clamp, lies away from the
    origin, or folds back.
    """
    ring = Polygon(points)
    if not ring.is_valid or ring.area <= 0.0:
        raise InputError("the outline crosses itself or has no area", value=name,
                         expected="corners in order around the bone")
    low, bottom, high, _ = ring.bounds
    if not PLAUSIBLE[0] <= high - low <= PLAUSIBLE[1]:
        hint = next((f" (looks like {unit})" for factor, unit in (
            (1000.0, "metres"), (10.0, "centimetres"), (0.1, "a tenth of a mm, or pixels"))
            if PLAUSIBLE[0] <= factor * (high - low) <= PLAUSIBLE[1]), "")
        raise InputError(f"the outline is {high - low:g} mm wide{hint}", value=name,
                         expected="{:g} to {:g} mm".format(*PLAUSIBLE))
    if bottom > -height + 1e-6:
        raise InputError(f"the outline ends at {bottom:g} mm, above the clamp", value=name,
                         expected=f"an outline that extends down to -{height:g} mm, or a smaller "
                                  "section.height_mm")
    ring = ring.simplify(smoothing).intersection(shapely.box(low - 1, -height, high + 1, 1000.0))
    if not isinstance(ring, Polygon) or not ring.is_valid:
        raise InputError("the clamp cuts the outline into several pieces", value=name,
                         expected="one piece of bone above the clamp")
    return _parts(np.array(orient(ring).exterior.coords)[:-1], height, name)


def _parts(ring: FloatArray, height: float, name: str) -> Drawn:
    """Walls and joint line of a ring (n, 2), counter-clockwise, whose base lies at the clamp."""
    base = np.flatnonzero(ring[:, 1] < -height + 1e-6)
    if len(base) < 2:
        raise InputError("the outline has no base at the clamp", value=name,
                         expected="bone that extends below the clamp")
    # From the base's corner at +x up, over the joint, down to the one at -x.
    ring = np.roll(ring, -int(base[np.argmax(ring[base, 0])]), axis=0)
    end = int(np.argmin(np.where(ring[:, 1] < -height + 1e-6, ring[:, 0], np.inf)))
    if end != len(ring) - 1:
        raise InputError("the clamp cuts the outline into several pieces", value=name,
                         expected="one piece of bone at the clamp")
    chain = ring[:end + 1]
    step = np.diff(chain, axis=0)
    up = np.flatnonzero(-step[:, 0] / np.hypot(*step.T) > UPWARD)
    if not len(up):
        raise InputError("the outline has no joint surface: no edge of it faces up", value=name,
                         expected="a bone with its joint surface at the top, y proximal")
    first, last = int(up[0]), int(up[-1]) + 1
    shape = Drawn(chain[last:], chain[first::-1], chain[last:first - 1 if first else None:-1])
    for what, line, axis, sign in (("wall", shape.left, 1, -1.0), ("wall", shape.right, 1, -1.0),
                                   ("joint line", shape.top, 0, 1.0)):
        back = np.flatnonzero(sign * np.diff(line[:, axis]) <= 0.0)
        if len(back) or len(line) < 2:
            x, y = line[back[0]] if len(back) else line[0]
            raise InputError(f"the {what} of the outline folds back at ({x:g}, {y:g}) mm",
                             value=name, expected="a joint line along which x increases, and walls "
                             "that descend from it to the base; a larger outline_smoothing_mm "
                             "removes pixel steps")
    if shape.top[-1, 0] - shape.top[0, 0] < ring[0, 0] - ring[end, 0]:
        raise InputError("the bone is narrower at its joint than at the clamp: upside down?",
                         value=name, expected="y pointing proximally, the joint at the top")
    middle = shape.top[[0, -1], 0].mean()
    if abs(middle) > OFF_ORIGIN or abs(float(shape.joint(0.0))) > OFF_ORIGIN:
        raise InputError(f"the middle of the joint line is drawn at ({middle:.1f}, "
                         f"{float(shape.joint(middle)):.1f}) mm", value=name,
                         expected=f"within {OFF_ORIGIN:g} mm of the origin, as the study requires")
    return shape
