"""What reduction leaves in a fracture: faces apart, a fragment beside its place, debris between.

A fragment left low (or high) by a step is moved as a rigid piece: by the step along the long axis,
and to the side until its faces touch again. Where its faces bend, only a part of them touches, and
the others stand apart by the geometry of that motion.
"""

from __future__ import annotations

import numpy as np

from buttress.bone.bone import Bone
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.bodies import Interface
from buttress.study.study import Fragment
from buttress.study.tables import number

UPRIGHT = 1e-9
"""Normals with a smaller share of x belong to a level face, which a motion to the side keeps."""
CLOSED = 1e-9
"""Overlap [mm] that is rounding."""


def gaps(bone: Bone, face: Interface) -> FloatArray:
    """Distance of the faces at each node of a fracture ``(k,)`` [mm], before anything is tightened.

    Raises InputError for a step that a fragment cannot have been left with.
    """
    found = np.full(len(face.nodes_a), fracture_gap(bone, face))
    for body, sign in ((face.body_a, -1.0), (face.body_b, 1.0)):
        moved = step_of(bone, body)
        if moved is not None:
            found += sign * (face.normal @ moved)
    return np.where(np.abs(found) < CLOSED, 0.0, found)


def fracture_gap(bone: Bone, face: Interface) -> float:
    """The gap of a fracture in the study [mm]."""
    return next(f.gap_mm for f in bone.study.fractures if f.name == face.name)


def layer(bone: Bone, face: Interface, area: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Compliance of a fracture's layer of debris at its nodes ``(k,)``, across and along it [mm/N].

    A thin layer of thickness t and modulus E: t / (E A) across it and t / (G A) along it.
    """
    given = next(f for f in bone.study.fractures if f.name == face.name)
    if given.layer_mm == 0.0:
        return np.zeros_like(area), np.zeros_like(area)
    across = given.layer_mm / (given.layer_modulus * area)
    return across, 2.0 * (1.0 + number("materials", "debris", "poisson")) * across


def step_of(bone: Bone, body: int) -> FloatArray | None:
    """Motion ``(2,)`` [mm] by which reduction has left a body beside its place; None for none."""
    name = bone.solids[body].name
    given = next((f for f in bone.study.fragments if f.name == name), None)
    if given is None or given.step_mm == 0.0 or body == bone.shaft:
        return None
    normals = [(-1.0 if face.body_a == body else 1.0) * face.normal
               for face in bone.interfaces if body in (face.body_a, face.body_b)]
    return slid(given, np.concatenate([np.zeros((0, 2)), *normals]))


def slid(fragment: Fragment, inward: FloatArray) -> FloatArray:
    """The motion ``(2,)`` [mm] of a fragment left low by its step.

    ``inward (k, 2)``: unit normals of its faces at their nodes, into the fragment. Of all motions
    to the side that open no overlap, the smallest at which a face touches. Raises InputError where
    there is none.
    """
    down = -fragment.step_mm
    # gap_i = dx n_x + down n_y >= 0
    slanted = np.abs(inward[:, 0]) > UPRIGHT
    ends = -down * inward[slanted, 1] / inward[slanted, 0]
    right = inward[slanted, 0] > 0
    low, high = ends[right].max(initial=-np.inf), ends[~right].min(initial=np.inf)
    level = down * inward[~slanted, 1]
    if low > high + CLOSED or level.min(initial=0.0) < -CLOSED:
        raise InputError("the fragment would cut into its neighbours",
                         key=f"fragment.{fragment.name}.step_mm", value=f"{fragment.step_mm:g}",
                         expected="0, or a step by which it can slide along its fractures, as one "
                                  "of the other sign may")
    near = [float(x) for x in (low, high) if np.isfinite(x)]
    return np.array([min(near, key=abs) if near else 0.0, down])
