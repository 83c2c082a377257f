"""The order of constructs: loads at which the joint has moved, ties, lower bounds."""

from __future__ import annotations

import json
from dataclasses import replace

import made_up
import pytest
from made_up import comparison, construct, moves, not_known

from buttress.draw.overview import overview
from buttress.fe.richardson import SPREAD
from buttress.report.folder import document, rows
from buttress.report.tables import head, main_table
from buttress.report.terminal import lines
from buttress.results import path
from buttress.results.bar import Bar
from buttress.results.order import (
    AT_LEAST,
    ENDS,
    MOVED,
    Reserve,
    answer,
    best_first,
    moved_words,
    order_words,
    rank_words,
    ranks,
    reserve,
    reserve_words,
    why_first,
)


def lost_gauge(name: str, kept: float):
    return replace(construct(name), reserve=path.Reserve(None, 0.5, None, None, kept))


@pytest.mark.parametrize(("made", "wanted", "words"), [
    (moves("a", 3949.4), Reserve(3949.4, MOVED), "the joint has moved 0.5 mm at about 3949 N"),
    (construct("a", ends=1076.0), Reserve(1076.0, ENDS),
     "the load peaks at about 1076 N, before the joint has moved 0.5 mm"),
    (construct("a", ends=0.0), Reserve(0.0, ENDS), "no load is carried"),
    (construct("a", ends=None), Reserve(10_000.0, AT_LEAST),
     "the joint moves less than 0.5 mm up to 10000 N, where the search ends"),
    (not_known("a", 950.0), Reserve(950.0, AT_LEAST),
     "the joint moves less than 0.5 mm up to 950 N, above which the answer is not known"),
    (not_known("a", 0.0), Reserve(0.0, AT_LEAST), "it is not known which load is carried"),
    (lost_gauge("a", 0.0), Reserve(0.0, AT_LEAST),
     "it is not known at which load the joint has moved 0.5 mm"),
    (lost_gauge("a", 700.0), Reserve(700.0, AT_LEAST),
     "the joint moves less than 0.5 mm up to 700 N, above which the answer is not known"),
])
def test_what_a_construct_is_ordered_by(made, wanted: Reserve, words: str) -> None:
    assert reserve(made) == wanted
    assert reserve_words(made) == words


def test_the_movement_in_force_is_told() -> None:
    """In the order, its basis, the head of the table and the CSV: that of the study, not 0.5 mm."""
    made = tuple(replace(c, reserve=replace(c.reserve, movement_mm=1.25)) for c in (
        moves("a", 3949.4), construct("b", ends=1076.0), not_known("c", 950.0),
        construct("d", ends=None)))
    assert [reserve_words(c) for c in made] == [
        "the joint has moved 1.25 mm at about 3949 N",
        "the load peaks at about 1076 N, before the joint has moved 1.25 mm",
        "the joint moves less than 1.25 mm up to 950 N, above which the answer is not known",
        "the joint moves less than 1.25 mm up to 10000 N, where the search ends"]
    assert "has moved 1.25 mm (the largest" in order_words(1.25)
    assert "joint moved\n1.25\N{NO-BREAK SPACE}mm at\n[N]" in head(1.25)
    assert "1.25\N{NO-BREAK SPACE}mm" in main_table(made).replace("&nbsp;", "\N{NO-BREAK SPACE}")
    assert {r["reserve_movement_mm"] for r in rows(comparison(made))} == {1.25}


def test_loads_within_five_per_cent_share_a_rank() -> None:
    """1000, 960 and 955 N lie within 5 % of each other; 900 N is 955 less 5.8 %."""
    made = tuple(moves(n, x) for n, x in (("d", 900.0), ("a", 955.0), ("b", 1000.0), ("c", 960.0)))
    assert [c.name for c in best_first(made)] == ["b", "c", "a", "d"]
    assert ranks(made) == {"a": "1–3", "b": "1–3", "c": "1–3", "d": "4"}
    assert why_first(best_first(made)) == (
        "the joint has moved 0.5 mm at about 1000 N; tied with 'c' and 'a'")


def test_what_comes_next_names_all_that_tie() -> None:
    """One of three with the same load was told as if it alone came next."""
    made = [moves("a", 6543.0), moves("b", 1229.0), moves("c", 1229.0), moves("d", 1200.0),
            moves("e", 900.0)]
    assert why_first(best_first(tuple(made))) == (
        "the joint has moved 0.5 mm at about 6543 N; next are 'b', 'c' and 'd', which tie ('b': "
        "the joint has moved 0.5 mm at about 1229 N)")


def test_a_lower_bound_may_stand_anywhere_above_it() -> None:
    """At least 950 N: before 800 N in any case, behind 5000 and 3000 N perhaps."""
    made = (moves("first", 5000.0), moves("second", 3000.0), not_known("lost", 950.0),
            moves("last", 800.0))
    assert ranks(made) == {"first": "1–2", "second": "2–3", "lost": "1–3", "last": "4"}
    assert [c.name for c in best_first(made)] == ["first", "second", "lost", "last"]
    assert reserve(made[2]).text == "≥ 950"
    assert answer(best_first(made)).words == (
        "'first' may come first: the joint has moved 0.5 mm at about 5000 N; it is not known "
        "whether 'lost' comes before it.")
    level = (*made, moves("level", 4990.0))
    assert answer(best_first(level)).words == (
        "'first' shares the first rank: the joint has moved 0.5 mm at about 5000 N; tied with "
        "'level'; it is not known whether 'lost' comes before it.")


def test_what_is_not_known_is_reported_in_csv_and_json() -> None:
    made = comparison((not_known("lost", 950.0), moves("plate", 3000.0), construct("raft",
                                                                                   ends=None)))
    row = {r["construct"]: r for r in rows(made)}
    assert row["lost"]["equilibrium_ends_N"] is None
    assert (row["lost"]["ends_status"], row["lost"]["known_to_N"]) == ("not known", 950.0)
    assert (row["lost"]["reserve_is"], row["lost"]["rank"]) == ("at least", "1–3")
    assert row["raft"]["ends_status"] == "beyond the search"
    assert (row["plate"]["ends_status"], row["plate"]["reserve_N"]) == ("found", 3000.0)
    data = json.loads(json.dumps(document(made), allow_nan=False))
    lost = data["constructs"][0]
    assert lost["equilibrium_ends_N"] is None
    assert (lost["ends_status"], lost["known_to_N"]) == ("not known", 950.0)
    assert [{k: v for k, v in x.items() if k != "tied_with"} for x in data["order"]] == [
        {"construct": "raft", "rank": "1–2", "load_N": 10_000.0, "kind": "at least", "most_N": None},
        {"construct": "plate", "rank": "2–3", "load_N": 3000.0, "kind": "joint moved", "most_N": None},
        {"construct": "lost", "rank": "1–3", "load_N": 950.0, "kind": "at least", "most_N": None}]


def test_of_several_fragments_it_is_told_whose_movement_orders() -> None:
    """A row shows the fragment that subsides most: none of its figures need be the one that is told."""
    one = moves("a", 3949.4)
    assert moved_words(one) == ""
    assert rank_words(one, (one,)) == "rank 1: the joint has moved 0.5 mm at about 3949 N"
    load = one.loads[0]
    two = replace(one, loads=(replace(load, fragments={
        **load.fragments, "lateral": load.fragments["medial"]}),))
    assert moved_words(two) == "step-off of shear plane"
    assert rank_words(two, (two,)).endswith("at about 3949 N (step-off of shear plane)")
    sunk = replace(two, reserve=path.Reserve(3949.4, 0.5, "subsidence", "lateral"))
    assert moved_words(sunk) == "net subsidence of lateral"
    assert moved_words(replace(two, reserve=path.Reserve(None, 0.5, None, None))) == ""


def test_of_equal_loads_what_breaks_no_rule_is_named_first_whatever_the_order_of_the_file() -> None:
    """Two constructs up to the end of the search: the file decided which one "may come first"."""
    broken = replace(construct("broken", ends=None), breaks_rule=True)
    kept = construct("kept", ends=None)
    for pair in ((broken, kept), (kept, broken)):
        assert [c.name for c in best_first(pair)] == ["kept", "broken"]


def test_of_equal_loads_what_moves_less_is_named_first() -> None:
    less, more = (construct(name, ends=None) for name in ("less", "more"))
    load = less.loads[-1]
    edges = {k: replace(e, step_off_mm=9.0) for k, e in load.edges.items()}
    more = replace(more, loads=(*more.loads[:-1], replace(load, edges=edges)))
    for pair in ((less, more), (more, less)):
        assert [c.name for c in best_first(pair)] == ["less", "more"]
    # Noise does not decide.
    near = replace(less, name="near", reserve=replace(less.reserve, load_N=900.0 + 1e-9))
    same = replace(less, name="same", reserve=replace(less.reserve, load_N=900.0))
    assert [c.name for c in best_first((same, near))] == ["same", "near"]


def test_noise_about_a_rounded_digit_does_not_turn_the_order_of_the_file() -> None:
    """Twins 'A' and 'B' were told as 'B', 'A' by 1e-11 N: a figure is rounded up or down there."""
    for load, moved in ((900.0000005, 0.02), (900.0, 0.0200005)):
        pair = [moves(name, load + sign * 1e-11) for name, sign in (("A", -1), ("B", 1))]
        for k, sign in enumerate((1, -1)):
            last = pair[k].loads[-1]
            edges = {n: replace(e, step_off_mm=moved + sign * 1e-12, gap_mm=0.0)
                     for n, e in last.edges.items()}
            pair[k] = replace(pair[k], loads=(*pair[k].loads[:-1], replace(
                last, edges=edges, fragments={})))
        assert [c.name for c in best_first(tuple(pair))] == ["A", "B"]


def test_of_constructs_that_tie_for_the_first_rank_one_that_breaks_no_rule_is_named() -> None:
    broken = replace(moves("broken", 1000.0), breaks_rule=True)
    tie, third = moves("kept", 960.0), moves("third", 920.0)    # 1000 N is 8.7 % above the third
    said = ("'kept' shares the first rank: the joint has moved 0.5 mm at about 960 N; tied with "
            "'broken (!)' and 'third' ('broken (!)' comes before 'third').")
    for every in ((broken, tie, third), (third, tie, broken)):
        assert [c.name for c in best_first(every)] == ["broken", "kept", "third"]
        assert answer(best_first(every)).words == said
    # What comes first alone, or together with others that break one, is named as it is.
    assert answer(best_first((broken, third))).words.startswith(
        "'broken (!)' comes first, though it breaks a rule of the trade: ")
    assert answer(best_first((broken, tie))).words.endswith("; tied with 'broken (!)'.")
    both = replace(tie, breaks_rule=True)
    assert answer(best_first((broken, both))).words.startswith(
        "'broken (!)' shares the first rank, though it breaks a rule of the trade: ")


def test_what_is_named_of_constructs_that_tie_has_the_first_rank_with_error_bars_too() -> None:
    """'kept' ties with 'broken' by an error bar alone, and 'next' is known to come before it."""
    wide = Bar("reserve_N", "N", None, "", (1000.0, 1000.0), SPREAD, 700.0, 1300.0)
    broken = replace(moves("broken", 1000.0), breaks_rule=True, bars=(wide,))
    kept, other = moves("kept", 800.0), replace(moves("next", 960.0), breaks_rule=True)
    every = best_first((broken, other, kept))
    assert ranks(tuple(every)) == {"broken": "1–3", "next": "1–2", "kept": "2–3"}
    assert answer(every).words.startswith("'broken (!)' shares the first rank, though")
    every[1] = replace(other, breaks_rule=False)
    # 'next' comes before 'kept', with which 'broken' ties.
    assert answer(every).words.endswith(" at about 960 N; tied with 'broken (!)'.")


def test_an_own_bonded_construct_is_a_cross_check_and_not_ranked() -> None:
    """It came first among constructs with links, without a word."""
    stuck = replace(moves("stuck", 9000.0), bonded=True)
    order = best_first((stuck, moves("a", 2000.0), moves("b", 1000.0)))
    assert [c.name for c in order] == ["a", "b", "stuck"]
    assert ranks(tuple(order)) == {"a": "1", "b": "2"}
    assert answer(order).words.startswith("'a' comes first")
    assert "stuck" not in answer(order).words
    said = "bonded: a cross-check, not ranked"
    assert rank_words(order[2], tuple(order)) == (
        f"{said}; the joint has moved 0.5 mm at about 9000 N")
    made = comparison(tuple(order))
    assert " ".join(" ".join(lines(made, 100)).split()).count(said) == 1
    assert said in " ".join(made_up.words(overview(made, 1000.0)).split())
    assert "not ranked" in answer([stuck]).words
