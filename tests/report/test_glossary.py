"""Glossary and verification status: complete, plain, true to the code."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from html_page import Page

from buttress import __version__
from buttress.fe.errors import InputError
from buttress.report import verified
from buttress.report.glossary import glossary
from buttress.report.tables import head
from buttress.results.quantities import headed


def test_every_word_is_explained_to_both_readers_in_short_sentences() -> None:
    terms = glossary().terms
    assert len(terms) >= 30
    for term in terms:
        for text in (term.not_surgeon, term.not_engineer):
            assert 20 < len(text) < 190, term.word
            assert text.endswith(".")
            assert text[0].isupper()


def test_the_words_of_the_table_are_in_the_glossary() -> None:
    words = " ".join(t.word for t in glossary().terms)
    heads = [h.replace("-<br>", "").replace("<br>", " ").replace("\n", "") for h in head(0.5)]
    for word in ("subsidence", "step-off", "gap", "tilt", "capacity", "yield"):
        assert word in words
        assert any(word in h for h in heads), word
    assert "residual" in words      # the words of trust stand below the table
    for q in headed():
        assert glossary()[q.glossary], q.key


def test_the_glossary_as_a_page_as_text_and_by_word() -> None:
    page = Page(glossary().html())
    assert page.tags.count("tr") == len(glossary().terms) + 1
    assert glossary()._repr_html_() == glossary().html()
    assert glossary().markdown().count("\n") == len(glossary().terms) + 2
    assert "compresses" in glossary()["lag screw"].not_surgeon
    with pytest.raises(InputError, match="lag screw"):
        glossary()["lag screws"]


RESULTS = [{"name": "a", "status": "seen", "basis": "published", "deviation": 0.5e-6, "tolerance": 1e-6, "kind": "equal",
            "passes": True},
           {"name": "b", "status": "derived", "basis": "closed form", "deviation": 3.0, "tolerance": 1e-6, "kind": "equal",
            "passes": False}]


def test_a_record_says_what_passed_and_with_what_code(tmp_path: Path) -> None:
    made = verified.record_of(RESULTS, {"numpy": "2.0"})
    path = verified.write_record(made, tmp_path / "verified.json")
    assert verified.recorded(path) == made
    said = " ".join(verified.sentences(made))
    assert "1 of 2 values are reproduced" in said
    assert "2 cases: 1 closed form, 1 published; the reference is read in its source in 1" in said
    assert "Not reproduced: b." in said
    assert "the same solver code" in said
    for other in (replace(made, solver="0" * 16), replace(made, buttress="0.0.1")):
        assert "may no longer hold" in " ".join(verified.sentences(other))
    assert "No verification record" in verified.sentences(None)[0]


def test_a_record_that_cannot_be_read_is_none(tmp_path: Path) -> None:
    assert verified.recorded(tmp_path / "none.json") is None
    for text in ("{", "[]", '{"buttress": "1"}', '{"failed": []}'):
        (tmp_path / "bad.json").write_text(text)
        assert verified.recorded(tmp_path / "bad.json") is None
    with pytest.raises(InputError, match="cannot be written"):
        verified.write_record(verified.record_of(RESULTS, {}), tmp_path / "no" / "such.json")


def test_the_shipped_record_is_of_this_version_and_nothing_failed() -> None:
    found = verified.recorded()
    assert found is not None
    assert found.buttress == __version__
    assert found.failed == ()
    assert found.cases >= 100
