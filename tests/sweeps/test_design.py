"""Ranges, and the designs that are made of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from buttress.fe.errors import InputError
from buttress.study.read import example
from buttress.sweeps.design import make_design, unit_samples
from buttress.sweeps.ranges import parse_range

STUDY = example("medial-shear")
FRICTION = "fracture.shear plane.friction"


def refused(*vary: str, **asked: object) -> str:
    with pytest.raises(InputError) as caught:
        make_design(STUDY, list(vary), **asked)
    return str(caught.value)


def test_a_grid_holds_every_combination_once_in_order() -> None:
    design = make_design(STUDY, ["section.bone=dense,soft", f"{FRICTION}=0.2:0.6:5",
                                 "construct.antiglide.screw.shaft 1.present=true,false"])
    assert design.method == "grid"
    assert design.seed is None
    assert design.rows == tuple(itertools.product(("dense", "soft"), (0.2, 0.3, 0.4, 0.5, 0.6),
                                                  (True, False)))
    assert next(design.cases()) == dict(zip(design.keys, design.rows[0], strict=True))


@pytest.mark.parametrize(("text", "law"), [
    ("normal(0.5, 0.1)", stats.norm(0.5, 0.1)),
    ("lognormal(2, 0.3)", stats.lognorm(0.3, scale=2)),
    ("uniform(1, 3)", stats.uniform(1, 2)),
    ("triangular(1, 1.5, 3)", stats.triang(0.25, loc=1, scale=2)),
])
def test_distributions_have_the_quantiles_of_their_law(text: str, law: object) -> None:
    u = np.array([0.001, 0.2, 0.5, 0.77, 0.999])
    np.testing.assert_allclose(parse_range(text).at(u), law.ppf(u), rtol=1e-12)


def test_a_distribution_that_is_cut_off_stays_between_and_keeps_its_shape() -> None:
    law = parse_range("normal(0.5, 0.2, 0.3, 0.6)")
    values = np.array(law.at(np.linspace(0.0, 1.0, 2001)))
    assert values.min() == pytest.approx(0.3)
    assert values.max() == pytest.approx(0.6)
    inside = stats.truncnorm(-1.0, 0.5, loc=0.5, scale=0.2)
    np.testing.assert_allclose(values[1:-1], inside.ppf(np.linspace(0, 1, 2001)[1:-1]), rtol=1e-9)


@pytest.mark.parametrize("method", ["lhs", "sobol"])
def test_samples_repeat_with_their_seed_and_fill_their_range_evenly(method: str) -> None:
    asked = {"method": method, "samples": 32}
    vary = [f"{FRICTION}=0.2:0.6", "section.bone=choice(dense,soft)"]
    one, two, other = (make_design(STUDY, vary, seed=s, **asked) for s in (7, 7, 8))
    assert one.rows == two.rows
    assert one.rows != other.rows
    friction = np.array([r[0] for r in one.rows])
    # One sample in each of 32 even parts of the range.
    assert sorted(np.floor((friction - 0.2) / 0.4 * 32).astype(int)) == list(range(32))
    assert [r[1] for r in one.rows].count("soft") == 16


def test_a_list_is_drawn_from_when_it_is_sampled() -> None:
    design = make_design(STUDY, ["load.total_N=500,1000,1500", f"{FRICTION}=uniform(0.2,0.6)"],
                         samples=30, seed=1)
    assert design.method == "lhs"
    assert {r[0] for r in design.rows} == {500, 1000, 1500}


def test_a_list_may_stand_in_brackets() -> None:
    (one,), (other,) = (make_design(STUDY, [f"load.total_N={text}"]).rows[:1]
                        for text in ("500,1000", "[500, 1000]"))
    assert one == other == (500,)
    words = make_design(STUDY, ['section.bone=["dense", "soft"]'])
    assert words.rows == (("dense",), ("soft",))


def test_sobol_wants_a_power_of_two() -> None:
    assert unit_samples(3, "sobol", 64, 0).shape == (64, 3)
    told = refused(f"{FRICTION}=0.2:0.6", method="sobol", samples=100, seed=1)
    assert "64 or 128" in told


@pytest.mark.parametrize(("vary", "told"), [
    ("section.bon=dense,soft", 'did you mean "section.bone"?'),
    ("section.bone=dense,sof", 'did you mean "soft"?'),
    ("section.width_mm=0.07:0.08:3", "looks like metres"),
    (f"{FRICTION}=-0.1:0.6:3", "with invalid values"),
    (f"{FRICTION}=0.6:0.2:3", "does not increase"),
    (f"{FRICTION}=0.2:0.6:1", "number of values"),
    (f"{FRICTION}=0.2:0.6:2.5", "number of values"),
    (f"{FRICTION}=0.2:x:3", "not a range of numbers"),
    (f"{FRICTION}=0.2:nan:3", "not a range of numbers"),
    (f"{FRICTION}=1:2:3:4", "not a range"),
    (f"{FRICTION}=", "empty range"),
    (f"{FRICTION}=0.2,,0.3", "empty value"),
    (f"{FRICTION}=0.2,0.2", "repeated value"),
    (f"{FRICTION}=0.2,inf", "not a finite number"),
    (FRICTION, "not KEY=RANGE"),
    ("=1:2:3", "not KEY=RANGE"),
])
def test_a_wrong_range_is_refused_before_anything_is_solved(vary: str, told: str) -> None:
    assert told in refused(vary)


@pytest.mark.parametrize(("law", "told"), [
    ("norml(0.5,0.1)", 'did you mean "normal"?'),
    ("normal(0.5)", "do not define a distribution"),
    ("normal(0.5,-0.1)", "do not define a distribution"),
    ("normal(0.5,0.1,0.9,0.2)", "do not define a distribution"),
    ("normal(0.5,0.001,1.2,1.4)", "do not define a distribution"),
    ("lognormal(-1,0.1)", "do not define a distribution"),
    ("triangular(0.2,0.7,0.6)", "do not define a distribution"),
    ("uniform(0.6,0.2)", "do not define a distribution"),
    ("normal(a,b)", "not a range of numbers"),
    ("normal(0.05,0.3)", "with invalid values"),
])
def test_a_wrong_distribution_is_refused(law: str, told: str) -> None:
    assert told in refused(f"{FRICTION}={law}", samples=8, seed=1)


def test_sampling_wants_a_number_and_a_seed() -> None:
    law = f"{FRICTION}=normal(0.5,0.1,0.2,0.8)"
    assert "without a seed" in refused(law, samples=8)
    assert "number of samples" in refused(law, seed=1)
    assert "number of samples" in refused(law, seed=1, samples=0)
    assert "without steps" in refused(law, method="grid")
    assert "unknown design" in refused(law, method="gird")
    assert "no number of samples" in refused(f"{FRICTION}=0.2,0.3", method="grid", samples=3)
    assert "nothing to vary" in refused()
    assert "given twice" in refused(f"{FRICTION}=0.2,0.3", f"{FRICTION}=0.4,0.5")
    assert "at most" in refused(*(f"{k}=0.5:1.5:200" for k in (
        "section.modulus_scale", "section.cortex_scale", "scale.bearing_stiffness")))
