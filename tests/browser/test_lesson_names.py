"""The lesson of a study with hostile names, and of one that nothing holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from lesson_page import opened
from small_lesson import small_scene
from small_study import small_study

from buttress.lesson.build import make
from buttress.lesson.own_words import own_tour
from buttress.study.study import Study

pytestmark = pytest.mark.browser
HOSTILE = "</script><script>hacked()</script>'\"&lt;"
IMAGE = "<img src=x onerror=window.hacked=2>"


def hostile_study() -> Study:
    study = small_study("antiglide + lag screws", loads=(400.0, 1000.0))
    given = study.constructs[0]
    plate = given.plates[0].model_copy(update={"name": "p " + HOSTILE})
    screws = tuple(s.model_copy(update={"plate": "p " + HOSTILE if s.plate else None,
                                        "name": "+cmd() " + s.name[:7] + HOSTILE})
                   for s in given.screws)
    return study.model_copy(update={
        "title": HOSTILE, "scenario": HOSTILE * 3 + IMAGE,
        "fractures": (study.fractures[0].model_copy(update={"name": HOSTILE}),),
        "fragments": (study.fragments[0].model_copy(update={"name": "long " * 8 + "<img src><b>"}),),
        "constructs": (given.model_copy(update={"name": "$title " + HOSTILE, "note": IMAGE,
                                                "plates": (plate,), "screws": screws}),)})


def test_names_are_text(browser: Any, tmp_path: Path) -> None:
    scene = small_scene(hostile_study())
    made = make((scene,), own_tour, scene.title, lambda text: None, f"buttress {HOSTILE}",
                finer=False)
    page = opened(browser, made, tmp_path)
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
    page.locator("#parts input").nth(1).click()
    page.select_option("#beside", "0")
    page.select_option("#language", "de")
    page.evaluate("lesson.settled")
    assert page.said == []
    assert [u for u in page.asked if not u.startswith("blob:")] == page.asked[:1]
    assert page.evaluate("window.hacked") is None
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 3
    assert page.inner_text("h1").startswith("</script><script>")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    page.close()


def test_a_study_that_nothing_holds_is_still_a_page(browser: Any, tmp_path: Path) -> None:
    study = small_study("nothing", loads=(400.0,))
    scene = small_scene(study)
    made = make((scene,), own_tour, scene.title, lambda text: None, "test", finer=False)
    page = opened(browser, made, tmp_path)
    assert page.said == []
    assert "no construct of this study is held" in page.inner_text("#step-text")
    assert "Not held" in page.inner_text("#sentence")
    page.close()
