"""Patch test (Irons; memory): a linear displacement must come out exactly.

Curved mid-sides pass it even with too few quadrature points, so it says nothing about those.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import strain, stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, rectangle, scattered
from buttress.fe.verification.problem import node_at, solve, unknowns

GRADIENT = np.array([[1e-3, 4e-4], [-2e-4, 5e-4]])  # du_i/dx_j
SHEET = sheet(1000.0, 0.3)  # MPa, -, 1 mm
STRAIN = np.array([GRADIENT[0, 0], GRADIENT[1, 1], GRADIENT[0, 1] + GRADIENT[1, 0]])
STRESS = stress(STRAIN, SHEET)


def plate(curved: bool) -> Grid:
    """The 2 by 1 mm plate with its inner nodes moved at random."""
    return scattered(rectangle(6, 4, 2.0, 1.0), 0.05, curved=curved)


def displacement_form(mesh: Grid) -> FloatArray:
    """The answer with the whole boundary moved as the linear field says."""
    held = unknowns(np.concatenate([e.ravel() for e in mesh.edges.values()]))
    exact = (mesh.points @ GRADIENT.T).ravel()
    return solve(stiffness(mesh, SHEET), np.zeros(len(exact)), held, exact[held])


def traction_form(mesh: Grid) -> FloatArray:
    """The answer under the linear field's tractions, held at three unknowns only."""
    sxx, syy, sxy = STRESS
    tensor = np.array([[sxx, sxy], [sxy, syy]])
    load = sum((edge_load(mesh, e, lambda xy, normal: normal @ tensor)
                for e in mesh.edges.values()), np.zeros(2 * len(mesh.points)))
    exact = (mesh.points @ GRADIENT.T).ravel()
    origin, along = node_at(mesh, 0, 0), node_at(mesh, 2, 0)
    held = np.array([2 * origin, 2 * origin + 1, 2 * along + 1])
    return solve(stiffness(mesh, SHEET), load, held, exact[held])


def error(form: str, curved: bool) -> float:
    """Largest error of displacement and stress, each relative to its largest exact value."""
    mesh = plate(curved)
    u = displacement_form(mesh) if form == "displacement" else traction_form(mesh)
    exact = (mesh.points @ GRADIENT.T).ravel()
    stresses = stress(strain(mesh, u), SHEET)
    return float(max(np.abs(u - exact).max() / np.abs(exact).max(),
                     np.abs(stresses - STRESS).max() / np.abs(STRESS).max()))


CASES = register(*(
    Case(f"patch, {form} form, {kind} sides", "Irons' patch test; a linear field is exact",
         "derived", "largest relative error", "-", 0.0, 1e-10, partial(error, form, curved),
         basis="self-consistency")
    for form in ("displacement", "traction")
    for kind, curved in (("straight", False), ("curved", True))))
