"""The uncertain inputs of a ranking and its samples: what is shipped, given, replaced and drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_study import small_study

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.ranking.inputs import input_lines, inputs_of, one_sided, shipped
from buttress.ranking.samples import make_samples
from buttress.report.assumptions import STATUS_WORDS
from buttress.study import tables
from buttress.study.read import example, example_names, study_from
from buttress.sweeps.vary import addresses, plain, varied

STUDY = small_study("lag screws", "antiglide")


# -- the shipped inputs -----------------------------------------------------------------------

def test_every_shipped_input_has_source_and_status() -> None:
    assert len(shipped()) >= 8
    for entry in shipped():
        assert len(entry.source) > 5
        assert entry.status in STATUS_WORDS.keys() - {tables.GIVEN}
        assert entry.of in {"value", "factor", "shift"}
        assert entry.unit


def test_every_shipped_input_can_be_drawn_anywhere_in_its_range() -> None:
    entries = inputs_of(STUDY)
    assert len(entries) >= 8
    for entry in entries:
        for value in entry.values(np.array([0.0, 0.001, 0.5, 0.999, 1.0])):
            assert varied(STUDY, {entry.key: value})
        assert addresses(STUDY, entry.key)


@pytest.mark.parametrize("name", example_names())
def test_patches_of_every_sample_lie_on_the_joint_surface(name: str) -> None:
    study = example(name)
    line = Section(study.section).shape.joint_line()[:, 0]
    found = {e.key: e.values(np.array([0.0, 1.0])) for e in inputs_of(study)
             if e.key in ("load.patch_width_mm", "load.medial_centre_mm", "load.slice_centre_mm")}
    assert len(found) == 2
    half = max(found.pop("load.patch_width_mm")) / 2
    (centres,) = found.values()
    assert line[0] <= min(centres) - half
    assert max(centres) + half <= line[-1]
    assert max(centres) - min(centres) > 0.5


def test_a_range_that_is_cut_is_told_without_empty_digits() -> None:
    cut = [e for e in inputs_of(example("posterior-shear")) if "truncated" in e.source]
    assert cut
    for entry in cut:
        text = entry.law.text
        ends = text[text.index("(") + 1:-1].split(", ")
        assert ends == [f"{float(x):g}" for x in ends]


def test_only_inputs_that_change_mesh_or_modulus_are_geometric() -> None:
    assert {e.name for e in inputs_of(STUDY) if e.geometric} == {
        "cortical thickness", "cancellous modulus", "slope of the fracture"}


def test_factors_and_shifts_are_of_the_study_s_own_value() -> None:
    study = varied(STUDY, {"section.modulus_scale": 0.5, "load.medial_centre_mm": -18.0}).study
    found = {e.name: e for e in inputs_of(study)}
    assert found["cancellous modulus"].values(np.array([0.5])) == pytest.approx([0.5])
    assert found["place of the medial contact patch"].values(np.array([0.0, 1.0])) == \
        pytest.approx([-20.0, -16.0])


def test_an_input_is_replaced_or_added_by_the_user() -> None:
    found = {e.key: e for e in inputs_of(STUDY, [
        "fracture.*.friction=uniform(0.3,0.4)",
        "construct.antiglide.plate.antiglide plate.top_mm=uniform(-28,-22)"])}
    assert len(found) == len([e for e in shipped() if e.plane != "sagittal"]) + 1
    assert found["fracture.*.friction"].values(np.array([0.5])) == pytest.approx([0.35])
    with pytest.raises(InputError, match="did you mean"):
        inputs_of(STUDY, ["section.modulus_scal=uniform(1,2)"])


def test_no_fracture_is_turned_beyond_the_perpendicular_of_the_long_axis() -> None:
    """A study with a horizontal fracture, as under a depressed piece, could not be ranked at all:
    "a fracture turned beyond the long axis or the joint line"."""
    data = plain(STUDY)
    data["fracture"].append({"name": "floor", "points_mm": [[-40, -40], [-18, -40]]})
    study = study_from(data)
    [entry] = [e for e in inputs_of(study) if e.key == "fracture.*.turn_deg"]
    assert sorted(entry.law.ends()) == [-6.0, 0.0]
    assert "truncated" in entry.source
    for turn in entry.values(np.array([0.0, 0.5, 1.0])):
        varied(study, {entry.key: turn})
    data["fracture"].append({"name": "upright", "points_mm": [[10, 0], [10, -90]]})
    assert not any(e.key == "fracture.*.turn_deg" for e in inputs_of(study_from(data)))
    [own] = [e for e in inputs_of(STUDY) if e.key == "fracture.*.turn_deg"]
    assert sorted(own.law.ends()) == [-6.0, 6.0]


@pytest.mark.parametrize(("given", "gone"), [
    ("fracture.shear plane.friction=uniform(0.1,0.2)", "fracture.*.friction"),
    ("fracture.shear plane.slope_deg=uniform(60,70)", "fracture.*.turn_deg")])
def test_a_given_key_replaces_every_shipped_input_of_the_same_place(given: str, gone: str) -> None:
    assert {f.name for f in STUDY.fractures} == {"shear plane"}
    found = {e.key: e for e in inputs_of(STUDY, [given])}
    assert gone in {e.key for e in inputs_of(STUDY)}
    assert gone not in found
    assert len(found) == len(inputs_of(STUDY))
    (line,) = [x for x in input_lines(inputs_of(STUDY, [given])) if x.startswith("fracture.shear")]
    assert f"practice: given by the user; in place of {gone} = " in line
    assert "stays as in the study" not in line


def test_what_a_replaced_input_leaves_alone_is_said_and_no_place_is_set_twice() -> None:
    study = next(
        s for s in map(example, example_names()) if len(s.fractures) > 1)
    first, second, *_ = (f.name for f in study.fractures)
    one, other = (f"fracture.{name}.friction=uniform(0.1,0.2)" for name in (first, second))
    entry = next(e for e in inputs_of(study, [one]) if e.key == f"fracture.{first}.friction")
    assert f"fracture.{second}.friction" in entry.instead
    assert entry.instead.endswith("stays as in the study")
    assert second not in next(e for e in inputs_of(study, [one, other]) if first in e.key).instead
    with pytest.raises(InputError, match="two keys set"):
        inputs_of(study, [one, "fracture.*.friction=uniform(0.3,0.4)"])


# -- the samples ------------------------------------------------------------------------------

def test_rows_are_the_two_sets_and_their_mixtures() -> None:
    inputs = inputs_of(STUDY)
    drawn = make_samples(inputs, 16, 1)
    rows, n = drawn.design.rows, drawn.n
    assert n == 8
    assert len(rows) == n * (len(inputs) + 2)
    for i in range(len(inputs)):
        for j, row in enumerate(rows[drawn.mixed(i)]):
            for k, value in enumerate(row):
                assert value == rows[n + j if k == i else j][k]
    assert rows[drawn.exact] == ()


def test_bins_touch_geometric_inputs_only_and_some_rows_are_solved_both_ways() -> None:
    inputs = inputs_of(STUDY)
    plain, binned = make_samples(inputs, 64, 1), make_samples(inputs, 64, 1, bins=3)
    for k, entry in enumerate(inputs):
        values = {r[k] for r in binned.design.rows[:2 * binned.n]}
        if entry.geometric:
            assert len(values) == 3
            assert values == set(entry.values(np.array([1 / 6, 0.5, 5 / 6])))
        else:
            assert values == {r[k] for r in plain.design.rows[:2 * plain.n]}
    assert binned.design.rows[binned.exact] == plain.design.rows[:8]


@pytest.mark.parametrize(("asked", "told"), [
    ({"samples": 100, "seed": 1}, "64 or 128"), ({"samples": 2, "seed": 1}, "too few.*at least 4"),
    ({"samples": 0, "seed": 1}, "positive"), ({"samples": -3, "seed": 1}, "positive"),
    ({"samples": 8, "seed": None}, "without a seed"), ({"samples": 8, "seed": 1, "bins": 1}, "bins"),
])
def test_wrong_samples_are_refused(asked: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        make_samples(inputs_of(STUDY), **asked)


def test_inputs_that_lie_to_one_side_of_the_study_are_told() -> None:
    """A plate that came second in the study came last in every sample, since each had a gap."""
    study = STUDY
    found = one_sided(study, inputs_of(study))
    assert {"gap of the fracture", "layer of debris"} <= set(found)
    assert not {"cancellous modulus", "friction of the fracture", "slope of the fracture"} & set(found)
    even = inputs_of(study, ["fracture.shear plane.friction=uniform(0.1,0.9)"])
    above = inputs_of(study, ["fracture.shear plane.friction=uniform(0.6,0.9)"])
    name = "fracture.shear plane.friction"
    assert name not in one_sided(study, even)
    assert name in one_sided(study, above)
