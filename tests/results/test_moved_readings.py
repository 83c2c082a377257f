"""Loads read between the points of a moved path: the same for shorter steps of the ram."""

from dataclasses import replace

import pytest

from buttress.fe.solve.events import events_of
from buttress.fe.solve.reached import NEAR, at_place
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.limits import moved_joint
from buttress.results.path import NOTICED_MM
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.search import Search
from buttress.study.read import example, only

MOVED_MM = 0.5


def test_halving_the_steps_changes_the_load_at_a_movement_by_less_than_half_a_percent():
    """The fragment turns on its apex, so that its joint gapes. Read with the geometry of the next
    point, loads between two points were 2 % apart."""
    study = only(example("medial-shear"), "antiglide")
    bones, construct = Bones(study), study.constructs[0]
    found = []
    for growth in (study.press.step_growth, 1.0 + 0.5 * (study.press.step_growth - 1.0)):
        model = replace(build_model(bones.of(construct), construct), growth=growth)
        reader = Reader.of(model.bone, intact_subsidence(bones.base, bones.intact))
        search = Search(model, most=2000.0)
        reached = search.reach(moved_joint(reader, model, MOVED_MM))
        number = next(i for i, p in enumerate(search.points) if p.ram_mm > reached.ram_mm)
        assert search.points[number].moved is not None
        assert search.points[number - 1].ram_mm < reached.ram_mm
        # The state at that load is the same one.
        again = model.pressing.reached(reached.load_N)[0]
        assert moved_joint(reader, model, MOVED_MM).read(again).value == pytest.approx(
            MOVED_MM, rel=5e-3)
        found.append(reached.load_N)
    assert found[1] == pytest.approx(found[0], rel=5e-3)


def test_halving_the_steps_changes_the_load_of_an_event_by_less_than_two_percent():
    """A plate from behind lifts off, its screw gives way in part and bone along the fracture is
    crushed within one step. With the geometry of the next point all of that came at the beginning of
    the step, 3394 to 3399 N or 3543 to 3715 N."""
    study = only(example("posterior-shear"), "buttress")
    bones, construct = Bones(study), study.constructs[0]
    found = []
    for growth in (study.press.step_growth, 1.0 + 0.5 * (study.press.step_growth - 1.0)):
        model = replace(build_model(bones.of(construct), construct), growth=growth)
        events = events_of(Search(model, most=4500.0).path, ("opening", "crushing", "yield"),
                           NOTICED_MM)
        found.append({(e.kind, e.source): e.load_N for e in events})
    assert {("opening", "buttress plate"), ("crushing", "shear plane"),
            ("yield", "shaft 1")} <= found[0].keys() == found[1].keys()
    for event, load in found[0].items():
        assert load == pytest.approx(found[1][event], rel=0.02), event


def test_near_a_state_its_geometry_serves_as_well_as_the_own_one():
    """A fiftieth of a step away the load is that of a state found anew, to a thousandth."""
    study = only(example("medial-shear"), "antiglide")
    path = Search(build_model(Bones(study).of(study.constructs[0]), study.constructs[0]),
                  most=1200.0).path
    number = next(i for i, p in enumerate(path.points) if p.moved is not None) + 1
    before, after = path.points[number - 1:number + 1]
    step = after.ram_mm - before.ram_mm
    for share in (0.3, 0.7):
        close = at_place(path, number, before.ram_mm + share * step)
        for shift in (-NEAR, NEAR):
            there = close.ram_mm + 0.999 * shift * step
            serves, own = (at_place(path, number, there, c) for c in (close, None))
            assert serves.ram is close.ram
            assert own.ram is not close.ram
            assert serves.load_N == pytest.approx(own.load_N, rel=1e-3)
