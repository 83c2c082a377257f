"""How sharp the elements of a mesh are, next to what its outline allows."""

from __future__ import annotations

import numpy as np

from buttress.fe.mesh.t6 import Mesh
from buttress.fe.mesh.triangulate import SMALLEST_ANGLE, angles


def to_spare(mesh: Mesh) -> float:
    """Least angle of an element [degrees] above the required one, which is that of the body itself
    at a corner sharper than `SMALLEST_ANGLE`."""
    corners, found = mesh.triangles[:, :3], angles(mesh.points, mesh.triangles)
    whole = np.bincount(corners.ravel(), found.ravel(), minlength=len(mesh.points))
    gate = np.minimum(SMALLEST_ANGLE, whole[corners].min(axis=1))
    return float((found.min(axis=1) - gate).min())
