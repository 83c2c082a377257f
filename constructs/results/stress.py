"""Stress of each tissue: tensors at the quadrature points, percentiles by volume, places.

Core and cortex lie side by side through the depth and share the strain in the plane, as side
plates do. The stress of a tissue is that strain times its own matrix in the plane, so the stresses
times the thicknesses sum to the force per length of the section. It is the elastic stress: where
it exceeds a strength, real bone would carry less and its surroundings more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from buttress.bone.pieces import Solid
from buttress.display import Brief
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.element import Triangles
from buttress.fe.bodies.plane import out_of_plane
from buttress.fe.bodies.stress import strain, stress, to_nodes, von_mises, weights
from buttress.results.contacts import percentiles

STRAIN_RATIO, VON_MISES, LEAST = "strain ratio", "von Mises stress", "least principal stress"
FIELDS = (STRAIN_RATIO, VON_MISES, LEAST)
"""What a picture can show in colours."""
BONE_TISSUES = ("core", "cortex")
TISSUES = (*BONE_TISSUES, "fill")
SHARES = {"p50": 0.5, "p95": 0.95, "p99": 0.99}


@dataclass(frozen=True)
class Spread:
    """Percentiles by volume of a stress [MPa], and the place [mm] of what exceeds the last.

    Of the least principal stress, which is negative in compression, a share of the volume is
    compressed no more than the percentile.
    """

    p50: float
    p95: float
    p99: float
    at: tuple[float, float]


@dataclass(frozen=True, repr=False)
class TissueField(Brief):
    """Strain and stress of one tissue of one body at the q quadrature points of its m triangles.

    ``tissue``: "core" (cancellous bone), "cortex" or "fill". Tensors are in the order xx, yy, xy;
    the xy of strain is that of the tensor, half the engineering shear. A point whose volume is 0
    has none of the tissue. Stress is positive in tension; tightening is included.
    """

    brief = ("body", "tissue")

    body: str
    tissue: str
    points: FloatArray    # (m, q, 2) mm
    volume: FloatArray    # (m, q) mm³
    strain: FloatArray    # (m, q, 3)
    stress: FloatArray    # (m, q, 3) MPa
    out_of_plane: FloatArray | float = 0.0    # (m, q), as in `fe.bodies.plane`

    @property
    def von_mises(self) -> FloatArray:
        """Von Mises stress ``(m, q)``, MPa."""
        return von_mises(self.stress, self.out_of_plane)

    @property
    def least_principal(self) -> FloatArray:
        """Least principal stress in the plane ``(m, q)``, MPa: the most compressive."""
        sxx, syy, sxy = np.moveaxis(self.stress, -1, 0)
        return (sxx + syy) / 2 - np.hypot((sxx - syy) / 2, sxy)

    def measure(self, name: str) -> FloatArray:
        """One of the two stresses by its name in `FIELDS`, ``(m, q)`` MPa."""
        return {VON_MISES: lambda: self.von_mises, LEAST: lambda: self.least_principal}[name]()

    def spread(self, name: str) -> Spread:
        """Percentiles by volume of one of the two stresses."""
        sign = -1.0 if name == LEAST else 1.0
        size = sign * self.measure(name)
        p50, p95, p99 = percentiles(size.ravel(), self.volume.ravel(), tuple(SHARES.values()))
        x, y = middle(self.points, np.where(size >= p99, self.volume, 0.0))
        return Spread(sign * p50, sign * p95, sign * p99, (float(x), float(y)))

    def nodal(self, mesh: Triangles, values: FloatArray) -> FloatArray:
        """Values ``(m, q, ...)`` as nodal averages ``(n, ...)`` for pictures; NaN at nodes that
        touch no triangle with this tissue."""
        out = to_nodes(mesh, values)
        there = np.zeros(len(mesh.points), dtype=bool)
        there[mesh.triangles[(self.volume > 0.0).any(axis=1)]] = True
        out[~there] = np.nan
        return out

    def cells(self, values: FloatArray) -> FloatArray:
        """Mean of values ``(m, q, 3)`` by volume over each triangle ``(m, 3)``; NaN where the
        tissue is absent."""
        total = self.volume.sum(axis=1)[:, None]
        mean = (values * self.volume[..., None]).sum(axis=1) / np.where(total > 0, total, 1.0)
        return np.where(total > 0, mean, np.nan)


@dataclass(frozen=True)
class Fields:
    """Fields of one answer: nodal strain over yield strain of each body of bone, and tensors."""

    strain_ratio: list[FloatArray]
    tissues: tuple[TissueField, ...]


def tissue_fields(solids: Iterable[Solid], moved: Iterable[FloatArray]
                  ) -> tuple[TissueField, ...]:
    """Strain and stress of every tissue of some bodies, from their displacements ``(n_dof,)`` [mm].

    Tissues of which a body has none are left out.
    """
    out = []
    for solid, u in zip(solids, moved, strict=False):
        engineering, area = strain(solid.mesh, u), weights(solid.mesh)
        tensor, points = engineering * (1.0, 1.0, 0.5), quadrature_points(solid.mesh)
        out += [TissueField(solid.name, layer.tissue, points, area * layer.thickness, tensor,
                            stress(engineering, layer.matrix()),
                            out_of_plane(layer.poisson, layer.plane))
                for layer in solid.layers if layer.thickness.any()]
    return tuple(out)


def middle(points: FloatArray, volume: FloatArray) -> FloatArray:
    """The point ``(2,)`` nearest to the centre of points ``(m, q, 2)`` of a volume ``(m, q)``."""
    inside = volume > 0.0
    xy, held = points[inside], volume[inside]
    centre = (xy * held[:, None]).sum(axis=0) / held.sum()
    return xy[int(np.argmin(np.hypot(*(xy - centre).T)))]


def cell_tensors(fields: Sequence[TissueField], triangles: Mapping[str, int]
                 ) -> dict[str, FloatArray]:
    """Tensors of all triangles ``(m, 3)`` in the order of some bodies, by a name with the unit.

    ``triangles``: how many each body has. Both are means over the volume that a tissue has in a
    triangle, so that the law of its material holds between them; NaN where it has none.
    """
    def joined(made: dict[str, FloatArray]) -> FloatArray:
        return np.concatenate([made.get(name, np.full((count, 3), np.nan))
                               for name, count in triangles.items()])

    out = {}
    for tissue in TISSUES:
        mine = [x for x in fields if x.tissue == tissue]
        if mine:
            out[f"strain_{tissue}_xx_yy_xy"] = joined({x.body: x.cells(x.strain) for x in mine})
            out[f"stress_{tissue}_xx_yy_xy_MPa"] = joined({x.body: x.cells(x.stress) for x in mine})
    return out
