"""Heads press on a plate on both sides of the hole; around a hole a plate is as narrow as it is."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.fe.links.link import LinkList
from buttress.fe.solve.answer import Answer
from buttress.implants.hardware import SAME_PLACE, Hardware
from buttress.implants.pins import heads_of
from buttress.implants.placement import plate_line
from buttress.implants.plates import add_plate
from buttress.implants.sections import rim, section_at
from buttress.model.install import made_ready
from buttress.model.model import Bones, Model, assemble
from buttress.study.read import study_from
from buttress.sweeps.vary import plain
from buttress.verification.studies import coarse


@pytest.fixture(scope="module")
def models() -> dict[str, Model]:
    study = coarse("medial-shear")
    bones = Bones(study)
    return {c.name: assemble(bones.of(c), c) for c in study.constructs if c.plates}


def test_rim_is_halfway_between_hole_and_edge_of_the_head(models: dict[str, Model]) -> None:
    construct = models["antiglide"].construct
    # A 6 mm head over a 4.5 mm hole: radii 3 and 2.25 mm.
    assert rim(construct.screws[0], construct.plates[0], 29.0) == pytest.approx(2.625)


def test_a_head_presses_on_either_side_of_its_axis_along_the_plate(models: dict[str, Model]
                                                                    ) -> None:
    model = models["antiglide + screw"]
    plate, links = model.construct.plates[0], model.problem.links
    line = plate_line(model.bone.section, plate)
    assert model.construct.screws
    for screw in model.construct.screws:
        head = heads_of(links)[screw.name]
        places = np.array([links.links[i].place for i in head])
        assert screw.hole is not None
        point, normal, offset = line.at(line.holes[screw.hole - 1])
        assert places.mean(axis=0) == pytest.approx(point + offset * normal, abs=1e-9)
        apart = places[1] - places[0]
        assert np.hypot(*apart) == pytest.approx(2 * 2.625, rel=1e-9)
        assert apart @ normal == pytest.approx(0.0, abs=1e-9)
        assert all(links.links[i].opens for i in head)


def test_tightening_is_shared_by_both_edges(models: dict[str, Model]) -> None:
    model = made_ready(models["antiglide + screw"])
    head = heads_of(model.problem.links)["fragment lag"]
    answer = model.tightened
    assert isinstance(answer, Answer)
    assert answer.force[list(head)] == pytest.approx([250.0, 250.0], rel=1e-9)


def test_under_load_a_head_presses_more_on_one_edge(models: dict[str, Model]) -> None:
    model = made_ready(models["antiglide"])
    answer = model.answer(500.0)
    assert answer.held
    heads = heads_of(model.problem.links)
    forces = np.array([answer.force[list(heads[s.name])] for s in model.construct.screws])
    # Nothing is tightened, and the plate turns about an edge of each head that holds it.
    assert (forces.min(axis=1) < 0.5 * forces.max(axis=1)).any()


def test_limit_analysis_lets_a_tightened_head_tilt(models: dict[str, Model]) -> None:
    model = models["antiglide + screw"]
    found = model.capacity()
    head = list(heads_of(model.problem.links)["fragment lag"])
    assert found.force is not None
    assert found.force[head].sum() == pytest.approx(500.0, rel=1e-6)
    assert np.ptp(found.force[head]) > 1.0


@pytest.mark.parametrize("name", ["antiglide", "straight plate"])
def test_around_a_hole_a_plate_is_weak_over_the_diameter(models: dict[str, Model], name: str
                                                         ) -> None:
    plate = models[name].construct.plates[0]
    seat = add_plate(models[name].bone, plate, LinkList(), Hardware())
    found = section_at(plate, 0.0)
    weak = [found.net == section for section in seat.part.sections]
    assert len(seat.line.holes) > 1
    for hole in seat.line.holes:
        near = (np.abs(0.5 * (seat.s[:-1] + seat.s[1:]) - hole) < 6.0) & weak
        # Stations closer than `SAME_PLACE` to each other are one.
        assert np.diff(seat.s)[near].sum() == pytest.approx(found.hole, abs=2 * SAME_PLACE)


LOCKED = {"what": ["low", "mid"]}
HELD = [{"name": name, "form": "HA 3.5", "plate": "plate", "hole": hole, "length_mm": 40}
        for name, hole in (("low", 5), ("mid", 4))]


@cache
def fastened(how: str) -> Model:
    """Two screws of a plate without friction below a frictionless plane: "free", "locked", or
    "later", locked by a stage before any load."""
    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": 5.0, "coarse_mm": 10.0}
    data["fracture"][0]["friction"] = 0.0
    plate = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -30,
             "length_mm": 70, "friction": 0.0}
    stages = {"stage": [{"do": "lock", **LOCKED}]} if how == "later" else {}
    data["construct"] = [{"name": "c", "plate": [plate], **stages,
                          "screw": [s | {"locked": how != "free"} for s in HELD]}]
    study = study_from(data)
    return made_ready(assemble(build_bone(study), study.constructs[0]))


def stiffness(model: Model, load: float = 20.0) -> float:
    answer = model.answer(load)
    assert answer.held
    p = model.problem
    return load / float(np.abs(answer.rigid[~np.isin(p.rigid_body, [0])]).max())


def test_locking_a_head_makes_nothing_softer_or_weaker() -> None:
    """A locked head adds conditions to one in contact, and so never takes energy or capacity away
    (theorem of minimum potential energy; lower bound theorem of limit analysis)."""
    free, locked = fastened("free"), fastened("locked")
    assert stiffness(locked) > 1.01 * stiffness(free)
    least, more = (m.capacity(frictionless=True).factor for m in (free, locked))
    assert least is not None
    assert more is not None
    assert more >= least * (1.0 - 1e-9)


def test_a_head_locked_by_a_stage_is_one_that_was_locked_at_once() -> None:
    at_once, later = fastened("locked"), fastened("later")
    assert later.answer(20.0).rigid == pytest.approx(at_once.answer(20.0).rigid, rel=1e-6, abs=1e-9)


def test_a_locked_head_holds_both_sides_of_its_hole_both_ways() -> None:
    links = fastened("locked").problem.links
    for name in ("low", "mid"):
        held = [links.links[i] for i in heads_of(links)[name]]
        assert len(held) == 2
        assert all(x.lower == -np.inf and x.upper == np.inf for x in held)
        assert held[0].place != held[1].place
