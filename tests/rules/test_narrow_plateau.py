"""A small tibia: the usual contact patches are moved in until they lie on its joint line."""

from __future__ import annotations

from typing import Any

import pytest
from small_study import small_study

from buttress.bone.patches import patches
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.ranking.rank import estimate_rank
from buttress.rules.check import check
from buttress.study.read import study_from
from buttress.study.study import Study
from buttress.sweeps.vary import plain, varied


def small(width: float, outline: str = "anatomical", **load: Any) -> Study:
    data = plain(small_study("nothing", "lag screws"))
    data["section"] |= {"outline": outline, "width_mm": width, "depth_mm": 40.0}
    data["fracture"][0]["points_mm"] = [[2.5, 15.0], [-24.0, -57.7]]
    data["load"] = {"total_N": [500.0], "medial_share": 0.6} | load
    return study_from(data)


@pytest.mark.parametrize("outline", ["anatomical", "simple"])
def test_a_narrow_plateau_needs_no_keys_for_its_patches(outline: str) -> None:
    study = small(56.0, outline)
    found = check(study)
    medial, lateral = patches(study)
    assert -22.0 < medial.centre < -12.0
    assert lateral.centre == pytest.approx(-medial.centre, abs=1.0)
    told = [f.message for f in found if f.rule == "patches moved in"]
    assert len(told) == 2
    assert "not the usual 22 mm" in told[0]
    full = resolved(study)
    assert full["load"]["medial_centre_mm"] == medial.centre
    assert [p.centre for p in patches(study_from(full))] == [medial.centre, lateral.centre]


def test_a_usual_one_keeps_its_patches_and_a_given_place_is_refused_as_before() -> None:
    study = small(76.0)
    assert [p.centre for p in patches(study)] == [-22.0, 22.0]
    assert not [f for f in check(study) if f.rule == "patches moved in"]
    with pytest.raises(InputError, match="beyond the edge"):
        check(small(56.0, medial_centre_mm=-24.0))


def test_the_moment_of_a_shift_is_that_about_the_patches_where_they_lie() -> None:
    study = small(56.0, shift_mm=3.0)
    medial, lateral = patches(study)
    resultant = medial.share * medial.centre + lateral.share * lateral.centre
    unshifted = 0.6 * medial.centre + 0.4 * lateral.centre
    assert resultant - unshifted == pytest.approx(3.0, abs=1e-9)
    # In a sweep of the width each case has its own places, and a wide one the usual again.
    wide = varied(study, {"section.width_mm": 76.0}).study
    assert [p.centre for p in patches(wide)] == [-22.0, 22.0]


def test_a_ranking_shifts_the_patch_from_where_it_lies() -> None:
    """All samples were refused: the shift was added to the usual place."""
    cost, drawn = estimate_rank(small(58.0), samples=4, seed=1, workers=1, with_indices=False)
    entry = next(e for e in drawn.inputs if e.key == "load.medial_centre_mm")
    assert -18.0 < entry.base < -12.0
    assert cost.refused == 0
