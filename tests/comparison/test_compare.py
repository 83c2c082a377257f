"""Properties of whole comparisons: mirror image, renaming, the limit of full bonding, honest status."""

from __future__ import annotations

import numpy as np
import pytest
from eigenvalue import smallest_eigenvalue
from simple_shear import simple_shear
from small_study import small_study
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.model.install import build_model
from buttress.model.model import Bones, intact_measures
from buttress.model.resolve import resolved
from buttress.results.reader import Reader, intact_subsidence
from buttress.study.read import study_from
from buttress.verification.studies import coarse


def held(total: float, index: int, study=None):
    study = study or coarse("medial-shear")
    bone = build_bone(study)
    model = build_model(bone, study.constructs[index])
    return bone, model, model.answer(total)


@pytest.fixture(scope="module")
def lag():
    return held(1000.0, 1)


def test_flexibility_is_symmetric_and_not_negative(lag) -> None:
    problem = lag[1].problem
    assert np.array_equal(problem.flexibility, problem.flexibility.T)
    assert smallest_eigenvalue(problem) > -1e-10


def test_the_answer_proves_itself(lag) -> None:
    answer = lag[2]
    assert answer.held
    assert answer.residual < 1e-9
    assert answer.complementarity < 1e-8


def test_intact_bone_is_linear_and_sinks_less(lag) -> None:
    bone, model, answer = lag
    intact = intact_subsidence(bone, intact_measures(bone))
    reader = Reader.of(bone, intact)
    sunk, share = reader.surface(reader.measures(model, answer), bone.fragments[0])
    assert 0.0 < 1000.0 * intact["medial"] < float(sunk @ share)


def test_mirror_image_gives_mirror_image() -> None:
    """A lateral copy of the fracture and its screws, loaded the other way round."""
    study = simple_shear()      # its outline is symmetric
    data = resolved(study)
    data["construct"] = [data["construct"][1]]
    mirrored = study_from({**data})
    other = resolved(study)
    other["construct"] = [other["construct"][1]]
    for fracture in other["fracture"]:
        fracture["points_mm"] = [[-x, y] for x, y in fracture["points_mm"]]
    other["fragment"][0]["inside_mm"][0] *= -1
    other["load"]["medial_share"] = 1.0 - other["load"]["medial_share"]
    for screw in other["construct"][0]["screw"]:
        screw["side"] = "lateral"
    results = []
    for given in (mirrored, study_from(other)):
        bone, model, answer = held(1000.0, 0, given)
        reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
        sunk, share = reader.surface(reader.measures(model, answer), bone.fragments[0])
        results.append((float(sunk @ share), model.capacity().factor))
    # The meshes are not mirror images of each other, so agreement is that of the mesh.
    assert results[0][0] == pytest.approx(results[1][0], rel=0.02)
    assert results[0][1] == pytest.approx(results[1][1], rel=0.02)


def test_another_name_changes_nothing() -> None:
    study = coarse("medial-shear")
    data = resolved(study)
    data["construct"] = [data["construct"][1]]
    data["load"]["total_N"] = [1000.0]
    first = under_loads(study_from(data), limits=False, pictures=False).constructs[0].loads[0]
    data["fragment"][0]["name"] = "zebra <b>"
    second = under_loads(study_from(data), limits=False, pictures=False).constructs[0].loads[0]
    assert (first.fragments["medial"].subsidence_mean_mm
            == second.fragments["zebra <b>"].subsidence_mean_mm)


def test_an_untightened_screw_never_lowers_capacity() -> None:
    study = coarse("medial-shear")
    bone = build_bone(study)
    plate = next(c for c in study.constructs if c.name == "antiglide")
    loose = next(c for c in study.constructs if c.name == "antiglide + screw")
    loose = loose.model_copy(update={"screws": tuple(
        s.model_copy(update={"tension_N": 0.0}) for s in loose.screws)})
    assert (build_model(bone, loose).capacity().factor
            >= build_model(bone, plate).capacity().factor - 1e-6)


def test_equilibrium_ends_where_it_does_though_screws_were_tightened() -> None:
    # Limit analysis holds the tightened pull; under load it rises, and more is held than that.
    study = small_study("lag screws", loads=(300.0,))
    [found] = under_loads(study, pictures=False).constructs
    model = build_model(Bones(study).base, study.constructs[0])
    end = found.equilibrium_ends_N
    assert end is not None
    assert model.answer(0.99 * end).held
    assert not model.answer(1.01 * end).held


def test_only_a_construct_that_breaks_a_rule_of_the_trade_is_marked() -> None:
    study = small_study("lag screws", "antiglide", loads=(300.0,))
    lags, plated = study.constructs
    one_screw = plated.model_copy(update={"screws": plated.screws[:1]})   # none keeps it from turning
    found = under_loads(study.model_copy(update={"constructs": (lags, one_screw)}), limits=False, pictures=False,
                        also_bonded=True)
    assert {c.name for c in found.constructs if c.breaks_rule} == {"antiglide"}
    assert found["antiglide"].marked_name == "antiglide (!)"
    assert any("only one screw of this plate lies below" in w for w in found["antiglide"].warnings)
