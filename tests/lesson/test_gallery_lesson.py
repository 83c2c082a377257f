"""The lesson in the gallery: its script and style are today's, its states those of a fresh solve."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from buttress import LABEL
from buttress.lesson.check import Ask, fresh
from buttress.lesson.grid import AXES
from buttress.lesson.page import SCRIPTS
from buttress.lesson.shipped import shipped_scenes
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
    for name in (*SCRIPTS, "lesson.css"):
        assert (ASSETS / name).read_text(encoding="utf-8") in page, f"make it anew: {name} changed"


def test_it_is_labelled_small_and_told_of(page: str) -> None:
    assert LABEL.split(".")[0] in page
    assert len(page) < 3_000_000
    assert OTHERS["lesson"][1] in (PAGE.parents[1] / "README.md").read_text(encoding="utf-8")
    assert "results/gallery/lesson/lesson.html" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_its_grid_is_the_one_of_this_version(data: dict[str, Any]) -> None:
    for scene, kept in zip(SCENES, data["scenes"], strict=True):
        assert [[list(f.axes[a]) for a in AXES] for f in scene.families] == [
            f["axes"] for f in kept["families"]]


@pytest.mark.parametrize("step", [3, 5, 9])
def test_states_of_the_tour_are_those_of_a_fresh_solve(data: dict[str, Any], step: int) -> None:
    shown = data["steps"][step]
    scene = SCENES[shown["scene"]]
    number = scene.family(shown["choice"], *shown["on"])
    family, kept = scene.families[number], data["scenes"][shown["scene"]]["families"][number]
    # The grid's node that is nearest to what the step shows, and the load of its path in the middle.
    index = tuple(int(np.abs(np.array(family.axes[a]) - v).argmin())
                  for a, v in zip(AXES, shown["point"], strict=True))
    at = family.nodes().index(index)
    count = kept["paths"]["count"]
    row = sum(count[:at]) + count[at] // 2
    table = kept["states"]
    rows = np.frombuffer(base64.b64decode(table["bytes"]), "<u2").reshape(-1, len(table["low"]))
    state = np.array(table["low"]) + rows[row] * np.array(table["step"])
    true = fresh(scene, Ask(number, family.point(index), kept["loads"][row]))
    assert true is not None
    assert true.state is not None
    rounding = np.maximum(np.array(table["step"]), 1e-6 * np.abs(true.state))
    assert (np.abs(state - true.state) <= rounding + 1e-9).all()
