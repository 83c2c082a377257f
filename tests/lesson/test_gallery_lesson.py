"""The lesson in the gallery: its script, style, problems and tour are those of this version."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from buttress import LABEL
from buttress.lesson.catalogue import LANGUAGES, words_in
from buttress.lesson.embed import embedded_problem
from buttress.lesson.look import Facts
from buttress.lesson.page import SHOWN, SOLVER, Told, said_by_script, step_data
from buttress.lesson.shipped import shipped_scenes
from buttress.lesson.words import apex
from buttress.report.gallery import OTHERS

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "results" / "gallery" / "lesson" / "lesson.html"
ASSETS = ROOT / "constructs" / "lesson" / "page"
SCENES = shipped_scenes()


@pytest.fixture(scope="module")
def page() -> str:
    return PAGE.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def data(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert found
    return json.loads(found[1])


def test_script_and_style_are_those_of_this_version(page: str) -> None:
    for name in (*SOLVER, *SHOWN, "lesson.css"):
        assert (ASSETS / name).read_text(encoding="utf-8") in page, f"make it anew: {name} changed"


def test_it_is_labelled_small_and_told_of(page: str) -> None:
    assert LABEL.split(".")[0] in page
    assert len(page) < 8_000_000
    assert OTHERS["lesson"][1] in (PAGE.parents[1] / "README.md").read_text(encoding="utf-8")
    assert "results/gallery/lesson/lesson.html" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_its_places_are_those_of_this_version(data: dict[str, Any]) -> None:
    """A place is left out only where its hardware does not fit the bone."""
    facts = Facts(SCENES)
    assert sum(len(family.places) for scene in SCENES for family in scene.families) > 20
    for number, (scene, kept) in enumerate(zip(SCENES, data["scenes"], strict=True)):
        for family, shipped in zip(scene.families, kept["families"], strict=True):
            there = [tuple(p["place"]) for p in shipped]
            assert there == [p for p in family.places if p in there]
            for place in family.places:
                assert place in there or embedded_problem(facts, number, family,
                                                          place).data is None, place


def test_its_numbers_are_those_of_this_version(data: dict[str, Any]) -> None:
    """One step of the tour word by word, and the size and law of a problem."""
    facts = Facts(SCENES)
    told = tuple(Told(words_in(x), "", (apex(facts, words_in(x)),)) for x in LANGUAGES)
    assert step_data(told, 0, facts) == data["steps"][3]
    for x in LANGUAGES:
        assert data["words"][x] == said_by_script(words_in(x)), "the catalogue changed"
    number = SCENES[0].choices[0].families[True]
    fresh = embedded_problem(facts, 0, SCENES[0].families[number], SCENES[0].families[number].places[0])
    kept = data["scenes"][0]["families"][number][0]
    assert fresh.data is not None
    for name in ("links", "motions", "kinks", "tighten", "layout", "geometry", "kinds"):
        assert json.loads(json.dumps(fresh.data[name])) == kept[name], name
