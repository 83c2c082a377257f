"""Vectors in the plane, arrays of them at once."""

from __future__ import annotations

import numpy as np

from buttress.fe.arrays import FloatArray


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Moment of ``b (..., 2)`` at the arm ``a (..., 2)``."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def left_of(a: FloatArray) -> FloatArray:
    """Vectors ``(..., 2)`` turned by a right angle, counter-clockwise."""
    return np.stack([-a[..., 1], a[..., 0]], axis=-1)


def turned(angle: FloatArray, a: FloatArray) -> FloatArray:
    """Vectors ``(..., 2)`` turned by angles ``(...)`` [rad]."""
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([cos * a[..., 0] - sin * a[..., 1], sin * a[..., 0] + cos * a[..., 1]], axis=-1)
