"""A beam of two bonded layers in pure bending: composite beam theory is exact here."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, quadrature_points, sheet, stiffness
from buttress.fe.bodies.element import NODES
from buttress.fe.bodies.stress import strain_at, stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.problem import node_at, solve

LENGTH, THICKNESS, MOMENT = 24.0, 5.0, 1000.0  # mm, mm, N mm
BOTTOM, TOP = (4.0, 1000.0), (2.0, 20000.0)  # height in mm, modulus in MPa
# One Poisson's ratio: with two the layers would hold each other's widening, and beam theory fail.
POISSON = 0.3


def theory() -> tuple[float, float]:
    """Curvature, 1/mm, and height of the neutral axis, mm, of the composite section."""
    (h1, e1), (h2, e2) = BOTTOM, TOP
    axis = (e1 * h1 * h1 / 2 + e2 * h2 * (h1 + h2 / 2)) / (e1 * h1 + e2 * h2)
    bending = THICKNESS * sum(e * (h**3 / 12 + h * (middle - axis)**2) for h, e, middle in
                              ((h1, e1, h1 / 2), (h2, e2, h1 + h2 / 2)))
    return MOMENT / bending, axis


CURVATURE, AXIS = theory()
PLACES = {"bottom of the soft layer": (0.0, BOTTOM[1]), "top of the soft layer": (4.0, BOTTOM[1]),
          "bottom of the stiff layer": (4.0, TOP[1]), "top of the stiff layer": (6.0, TOP[1])}


def modulus(y: FloatArray) -> FloatArray:
    """Modulus at a height, MPa."""
    return np.where(y < BOTTOM[0], BOTTOM[1], TOP[1])


def end_traction(xy: FloatArray, normal: FloatArray) -> FloatArray:
    """The couple that bends it, hogging at the bottom: N/mm."""
    y = xy[..., 1]
    pull = CURVATURE * (AXIS - y) * modulus(y) * THICKNESS
    return pull[..., None] * normal


@cache
def bent() -> tuple[float, dict[str, float]]:
    """Curvature from the strains, 1/mm, and the stress at each of PLACES, MPa."""
    mesh = rectangle(12, 6, LENGTH, 6.0)
    materials = sheet(modulus(quadrature_points(mesh)[..., 1]), POISSON)
    load = sum(edge_load(mesh, mesh.edges[side], end_traction) for side in ("left", "right"))
    origin, along = node_at(mesh, 0.0, 0.0), node_at(mesh, LENGTH, 0.0)
    u = solve(stiffness(mesh, materials * THICKNESS), np.asarray(load),
              np.array([2 * origin, 2 * origin + 1, 2 * along + 1]))
    at_nodes = strain_at(mesh, u, NODES)
    x, y = np.moveaxis(mesh.points[mesh.triangles], -1, 0)
    soft = y.mean(axis=1) < BOTTOM[0]
    middle = np.isclose(x, LENGTH / 2)

    def mean(height: float, e: float) -> FloatArray:
        mine = middle & np.isclose(y, height) & (soft == (e == BOTTOM[1]))[:, None]
        return np.asarray(at_nodes[mine].mean(axis=0))

    found = {name: float(stress(mean(height, e), sheet(e, POISSON))[0])
             for name, (height, e) in PLACES.items()}
    return float((mean(0.0, BOTTOM[1])[0] - mean(6.0, TOP[1])[0]) / 6.0), found


CASES = register(
    Case("two-layer beam, curvature", "composite beam theory", "derived", "curvature", "1/mm",
         CURVATURE, 1e-8, lambda: bent()[0]),
    *(Case(f"two-layer beam, {name}", "composite beam theory", "derived", "stress along the beam",
           "MPa", CURVATURE * (AXIS - height) * e, 1e-8, partial(lambda k: bent()[1][k], name))
      for name, (height, e) in PLACES.items()))
