"""Keys that follow the uncertain inputs of a ranking."""

from __future__ import annotations

import pytest
from small_study import small_study

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.ranking.coupling import coupled_lines, coupled_of
from buttress.ranking.inputs import inputs_of
from buttress.ranking.samples import make_samples
from buttress.rules.plate import apexes
from buttress.study.read import example
from buttress.sweeps.vary import varied

STUDY = small_study("lag screws", "antiglide")
TOP = "construct.antiglide.plate.antiglide plate.top_mm"


def coupled(study, *vary: str) -> dict[str, str]:
    return coupled_of(study, vary, inputs_of(study, vary))


def test_a_plate_keeps_its_height_above_the_apex() -> None:
    assert list(coupled(STUDY)) == [TOP]
    heights = []
    for turn in (-6.0, 0.0, 6.0):
        study = varied(STUDY, {"fracture.*.turn_deg": turn} | coupled(STUDY)).study
        [(_, _, y)] = apexes(study, Section(study.section), "medial")
        heights.append(study.constructs[1].plates[0].top_mm - y)
    assert heights == pytest.approx([heights[1]] * 3, abs=1e-6)
    assert study.constructs[1].plates[0].top_mm != pytest.approx(-25.0, abs=1.0)
    assert varied(STUDY, coupled(STUDY)).study.constructs[1].plates[0].top_mm == pytest.approx(
        STUDY.constructs[1].plates[0].top_mm, abs=1e-4)


def test_which_plates_follow() -> None:
    """Straight plates over an apex; not a head placed from the joint, nor a plate over no apex."""
    found = coupled(example("bicondylar"))
    assert found
    assert all(".plate.medial plate." in key for key in found)
    found = coupled(example("posterior-shear"))
    assert not any("front" in key.split(".")[3] for key in found)
    assert len(found) == 4
    assert coupled(example("lateral-depression")) == {}
    # The shaft line cannot be turned so far; the plates follow all the same.
    assert coupled(example("bicondylar-detached"))


def test_what_is_given_stays_as_it_is_given() -> None:
    assert coupled(STUDY, f"{TOP}=uniform(-28,-22)") == {}
    own = f"{TOP}={{fracture.shear plane.apex.y}} + 20"
    assert coupled(STUDY, own) == {TOP: "{fracture.shear plane.apex.y} + 20"}
    in_file = varied(STUDY, dict([own.split("=", 1)])).study
    assert coupled(in_file) == {}
    assert coupled(STUDY, "fracture.*.turn_deg=uniform(-1,1)") == coupled(STUDY)
    with pytest.raises(InputError, match="refers to nothing"):
        coupled(STUDY, f"{TOP}={{fracture.apex.y}}")


def test_they_are_no_inputs_but_columns_of_the_design_and_told() -> None:
    inputs, keys = inputs_of(STUDY), coupled(STUDY)
    drawn = make_samples(inputs, 16, 1, coupled=keys)
    assert drawn.inputs == inputs
    assert drawn.design.keys == (*(e.key for e in inputs), TOP)
    assert {row[-1] for row in drawn.design.rows} == set(keys.values())
    assert [row[:-1] for row in drawn.design.rows] == list(make_samples(inputs, 16, 1).design.rows)
    assert drawn.design.described()["vary"][TOP] == keys[TOP]
    (line,) = coupled_lines(keys)
    assert line.startswith(f"{TOP} = {{fracture.shear plane.apex.y}} + ")
    assert "practice" in line
