"""Old names of keys: read for a version, with one note that says what to write instead."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from buttress.fe.errors import InputError
from buttress.study import renamed
from buttress.study.read import example, example_text, parse_study

OLD = {"section.preset": "bone", "construct.screw.size": "form", "broken": "fracture",
       "fracture.rubs": "friction"}


@pytest.fixture(autouse=True)
def _old_names(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(renamed, "RENAMED", OLD)
    renamed._note.cache_clear()
    yield
    renamed._note.cache_clear()


def with_old_names() -> str:
    text = example_text("medial-shear")
    for old, new in (("preset =", "bone ="), ("size =", "form ="),
                     ("[[broken]]", "[[fracture]]"), ("rubs =", "friction =")):
        assert new in text, new
        text = text.replace(new, old)
    return text


def test_a_study_with_old_names_is_the_same_study_and_each_is_noted_once(
        capsys: pytest.CaptureFixture) -> None:
    for _ in range(2):
        assert parse_study(with_old_names(), "mine.toml") == example("medial-shear")
    said = capsys.readouterr()
    assert said.out == ""
    lines = said.err.splitlines()
    assert len(lines) == len(OLD)
    assert ("mine.toml: section.preset is now called section.bone; the old name will not "
            "be read by the next version") in lines
    assert any("construct.screw.size is now called construct.screw.form" in x for x in lines)
    assert any("fracture.rubs is now called fracture.friction" in x for x in lines)


def test_a_key_under_both_names_is_refused() -> None:
    text = example_text("medial-shear").replace("[section]", "[section]\npreset = \"dense\"")
    with pytest.raises(InputError, match="old name of bone") as caught:
        parse_study(text, "mine.toml")
    assert caught.value.key == "section.preset"


def test_an_old_name_in_another_table_is_no_key_at_all(capsys: pytest.CaptureFixture) -> None:
    with pytest.raises(InputError, match="preset"):
        parse_study(example_text("medial-shear").replace("[load]", "[load]\npreset = \"dense\""))
    assert capsys.readouterr().err == ""


def test_what_is_given_stays_as_it_is() -> None:
    data = {"section": {"preset": "dense"}, "other": [1, {"a": (2.0, 3.0)}]}
    assert renamed.renewed(data)["section"] == {"bone": "dense"}
    assert data["section"] == {"preset": "dense"}
