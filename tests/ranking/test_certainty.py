"""Statistics of paired samples against closed forms and in simulations."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import sobol_indices

from buttress.fe.arrays import FloatArray
from buttress.ranking import certainty
from buttress.ranking import words as rank_words
from buttress.ranking.certainty import (
    FEW,
    SAME,
    Indices,
    by_parts,
    changes_clearly,
    indices,
    paired_difference,
    saltelli,
    share,
)
from buttress.ranking.records import Driven
from buttress.report import rank as rank_table
from buttress.sweeps.design import unit_samples


def ishigami(u: FloatArray) -> FloatArray:
    """a = 7, b = 0.1 on (-pi, pi)."""
    x = 2.0 * np.pi * u - np.pi
    return np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def g_function(u: FloatArray) -> FloatArray:
    """a = 0, 1, 4.5, 9, 99, 99, 99, 99 on (0, 1)."""
    a = np.array([0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0])
    return np.prod((np.abs(4.0 * u - 2.0) + a) / (1.0 + a), axis=1)


def matrices(d: int, n: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    u = unit_samples(2 * d, "sobol", n, seed)
    a, b = u[:, :d], u[:, d:]
    mixed = np.tile(a, (d, 1, 1))
    for i in range(d):
        mixed[i, :, i] = b[:, i]
    return a, b, mixed


def estimated(f: Callable[[FloatArray], FloatArray], d: int, n: int, seed: int = 0) -> Indices:
    a, b, mixed = matrices(d, n, seed)
    return indices([f"x{i}" for i in range(d)], f(a), f(b), np.array([f(m) for m in mixed]), 0)


# Analytic indices: Ishigami and Homma 1990, Sobol's g-function (closed forms).
@pytest.mark.parametrize(("f", "d", "first", "total"), [
    (ishigami, 3, (0.313905, 0.442411, 0.0), (0.557589, 0.442411, 0.243684)),
    (g_function, 8, (0.716192, 0.179048, 0.023676, 0.007162),
     (0.787144, 0.242198, 0.034317, 0.010460)),
])
def test_indices_of_functions_with_known_ones(
        monkeypatch: pytest.MonkeyPatch, f: Callable[[FloatArray], FloatArray], d: int,
        first: tuple[float, ...], total: tuple[float, ...]) -> None:
    monkeypatch.setattr(certainty, "RESAMPLES", 100)
    found = estimated(f, d, 2**14)
    assert found.first is not None
    assert found.total is not None
    np.testing.assert_allclose(found.first[:len(first), 0], first, atol=2e-3)
    np.testing.assert_allclose(found.total[:len(total), 0], total, atol=2e-3)
    assert np.all(found.total[:, 1] <= found.total[:, 0])
    assert np.all(found.total[:, 0] <= found.total[:, 2])


def test_the_estimator_is_that_of_scipy() -> None:
    a, b, mixed = matrices(3, 256, 3)
    f_a, f_b, f_ab = ishigami(a), ishigami(b), np.array([ishigami(m) for m in mixed])
    middle = np.mean([f_a, f_b])
    ours = saltelli(f_a, f_b, f_ab)
    theirs = sobol_indices(n=256, func={"f_A": f_a[None] - middle, "f_B": f_b[None] - middle,
                                        "f_AB": f_ab[:, None] - middle})
    np.testing.assert_allclose(ours[0], theirs.first_order.ravel(), rtol=1e-12, atol=1e-14)
    np.testing.assert_allclose(ours[1], theirs.total_order.ravel(), rtol=1e-12)


def test_indices_do_not_see_an_offset() -> None:
    plain = estimated(ishigami, 3, 256)
    lifted = estimated(lambda u: 1e6 + ishigami(u), 3, 256)
    np.testing.assert_allclose(lifted.first, plain.first, atol=1e-7)


def test_rows_without_an_answer_are_left_out_and_counted() -> None:
    a, b, mixed = matrices(3, 256, 1)
    f_a, f_b, f_ab = ishigami(a), ishigami(b), np.array([ishigami(m) for m in mixed])
    f_a[3], f_ab[1, 7], f_ab[2, 7] = np.nan, np.nan, np.nan
    found = indices("abc", f_a, f_b, f_ab, 0)
    assert (found.samples, found.left_out) == (254, 2)
    keep = np.setdiff1d(np.arange(256), [3, 7])
    np.testing.assert_allclose(found.first[:, 0], saltelli(f_a[keep], f_b[keep], f_ab[:, keep])[0])


def test_a_quantity_that_never_changes_has_no_indices() -> None:
    found = estimated(lambda u: np.full(len(u), 3.7), 3, 64)
    assert found.first is None
    assert found.total is None


def test_what_is_known_in_too_few_samples_is_not_called_the_same_in_all() -> None:
    """Two of four samples without an answer read "the same in all samples: 2618 N"."""
    rng = np.random.default_rng(1)
    a, b, mixed = rng.random(4), rng.random(4), rng.random((2, 4))
    a[:2] = np.nan
    found = indices("xy", a, b, mixed, 0)
    assert (found.samples, found.left_out, found.total) == (2, 2, None)
    assert found.note == FEW != SAME


def test_a_quantity_that_changes_in_the_mixtures_only_has_none_either() -> None:
    mixed = np.zeros((2, 16))
    mixed[1, 3] = 1.0
    assert indices("xy", np.zeros(16), np.zeros(16), mixed, 0).total is None


def test_a_rare_event_is_not_explained() -> None:
    # One event in 32 samples: every bootstrap sample that holds it gives the same index.
    f_b = np.zeros(16)
    f_b[5] = 1.0
    found = indices("xy", np.zeros(16), f_b, np.stack([np.zeros(16), f_b]), 0)
    assert found.total is None
    assert found.note == certainty.RARE
    f_b[:8] = 1.0
    assert indices("xy", np.zeros(16), f_b, np.stack([np.zeros(16), f_b]), 0).total is not None


@pytest.mark.parametrize(("total", "settled"), [
    ([[0.9, 0.7, 1.1], [0.1, 0.0, 0.3]], True), ([[0.9, 0.3, 1.4], [0.1, 0.0, 0.3]], False),
    ([[1.25, 1.0, 1.5], [0.1, 0.0, 0.3]], False), ([[0.9, 0.7, 1.1], [0.5, 0.0, 1.2]], False)])
def test_wide_intervals_and_impossible_indices_name_no_driver(total: list, settled: bool) -> None:
    found = certainty.Indices(("slope", "friction"), np.array(total), np.array(total), 8, 0)
    assert found.settled == settled
    for words in (rank_table._indices(found),
                  rank_words._cause("A", [Driven("A", found, {}, found)])):
        assert ("slope" in words) == settled
    told = (rank_table._indices(found), rank_words._cause("A", [Driven("A", found, {}, found)]))
    assert ["do not settle" in words for words in told] == [not settled, False]
    assert ["too few to determine" in words for words in told] == [False, not settled]


@pytest.mark.parametrize(("total", "driver"), [
    ([[0.1, 0.0, 0.3], [0.9, 0.7, 1.1]], 1), ([[0.6, 0.45, 0.75], [0.3, 0.2, 0.4]], 0),
    ([[0.57, 0.30, 1.11], [0.1, 0.0, 0.2]], None),  # too wide, and over 1
    ([[1.05, 0.9, 1.2], [0.0, 0.0, 0.1]], 0),  # alone
    ([[0.5, 0.1, 0.9], [0.05, 0.0, 0.08]], None),  # too wide
    ([[0.6, 0.4, 0.8], [0.5, 0.3, 0.7]], None)])  # not told from the next
def test_a_driver_is_named_only_where_its_interval_settles_it(total: list, driver: int | None
                                                              ) -> None:
    found = Indices(("slope", "friction"), np.array(total), np.array(total), 16, 0)
    assert found.driver == driver
    words = rank_words._cause("A", [Driven("A", found, {}, found)])
    assert "16 base samples" in words
    assert ("too few to determine" in words) == (driver is None)
    if driver is not None:
        assert f"{found.inputs[driver]} decides the rest" in words


def test_a_change_over_a_range_is_clear_as_seldom_by_chance_as_said(
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(certainty, "SHUFFLES", 200)
    rng = np.random.default_rng(3)
    u = rng.random((300, 32, 4))
    ranks = 1.0 + (rng.random((300, 32, 1)) < 0.3) * np.array([1.0, 0.0])
    hits = [bool(changes_clearly(u[i], ranks[i], 4, i)) for i in range(300)]
    assert np.mean(hits) < 0.08  # 5 % and what 300 trials leave open
    ranks = 1.0 + (u[0, :, 2:3] < 0.4) * np.array([1.0, 0.0])
    assert changes_clearly(u[0], ranks, 4, 0)[0] == 2
    assert by_parts(u[0, :, 2], ranks[:, 0], 4)[0] == 2.0


def test_bootstrap_intervals_of_indices_cover_the_truth() -> None:
    # Linear: y = 2 x0 + x1, so the shares of the variance are 0.8 and 0.2.
    monkey = pytest.MonkeyPatch()
    with monkey.context() as patch:
        patch.setattr(certainty, "RESAMPLES", 200)
        hits = []
        rng = np.random.default_rng(5)
        for _ in range(200):
            a, b = rng.random((2, 128, 2))
            mixed = np.array([np.c_[b[:, 0], a[:, 1]], np.c_[a[:, 0], b[:, 1]]])
            f = lambda x: 2.0 * x[:, 0] + x[:, 1]  # noqa: E731
            found = indices("xy", f(a), f(b), np.array([f(m) for m in mixed]), 0)
            hits.append(found.total[0, 1] <= 0.8 <= found.total[0, 2])
    assert 0.88 <= np.mean(hits) <= 0.99


@pytest.mark.parametrize("n", [8, 64])
def test_the_interval_of_a_paired_difference_covers_the_truth_as_often_as_it_says(n: int) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(2000):
        shared = 5.0 * rng.standard_normal(n)  # what both constructs have in common
        found = paired_difference(shared + 0.3 + rng.standard_normal(n),
                                  shared + rng.standard_normal(n))
        hits.append(found.low <= 0.3 <= found.high)
    # 2000 trials of 0.95: standard error 0.005.
    assert abs(np.mean(hits) - 0.95) < 0.015


@pytest.mark.parametrize("n", [6, 16, 64])
def test_the_interval_of_the_median_covers_the_truth_whatever_the_distribution(n: int) -> None:
    # Lognormal with a spread of e^2: its median is 1, its mean is carried by few samples.
    rng = np.random.default_rng(n)
    hits = [middle[0] <= 1.0 <= middle[1] for middle in (
        paired_difference(np.exp(2.0 * rng.standard_normal(n)), np.zeros(n)).middle
        for _ in range(2000)) if middle is not None]
    assert len(hits) == 2000
    assert 0.94 <= np.mean(hits) <= 0.99


def test_one_sample_does_not_take_the_median_over_zero() -> None:
    d = np.append(np.linspace(0.001, 0.05, 31), 5.0)
    found = paired_difference(d, np.zeros(32))
    assert found.low < 0.0 < found.middle[0] < found.median < found.middle[1] < 0.05
    assert paired_difference(d[:5], np.zeros(5)).middle is None


def test_the_interval_holds_for_skewed_differences_of_many_samples() -> None:
    rng = np.random.default_rng(2)
    hits = []
    for _ in range(2000):
        found = paired_difference(rng.exponential(1.0, 128), np.zeros(128))
        hits.append(found.low <= 1.0 <= found.high)
    assert 0.92 < np.mean(hits) < 0.97


@pytest.mark.parametrize(("p", "n"), [(0.5, 32), (0.1, 32), (0.9, 64), (0.03, 128)])
def test_the_interval_of_a_share_covers_the_truth(p: float, n: int) -> None:
    rng = np.random.default_rng(1)
    hits = []
    for _ in range(3000):
        found = share(rng.random(n) < p)
        hits.append(found.low <= p <= found.high)
    assert 0.92 < np.mean(hits) < 0.985


def test_a_paired_difference_of_linear_quantities() -> None:
    # a = 3 x, b = x + 1 on evenly spread x in (0, 1): d = 2 x - 1, mean 0, sd 1 / sqrt(3).
    x = (np.arange(1000) + 0.5) / 1000
    found = paired_difference(3.0 * x, x + 1.0)
    assert found.pairs == 1000
    assert found.mean == pytest.approx(0.0, abs=1e-12)
    assert found.deviation == pytest.approx(1.0 / np.sqrt(3.0), rel=1e-3)
    reach = 1.96234 / np.sqrt(3.0) / np.sqrt(1000)  # Student's 97.5 % point, 999 degrees
    assert found.high == pytest.approx(reach, rel=1e-3)
    assert found.low == pytest.approx(-reach, rel=1e-3)
    assert found.quantiles == pytest.approx((-0.9, -0.5, 0.0, 0.5, 0.9), abs=2e-3)


def test_pairs_that_do_not_exist_are_left_out() -> None:
    found = paired_difference(np.array([1.0, np.nan, 3.0]), np.array([0.0, 0.0, np.nan]))
    assert found.pairs == 1
    assert found.mean is None
    assert share(np.zeros(0)).high == 1.0


def test_wilson_interval_of_a_known_case() -> None:
    # 5 of 10 at 95 %: centre 0.5, half width 0.2634 (closed form).
    found = share(np.arange(10) < 5)
    assert (found.share, found.low, found.high) == pytest.approx((0.5, 0.2366, 0.7634), abs=1e-4)


@pytest.mark.parametrize(("a", "b", "mean_is", "median_is"), [
    ([5.0, 6.0, 7.0, 8.0], [1.0, 1.0, 1.0, 1.0], "", ""),
    ([5.0, 6.0, 7.0, 8.0], [10.0, 1.0, 1.0, 1.0], "at most", ""),
    ([1.0, 2.0, 3.0, 9.0], [9.0, 9.0, 9.0, 10.0], "at most", "at most"),
    ([10.0, 6.0, 7.0, 8.0], [1.0, 1.0, 1.0, 1.0], "at least", ""),
    ([10.0, 6.0, 7.0, 8.0], [9.0, 1.0, 1.0, 1.0], "at least", "at least"),
    ([10.0, 6.0, 7.0, 8.0], [9.0, 1.0, 1.0, 10.0], "not known", "at least")])
def test_a_difference_to_a_bound_is_one(a: list[float], b: list[float], mean_is: str,
                                        median_is: str) -> None:
    """Numbers from 10 on are lower bounds: whatever they are, the numbers lie where it is said."""
    found = paired_difference(np.array(a), np.array(b), 10.0)
    assert (found.mean_is, found.median_is) == (mean_is, median_is)
    assert (found.low is None) == bool(mean_is)
    rng = np.random.default_rng(3)
    for _ in range(20):
        true = [np.array([v + rng.exponential(20.0) * (v >= 10.0) for v in x]) for x in (a, b)]
        other = paired_difference(*true)
        for how, bound, value in ((mean_is, found.mean, other.mean),
                                  (median_is, found.median, other.median)):
            assert {"": value == bound, "at most": value <= bound, "at least": value >= bound,
                    "not known": True}[how]


def test_pairs_of_two_bounds_say_nothing_and_are_left_out() -> None:
    found = paired_difference(np.array([10.0, 1.0, 2.0]), np.array([10.0, 0.0, 0.0]), 10.0)
    assert (found.pairs, found.mean, found.mean_is) == (2, 1.5, "")
