"""The one printer of text in columns."""

from __future__ import annotations

import pytest

from buttress.report.columns import NARROWEST, columns, terminal_width

ROWS = [("antiglide plate", "12", "held"), ("nothing", "3456", "no equilibrium")]


def test_text_is_flush_left_numbers_flush_right_and_heads_have_lines() -> None:
    assert columns(("construct", "load\nN", "status"), ROWS, "<><") == [
        "construct        load  status",
        "                    N",
        "antiglide plate    12  held",
        "nothing          3456  no equilibrium"]


def test_the_last_alignment_holds_for_all_that_follow_and_a_string_spans_all_columns() -> None:
    assert columns((), [("a", "1", "22"), "between", ("bbb", "333", "4")]) == [
        "a      1  22", "between", "bbb  333   4"]
    assert columns((), ["nothing to list"]) == ["nothing to list"]


def test_only_text_is_wrapped_and_no_word_is_lost() -> None:
    rows = [("plate at the apex of the fragment with a lag screw", "1281 - 2133", "a note of words")]
    for width in (30, 45, 60):
        got = columns(("construct", "capacity", "said"), rows, "<><", width=width)
        assert "1281 - 2133" in "\n".join(got)
        assert max(map(len, got)) <= max(width, 2 * NARROWEST + 15)
        assert sorted(" ".join(got).split()) == sorted(
            " ".join(("construct", "capacity", "said", *rows[0])).split())
    assert len(columns((), rows, "<><", width=100)) == 1


def test_the_widest_column_of_text_gives_way_first() -> None:
    rows = [("a" * 40, "bb cc " * 3, "1")]
    got = columns((), rows, "<<>", width=50)
    assert len(got[0]) <= 50
    assert rows[0][1].strip() in got[0]


def test_a_variable_says_how_wide_the_terminal_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert terminal_width() == 40
    rows = [("antiglide plate and a lag screw through its top hole", "12")]
    assert max(map(len, columns((), rows))) <= 40
    monkeypatch.setenv("COLUMNS", "70")
    assert len(columns((), rows)) == 1


def test_what_numbers_make_too_wide_goes_on_below_with_its_first_column() -> None:
    head = ("construct", "best\n%", "held\n%", "mean rank\n1 is best")
    rows = [("antiglide plate and lag screws", "88 (70-100)", "100 (85-100)", "1.1"), "a note",
            ("nothing", "7 (0-15)", "9 (0-15)", "2.0")]
    assert len(columns(head, rows, width=80)) == 5
    got = columns(head, rows, width=42)
    assert max(map(len, got)) <= 42
    assert [x.split() for x in got[:2]] == [["construct", "best", "held"], ["%", "%"]]
    assert got.count("a note") == 2
    below = got[got.index("") + 1:]
    assert below[0].split() == ["construct", "mean", "rank"]
    assert below[-1].split() == ["nothing", "2.0"]
    words = [x for row in rows if not isinstance(row, str) for x in row[1:]]
    assert [" ".join(got).count(x) for x in words] == [1] * len(words)
