"""Extrapolation over meshes: exact on closed forms, and an answer for every sequence of numbers."""

from __future__ import annotations

from itertools import product
from math import inf, isfinite, nan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from buttress.fe.errors import InputError
from buttress.fe.richardson import EQUAL, EXTRAPOLATED, ORDERS, SAFETY, SPREAD, extrapolate, spread

numbers = st.floats(-1e6, 1e6, allow_nan=False)
sizes = st.builds(lambda h, a, b: (h, h / a, h / (a * b)), st.floats(0.1, 10.0),
                  st.floats(1.3, 3.0), st.floats(1.3, 3.0))
limits, errors = st.floats(-100.0, 100.0), st.floats(0.1, 10.0).flatmap(
    lambda c: st.sampled_from((c, -c)))


def power(limit: float, error: float, order: float, steps: tuple[float, ...]) -> list[float]:
    """f = f0 + C h^p with the error C on the coarsest mesh."""
    return [limit + error * (h / steps[0])**order for h in steps]


@given(limits, errors, st.floats(0.6, 3.9), sizes)
def test_a_power_law_is_recovered_at_any_ratios(limit, error, order, steps):
    values = power(limit, error, order, steps)
    found = extrapolate(values, steps)
    assert found.basis == EXTRAPOLATED
    assert found.order == pytest.approx(order, rel=1e-6)
    assert found.limit == pytest.approx(limit, abs=1e-7 * abs(error) + 1e-9)
    # The index is that of Roache: 1.25 times the distance from the finest mesh to the limit.
    if values[-1] != 0.0:
        assert found.gci == pytest.approx(SAFETY * abs(values[-1] - limit) / abs(values[-1]),
                                          rel=1e-5)
    assert found.low <= limit <= found.high
    assert found.low <= values[0] <= found.high


@given(limits, errors, st.floats(0.6, 3.9), sizes, st.floats(0.01, 100.0), limits)
def test_units_and_a_constant_change_nothing(limit, error, order, steps, scale, more):
    values = power(limit, error, order, steps)
    found = extrapolate(values, steps)
    other = extrapolate([scale * v + more for v in values], [scale * h for h in steps])
    assume(other.basis != EQUAL)    # lost in rounding next to a large constant
    assert other.order == pytest.approx(found.order, rel=1e-3)
    assert other.limit == pytest.approx(scale * (found.limit or 0.0) + more,
                                        abs=1e-4 * scale * abs(error) + 1e-6)


@given(limits, errors, st.one_of(st.floats(0.01, 0.48), st.floats(4.05, 6.0)), sizes)
def test_an_order_out_of_its_range_is_not_believed(limit, error, order, steps):
    found = extrapolate(power(limit, error, order, steps), steps)
    assert found.basis == SPREAD
    assert found.order is found.limit is found.gci is None
    side = "below" if order < ORDERS[0] else "above"
    assert side in found.why or "agree" in found.why


@given(limits, errors, st.floats(0.05, 3.0), sizes)
def test_what_diverges_has_no_limit(limit, error, order, steps):
    found = extrapolate(power(limit, error, -order, steps), steps)
    assert (found.basis, found.why) == (SPREAD, "the values do not approach a limit")


@given(st.lists(numbers, min_size=2, max_size=5), st.floats(1.1, 3.0))
def test_every_sequence_of_numbers_has_an_answer(values, ratio):
    found = extrapolate(values, [ratio**-i for i in range(len(values))])
    assert isfinite(found.low)
    assert isfinite(found.high)
    assert found.low <= min(found.values)
    assert found.high >= max(found.values)
    assert (found.order is None) == (found.limit is None) == (found.basis != EXTRAPOLATED)
    assert (found.why != "") == (found.basis == SPREAD)
    if found.basis != EXTRAPOLATED:
        assert (found.low, found.high) == (min(found.values), max(found.values))


@pytest.mark.parametrize("values", list(product((1.0, 2.0, 3.5, 0.0), repeat=3)))
def test_all_orders_of_a_few_values(values):
    found = extrapolate(values, (4, 2, 1))
    first, second = values[1] - values[0], values[2] - values[1]
    if first == second == 0.0:
        assert found.basis == EQUAL
        assert found.low == found.high == values[0]
    else:
        believed = second != 0.0 and 2**ORDERS[0] <= first / second <= 2**ORDERS[1]
        assert (found.basis == EXTRAPOLATED) == believed


@given(numbers, st.integers(2, 4))
def test_equal_values_have_no_error(value, count):
    found = extrapolate([value] * count, [2.0**-i for i in range(count)])
    assert (found.basis, found.low, found.high) == (EQUAL, value, value)


def test_two_meshes_show_no_order():
    found = extrapolate((3.0, 2.5), (2.0, 1.0))
    assert (found.basis, found.low, found.high) == (SPREAD, 2.5, 3.0)
    assert found.why == "no order is observed on two meshes"
    assert spread((3.0, 2.5), "because").why == "because"


def test_more_than_three_meshes_count_for_the_interval():
    found = extrapolate((9.0, *power(5.0, 1.0, 2.0, (4.0, 2.0, 1.0))), (8.0, 4.0, 2.0, 1.0))
    assert found.limit == pytest.approx(5.0)
    assert found.high == 9.0


@pytest.mark.parametrize(("values", "steps"), [
    ((1.0, nan, 1.0), (4, 2, 1)), ((1.0, inf, 1.0), (4, 2, 1)), ((nan, nan), (2, 1)),
    ((1.0,), (1.0,)), ((1.0, 2.0), (4, 2, 1)), ((1.0, 2.0, 3.0), (4, 4, 1)),
    ((1.0, 2.0, 3.0), (1, 2, 4)), ((1.0, 2.0), (1.0, 0.0)), ((1.0, 2.0), (nan, 1.0))])
def test_what_is_no_sequence_is_refused(values, steps):
    with pytest.raises(InputError):
        extrapolate(values, steps)
