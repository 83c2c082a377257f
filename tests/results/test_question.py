"""The question of a study: one key, told wherever the answer is, and without effect on figures."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from made_up import comparison as made_of
from made_up import construct

from buttress.report.gallery import write_study as write_gallery_page
from buttress.report.page import write_report
from buttress.report.terminal import lines
from buttress.results.comparison import Comparison
from buttress.study.case import Case
from buttress.study.read import example, example_names
from buttress.sweeps.keys import bone_key, case_hash

ASKED = "What holds it,\nscrews & graft?"


def asking(question: str) -> Comparison:
    made = made_of((construct("a"), construct("b")))
    return replace(made, study=made.study.model_copy(update={"question": question}))


def test_page_and_terminal_put_the_question_before_the_answer(tmp_path: Path) -> None:
    made = asking(ASKED)
    page = tmp_path / "report.html"
    write_report(made, page, {})
    html = " ".join(page.read_text(encoding="utf-8").split())
    assert "<b>The question:</b> What holds it, screws &amp; graft?" in html
    assert html.index("The question:") < html.index("The comparison, best first")
    said = lines(made)
    assert "Question: What holds it, screws & graft?" in said
    assert said.index("Question: What holds it, screws & graft?") < next(
        i for i, line in enumerate(said) if "rank" in line)


def test_the_page_of_the_gallery_asks_before_it_answers(tmp_path: Path) -> None:
    write_gallery_page(asking(ASKED), tmp_path)
    page = (tmp_path / "README.md").read_text(encoding="utf-8")
    assert "**The question:** What holds it, screws &amp; graft?\n\n**The answer" in page


def test_without_a_question_none_is_shown(tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    write_report(asking(""), page, {})
    assert "The question" not in page.read_text(encoding="utf-8")
    assert not any(line.startswith("Question") for line in lines(asking("")))


def test_it_changes_no_figure_and_no_mesh() -> None:
    study = example("medial-shear")
    other = study.model_copy(update={"question": "another one?"})
    assert case_hash(Case(study), {}) == case_hash(Case(other), {})
    assert bone_key(study) == bone_key(other)


@pytest.mark.parametrize("name", example_names())
def test_every_shipped_study_asks_one_question(name: str) -> None:
    asked = example(name).question.strip()
    assert asked.endswith("?")
    assert asked.count("?") == 1
    assert 40 < len(asked) < 200
    assert json.dumps(asked).isascii()
