"""Names of a study appear as text in table, picture and CSV, and never as code."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pytest
from figure_texts import clashes, shown_texts
from hostile import FRACTURE, FRAGMENT, NAMES, PLATE, TITLE, hostile_comparison, hostile_study
from html_page import Page
from small_study import small_study
from under_loads import under_loads

from buttress.comparison.compare import compare
from buttress.draw import all as figures
from buttress.draw import sweep as sweep_figures
from buttress.draw.all import draw_all
from buttress.files import as_csv, inert
from buttress.report.folder import document
from buttress.report.page import write_report
from buttress.report.terminal import lines
from buttress.results.order import reserve_words
from buttress.results.rows import columns, rows
from buttress.study.read import study_from
from buttress.sweeps.sweep import export_csv, sweep
from buttress.sweeps.vary import plain

STARTS = ("=", "+", "-", "@", "\t", "\r")


def written(ax) -> str:
    """All text of a figure as it is drawn; mathematics in it fails."""
    out = []
    for text, _ in shown_texts(ax.get_figure(root=True)):
        shown, mathematics = text._preprocess_math(text.get_text())
        assert not mathematics, shown
        out.append(shown)
    return "\n".join(out)


def joined(text: str) -> str:
    """Text without the places where it was wrapped."""
    return "".join(text.split())


def test_no_field_of_the_csv_is_a_formula_and_every_name_is_there() -> None:
    text = as_csv(rows(hostile_comparison()), columns())
    table = list(csv.DictReader(io.StringIO(text)))
    for row in table:
        for key, field in row.items():
            try:
                float(field)
            except ValueError:
                assert not field.startswith(STARTS), (key, field)
    assert {r["construct"].removeprefix("'") for r in table} == set(NAMES)
    assert {r["fragment"] for r in table} == {"'" + FRAGMENT}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", " =1", "\t=1", "\r@", "＝1"])
def test_what_a_spreadsheet_would_run_gets_an_apostrophe(text: str) -> None:
    assert inert(text) == "'" + text
    assert inert("a" + text) == "a" + text


def test_numbers_and_nothing_stay_as_they_are() -> None:
    assert [inert(x) for x in (-1.5, None, "", 0)] == [-1.5, None, "", 0]


def test_pictures_show_names_letter_by_letter() -> None:
    made = hostile_comparison()
    seen = ""
    for stem, ax in figures.drawn(made):
        assert clashes(ax.get_figure(root=True)) == [], stem
        seen += joined(written(ax))
    for name in (*NAMES, FRACTURE, FRAGMENT, PLATE):
        assert joined(name) in seen, name


def test_the_report_of_a_solved_hostile_study(tmp_path: Path) -> None:
    made = hostile_comparison()
    write_report(made, tmp_path / "report.html", {})
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert not {"script", "img", "s", "u", "plate"} & set(page.tags)
    for name in (*NAMES, FRACTURE, FRAGMENT, PLATE, TITLE):
        assert " ".join(name.split()) in page.text, name


def test_a_sweep_of_hostile_names_as_csv_and_pictures(tmp_path: Path) -> None:
    study = hostile_study()
    key = f"fracture.{FRACTURE}.friction"
    done = sweep(study, [f"{key}=0.3:0.5:2"], out=tmp_path / "s.sqlite", workers=0)
    target, count = export_csv(done.path)
    table = pd.read_csv(target)
    assert count == len(table) == 2 * len(NAMES)
    assert {n.removeprefix("'") for n in table["construct"]} == set(NAMES)
    assert not [n for n in table["construct"] if n.startswith(STARTS)]
    frame = done.to_frame()
    for ax in (sweep_figures.over_key(frame, key), sweep_figures.envelope(frame)):
        seen = joined(written(ax))
        for name in NAMES:  # wrapped, but whole
            assert joined(name) in seen
    words = joined(written(sweep_figures.over_key(frame, key)))     # of the key, its name whole
    assert joined("\\alpha <s>: coefficient of friction between its faces [-]") in words


# ------------------------------------------------------------------------- studies of odd shape

def report_text(made, folder: Path) -> str:
    draw_all(made, folder)
    write_report(made, folder / "report.html", sorted(folder.glob("*.png")))
    return Page((folder / "report.html").read_text(encoding="utf-8")).text


def test_one_construct_that_does_not_hold(tmp_path: Path) -> None:
    text = report_text(under_loads(small_study("nothing", "nothing")), tmp_path)
    assert "No construct carries any of the loads" in text
    assert "Nothing balances it" in text


def test_one_construct_that_holds_comes_first_of_nothing(tmp_path: Path) -> None:
    made = compare(small_study("lag screws", "lag screws"))
    text = report_text(made, tmp_path)
    assert f"lag screws : {reserve_words(made.constructs[0])}." in text   # name in bold
    assert "comes first" not in text


def test_a_study_without_a_fracture_says_so_and_everything_holds(tmp_path: Path) -> None:
    data = plain(small_study("nothing", "antiglide"))
    del data["fracture"], data["fragment"]
    made = compare(study_from(data))
    assert [c.equilibrium_ends_N for c in made.constructs] == [None, None]
    assert [c.capacity_N for c in made.constructs] == [(None, None)] * 2
    text = report_text(made, tmp_path)
    assert "Nothing is fractured in this study" in text
    # It also said "rank 1–2" of both.
    assert not any("rank 1" in line for line in lines(made))
    shown = document(made)
    assert [(x["rank"], x["tied_with"]) for x in shown["order"]] == [(None, [])] * 2
