"""Bone through its depth, layers of a fill, and where and whither the load acts."""

from __future__ import annotations

import numpy as np
import pytest
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.bone.fills import fill_material
from buttress.bone.patches import patches
from buttress.bone.pieces import FillPiece
from buttress.bone.section import Section
from buttress.fe.solve.recover import resultant
from buttress.fe.solve.solver import Solver
from buttress.model.model import intact_problem
from buttress.study.implants import Fill
from buttress.study.read import study_from
from buttress.study.study import SectionInput
from buttress.study.tables import number
from buttress.sweeps.vary import plain

CANCELLOUS, WALL = (0.0, -30.0), (-0.98, -30.0)
"""Points of the section: in the middle, and in the cortex as a share of the half width."""


def test_only_cancellous_bone_carries_more_as_it_is_crushed() -> None:
    bone = Section(SectionInput(outline="simple"))
    xy = np.array([CANCELLOUS, (WALL[0] * float(bone.half_width(-30.0)), -30.0)])
    assert bone.is_cortex(xy, 0.0).tolist() == [False, True]
    local = bone.local_bone(xy)
    assert local.crushable == pytest.approx([float(local.modulus[0]), 0.0])
    assert local.modulus[1] == number("materials", "cortical", "modulus")
    # Through the depth: shares of the thickness, as strengths.
    core = bone.core_thickness(xy) / bone.chord(xy)
    assert bone.crushable(xy) == pytest.approx(bone.core_at(xy) * core)
    wall = number("materials", "cortical", "compressive_strength")
    soft = float(local.compressive_strength[0])
    assert bone.crushing(xy)[0] == pytest.approx(core[0] * soft + (1 - core[0]) * wall)
    assert core[0] > 0.6
    assert bone.crushing(xy)[0] < 0.5 * wall


def test_layers_of_a_fill_lie_from_the_bottom_up() -> None:
    soft, hard = "impacted graft", "calcium phosphate cement"
    fill = Fill.model_validate({"name": "f", "void": "v", "bonded": False, "friction": 0.3, "layers": [
        {"material": soft, "share": 0.25}, {"material": hard, "share": 0.75}]})
    piece = FillPiece(Section(SectionInput(outline="simple")), fill_material(fill), low=-20.0, high=-10.0)
    xy = np.array([(0.0, -19.0), (0.0, -17.6), (0.0, -17.4), (0.0, -11.0)])
    local = piece.local(xy, 0.0)
    low, high = (number("grafts", m, "modulus") for m in (soft, hard))
    assert low < high
    assert local.modulus == pytest.approx([low, low, high, high])
    assert local.shear_strength.tolist() == [0.0] * 4
    assert local.crushable == pytest.approx([low, low, 0.0, 0.0])    # cement breaks
    assert piece.crush(xy)[0] == number("grafts", soft, "strength")


def test_bonded_faces_resist_both_directions() -> None:
    """The intact bone under a load that presses and under one that pulls: the same but for sign."""
    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": 6.0, "coarse_mm": 12.0}
    bone = build_bone(study_from(data))
    solver = Solver(intact_problem(bone))
    pressed, pulled = (solver.answer(sign * bone.load_vector(1000.0)) for sign in (1.0, -1.0))
    assert pressed.held
    assert pulled.held
    assert pulled.force == pytest.approx(-pressed.force, abs=1e-6)
    assert np.abs(pressed.force).max() > 10.0


@pytest.mark.parametrize("lean", [0.0, 12.0])
def test_the_load_acts_on_each_condyle_by_its_share_and_leans_to_positive_x(lean: float) -> None:
    """Statics of the unit load cases: force and place on each patch."""
    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": 6.0, "coarse_mm": 12.0}
    data["load"] |= {"direction_deg": lean, "medial_share": 0.7}
    study = study_from(data)
    bone = build_bone(study)
    assert [(p.name, p.share) for p in patches(study)] == [
        ("medial", pytest.approx(0.7)), ("lateral", pytest.approx(0.3))]
    force = bone.load_vector(1000.0)
    assert force == pytest.approx([700.0, 300.0])
    turn = np.radians(lean)
    for case, where in zip(bone.loads, patches(study), strict=True):
        fx, fy, moment = sum(resultant(body, column, np.zeros(2)) for body, column in case)
        assert (fx, fy) == pytest.approx((np.sin(turn), -np.cos(turn)), abs=1e-12)
        assert moment / fy == pytest.approx(where.centre, abs=1e-9)
    assert patches(study)[0].centre < 0.0 < patches(study)[1].centre
