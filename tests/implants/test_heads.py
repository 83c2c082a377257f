"""Heads and washers press on bone on both sides of their hole; so do a plate's ends."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from buttress.bench.expect import expectations
from buttress.bench.run import study_of
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.member import Member
from buttress.fe.links.link import End, Link
from buttress.implants.kinds import Hold
from buttress.implants.pins import heads_of
from buttress.implants.placement import screw_axis
from buttress.implants.plates import ON_NODE
from buttress.model.install import made_ready
from buttress.model.model import Bones, Model, assemble
from buttress.study.read import study_from
from buttress.sweeps.vary import plain
from buttress.verification.studies import coarse

# HB 6.5: head 8 mm, thread 6.5 mm; a washer is twice as wide (screws.toml).
RIM, WASHER = (8.0 + 6.5) / 4.0, (16.0 + 6.5) / 4.0


def lag(**more: Any) -> Model:
    """One lag screw at right angles to the shaft, far below the fracture."""
    data = plain(coarse("medial-shear", "lag screws"))
    [construct] = data["construct"]
    construct["screw"] = [construct["screw"][0] | {
        "height_mm": -90, "length_mm": 26, "thread_mm": 16, "washer": False, "angle_deg": 0} | more]
    study = study_from(data)
    return assemble(Bones(study).of(study.constructs[0]), study.constructs[0])


def of(model: Model, kind: str) -> list[Link]:
    return [x for x in model.problem.links.links if x.kind == kind]


@pytest.mark.parametrize("washer", [False, True])
def test_a_head_presses_at_the_mean_radius_of_its_ring(washer: bool) -> None:
    model = lag(washer=washer)
    rims = of(model, Hold.HEAD_ON_BONE)
    assert [(x.lower, x.upper, x.opens) for x in rims] == [(0.0, math.inf, True)] * 2
    apart = np.ptp([x.place for x in rims], axis=0)
    assert apart[1] == pytest.approx(2.0 * (WASHER if washer else RIM), rel=1e-6)
    assert {x.friction for x in of(model, Hold.HEAD_ON_BONE_FRICTION)} == {0.37}


def moved(end: End, origin: np.ndarray) -> list[float]:
    """Work of an end's unit force on the three rigid motions of everything about a place."""
    body, column = end.body, end.column
    assert column is not None
    if isinstance(body, Member):
        x, y = (body.points - origin).T
        motions = [np.stack(m, axis=1).ravel() for m in (
            [1 + 0 * x, 0 * x, 0 * x], [0 * x, 1 + 0 * x, 0 * x], [-y, x, 1 + 0 * x])]
    else:
        assert isinstance(body, Continuum)
        x, y = (body.points - origin).T
        motions = [np.stack(m, axis=1).ravel() for m in (
            [1 + 0 * x, 0 * x], [0 * x, 1 + 0 * x], [-y, x])]
    return [float(column.values @ m[column.dofs]) for m in motions]


@pytest.mark.parametrize("name", ["medial-shear", "lateral-split"])
def test_the_forces_of_every_contact_of_a_head_or_plate_balance(name: str) -> None:
    study = coarse(name)
    bones, seen = Bones(study), set()
    for construct in study.constructs:
        for link in assemble(bones.of(construct), construct).problem.links.links:
            if link.kind.startswith(("head on", "plate on")):
                a, b = (moved(end, np.zeros(2)) for end in (link.a, link.b))
                assert a == pytest.approx(b, abs=1e-8), link
                seen.add(link.kind)
    assert {Hold.HEAD_ON_BONE, Hold.HEAD_ON_BONE_FRICTION} <= seen


def test_tension_is_shared_and_moves_to_one_side_under_load() -> None:
    """Statics: forces P/2 on either side; they move towards an edge, their sum is the head's."""
    study = coarse("medial-shear", "lag screws")
    model = made_ready(assemble(Bones(study).of(study.constructs[0]), study.constructs[0]))
    head = list(heads_of(model.problem.links)["upper lag"])
    assert model.tightened is not None
    assert model.tightened.force[head] == pytest.approx([200.0, 200.0], rel=1e-9)
    loaded = model.answer(1500.0)
    assert loaded.held
    assert np.ptp(loaded.force[head]) > 1.0


def test_a_washer_over_the_end_of_a_fracture_lies_on_both_pieces() -> None:
    [test] = [t for t in expectations() if t.study == "lateral-split-third-screw"]
    study = study_of(test)
    construct = next(c for c in study.constructs if "third" in c.name)
    bone = Bones(study).of(construct)
    model = assemble(bone, construct)
    third = next(s for s in construct.screws if s.name == "third screw")
    head = screw_axis(bone.section, third, construct.plates).head
    owner = {id(s.body): s.name for s in model.solids}
    below = {owner[id(x.b.body)]: x.place[1] < head[1] for x in of(model, Hold.HEAD_ON_BONE)
             if x.source == third.name}
    assert below == {"lateral wedge": False, "shaft": True}


def test_a_plate_presses_on_bone_at_its_very_ends() -> None:
    study = coarse("medial-shear", "antiglide")
    model = assemble(Bones(study).of(study.constructs[0]), study.constructs[0])
    plate = model.hardware.parts[0]
    touches = [x for x in of(model, Hold.PLATE_ON_BONE) if x.b.body is plate.member]
    nodes = {int(x.b.column.dofs[0]) // 3 for x in touches if x.b.column is not None}
    points = plate.member.points
    for end in (points[0], points[-1]):
        assert min(math.dist(end, points[k]) for k in nodes) < ON_NODE
