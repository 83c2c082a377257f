"""Rigid motions: an unheld piece has three motions without force, and no others."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from buttress.fe.bodies.assembly import sheet, stiffness
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, rectangle, scattered

SHEET = sheet(1000.0, 0.3)


def zero_eigenvalues(mesh: Callable[[], Grid], rule: int = 6) -> float:
    """Number of eigenvalues below 1e-12 of the largest."""
    values = np.linalg.eigvalsh(stiffness(mesh(), SHEET, rule=rule).toarray())
    return float(np.sum(np.abs(values) < 1e-12 * values[-1]))


def one_element() -> Grid:
    """One triangle with three curved sides."""
    points = np.array([[0, 0], [2, 0.3], [0.4, 1.5], [1, 0], [1.3, 1.0], [0.1, 0.7]])
    return Grid(points, np.arange(6)[None, :])


def several() -> Grid:
    """A plate of distorted triangles with curved inner sides."""
    return scattered(rectangle(4, 3, 2.0, 1.0), 0.05, curved=True)


MESHES = {"one element": one_element, "a mesh": several}

CASES = register(*(
    Case(f"rigid motions, {name}", "rigid-body mechanics: two translations and a rotation",
         "derived", "zero eigenvalues", "-", 3.0, 0.0, partial(zero_eigenvalues, mesh),
         basis="self-consistency")
    for name, mesh in MESHES.items()))
