"""Strain, stress and strain over yield strain at any point of the section."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.element import QUADRATURE
from buttress.fe.bodies.stress import principal, von_mises
from buttress.fe.errors import InputError
from buttress.results.picture import BodyPicture, Picture
from buttress.results.stress import BONE_TISSUES, TissueField

MEANINGS = {
    "construct": ("-", "name of the construct"),
    "total_load_N": ("N", "total joint force"),
    "status": ("-", "whether the solver found equilibrium at this load; without it tensors are "
                    "empty"),
    "x_mm": ("mm", "place before loading, as asked for: x of the section, lateral (posterior in a "
                   "sagittal one)"),
    "y_mm": ("mm", "the same, y: negative below the joint line"),
    "body": ("-", "piece of bone or fill in which the point lies; empty in a void"),
    "tissue": ("-", "what the tensors are of: core (cancellous bone, or foam), cortex (of the side "
                    "plates, in front and behind) or fill; one row each, since all have the same "
                    "strain and a stress of their own; empty where the point has none"),
    "strain_xx": ("-", "normal strain along x, positive in tension, tightening included"),
    "strain_yy": ("-", "normal strain along y"),
    "strain_xy": ("-", "shear strain of the tensor: half of the engineering shear strain"),
    "stress_xx_MPa": ("MPa", "normal stress along x of this tissue, positive in tension"),
    "stress_yy_MPa": ("MPa", "normal stress along y of this tissue"),
    "stress_xy_MPa": ("MPa", "shear stress of this tissue"),
    "von_mises_MPa": ("MPa", "von Mises stress of this tissue"),
    "least_principal_MPa": ("MPa", "least principal stress in the plane: the most compressive"),
    "strain_over_yield_strain": ("-", "largest principal strain over the yield strain of this "
                                      "tissue, in compression or tension; empty for a fill"),
}
"""Columns of the table, each with its unit and what it holds."""
COLUMNS = tuple(MEANINGS)
NUMBERS = COLUMNS[1:2] + COLUMNS[3:5] + COLUMNS[7:]
EDGE = 1e-9
"""By how much a point on the side of a triangle may lie outside of it, in area coordinates."""

Points = Sequence[tuple[float, float]]


def as_points(points: Any) -> Points:
    """Points as pairs of numbers [mm]; raises InputError for anything else."""
    try:
        found = np.asarray(points, dtype=float)
    except (TypeError, ValueError):
        found = np.zeros(())
    if found.shape == (0,) and points is not None:
        return []
    if found.ndim != 2 or found.shape[1] != 2 or not np.isfinite(found).all():
        raise InputError("not a list of points", key="points", value=repr(points)[:60],
                         expected="[(x, y), ...], finite numbers in mm")
    return [(float(x), float(y)) for x, y in found]


def in_outline(section: Section, points: Points, key: str = "points") -> None:
    """Raise InputError for a point [mm] that lies outside of the section."""
    outline = shapely.Polygon(section.outline()[0]).buffer(EDGE)
    for x, y in points:
        if not shapely.contains_xy(outline, x, y):
            low, high = np.array(outline.bounds).reshape(2, 2)
            level = outline.intersection(shapely.LineString([(low[0], y), (high[0], y)]))
            there = " or ".join(
                f"from {math.ceil(10.0 * a) / 10.0:g} to {math.floor(10.0 * b) / 10.0:g}"
                for a, _, b, _ in
                sorted(part.bounds for part in shapely.get_parts(level) if part.length > 0.0))
            raise InputError("a point outside of the bone", key=key, value=f"{x:g}, {y:g}",
                             expected="x, y in mm inside the outline, " + (
                                 f"x {there} at y = {y:g}" if there else
                                 f"y from {low[1]:.0f} to {high[1]:.0f}"))


def probed(section: Section, picture: Picture, points: Points) -> Iterator[dict[str, Any]]:
    """A row for each point and each tissue there, see `COLUMNS`.

    One row without tissue where a point lies in a void, or where there is no answer. A point on
    a fracture belongs to the first body that has it.
    """
    for x, y in points:
        row = dict.fromkeys(COLUMNS) | {
            "construct": picture.construct, "total_load_N": picture.load_N,
            "status": picture.status, "x_mm": x, "y_mm": y}
        at = np.array([x, y], dtype=float)
        body, number, xi = _found(picture.bodies, at)
        tissues = [] if body is None else [
            f for f in picture.fields if f.body == body.name and (f.volume[number] > 0.0).any()]
        if body is None or not tissues:
            yield row | {"body": None if body is None else body.name}
        for field in tissues:
            yield row | {"body": field.body, "tissue": field.tissue} | _values(
                section, field, number, xi, at)


def _found(bodies: Sequence[BodyPicture], at: FloatArray
           ) -> tuple[BodyPicture | None, int, FloatArray]:
    """The first body with a point, the number of its triangle, and the coordinates there."""
    for body in bodies:
        a, b, c = (body.points[body.triangles[:, k]] for k in range(3))
        xi = np.linalg.solve(np.stack([b - a, c - a], axis=-1), (at - a)[..., None])[..., 0]
        inside = np.minimum(xi.min(axis=1), 1.0 - xi.sum(axis=1))
        best = int(np.argmax(inside))
        if inside[best] >= -EDGE:
            return body, best, xi[best]
    return None, -1, np.zeros(2)


def _values(section: Section, field: TissueField, number: int, xi: FloatArray, at: FloatArray
            ) -> dict[str, float]:
    """Tensors of a tissue at coordinates of one of its triangles, and what follows from them.

    Each is the linear fit of its values at the quadrature points: exact for the strain of a
    straight triangle, as it is for stress where the modulus does not vary in it.
    """
    nodes, weight = QUADRATURE[field.strain.shape[1]]
    basis = np.column_stack([np.ones(len(nodes)), nodes])
    carry = np.array([1.0, *xi]) @ np.linalg.solve((basis.T * weight) @ basis, basis.T * weight)
    strain, stress = carry @ field.strain[number], carry @ field.stress[number]
    mean, radius = (stress[0] + stress[1]) / 2, np.hypot((stress[0] - stress[1]) / 2, stress[2])
    out = {f"strain_{k}": float(v) for k, v in zip(("xx", "yy", "xy"), strain, strict=True)}
    out |= {f"stress_{k}_MPa": float(v) for k, v in zip(("xx", "yy", "xy"), stress, strict=True)}
    out |= {"von_mises_MPa": float(von_mises(stress)), "least_principal_MPa": float(mean - radius)}
    if field.tissue in BONE_TISSUES:
        under = field.tissue == "core" and section.below(at) < section.given.subchondral_mm
        squeezed, pulled = section.yield_strain(
            "subchondral" if under else "core" if field.tissue == "core" else "cortex")
        high, low = principal(strain * (1.0, 1.0, 2.0))
        out["strain_over_yield_strain"] = float(max(-low / squeezed, high / pulled, 0.0))
    return out
