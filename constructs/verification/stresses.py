"""Stress as a comparison reports it: closed forms, read by `results.stress` from bone and fills.

Bodies here are made of the fills and sections of the tool on simple meshes, so that the numbers
pass through the reader that every comparison uses: layers of the depth, tensors at the quadrature
points, nodal values of pictures, percentiles by volume.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import ArrayLike

from buttress.bone.fills import FillMaterial
from buttress.bone.pieces import BonePiece, FillPiece, Made, Piece, Solid
from buttress.bone.section import Section, Tissue
from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.assembly import edge_load, quadrature_points, stiffness
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.mesh.t6 import Mesh
from buttress.fe.verification import Case, inclusion, lame, layers, register, sideplates
from buttress.fe.verification.meshes import (
    Grid,
    merge,
    quarter_disc,
    quarter_ring,
    rectangle,
    scattered,
)
from buttress.fe.verification.problem import node_at, solve, symmetry
from buttress.results.stress import LEAST, SHARES, VON_MISES, TissueField, tissue_fields
from buttress.study.bone import SectionInput


class Plates(Section):
    """A section of one depth everywhere: a core of case 11 between its side plates."""

    def chord(self, xy: ArrayLike) -> FloatArray:
        return np.full(np.shape(xy)[:-1], sideplates.CORE[2] + sideplates.SKIN[2])

    def core_thickness(self, xy: ArrayLike) -> FloatArray:
        return np.full(np.shape(xy)[:-1], sideplates.CORE[2])

    def core_at(self, xy: ArrayLike) -> FloatArray:
        return np.full(np.shape(xy)[:-1], sideplates.CORE[0])

    def poisson(self, tissue: Tissue) -> float:
        return sideplates.SKIN[1] if tissue == "cortex" else sideplates.CORE[1]

    @property
    def cortical_modulus(self) -> float:
        return sideplates.SKIN[0]


def filled(depth: float, low: float, high: float, *materials: tuple[float, float, float]
           ) -> FillPiece:
    """A fill of a depth [mm] from level layers: share of the height, modulus, Poisson's ratio."""
    share, modulus, poisson = (np.array(x) for x in zip(*materials, strict=True))
    return FillPiece(Plates(SectionInput(outline="simple")), FillMaterial(
        share, modulus, poisson, np.zeros(len(share)), np.zeros(len(share)), 0.0,
        None), low, high, depth)


def solid(grid: Grid, piece: Piece, held: IntArray) -> Solid:
    """A body of a structured mesh, held at some unknowns."""
    mesh = Mesh("body", grid.points, grid.triangles, grid.edges)
    return Solid("body", Made.GRAFT if isinstance(piece, FillPiece) else Made.BONE,
                 Continuum(mesh, piece.sheets(quadrature_points(mesh)), held.tolist()), piece)


# ---------------------------------------------------------------------------------------- Lamé

@cache
def ring(around: int, across: int) -> TissueField:
    """Lamé's ring, 1 mm deep, under inner pressure."""
    grid = quarter_ring(around, across, lame.INNER, lame.OUTER)
    piece = filled(1.0, 0.0, lame.OUTER, (1.0, lame.MODULUS, lame.POISSON))
    body = solid(grid, piece, symmetry(grid.edges["top"], grid.edges["bottom"]))
    load = edge_load(grid, grid.edges["left"], lambda xy, normal: -lame.PRESSURE * normal)
    return tissue_fields([body], [body.body.solve(load)])[0]


def at_bore(found: TissueField, inner: float, depth: float) -> float:
    """Hoop stress at the inner edge of a ring, MPa, from the points within a depth [mm] of it.

    The reader has no value at the edge itself: A + B / r², the form of any stress that is the same
    all round, is fitted to those points, the innermost row of elements.
    """
    x, y = np.moveaxis(found.points, -1, 0)
    r = np.hypot(x, y)
    sxx, syy, sxy = np.moveaxis(found.stress, -1, 0)
    around = (sxx * y**2 + syy * x**2 - 2.0 * sxy * x * y) / r**2
    near = r < inner + depth
    form = np.column_stack([np.ones(int(near.sum())), r[near]**-2])
    even, part = np.linalg.lstsq(form, around[near], rcond=None)[0]
    return float(even + part / inner**2)


def hoop(across: int) -> float:
    """Hoop stress at the inner edge, MPa."""
    return at_bore(ring(2 * across, across), lame.INNER, (lame.OUTER - lame.INNER) / across)


def ring_stress(share: float, measure: str) -> float:
    """Closed form of a percentile by volume: stresses fall with the radius, MPa.

    A share of the volume lies outside of r² = b² - share (b² - a²).
    """
    a, b, p = lame.INNER, lame.OUTER, lame.PRESSURE
    even = p * a**2 / (b**2 - a**2)
    part = even * b**2 / (b**2 - share * (b**2 - a**2))
    radial, around = even - part, even + part
    return radial if measure == LEAST else float(
        np.sqrt(radial**2 - radial * around + around**2))


def ring_read(part: str, measure: str) -> float:
    """The same by the reader, MPa."""
    return float(getattr(ring(24, 128).spread(measure), part))


# ----------------------------------------------------------------------------------- inclusion

@cache
def pulled_inclusion(arc: int) -> TissueField:
    """Goodier's inclusion as a fill, `arc` edges on a quarter of its edge, in a pulled plate."""
    disc = quarter_disc(arc // 2, inclusion.RADIUS)
    plate = quarter_ring(arc, arc, inclusion.RADIUS, inclusion.FAR, graded=True)
    pieces = [filled(1.0, 0.0, inclusion.FAR, (1.0, e, 0.3)) for e in (10.0, 1.0)]
    # The ring's inner edge takes the disc's names so that the glued pair is dropped.
    glued = merge(disc, Grid(plate.points, plate.triangles,
                             {"bottom": plate.edges["bottom"], "left": plate.edges["top"],
                              "arc": plate.edges["left"], "far": plate.edges["right"]}))
    sheets = np.concatenate([p.sheets(quadrature_points(g))
                             for p, g in zip(pieces, (disc, plate), strict=True)])
    load = edge_load(glued, glued.edges["far"],
                     partial(inclusion.far_traction, inclusion.A, inclusion.B))
    u = solve(stiffness(glued, sheets), load, symmetry(glued.edges["left"], glued.edges["bottom"]))
    mine = glued.triangles[:len(disc.triangles)]
    nodes, number = np.unique(mine, return_inverse=True)
    cut = Grid(glued.points[nodes], number.reshape(mine.shape))
    [found] = tissue_fields([solid(cut, pieces[0], np.arange(3))],
                            [u.reshape(-1, 2)[nodes].ravel()])
    return found


def inclusion_stress(arc: int, component: int) -> float:
    """Mean stress by volume in the inclusion, of the pull."""
    found = pulled_inclusion(arc)
    return float((found.stress[..., component] * found.volume).sum() / found.volume.sum())


# ------------------------------------------------------------------------ beam and side plates

@cache
def beam() -> TissueField:
    """The beam of two layers in pure bending, as a fill of two level layers."""
    (soft, e1), (stiff, e2) = layers.BOTTOM, layers.TOP
    high = soft + stiff
    grid = rectangle(12, 6, layers.LENGTH, high)
    piece = filled(layers.THICKNESS, 0.0, high, (soft / high, e1, layers.POISSON),
                   (stiff / high, e2, layers.POISSON))
    load = sum(edge_load(grid, grid.edges[side], layers.end_traction)
               for side in ("left", "right"))
    origin, along = node_at(grid, 0.0, 0.0), node_at(grid, layers.LENGTH, 0.0)
    held = np.array([2 * origin, 2 * origin + 1, 2 * along + 1])
    body = solid(grid, piece, held)
    u = solve(stiffness(body.mesh, body.body.sheets), np.asarray(load), held)
    return tissue_fields([body], [u])[0]


def fibre(height: float, modulus: float) -> float:
    """Stress along the beam at a height of one layer: the line through its points there, MPa."""
    found = beam()
    y = found.points[..., 1]
    mine = (y < layers.BOTTOM[0]) == (modulus == layers.BOTTOM[1])
    return float(np.polyval(np.polyfit(y[mine], found.stress[..., 0][mine], 1), height))


@cache
def plates() -> dict[str, TissueField]:
    """Core and side plates under a pull along x, on a distorted mesh."""
    grid = scattered(rectangle(4, 3, 2.0, 1.0), 0.08)
    held = symmetry(grid.edges["left"], grid.edges["bottom"])
    body = solid(grid, BonePiece(Plates(SectionInput(outline="simple"))), held)
    load = edge_load(grid, grid.edges["right"], lambda xy, normal: sideplates.PULL * normal)
    u = solve(stiffness(body.mesh, body.body.sheets), load, held)
    return {x.tissue: x for x in tissue_fields([body], [u])}


def plate_stress(tissue: str) -> float:
    """Stress along the pull at the point where it is furthest from the closed form, MPa."""
    values = plates()[tissue].stress[..., 0].ravel()
    expected = sideplates.theory()["skin" if tissue == "cortex" else "core"]
    return float(values[np.argmax(np.abs(values - expected))])


LAME = "Lamé's closed form, read as the stress of a fill"
# The hoop stress keeps the tolerance of the solver's own case. No source gives one for percentiles:
# they are values at points, which here lie in rows of one radius, so 0.5 % on 128 rows.
CASES = register(
    Case("stress read: Lamé ring", LAME, "derived", "inner hoop stress", "MPa", lame.HOOP, 0.002,
         partial(hoop, 8)),
    *(Case(f"stress read: Lamé ring, {name}, {part}", LAME, "derived",
           f"{100 * share:.0f} % by volume at most", "MPa", ring_stress(share, name), 0.005,
           partial(ring_read, part, name))
      for name in (VON_MISES, LEAST) for part, share in SHARES.items()),
    *(Case(f"stress read: inclusion, {label}", "Goodier, J Appl Mech 1933; derived again in "
           "fe.verification.inclusion, read as the stress of a fill", "memory",
           f"{label} inside over the remote stress", "-", reference, 0.005,
           partial(inclusion_stress, 16, component))
      for component, (label, reference) in enumerate((("sxx", 1.436641), ("syy", 0.023213)))),
    *(Case(f"stress read: two-layer beam, {name}", "composite beam theory, read as the stress of "
           "a fill in two layers", "derived", "stress along the beam", "MPa",
           layers.CURVATURE * (layers.AXIS - height) * e, 1e-8, partial(fibre, height, e))
      for name, (height, e) in layers.PLACES.items()),
    *(Case(f"stress read: side plates, {tissue}", "sum of plane-stress sheets sharing one strain, "
           "read as core and cortex of bone", "derived", "stress along the pull (worst point)",
           "MPa", reference, 1e-6, partial(plate_stress, tissue))
      for tissue, reference in (("core", sideplates.theory()["core"]),
                                ("cortex", sideplates.theory()["skin"]))))
