"""Words and units of varied keys, for the axes of figures."""

from __future__ import annotations

import pytest

from buttress.study.allowed import meanings
from buttress.study.read import example
from buttress.sweeps.naming import axis_label, in_words
from buttress.sweeps.vary import known_keys


@pytest.mark.parametrize(("key", "label"), [
    ("fracture.shear plane.friction",
     "shear plane: coefficient of friction between its faces [-]"),
    ("fracture.shear plane.slope_deg", "shear plane: angle to the long axis [deg]"),
    ("fracture.shear plane.turn_deg", "shear plane: change of its angle to the long axis [deg]"),
    ("construct.*.plate.*.top_mm", "all plates: y of its proximal end [mm]"),
    ("construct.antiglide.plate.*.top_mm", "antiglide, all plates: y of its proximal end [mm]"),
    ("construct.antiglide.screw.shaft 1.tension_N",
     "antiglide, shaft 1: force to which it is tightened [N]"),
    ("section.modulus_scale", "factor on the modulus of cancellous bone [-]"),
    ("section.slope_deg",
     "fall of the joint line from the perpendicular to the long axis [deg]"),
    ("scale.bearing_stiffness",
     "factor on the stiffness of the springs between screws and the meshed bone [-]"),
    ("load.total_N", "joint forces to solve, each the total on the knee [N]"),
    ("fracture.shear plane.points_mm.2.1", "shear plane: x of point 2 of its line [mm]"),
    ("section.bone", "section.bone"), ("study", "study"), ("an own column", "an own column")])
def test_a_key_is_named_with_its_unit(key: str, label: str) -> None:
    assert axis_label(key) == label


def test_every_number_of_a_study_has_words_and_a_unit() -> None:
    """A key with a unit in its name has that unit on its axis."""
    for key in known_keys(example("medial-shear")):
        found = in_words(key)
        for ending in ("mm", "deg", "MPa", "kg"):
            if key.endswith(f"_{ending}"):
                assert found is not None, key
                assert found.unit == ending, key
                assert found.words, key


def test_words_of_an_axis_name_the_quantity() -> None:
    """The axis of a plate's thickness read "in place of the section's own [mm]"."""
    assert axis_label("construct.a.plate.p.thickness_mm") == (
        "a, p: thickness in place of the section's own [mm]")
    assert all(not words.startswith("in place of")
               for keys in meanings().values() for words in keys.values())
