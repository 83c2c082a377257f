"""Where curves of two constructs cross, and how the sentence of a construct tells it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_path import STIFF, STRONG, pressed

from buttress.fe.richardson import SPREAD
from buttress.results.bar import Bar
from buttress.results.crossing import crossing
from buttress.results.verdict import verdict


def test_a_crossing_is_where_both_have_moved_as_far_under_the_same_load() -> None:
    """Between 0.2 and 1 mm the loads are 2000 + 125 x and 1000 + 5000 x [N], x = m - 0.2 [mm]:
    they are equal at x = 1000 / 4875 mm, so at 2025.6 N."""
    a, b = pressed("stiff", STIFF), pressed("strong", STRONG)
    found = crossing(a, b)
    assert (found.stiffer, found.other) == ("stiff", "strong")
    assert found.moved_mm == pytest.approx(0.2 + 1000 / 4875)
    assert found.load_N == pytest.approx(2000 + 125 * 1000 / 4875)
    assert crossing(b, a) == found
    assert "; up to about 2026 N it moves less than 'strong', above that more." in verdict(a, (a, b))
    assert "; up to about 2026 N it moves more than 'stiff', above that less." in verdict(b, (a, b))


@pytest.mark.parametrize("other", [
    {load: 1.01 * moved for load, moved in STIFF.items()},               # not told apart
    {2.0 * load: moved for load, moved in STIFF.items()},                # ahead all the way
    {0.0: 0.0, 100.0: 0.001, 1500.0: 0.3, 1900.0: 1.0},                  # never ahead
    {0.0: 0.0, 1.0: 0.0}])                                               # does not move
def test_curves_that_do_not_cross(other: dict[float, float]) -> None:
    assert crossing(pressed("a", STIFF), pressed("b", other)) is None


def test_curves_within_error_bars_do_not_cross() -> None:
    a, b = pressed("stiff", STIFF), pressed("strong", STRONG)
    bar = Bar("reserve_N", "N", None, "", (3000.0, 3000.0), SPREAD, 1000.0, 5500.0)
    assert crossing(replace(a, bars=(bar,)), b) is None
    assert crossing(replace(a, bars=(replace(bar, low=2950.0, high=3050.0),)), b) is not None


def test_curves_cross_where_one_goes_back() -> None:
    """The joint goes back from 0.36 to 0.335 mm and is at 0.36 mm again at 3000 + 1500 x 25 / 165
    = 3227 N: up to there no load moves it farther. At 0.36 mm the other carries 2520 N. Read from
    one farthest point to the next the curves crossed above that."""
    back = {0.0: 0.0, 1000.0: 0.3, 2000.0: 0.36, 3000.0: 0.335, 4500.0: 0.5, 6000.0: 1.0}
    even = {0.0: 0.0, 3500.0: 0.5, 7000.0: 1.0}
    found = crossing(pressed("back", back), pressed("even", even))
    assert (found.stiffer, found.other) == ("even", "back")
    assert found.moved_mm == pytest.approx(0.36)
    assert found.load_N == pytest.approx(2520.0)


def test_micrometres_are_no_crossing() -> None:
    """Ahead below a tenth of the movement that orders constructs only."""
    early = {0.0: 0.0, 500.0: 0.001, 550.0: 0.04, 2100.0: 1.0}
    late = {0.0: 0.0, 20.0: 0.001, 400.0: 0.04, 560.0: 0.05, 2600.0: 1.0}
    assert crossing(pressed("a", early), pressed("b", late)) is None


EARLY = {0.0: 0.0, 2000.0: 0.1, 2900.0: 0.2, 3900.0: 0.6, 4000.0: 2.0}
LATE = {0.0: 0.0, 1500.0: 0.1, 3000.0: 0.2, 3800.0: 0.6, 6000.0: 2.0}


def test_curves_that_are_tied_between_two_crossings_are_said_to_be() -> None:
    """At 0.2 mm the later one is ahead by 3 %, at 0.6 mm the earlier one is again, by 3 %: both are
    ties. It is only above the last crossing that the later one has moved less throughout."""
    a, b = pressed("early", EARLY), pressed("late", LATE)
    found = crossing(a, b)
    assert (found.stiffer, found.other) == ("early", "late")
    assert found.tied_from_N == pytest.approx(2000 + 900 * 500 / 600)
    assert found.load_N == pytest.approx(3900 + 100 * (100 / (2200 - 100)), abs=1.0)
    assert ("up to about 2750 N it moves less than 'late', above that the two are tied, and above "
            "about 3905 N it moves more.") in verdict(a, (a, b))
    assert ("up to about 2750 N it moves more than 'early', above that the two are tied, and above "
            "about 3905 N it moves less.") in verdict(b, (a, b))


def test_what_holds_up_to_a_second_crossing_is_not_said_of_what_lies_above() -> None:
    back = {0.0: 0.0, 1000.0: 0.1, 2000.0: 0.2, 2100.0: 1.0, 9000.0: 2.0}
    other = {0.0: 0.0, 500.0: 0.1, 1000.0: 0.2, 5000.0: 1.0, 6000.0: 2.0}
    a, b = pressed("a", back), pressed("b", other)
    until = crossing(a, b).until_N
    assert until == pytest.approx(5000 + 1000 * 2900 / (6900 - 1000), abs=1.0)
    assert ("up to about 2026 N it moves less than 'b', above that more, and above about 5492 N "
            "less again") in verdict(a, (a, b))
    assert ("up to about 2026 N it moves more than 'a', above that less, and above about 5492 N "
            "more again") in verdict(b, (a, b))


THRICE = {0.0: 0.0, 2000.0: 0.2, 2100.0: 0.6, 5000.0: 1.0, 5100.0: 1.5}
OTHER = {0.0: 0.0, 1000.0: 0.2, 3500.0: 0.6, 3600.0: 1.0, 8000.0: 1.5}


@pytest.mark.parametrize(("end", "end_of_other", "times", "last", "above", "above_of_other"), [
    (5200.0, 8100.0, 3, 5000 + 100 * 1400 / 4300, "more", "less"),
    (9000.0, 8100.0, 4, 5100 + 3900 * 2900 / 3800, "less", "more")])
def test_of_three_crossings_and_more_the_number_the_first_and_the_last_are_told(
        end: float, end_of_other: float, times: int, last: float, above: str,
        above_of_other: str) -> None:
    """The second was told as that up to which the first holds, and what came above it was not:
    the one that was said to have moved more had moved less from the third on."""
    a = pressed("a", {**THRICE, end: 2.0})
    b = pressed("b", {**OTHER, end_of_other: 2.0})
    found = crossing(a, b)
    assert len(found.places) == len(crossing(b, a).places) == times
    assert found.stiffer == crossing(b, a).stiffer == "a"
    assert [load for _, load in found.places][:3] == pytest.approx([
        2000 + 100 * 1000 / 2400, 3550.0, 5000 + 100 * 1400 / 4300])
    assert found.places[-1][1] == pytest.approx(last)
    for one, other, below, beyond in ((a, "b", "less", above), (b, "a", "more", above_of_other)):
        both = f"{below} below the first and {beyond} above the last" if below != beyond else (
            f"{below} below the first and above the last")
        assert (f"its curve crosses that of '{other}' {times} times, first at about 2042 N and last "
                f"at about {last:.0f} N: it has moved {both}") in verdict(one, (a, b))


def test_a_load_that_was_looked_for_between_two_points_counts_in_the_curve() -> None:
    """The chord from 0.1 to 0.9 mm passes below the load at 0.5 mm: there the first is ahead."""
    first = {0.0: 0.0, 1000.0: 0.1, 1800.0: 0.9, 1900.0: 2.0}
    second = {0.0: 0.0, 800.0: 0.1, 1560.0: 0.5, 2400.0: 0.9, 3000.0: 2.0}
    a, b = pressed("first", first), pressed("second", second)
    early = crossing(a, b)
    later = crossing(replace(a, reserve=replace(a.reserve, load_N=1750.0)), b)
    assert early.load_N < 1400.0
    assert 1750.0 < later.load_N < 1800.0
