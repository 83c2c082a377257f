"""What fills a void: its outline in the section, its layers and what they are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon, box
from shapely.geometry.polygon import orient

from constructs.schema import Fill, Study
from constructs.tables import fields, kind, number
from fe.errors import InputError

FloatArray = NDArray[np.float64]
JOINED = 1e-6  # mm by which a block may stick out of its void: rounding


@dataclass(frozen=True)
class Graft:
    """A material in a void; modulus and strengths in MPa.

    `strength` is the pressure at which it crushes. `bonded`: it sticks to bone until
    `bond_strength` (tension); None = it never comes off.
    """

    name: str
    modulus: float
    poisson: float
    strength: float
    friction: float
    bonded: bool
    bond_strength: float | None


@dataclass(frozen=True)
class Layer:
    """A level layer of a fill, between heights `low` and `high` (y, mm)."""

    graft: Graft
    low: float
    high: float


def graft(fill: Fill, material: str) -> Graft:
    """A material of a fill: the row of grafts.toml, changed by what the fill overrides."""
    row = {f: number("grafts", material, f) for f in fields("grafts", material)}
    bonded = kind("grafts", material) == "cement" if fill.bonded is None else fill.bonded
    bond = row.get("bond_strength") if fill.bond_MPa is None else fill.bond_MPa
    given = {"modulus": fill.modulus_MPa, "strength": fill.strength_MPa,
             "friction": fill.friction}
    row |= {k: v for k, v in given.items() if v is not None}
    return Graft(material, row["modulus"], row["poisson"], row["strength"], row["friction"],
                 bonded, bond if bonded else None)


def fill_outline(study: Study, fill: Fill) -> FloatArray:
    """Outline (n, 2) mm of a fill, counter-clockwise: its own polygon, or all of its void.

    Raises InputError, with the key below the construct, where its polygon leaves the void.
    """
    void = _polygon(next(v.points_mm for v in study.voids if v.name == fill.void),
                    f"void.{fill.void}.points_mm")
    if fill.points_mm is None:
        return _corners(void)
    key = f"fill.{fill.name}.points_mm"
    own = _polygon(fill.points_mm, key)
    outside = own.difference(void.buffer(JOINED)).area
    if outside > 0.0:
        raise InputError("the graft reaches out of its void", key=key,
                         value=f"{100 * outside / own.area:.0f} % of it lies outside",
                         expected=f'a polygon inside the void "{fill.void}"')
    return _corners(own)


def layers(study: Study, fill: Fill) -> tuple[Layer, ...]:
    """Layers of a fill from the bottom up; one for a fill of one material.

    Shares are of the height between the lowest and the highest point of its outline.
    """
    y = fill_outline(study, fill)[:, 1]
    if fill.layers is None:
        assert fill.material is not None
        return (Layer(graft(fill, fill.material), float(y.min()), float(y.max())),)
    ends = y.min() + np.concatenate([[0.0], np.cumsum([x.share for x in fill.layers])]) * np.ptp(y)
    return tuple(Layer(graft(fill, x.material), float(a), float(b))
                 for x, a, b in zip(fill.layers, ends[:-1], ends[1:], strict=True))


def layer_at(found: tuple[Layer, ...], y: ArrayLike) -> NDArray[np.int64]:
    """Number of the layer at each height y (mm), from 0 at the bottom."""
    bounds = [layer.low for layer in found[1:]]
    return np.asarray(np.searchsorted(bounds, np.asarray(y, dtype=float)), dtype=np.int64)


def layer_outlines(study: Study, fill: Fill) -> list[tuple[Layer, FloatArray]]:
    """(layer, its outline (n, 2) counter-clockwise), from the bottom up.

    Raises InputError where a layer falls into several pieces, with the key below the construct.
    """
    whole = Polygon(fill_outline(study, fill))
    left, _, right, _ = whole.bounds
    out = []
    for layer in layers(study, fill):
        part = whole.intersection(box(left - 1, layer.low, right + 1, layer.high))
        if part.geom_type != "Polygon" or part.is_empty:
            raise InputError("a layer of the fill falls into several pieces",
                             key=f"fill.{fill.name}.layers", value=layer.graft.name,
                             expected="a void without arms, or one material")
        out.append((layer, _corners(part)))
    return out


def _polygon(points: ArrayLike, key: str) -> Polygon:
    polygon = Polygon(np.asarray(points, dtype=float))
    if not polygon.is_valid or polygon.area == 0.0:
        raise InputError("the polygon crosses itself or has no area", key=key,
                         expected="its corners in order round it")
    return polygon


def _corners(polygon: Polygon) -> FloatArray:
    return np.array(orient(polygon).exterior.coords)[:-1]
