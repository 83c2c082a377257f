"""A map of modulus or density over the section: checked against the outline, then interpolated."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.study.grids import check_values
from buttress.study.map import Keyed, MapInput
from buttress.study.tables import number

MODULUS = (0.5, 40_000.0)  # MPa: from the softest foam to more than dense cortex
DENSITY = (0.01, 2.5)  # g/cm3
LEAST_STIFFEST = 20.0  # MPa: a bone that is nowhere stiffer was given in GPa
WIDEST = 50.0  # cells of smoothing; more would be a coarser map


@dataclass(frozen=True)
class Law:
    """Modulus [MPa] of bone of a density [g/cm3]: factor x density ^ exponent (a row of the data).

    ``apparent``: apparent density per density of the law (1, or for ash the ratio of the two).
    """

    factor: float
    exponent: float
    apparent: float

    @staticmethod
    def of(row: str) -> Law:
        """The law of a row of materials.toml."""
        return Law(*(number("materials", row, f)
                     for f in ("modulus_factor", "modulus_exponent", "apparent")))

    def modulus(self, density: FloatArray) -> FloatArray:
        """Modulus [MPa] at a density."""
        return np.asarray(self.factor * density**self.exponent)

    def density(self, modulus: FloatArray) -> FloatArray:
        """Density [g/cm3] at a modulus [MPa]: the inverse."""
        return np.asarray((modulus / self.factor) ** (1.0 / self.exponent))


@dataclass(frozen=True, eq=False)
class ModulusField:
    """Values over the plane at the centres of square cells.

    ``given`` as in the file, ``values`` (rows, columns) smoothed, both from the bottom up, in MPa,
    or in g/cm3 where there is a law. ``corner``: the lower left corner, mm. Values are interpolated
    bilinearly between centres and extrapolated as constants beyond the outermost ones.
    """

    given: FloatArray
    values: FloatArray
    scale: float
    corner: tuple[float, float]
    law: Law | None
    least: float          # MPa, modulus below which none goes; 0 for none

    def value(self, xy: ArrayLike) -> FloatArray:
        """Interpolated value at points (..., 2)."""
        xy = np.asarray(xy, dtype=float)
        rows, columns = self.values.shape
        u = np.clip((xy[..., 0] - self.corner[0]) / self.scale - 0.5, 0.0, columns - 1.0)
        v = np.clip((xy[..., 1] - self.corner[1]) / self.scale - 0.5, 0.0, rows - 1.0)
        j = np.minimum(u.astype(int), columns - 2)
        i = np.minimum(v.astype(int), rows - 2)
        s, t = u - j, v - i
        z = self.values
        low = z[i, j] + s * (z[i, j + 1] - z[i, j])
        high = z[i + 1, j] + s * (z[i + 1, j + 1] - z[i + 1, j])
        return np.asarray(low + t * (high - low))

    def modulus(self, xy: ArrayLike) -> FloatArray:
        """Modulus [MPa] at points (..., 2)."""
        value = self.value(xy)
        return np.maximum(value if self.law is None else self.law.modulus(value), self.least)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Edges of the map (left, right, bottom, top), mm."""
        rows, columns = self.given.shape
        x, y = self.corner
        return x, x + columns * self.scale, y, y + rows * self.scale


def make_field(rows: FloatArray, outline: FloatArray, *, name: str, scale: float,
               corner: tuple[float, float], law: Law | None, smoothing: float, least: float,
               ) -> ModulusField:
    """A field from the rows of a file, the top one first.

    Empty cells (0) outside the outline (n, 2) mm take the value of the nearest cell that is not
    empty, so that the surrounding air does not soften the edge of the bone. Then the values are
    smoothed by a Gaussian of standard deviation `smoothing` mm; `least` is the modulus [MPa] to
    which softer cells are raised, 0 for none. Raises InputError, with the location, for a map that
    is not finite or negative, does not cover the outline, or is implausible inside it.
    """
    if smoothing / scale > WIDEST:
        raise InputError(f"smoothing over {smoothing / scale:.0f} cells", value=name,
                         expected=f"at most {WIDEST:g} cells, or a coarser map")
    given = rows[::-1]
    field = ModulusField(
        given=given, values=given, scale=scale, corner=corner, law=law, least=least)

    def place(i: int, j: int) -> str:
        """The cell of a row and column of the file (counted from 0), in words."""
        x = corner[0] + (j + 0.5) * scale
        y = corner[1] + (len(rows) - i - 0.5) * scale
        return f"row {i + 1}, column {j + 1}, ({x:.1f}, {y:.1f}) mm"

    check_values(rows, place, name)
    _covers(field, outline, name)
    inside = cells_inside(field, outline)
    _plausible(field, inside, lambda i, j: place(len(rows) - 1 - i, j), name)
    values = _smoothed(_filled(given, inside), smoothing / scale)
    return ModulusField(
        given=given, values=values, scale=scale, corner=corner, law=law, least=least)


def fitted(given: MapInput, outline: FloatArray) -> ModulusField:
    """The field of a study's map over an outline (n, 2) mm; kept for the cases of a sweep.

    Raises InputError where the two do not fit.
    """
    try:
        return _field(given.rows, Keyed(outline.tobytes(), outline), given.file, given.scale_mm,
                      given.origin_mm, given.law, given.smoothing_mm, given.least_MPa or 0.0)
    except InputError as error:
        raise InputError(error.message, key="section.map.file", value=error.value,
                         expected=error.expected) from None


@lru_cache(maxsize=4)
def _field(rows: Keyed[FloatArray], outline: Keyed[FloatArray], name: str, scale: float,
           corner: tuple[float, float], law: str | None, smoothing: float, least: float
           ) -> ModulusField:
    return make_field(rows.thing, outline.thing, name=name, scale=scale, corner=corner,
                      law=None if law is None else Law.of(law), smoothing=smoothing, least=least)


def _covers(field: ModulusField, outline: FloatArray, name: str) -> None:
    left, right, bottom, top = field.extent
    low, high = outline.min(axis=0), outline.max(axis=0)
    half = field.scale / 2
    short = {"-x side": left - low[0], "+x side": high[0] - right, "base": bottom - low[1],
             "joint": high[1] - top}
    side = max(short, key=lambda s: short[s])
    if short[side] > half:
        raise InputError(f"the map does not cover the outline: {short[side]:.1f} mm is missing at "
                         f"the {side} (it extends from {left:g} to {right:g} mm in x and from "
                         f"{bottom:g} to {top:g} mm in y)", value=name,
                         expected=f"x from {low[0]:.1f} to {high[0]:.1f} mm and y from "
                                  f"{low[1]:.1f} to {high[1]:.1f} mm: check scale_mm and origin_mm")


def cells_inside(field: ModulusField, outline: FloatArray) -> NDArray[np.bool_]:
    """Which cells (rows, columns) have their centre inside the outline."""
    rows, columns = field.given.shape
    x = field.corner[0] + (np.arange(columns) + 0.5) * field.scale
    y = field.corner[1] + (np.arange(rows) + 0.5) * field.scale
    out = np.zeros((rows, columns), dtype=bool)
    bone = Polygon(outline)
    shapely.prepare(bone)
    low, high = outline.min(axis=0), outline.max(axis=0)
    i = np.flatnonzero((y >= low[1]) & (y <= high[1]))
    j = np.flatnonzero((x >= low[0]) & (x <= high[0]))
    if len(i) and len(j):
        grid = np.meshgrid(x[j], y[i])
        out[np.ix_(i, j)] = shapely.contains_xy(bone, grid[0], grid[1])
    return out


def _plausible(field: ModulusField, inside: NDArray[np.bool_], place: object, name: str) -> None:
    """Raise InputError where the bone would vanish, or be stiffer or denser than bone can be."""
    assert callable(place)
    if not inside.any():
        raise InputError("no cell of the map lies inside the outline", value=name,
                         expected="cells smaller than the bone: check scale_mm")
    values = field.given
    low, high = MODULUS if field.law is None else DENSITY
    unit = "MPa" if field.law is None else "g/cm3"
    empty = inside & (values <= 0.0 if field.law is None else values < low)
    if empty.any() and field.least == 0.0:
        share = empty.sum() / inside.sum()
        raise InputError(f"the map is almost empty at {place(*np.argwhere(empty)[0])} inside "
                         f"the outline, over {100 * share:.2g} % of it", value=name,
                         expected="bone throughout the outline: check scale_mm and origin_mm; or "
                                  "least_MPa, the modulus of marrow; a hole is a [[void]]")
    peak = float(values[inside].max())
    if peak > high:
        hint = " (looks like kg/m3 or mg/cm3)" if field.law and peak <= 1000 * high else (
            " (looks like pascals)" if field.law is None and peak > 1e6 else "")
        where = np.argwhere(inside & (values == peak))[0]
        raise InputError(f"implausible: {peak:g} {unit} at {place(*where)}{hint}", value=name,
                         expected=f"at most {high:g} {unit}")
    if field.law is None and peak < LEAST_STIFFEST:
        raise InputError(f"implausible: at most {peak:g} MPa anywhere (looks like gigapascals)",
                         value=name, expected=f"bone with some region stiffer than "
                                              f"{LEAST_STIFFEST:g} MPa")
    soft = inside & (values > 0.0) & (values < low)
    if soft.any() and field.least == 0.0:
        raise InputError(f"implausible: {values[soft].min():g} {unit} at "
                         f"{place(*np.argwhere(soft)[0])}", value=name,
                         expected=f"at least {low:g} {unit}, or least_MPa")


def _filled(values: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
    """Empty cells (0) outside the outline take the value of the nearest cell that is not empty."""
    from scipy.ndimage import distance_transform_edt

    nothing = ~inside & (values == 0.0)
    if not nothing.any():
        return values
    nearest = distance_transform_edt(nothing, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)])


def _smoothed(values: FloatArray, cells: float) -> FloatArray:
    from scipy.ndimage import gaussian_filter

    return values if cells == 0.0 else np.asarray(
        gaussian_filter(values, cells, mode="nearest", truncate=4.0))
