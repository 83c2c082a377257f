"""Points at which the plateau's width is measured: the same ones in a mirror."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.bone.bone import Bone, build_bone
from buttress.bone.measures import joint_middle, rims
from buttress.model.install import build_model
from buttress.study.read import example_names
from buttress.verification.studies import OTHER, coarse, mirrored

NAMES = [n for n in example_names() if not coarse(n).section.sagittal]


def places(bone: Bone) -> dict[str, np.ndarray]:
    """Mean place of each measured point and the names of the bodies that it is on."""
    found = rims(bone.bodies, bone.study.section.sides) | {"middle": joint_middle(bone.bodies)}
    return {side: np.mean([bone.bodies[i].points[node] for i, node in points], axis=0)
            for side, points in found.items()}


@pytest.mark.parametrize("size", [4.0, 1.5])
@pytest.mark.parametrize("name", NAMES)
def test_a_mirrored_study_is_measured_at_the_mirrored_points(name: str, size: float) -> None:
    study = coarse(name, size_mm=size)
    here, there = (places(build_bone(s)) for s in (study, mirrored(study)))
    assert len(here) == len(there) > 0
    for side, place in here.items():
        other = there[OTHER.get(side, side)]
        assert other == pytest.approx(place * [-1.0, 1.0], abs=1e-6), side


@pytest.mark.parametrize("name", NAMES)
def test_both_rims_are_at_the_same_height_of_a_symmetric_plateau(name: str) -> None:
    found = places(build_bone(coarse(name)))
    assert found["medial"] == pytest.approx(found["lateral"] * [-1.0, 1.0], abs=1e-6)


def test_widening_is_that_of_the_mirrored_study() -> None:
    widths = []
    for study in (coarse("lateral-split", "buttress plate", size_mm=1.5),
                  mirrored(coarse("lateral-split", "buttress plate", size_mm=1.5))):
        bone = build_bone(study)
        model = build_model(bone, study.constructs[0])
        answer = model.answer(500.0)
        values = model.problem.measures(answer.load, answer.force, answer.rigid, answer.kink)
        widths.append(values["rim lateral x"] - values["rim medial x"])
    # Another mesh, so that only discretisation differs.
    assert widths[1] == pytest.approx(widths[0], rel=0.01)
