"""Plane stress or plane strain: the modulus and the ratio that a plane problem has.

In plane strain nothing strains out of the plane. Its equations are those of plane stress with
E / (1 - nu²) and nu / (1 - nu) (e.g. Timoshenko & Goodier, Theory of Elasticity, §16-17; memory).
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError


class Plane(StrEnum):
    """What is free out of the plane: strain (plane stress) or nothing (plane strain)."""

    STRESS = "plane stress"
    STRAIN = "plane strain"


def in_plane(modulus: ArrayLike, poisson: ArrayLike, plane: Plane
             ) -> tuple[FloatArray, FloatArray]:
    """Modulus [MPa] and Poisson's ratio that stand for a material in the plane.

    Raises InputError for a Poisson's ratio outside (-1, 0.5], and for 0.5 in plane strain.
    """
    e, nu = np.asarray(modulus, dtype=float), np.asarray(poisson, dtype=float)
    most = 0.5 if plane is Plane.STRESS else np.nextafter(0.5, 0.0)
    if not np.all((nu > -1) & (nu <= most)):
        raise InputError("Poisson's ratio out of range", value=f"{nu.min():g} to {nu.max():g}",
                         expected="above -1, at most 0.5" if plane is Plane.STRESS
                         else "above -1, below 0.5 in plane strain")
    return (e, nu) if plane is Plane.STRESS else (e / (1 - nu**2), nu / (1 - nu))


def out_of_plane(poisson: ArrayLike, plane: Plane) -> FloatArray:
    """Stress out of the plane over the sum of the two direct stresses in it."""
    nu = np.asarray(poisson, dtype=float)
    return nu if plane is Plane.STRAIN else np.zeros_like(nu)
