"""Figures of one answer: subsidence, step-off, slip, who carries the fragment, stress, yield."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.measures import edge_lengths
from buttress.bone.patches import patches
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.stress import principal, strain, to_nodes
from buttress.fe.bodies.stress import weights as area_weights
from buttress.fe.links.link import Kind
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import displacements, nodal_forces, pushes, resultant
from buttress.implants.hardware import Part
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.results.contact_figures import contact_result, graft_results, unknown_contacts
from buttress.results.contacts import contact_lines, percentile
from buttress.results.picture import centroid
from buttress.results.records import (
    BoneResult,
    CondyleResult,
    EdgeResult,
    FractureResult,
    FragmentResult,
    GraftResult,
    LoadResult,
    MemberResult,
)

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
    intact: dict[str, float]    # subsidence of the intact bone by fragment, mm a newton

    @staticmethod
    def of(bone: Bone, intact: dict[str, float]) -> Reader:
        return Reader(bone, tuple(_tissue(bone, i) for i in range(len(bone.bodies))), intact)

    def measures(self, model: Model, answer: Answer) -> dict[str, float]:
        """Displacements since the last tightening, mm."""
        p = model.problem
        now = p.measures(answer.load, answer.force, answer.rigid, answer.kink)
        if model.tightened is not None:
            t = model.tightened
            before = p.measures(t.load, t.force, t.rigid, t.kink)
            now = {k: v - before[k] for k, v in now.items()}
        return now

    def surface(self, values: dict[str, float], body: int) -> tuple[FloatArray, FloatArray]:
        """Subsidence (distal positive) of a body's joint nodes in the shaft's frame; shares."""
        return surface_subsidence(self.bone, values, body)

    def step_off(self, values: dict[str, float], edge: str) -> tuple[float, float]:
        """Step-off (unsigned, across the joint line) and gap (along it) of a fracture's lips."""
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
    """Mean subsidence of each fragment's joint surface in the intact bone, mm a newton."""
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


def read(reader: Reader, model: Model, answer: Answer, total: float
         ) -> tuple[LoadResult, list[FloatArray] | None]:
    """All figures of an answer, and nodal fields of strain over yield strain for pictures."""
    if not answer.held:
        return _unheld(reader, model, answer, total), None
    bone = reader.bone
    values = reader.measures(model, answer)
    fields = displacements(model.problem, answer)
    lines = contact_lines(model, answer)
    ratios, over, p95, p99 = bone_strain(reader, fields)
    share, moved = under_load(bone, values)
    edges = {e.name: EdgeResult(*reader.step_off(values, e.name)) for e in bone.edges}
    nodal = [to_nodes(b.mesh, r.max(axis=-1)) for b, r in zip(bone.bodies, ratios, strict=True)]
    return LoadResult(
        total_load_N=total, status=answer.status, method=answer.method, residual=answer.residual,
        complementarity=answer.complementarity, steps=answer.steps, edges=edges,
        fragments={bone.bodies[i].name: _fragment(reader, model, answer, values, i, total)
                   for i in bone.fragments},
        fractures=_fractures(model, answer), members=_members(model, answer),
        widening_mm=widening(bone, values),
        stiffness_N_per_mm=share * total / moved if moved > 0 else None, bone_over_yield=over,
        strain_ratio_p95=p95, strain_ratio_p99=p99,
        stations_at_capacity=stations_at_capacity(model, answer), escapes=None, notes=answer.notes,
        condyles=_condyles(reader, model, values, total),
        contacts={x.name: contact_result(x) for x in lines},
        grafts=graft_results(model, answer, lines, fields), bone=_bone(reader, ratios)), nodal


def _condyles(reader: Reader, model: Model, values: dict[str, float], total: float
              ) -> dict[str, CondyleResult]:
    out = {}
    for patch in patches(reader.bone.study):
        side = patch.name
        sunk, share = condyle_subsidence(reader.bone, values, side, model.hardware.loose)
        mean = worst = net = wider = None
        if sunk.size:
            mean, worst = float(sunk @ share), float(sunk.max())
            net = mean - total * reader.intact[f"condyle.{side}"]
        if not reader.bone.study.section.sagittal:
            outwards = values[f"rim {side} x"] - values["rim middle x"]
            wider = float(-outwards if side == "medial" else outwards)
        out[side] = CondyleResult(
            load_N=patch.share * total, subsidence_mean_mm=mean, subsidence_max_mm=worst,
            subsidence_net_mm=net, widening_mm=wider)
    return out


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


def _fragment(reader: Reader, model: Model, answer: Answer, values: dict[str, float],
              number: int, total: float) -> FragmentResult:
    bone = reader.bone
    body = bone.bodies[number]
    about = centroid(body.points, body.mesh.triangles)
    if body.name in model.hardware.loose:
        return FragmentResult(
            subsidence_mean_mm=None, subsidence_max_mm=None, subsidence_net_mm=None, tilt_deg=None,
            applied_N=(0.0, 0.0), applied_moment_Nmm=0.0, centroid_mm=_pair(about), forces_N={},
            moments_Nmm={}, balance_error=0.0)
    applied, sources = pushes(model.problem, answer, body, about)
    left = applied + sum(sources.values(), np.zeros(3))
    square = float(applied[:2] @ applied[:2])
    carried = None if square < (1e-9 * total) ** 2 else {
        k: -float(v[:2] @ applied[:2]) / square for k, v in sources.items()}
    width = bone.section.extent
    error = max(float(np.abs(left[:2]).max()) / total, abs(float(left[2])) / (total * width))
    nodes = bone.articular(number)[0]
    mean = worst = net = None
    if nodes.size:
        sunk, share = reader.surface(values, number)
        mean, worst = float(sunk @ share), float(sunk.max())
        net = mean - total * reader.intact[bone.solids[number].name]
    tilt = float(np.degrees(values[f"turn {number}"] - values["frame turn"]))
    return FragmentResult(
        subsidence_mean_mm=mean, subsidence_max_mm=worst, subsidence_net_mm=net, tilt_deg=tilt,
        applied_N=_pair(applied), applied_moment_Nmm=float(applied[2]), centroid_mm=_pair(about),
        forces_N={k: _pair(v) for k, v in sources.items()},
        moments_Nmm={k: float(v[2]) for k, v in sources.items()}, balance_error=error,
        carried_by=carried)


def _pair(vector: FloatArray) -> tuple[float, float]:
    return float(vector[0]), float(vector[1])


def _fractures(model: Model, answer: Answer) -> dict[str, FractureResult]:
    out = {}
    for face in (f.name for f in model.bone.study.fractures):
        slip = opening = 0.0
        for i, link in enumerate(model.problem.links.links):
            if link.source == face and link.kind == Kind.CONTACT_FRICTION:
                slip = max(slip, abs(float(answer.slack[i])))
            elif link.source == face and link.kind == Kind.CONTACT:
                opening = max(opening, -float(answer.slack[i]))
        size = min(b.mesh.size for b in model.bone.bodies)
        out[face] = FractureResult(slip, opening, slip > size)
    return out


def _members(model: Model, answer: Answer) -> dict[str, MemberResult]:
    forces = nodal_forces(model.problem, answer.load, answer.force)[len(model.solids):]
    turning = {h.source: 0 for h in model.problem.links.hinges}
    for kink, hinge in zip(answer.kink, model.problem.links.hinges, strict=True):
        turning[hinge.source] += bool(abs(kink) > 1e-12)
    out = {}
    for part, force in zip(model.hardware.parts, forces, strict=True):
        worst, axial = member_stress(part, force)
        out[part.name] = MemberResult(
            kind=part.kind, von_mises_MPa=worst, yield_ratio=worst / part.material.yield_strength,
            axial_N=axial, hinges=turning.get(part.name, 0))
    return out


def member_stress(part: Part, force: FloatArray) -> tuple[float, float]:
    """Largest von Mises stress [MPa] and the axial force of largest size [N] of a member.

    See `fibre_stress` for the stress of each element.
    """
    stress, inner = fibre_stress(part, force)
    largest = inner[int(np.argmax(np.abs(inner[:, 0]))), 0] if len(inner) else 0.0
    return float(stress.max(initial=0.0)), float(largest)


def fibre_stress(part: Part, force: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Von Mises stress of the outer fibres ``(k,)`` [MPa] of a member's elements; their forces.

    Bending and axial stress at the extreme fibres, mean shear beside them; a count of screws
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


def stations_at_capacity(model: Model, answer: Answer) -> int:
    """Screw stations whose bearing or thread carries all that it can."""
    count = 0
    for value, link in zip(answer.force, model.problem.links.links, strict=True):
        if link.kind in (Hold.BEARING, Hold.THREAD) and np.isfinite(link.upper) and link.upper > 0:
            count += abs(value) >= link.upper * (1.0 - AT_BOUND)
    return int(count)


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
    return ratios, *_over_yield(value, volume)


def _over_yield(ratio: FloatArray, volume: FloatArray) -> tuple[float, float, float]:
    """Share of volume over yield, 95th and 99th percentile by volume, of ratios ``(n,)``."""
    return (float(volume[ratio > 1.0].sum() / volume.sum()), percentile(ratio, volume, 0.95),
            percentile(ratio, volume, 0.99))


def _bone(reader: Reader, ratios: list[FloatArray]) -> dict[str, BoneResult]:
    """Yield piece by piece."""
    return {solid.name: BoneResult(float(tissue.volume.sum()),
                                   *_over_yield(ratio.ravel(), tissue.volume.ravel()))
            for solid, tissue, ratio in zip(reader.bone.solids, reader.tissues, ratios,
                                            strict=True)}


def _unheld(reader: Reader, model: Model, answer: Answer, total: float) -> LoadResult:
    """Nothing but what is known without equilibrium: the load on each fragment, who escapes."""
    bone = reader.bone
    load = bone.load_vector(total)
    fragments = {}
    for i in bone.fragments:
        body = bone.bodies[i]
        about = centroid(body.points, body.mesh.triangles)
        applied = np.zeros(3)
        for factor, case in zip(load, bone.loads, strict=True):
            for loaded, column in case:
                if loaded is body:
                    applied += factor * resultant(body, column, about)
        fragments[body.name] = FragmentResult(
            subsidence_mean_mm=None, subsidence_max_mm=None, subsidence_net_mm=None, tilt_deg=None,
            applied_N=_pair(applied), applied_moment_Nmm=float(applied[2]),
            centroid_mm=_pair(about), forces_N=None, moments_Nmm=None, balance_error=None)
    none = FractureResult(None, None, None)
    return LoadResult(
        total_load_N=total, status=answer.status, method=answer.method, residual=None,
        complementarity=None, steps=answer.steps,
        edges={e.name: EdgeResult(None, None) for e in bone.edges}, fragments=fragments,
        fractures={f.name: none for f in bone.study.fractures},
        members={p.name: MemberResult(
            kind=p.kind, von_mises_MPa=None, yield_ratio=None, axial_N=None, hinges=None)
            for p in model.hardware.parts},
        widening_mm=None, stiffness_N_per_mm=None, bone_over_yield=None, strain_ratio_p95=None,
        strain_ratio_p99=None, stations_at_capacity=None, escapes=escaping(model, answer),
        notes=answer.notes,
        condyles={p.name: CondyleResult(
            load_N=p.share * total, subsidence_mean_mm=None, subsidence_max_mm=None,
            subsidence_net_mm=None, widening_mm=None) for p in patches(bone.study)},
        contacts=unknown_contacts(model),
        grafts={f.name: GraftResult() for f in model.hardware.fills},
        bone={s.name: BoneResult(float(t.volume.sum()))
              for s, t in zip(bone.solids, reader.tissues, strict=True)})


def escaping(model: Model, answer: Answer) -> str | None:
    """Name of the body that moves most in the escape; None where there is no escape motion."""
    if answer.escape is None:
        return None
    size = np.abs(answer.escape.rigid)
    if not size.size or size.max() == 0.0:
        return None
    # A fragment before what is joined to it, if it moves at all: a stripped screw goes alone.
    fragments = [j for j in range(size.size) if size[j] > 1e-6 * size.max()
                 and model.problem.rigid_body[j] in model.bone.fragments]
    best = max(fragments or range(size.size), key=lambda j: float(size[j]))
    return model.problem.bodies[int(model.problem.rigid_body[best])].name
