"""At which load each limit of a study is reached, and where.

A gauge is a figure of an answer over its limit, so that 1 is the limit. Gauges are taken to rise
with the load; the first load at which one reaches 1 is searched by `search.Search`. Bone over
yield is searched through the percentile of strain that stands for the share of volume: the share
itself is zero for long and then steep, the percentile grows almost evenly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from buttress.bone.measures import rims
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import displacements, nodal_forces
from buttress.model.model import Model
from buttress.results.read import Reader, bone_strain, fibre_stress, widening
from buttress.results.records import BEYOND, NOT_KNOWN, LetsGo, LimitResult, LoadResult, Where
from buttress.results.search import NOT_FOUND, Gauge, Reading, Search, not_found
from buttress.study.activities import newtons
from buttress.study.loads import LimitsInput
from buttress.study.tables import number

EQUILIBRIUM = "equilibrium"
"""The limit at which loading step by step ends."""
P99 = 0.01
"""Share of volume for which every answer of the study has its percentile of strain already."""


def gauges(reader: Reader, model: Model, limits: LimitsInput, loads: Sequence[LoadResult]
           ) -> tuple[Gauge, ...]:
    """The gauges of a construct in the order of their report."""
    share = limits.bone_over_yield_share
    strained = {r.total_load_N: r.strain_ratio_p99 for r in loads
                if share == P99 and r.strain_ratio_p99 is not None}
    return (
        Gauge(
            name="step-off", key="step_off_mm", limit=limits.step_off_mm, unit="mm",
            read=lambda a: step_off(reader, model, a), known={}),
        Gauge(
            name="depression", key="depression_mm", limit=limits.depression_mm, unit="mm",
            read=lambda a: depression(reader, model, a), known={}),
        Gauge(
            name="widening", key="widening_mm", limit=limits.widening_mm, unit="mm",
            read=lambda a: wider(reader, model, a), known={}),
        Gauge(
            name="bone over yield", key="bone_over_yield_share", limit=1.0,
            unit="strain / yield strain", read=lambda a: strained_bone(reader, model, a, share),
            known=strained),
        Gauge(
            name="metal over yield", key="metal_yield_ratio", limit=limits.metal_yield_ratio,
            unit="stress / yield stress", read=lambda a: stressed_metal(model, a), known={}))


def moved_joint(reader: Reader, model: Model) -> Gauge:
    """The gauge by which constructs are ordered: the joint has moved as far as matters."""
    return Gauge(
        name="movement", key="", limit=number("anatomy", "limits", "movement"), unit="mm",
        read=lambda a: movement(reader, model, a), known={})


def movement(reader: Reader, model: Model, answer: Answer) -> Reading | None:
    """Largest of the net subsidence of fragments and of step-off and gap of lips [mm]."""
    values, bone = reader.measures(model, answer), reader.bone
    total = float(answer.load.sum() / bone.load_vector(1.0).sum())
    found = [Reading(max(reader.step_off(values, e.name)), Where(e.name, None))
             for e in bone.edges]
    for i in bone.fragments:
        name = bone.solids[i].name
        if bone.articular(i)[0].size and bone.bodies[i].name not in model.hardware.loose:
            sunk, share = reader.surface(values, i)
            found.append(Reading(float(sunk @ share) - total * reader.intact[name],
                                 Where(name, None)))
    return max(found, key=lambda r: r.value, default=None)


def step_off(reader: Reader, model: Model, answer: Answer) -> Reading | None:
    """Largest step-off of all lips [mm]; None where no fracture reaches the joint."""
    values, bone = reader.measures(model, answer), reader.bone
    found = [Reading(reader.step_off(values, e.name)[0], _where(e.name, 0.5 * (
        bone.bodies[e.body_a].points[e.node_a] + bone.bodies[e.body_b].points[e.node_b])))
        for e in bone.edges]
    return max(found, key=lambda r: r.value, default=None)


def depression(reader: Reader, model: Model, answer: Answer) -> Reading | None:
    """Largest subsidence of any point of a fragment's joint surface [mm]."""
    values, bone, found = reader.measures(model, answer), reader.bone, []
    for i in bone.fragments:
        nodes = bone.articular(i)[0]
        if nodes.size and bone.bodies[i].name not in model.hardware.loose:
            sunk, _ = reader.surface(values, i)
            worst = int(np.argmax(sunk))
            found.append(Reading(float(sunk[worst]), _where(
                bone.solids[i].name, bone.bodies[i].points[nodes[worst]])))
    return max(found, key=lambda r: r.value, default=None)


def wider(reader: Reader, model: Model, answer: Answer) -> Reading | None:
    """How far the rims of the plateau part [mm], told at the rim that moves more in the frame."""
    values, bone = reader.measures(model, answer), reader.bone
    apart = widening(bone, values)
    if apart is None:
        return None
    moved = []
    for (side, body, node), sign in zip(rims(bone.bodies, bone.study.section.sides), (-1.0, 1.0),
                                        strict=True):
        place = bone.bodies[body].points[node]
        frame = values["frame x"] - values["frame turn"] * (place[1] - bone.frame_centre[1])
        moved.append((sign * (values[f"rim {side} x"] - frame),
                      _where(bone.solids[body].name, place)))
    return Reading(apart, max(moved, key=lambda m: m[0])[1])


def strained_bone(reader: Reader, model: Model, answer: Answer, share: float) -> Reading:
    """Strain over yield strain that a share of the bone's volume exceeds; where such bone lies.

    Over 1 just where more than that share of the volume is over yield. The place is the point of
    that bone next to its centre, in the piece that has most of it.
    """
    ratios = bone_strain(reader, displacements(model.problem, answer))[0]
    volumes = [t.volume for t in reader.tissues]
    value = np.concatenate([r.ravel() for r in ratios])
    weight = np.concatenate([v.ravel() for v in volumes])
    order = np.argsort(value)
    rising = np.cumsum(weight[order]) / weight.sum()
    at = order[min(int(np.searchsorted(rising, 1.0 - share)), value.size - 1)]
    top = float(value[at])
    most = max(range(len(ratios)), key=lambda i: float(volumes[i][ratios[i] >= top].sum()))
    inside = (ratios[most] >= top).any(axis=-1)
    points = quadrature_points(reader.bone.bodies[most].mesh)[inside]
    held = (volumes[most] * (ratios[most] >= top)).sum(axis=-1)[inside]
    centre = (points * held[:, None]).sum(axis=0) / max(held.sum(), 1e-300)
    nearest = points[int(np.argmin(np.hypot(*(points - centre).T)))]
    return Reading(top, _where(reader.bone.solids[most].name, nearest))


def stressed_metal(model: Model, answer: Answer) -> Reading | None:
    """Largest stress over yield stress of all plates, screws and wires; None without metal."""
    forces = nodal_forces(model.problem, answer.load, answer.force)[len(model.solids):]
    found = []
    for part, force in zip(model.hardware.parts, forces, strict=True):
        stress = fibre_stress(part, force)[0]
        if stress.size:
            worst = int(np.argmax(stress))
            found.append(Reading(float(stress[worst]) / part.material.yield_strength, _where(
                part.name, part.member.points[worst:worst + 2].mean(axis=0))))
    return max(found, key=lambda r: r.value, default=None)


def find_limits(search: Search, found: Sequence[Gauge], letting_go: tuple[LetsGo, ...],
                escapes: str | None) -> dict[str, LimitResult]:
    """The load at which each limit is reached, with its place, or the words why there is none."""
    out = {gauge.name: find_limit(search, gauge) for gauge in found}
    for gauge in found:     # last, since every search adds loads that are solved
        if not_found(out[gauge.name]):
            out[gauge.name] = replace(out[gauge.name], kept_to_N=search.kept_to(gauge))
    out[EQUILIBRIUM] = _capacity(search, letting_go, escapes)
    return out


def find_limit(search: Search, gauge: Gauge) -> LimitResult:
    """The load at which one limit is reached, or the words why there is none."""
    reached, about = search.reach(gauge), (gauge.key, gauge.limit, gauge.unit)
    if not isinstance(reached, str):
        return LimitResult(reached[0], reached[1].where, *about)
    found = LimitResult(None, None, *about, reached)
    return replace(found, kept_to_N=search.kept_to(gauge)) if not_found(found) else found


def _capacity(search: Search, letting_go: tuple[LetsGo, ...], escapes: str | None) -> LimitResult:
    """Where stepwise loading ends; the place is what is at its bound in limit analysis (in the
    one without friction where friction alone would hold any load)."""
    about = ("", None, "N")
    if search.ends_status == BEYOND:
        return LimitResult(None, None, *about, "beyond the search limit")
    if search.ends_status == NOT_KNOWN:
        return LimitResult(None, None, *about, f"{NOT_FOUND}: answers did not converge",
                           search.known_to)
    if search.known_to > 0.0 and letting_go:
        first = letting_go[0]
        return LimitResult(search.ends, Where(f"{first.kind} of {first.source}", first.place_mm),
                           *about)
    return LimitResult(search.ends, Where(escapes, None) if escapes else None, *about)


def kept_words(name: str, limit: LimitResult) -> str:
    """What is known of a limit whose search did not converge."""
    kept = f"{newtons(round(limit.kept_to_N or 0.0))} N"
    if name == EQUILIBRIUM:
        return f"equilibrium is known up to {kept}; above it answers did not converge"
    return f"the search for {name} did not converge; it is kept up to {kept}"


def lowest(limits: dict[str, LimitResult]) -> str | None:
    """Name of the limit that is reached at the lowest load, None where none is reached."""
    found = [(r.load_N, name) for name, r in limits.items() if r.load_N is not None]
    return min(found, key=lambda x: x[0])[1] if found else None


def first_words(limits: dict[str, LimitResult], search_limit: float, without_load: str
                ) -> str:
    """Which limit is reached first as the load rises, in words.

    ``without_load``: why a construct that holds no load at all does not.
    """
    name = lowest(limits)
    least = search_limit if name is None else limits[name].load_N or 0.0
    lost = "".join(f"; {kept_words(n, r)}" for n, r in limits.items()
                   if not_found(r) and (r.kept_to_N or 0.0) < least)
    if name is None:
        return ("none found" if lost else f"none below {newtons(search_limit)} N") + lost
    limit = limits[name]
    where = (f" ({limit.where.words})" if limit.where else "") + lost
    if name == EQUILIBRIUM and limit.load_N == 0.0:
        return f"equilibrium: {without_load}{where}"
    if limit.load_N == 0.0:
        return f"{limit_words(name, limit)} by tightening alone{where}"
    return f"{limit_words(name, limit)} at about {limit.load_N:.0f} N{where}"


def limit_words(name: str, limit: LimitResult) -> str:
    """What happens at a limit: ``step-off reaches 2 mm``."""
    if name == EQUILIBRIUM:
        return "equilibrium ends"
    if name == "bone over yield":
        return "more bone is over yield than its limit"
    if name == "metal over yield":
        return "metal reaches yield" if limit.limit == 1.0 else (
            f"metal reaches {limit.limit:g} of yield")
    return f"{name} reaches {limit.limit:g} {limit.unit}"


def _where(part: str, point: FloatArray) -> Where:
    return Where(part, (float(point[0]), float(point[1])))
