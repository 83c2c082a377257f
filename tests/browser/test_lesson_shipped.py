"""The lesson in the gallery, in a browser: every step fits on a projector, in both languages.

`pytest -m deep -s tests/browser/test_lesson_shipped.py` drags every slider in every step and prints
how long the page takes from a drag to what it then shows.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lesson_page import AGREES

from buttress.lesson.catalogue import LANGUAGES

pytestmark = pytest.mark.browser
PAGE = Path(__file__).parents[2] / "results" / "gallery" / "lesson" / "lesson.html"


MENUS = """['choice', 'beside'].filter((id) => {
    const e = $(id), c = document.createElement('canvas').getContext('2d');
    c.font = getComputedStyle(e).font;
    return e.clientWidth - 24 < c.measureText(e.selectedOptions[0].textContent).width; })"""


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1024, 768), (1920, 1080)])
def test_every_step_fits_on_the_first_screen_in_every_language(browser: Any, width: int,
                                                               height: int) -> None:
    page, said = browser.new_page(viewport={"width": width, "height": height}), list[str]()
    page.on("console", lambda m: said.append(m.text))
    page.on("pageerror", lambda e: said.append(str(e)))
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    cut = []
    for language in LANGUAGES:
        page.select_option("#language", language)
        page.evaluate("lesson.predict = false; 0")
        for step in range(page.evaluate("DATA.steps.length")):
            page.evaluate(f"go({step})")
            over = page.evaluate("$('step-text').scrollHeight - $('step-text').clientHeight")
            low = page.evaluate("""['#sentence', '.cannot', '#svg'].map((w) => Math.round(
                document.querySelector(w).getBoundingClientRect().bottom))""")
            menus = page.evaluate(MENUS)
            if over > 1 or max(low) > height or menus:
                cut.append((language, step + 1, over, low, menus))
    assert cut == []
    assert said == []
    page.close()


def test_all_hardware_in_every_step_is_shown_as_its_menu_says(browser: Any) -> None:
    page, said = browser.new_page(viewport={"width": 1280, "height": 720}), list[str]()
    page.on("pageerror", lambda e: said.append(str(e)))
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.uncheck("#predict")
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
        for menu in ("#choice", "#beside"):
            for value in page.eval_on_selector_all(menu + " option", "a => a.map((o) => o.value)"):
                page.select_option(menu, value)
                page.evaluate("lesson.settled")
                assert page.evaluate(AGREES) == [], (step, menu, value)
                assert said == [], (step, menu, value)
    page.close()


def test_the_handout_of_the_tour_is_two_pages(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.evaluate("window.print = () => {}; 0")
    for language in LANGUAGES:
        page.select_option("#language", language)
        for paper in ("A4", "Letter"):
            for landscape in (False, True):
                page.evaluate("printHandout()")
                printed = page.pdf(format=paper, landscape=landscape)
                assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2, (language, paper, landscape)
    page.close()


DRAGGED = {"load": (100.0, 2000.0), "friction": (0.1, 0.8), "strength": (0.3, 1.2),
           "tension": (0.0, 1.0)}
"""Sliders, and between which values they are dragged."""
DRAG = """async ([what, values]) => {
    const took = [], seen = () => ["sentence", "outcome"].map((id) => $(id).textContent).join(" ");
    for (const value of values) {
        const start = performance.now();
        lesson.wanted[what] = value;
        await show(what);
        took.push(performance.now() - start);
    }
    const dragged = seen();
    solver.local = null;        // forgets all that was solved before
    await show(what);
    return { took, dragged, fresh: seen() };
}"""


@pytest.mark.deep
def test_what_is_dragged_is_shown_as_if_it_were_asked_for_at_once(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.uncheck("#predict")
    took: dict[str, list[float]] = {what: [] for what in DRAGGED}
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate("async (k) => { await go(k); solver.alone = true; await show('load'); }", step)
        for what, (low, high) in DRAGGED.items():
            values = np.random.default_rng(step).uniform(low, high, 6)
            found = page.evaluate(DRAG, [what, values.tolist()])
            assert found["dragged"] == found["fresh"], (step, what, values[-1])
            took[what] += found["took"][1:]     # the first prepares the construct
    for what, times in took.items():
        print(f"{what} dragged: median {np.median(times):.0f} ms, 95th percentile "
              f"{np.quantile(times, 0.95):.0f} ms, most {max(times):.0f} ms")
    page.close()
