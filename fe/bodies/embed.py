"""A slender member inside a meshed body: the springs between them, and their positions.

The springs of a rod in a three-dimensional medium are known per length (a beam in an elastic
medium, a rod in a cylinder). The plane mesh already contributes a part of that flexibility, so the
link is given only the remainder: ``1/k_link = 1/k_3D - 1/k_2D``, but at least zero.
"""

from __future__ import annotations

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.plane import Plane, in_plane


def medium_lateral(modulus: float, poisson: float, diameter: float, bending: float) -> float:
    """Winkler modulus k_3D [MPa, N/mm per mm] of a beam buried in an elastic medium.

    Vesic (1961; memory) for a beam on a half-space, ``0.65 (E d^4 / EI)^(1/12) E / (1 - nu²)``,
    doubled because a buried beam has the medium on both sides. ``bending`` is EI [N mm²].
    """
    one_side = 0.65 * (modulus * diameter**4 / bending) ** (1 / 12) * modulus / (1 - poisson**2)
    return 2.0 * one_side


def medium_axial(modulus: float, poisson: float, diameter: float, outer: float) -> float:
    """Shear-lag modulus [MPa] of a rod bonded in a cylinder held at its ``outer`` diameter [mm].

    ``2 pi G / ln(D/d)``: anti-plane shear between two circles (closed form).
    """
    shear = modulus / (2 * (1 + poisson))
    return float(2 * np.pi * shear / np.log(max(outer / diameter, 1.05)))


def sheet_line(stretch: float, poisson: float, wavenumber: float) -> float:
    """Stiffness k_2D [MPa] of an infinite sheet under a line force q cos(kx), either direction.

    ``4 E t k / ((3 - nu)(1 + nu))`` with ``stretch = E t`` [N/mm] and the wavenumber k [1/mm]:
    the Kelvin solution of a sheet integrated over the transverse wavenumber (derived). In plane
    strain both are those of `plane.in_plane`.
    """
    return 4.0 * stretch * wavenumber / ((3.0 - poisson) * (1.0 + poisson))


def residual_compliance(medium: float, sheet: float) -> float:
    """Compliance of a unit length of link [mm²/N]: the part not contributed by the sheet."""
    return max(0.0, 1.0 / medium - 1.0 / sheet)


def lateral_compliance(modulus: float, poisson: float, stretch: float, diameter: float,
                       bending: float, plane: Plane = Plane.STRESS) -> float:
    """Link compliance of a unit length across the member [mm²/N]; ``stretch`` is the sheet's E t
    (in plane strain, of `plane.in_plane`). What surrounds it in three dimensions is the same.

    The wavenumber of the load on the sheet is that of the beam on its foundation,
    ``(k_3D / 4EI)^(1/4)``, so the link does not depend on the mesh.
    """
    k = medium_lateral(modulus, poisson, diameter, bending)
    wavenumber = (k / (4.0 * bending)) ** 0.25
    return residual_compliance(k, sheet_line(stretch, _flat(poisson, plane), wavenumber))


def axial_compliance(modulus: float, poisson: float, stretch: float, diameter: float,
                     axial: float, outer: float, plane: Plane = Plane.STRESS) -> float:
    """Link compliance of a unit length along the thread [mm²/N]; wavenumber ``sqrt(k_3D / EA)``.

    ``outer`` [mm]: diameter of the cylinder, at most the depth of the sheet.
    """
    k = medium_axial(modulus, poisson, diameter, outer)
    wavenumber = float(np.sqrt(k / axial))
    return residual_compliance(k, sheet_line(stretch, _flat(poisson, plane), wavenumber))


def _flat(poisson: float, plane: Plane) -> float:
    return float(in_plane(1.0, poisson, plane)[1])


def spread_points(centre: FloatArray, along: FloatArray, length: float, diameter: float
                  ) -> tuple[FloatArray, FloatArray]:
    """Points and weights over which a station's force is spread: its length times one diameter.

    Two Gauss points along, five points across with the weights of a uniform strip; symmetric
    about the centre, so that no moment is added. Returns ``(10, 2)`` mm and ``(10,)``.
    """
    across = np.array([-along[1], along[0]])
    s = np.array([-1.0, 1.0]) * length / (2 * np.sqrt(3.0))
    n = np.linspace(-0.5, 0.5, 5) * diameter
    w = np.array([0.5, 1.0, 1.0, 1.0, 0.5])
    points = centre + s[:, None, None] * along + n[None, :, None] * across
    return points.reshape(-1, 2), np.tile(w, 2)


def keep_pairs(points: FloatArray, weights: FloatArray, inside: np.ndarray
               ) -> tuple[FloatArray, FloatArray]:
    """The pairs of a symmetric set with both points inside, so that no moment is added."""
    both = inside & inside[::-1]
    return points[both], weights[both]
