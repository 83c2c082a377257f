"""What the reader of answers rests on: surfaces, lips, stress of members, strain over yield."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.measures import edge_lengths
from buttress.bone.patches import patches
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.stress import principal, strain
from buttress.fe.bodies.stress import weights as area_weights
from buttress.fe.solve.answer import Answer
from buttress.implants.hardware import Part
from buttress.model.model import Model
from buttress.results.contacts import percentile

FloatArray = np.ndarray
AT_BOUND = 1e-6
"""A station counts as at capacity when its force is this close to a bound, relative to it."""


@dataclass(frozen=True)
class Tissue:
    """Depth of core and cortex and their yield strains at a body's quadrature points."""

    volume: FloatArray      # (m, q, 2) core, cortex, mm³
    compression: FloatArray  # (m, q, 2) yield strain
    tension: FloatArray     # (m, q, 2)


@dataclass(frozen=True)
class Reader:
    """Reads figures from answers of one bone; holds what all its constructs share."""

    bone: Bone
    tissues: tuple[Tissue, ...]
    intact: dict[str, float]    # subsidence of the intact bone by fragment, mm per newton

    @staticmethod
    def of(bone: Bone, intact: dict[str, float]) -> Reader:
        """The reader of a bone; ``intact``: subsidence without fracture [mm/N], by fragment."""
        return Reader(bone, tuple(_tissue(bone, i) for i in range(len(bone.bodies))), intact)

    def measures(self, model: Model, answer: Answer) -> dict[str, float]:
        """Displacements since the last tightening, mm."""
        p = model.problem
        now = (answer.moved or p).measures(answer.load, answer.force, answer.rigid, answer.kink)
        if model.tightened is not None:
            t = model.tightened
            before = p.measures(t.load, t.force, t.rigid, t.kink)
            now = {k: v - before[k] for k, v in now.items()}
        return now

    def surface(self, values: dict[str, float], body: int) -> tuple[FloatArray, FloatArray]:
        """Subsidence (distal positive) of a body's joint nodes in the shaft's frame; shares."""
        return surface_subsidence(self.bone, values, body)

    def step_off(self, values: dict[str, float], edge: str) -> tuple[float, float]:
        """Step-off (unsigned, across the joint line) and gap (along it) of two lips [mm]."""
        apart = np.array([values[f"lip b {edge} {k}"] - values[f"lip a {edge} {k}"] for k in "xy"])
        line = self.bone.section.joint_direction
        along, across = apart @ line, apart @ np.array([-line[1], line[0]])
        e = next(x for x in self.bone.edges if x.name == edge)
        # The gap opens when the two sides move apart along the joint line.
        side = np.sign(self.bone.bodies[e.body_b].points[:, 0].mean()
                       - self.bone.bodies[e.body_a].points[:, 0].mean())
        return abs(float(across)), float(side * along)


def surface_subsidence(bone: Bone, values: dict[str, float], body: int
                       ) -> tuple[FloatArray, FloatArray]:
    """Subsidence of a body's joint nodes from measures, in the shaft's frame, and their shares."""
    nodes, share = bone.articular(body)
    x = bone.bodies[body].points[nodes, 0]
    uy = np.array([values[f"joint {body} {n} y"] for n in nodes])
    ref = values["frame y"] + values["frame turn"] * (x - bone.frame_centre[0])
    return ref - uy, share


def intact_subsidence(bone: Bone, values: dict[str, float]) -> dict[str, float]:
    """Mean subsidence of each fragment's joint surface in the intact bone, mm per newton."""
    out = {}
    for i in bone.fragments:
        sunk, share = surface_subsidence(bone, values, i)
        out[bone.solids[i].name] = float(sunk @ share)
    for patch in patches(bone.study):
        sunk, share = condyle_subsidence(bone, values, patch.name)
        out[f"condyle.{patch.name}"] = float(sunk @ share)
    return out


def condyle_subsidence(bone: Bone, values: dict[str, float], side: str,
                       without: Collection[str] = ()) -> tuple[FloatArray, FloatArray]:
    """Subsidence of the joint nodes of all pieces of one condyle, and their shares.

    The condyles meet at the midline; a slice shows one of them. ``without``: pieces left out.
    """
    sunk, shares = [np.zeros(0)], [np.zeros(0)]
    for i, body in enumerate(bone.bodies):
        nodes = bone.articular(i)[0]
        mine = np.sign(body.points[nodes, 0]) == (-1.0 if side == "medial" else 1.0)
        mine |= bone.study.section.sagittal
        mine &= body.name not in without
        sunk.append(surface_subsidence(bone, values, i)[0][mine])
        shares.append(edge_lengths(body.mesh, "joint")[nodes[mine]])
    long = np.concatenate(shares)
    return np.concatenate(sunk), long / max(float(long.sum()), 1e-300)


def _tissue(bone: Bone, number: int) -> Tissue:
    body, section = bone.bodies[number], bone.section
    xy = quadrature_points(body.mesh)
    core, chord = section.core_thickness(xy), section.thickness(xy)
    # A fragment less deep than the bone has core and cortex in proportion.
    area = area_weights(body.mesh) * bone.solids[number].piece.depth(xy) / chord
    volume = np.stack([area * core, area * (chord - core)], axis=-1)
    under = section.below(xy) < bone.study.section.subchondral_mm
    limits = {t: section.yield_strain(t) for t in ("core", "subchondral", "cortex")}
    both = []
    for k in (0, 1):
        inner = np.where(under, limits["subchondral"][k], limits["core"][k])
        both.append(np.stack([inner, np.full_like(inner, limits["cortex"][k])], axis=-1))
    return Tissue(volume, both[0], both[1])


def widening(bone: Bone, values: dict[str, float]) -> float | None:
    """By how much the plateau grows wider, mm; None in a slice, which does not show its width."""
    if bone.study.section.sagittal:
        return None
    low, high = bone.study.section.sides
    return values[f"rim {high} x"] - values[f"rim {low} x"]


def under_load(bone: Bone, values: dict[str, float]) -> tuple[float, float]:
    """Share of the joint force that the section takes, and how far its patches move, mm.

    The movement is along the load, weighted as the load, in the frame of the shaft.
    """
    where = patches(bone.study)
    share = sum(p.share for p in where)
    if share == 0.0:
        return 0.0, 0.0
    weights = np.array([p.share for p in where]) / share
    moved = float(weights @ [values[f"under load {p.name}"] for p in where])
    angle = np.radians(bone.study.load.direction_deg)
    x = float(weights @ [p.centre for p in where])
    arm = np.array([x, float(bone.section.joint(x))]) - bone.frame_centre
    turn = values["frame turn"]
    frame = np.array([values["frame x"] - turn * arm[1], values["frame y"] + turn * arm[0]])
    return share, moved - float(frame @ np.array([np.sin(angle), -np.cos(angle)]))


def fibre_stress(part: Part, force: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Von Mises stress of the outer fibres ``(k,)`` [MPa] of a member's elements; their forces.

    Bending and axial stress at the extreme fibres, with the mean shear; a count of screws
    shares the forces evenly.
    """
    inner = part.member.internal_forces(force) / part.count
    area = np.array([s.area for s in part.sections])
    inertia = np.array([s.inertia for s in part.sections])
    fibre = np.array([max(s.outer, s.inner) for s in part.sections])
    bending = np.abs(inner[:, 2:]).max(axis=1) * fibre / inertia
    direct = np.abs(inner[:, 0]) / area + bending
    shear = inner[:, 1] / area
    return np.sqrt(direct**2 + 3.0 * shear**2), inner


def stations_at_capacity(model: Model, answer: Answer, stations: FloatArray | None = None) -> int:
    """Screw stations whose bearing or thread carries all that it can.

    The bounds are those of the problem that was solved, which a sweep may have scaled.
    ``stations``: which links are stations, where that is known.
    """
    p = model.problem
    if stations is None:
        stations = np.array([x.kind in ("bearing", "thread") for x in p.links.links], dtype=bool)
    bound = stations & np.isfinite(p.upper) & (p.upper > 0)
    return int((np.abs(answer.force[bound]) >= p.upper[bound] * (1.0 - AT_BOUND)).sum())


def bone_strain(reader: Reader, fields: list[FloatArray]
                ) -> tuple[list[FloatArray], float, float, float]:
    """Strain over yield strain ``(m, q, 2)`` a body (core, cortex), share of volume over yield,
    and the 95th and 99th percentiles by volume."""
    ratios, flat, volumes = [], [], []
    for body, tissue, u in zip(reader.bone.bodies, reader.tissues, fields, strict=False):
        main = principal(strain(body.mesh, u))
        high, low = main[..., 0, None], main[..., 1, None]
        ratio = np.maximum(np.maximum(high, 0.0) / tissue.tension,
                           np.maximum(-low, 0.0) / tissue.compression)
        ratios.append(ratio)
        flat.append(ratio.ravel())
        volumes.append(tissue.volume.ravel())
    value, volume = np.concatenate(flat), np.concatenate(volumes)
    return ratios, *over_yield(value, volume)


def over_yield(ratio: FloatArray, volume: FloatArray) -> tuple[float, float, float]:
    """Share of volume over yield, 95th and 99th percentile by volume, of ratios ``(n,)``."""
    return (float(volume[ratio > 1.0].sum() / volume.sum()), percentile(ratio, volume, 0.95),
            percentile(ratio, volume, 0.99))
