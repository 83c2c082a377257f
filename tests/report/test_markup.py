"""Templates: text is escaped, what is not given is an error, numbers that do not exist are dashes."""

from __future__ import annotations

from importlib.resources import files

import pytest
from html_page import NASTY, Page
from jinja2 import UndefinedError

from buttress.report.markup import OWN, Cell, Table, asset, environment, render
from buttress.report.notebook import page


def test_text_in_every_part_of_a_table_is_shown_letter_by_letter() -> None:
    made = Table(("head", NASTY), [(NASTY, Cell(NASTY, NASTY, bold=True))], css="small")
    got = Page(page(NASTY, NASTY, tables=[made], sentence=NASTY, small=NASTY))
    assert got.text.count(NASTY) == 8
    assert not {"script", "img"} & set(got.tags)


def test_cells() -> None:
    """Lines are broken, a number that does not exist is a dash with its reason, kinds colour."""
    made = Table(("joint\nmoved",), [(None,), (Cell("held", "left\nfoot", kind="good"),)])
    got = page(tables=[made])
    assert "<th class=t>joint<br>moved</th>" in got
    assert '<td class=t><span class="none" title="this number does not exist">–</span></td>' in got
    assert '<td class=t><span class="good">held</span><br><small>left<br>foot</small></td>' in got


def test_what_a_template_asks_for_and_is_not_given_is_an_error() -> None:
    with pytest.raises(UndefinedError, match="terms"):
        render("glossary.html.j2", {"head": ("word",)})


def test_every_template_compiles_and_is_next_to_the_style_sheet() -> None:
    found = [f.name for f in files("buttress.report").joinpath("templates").iterdir()]
    templates = [name for name in found if name.endswith(".html.j2")]
    assert len(templates) >= 4
    for name in templates:
        environment(*OWN).get_template(name)
    assert str(asset("report.css")).startswith(":root{color-scheme:light}")
