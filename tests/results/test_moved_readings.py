"""Loads read between the points of a moved path: the same for shorter steps of the ram."""

from dataclasses import replace

import pytest

from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.limits import moved_joint
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
