"""The lesson in the gallery, in a browser: every step fits on a projector, in both languages.

`pytest -m deep -s tests/browser/test_lesson_shipped.py` drags every slider in every step and prints
how long the page takes from a drag to what it then shows.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from buttress.lesson.catalogue import LANGUAGES

pytestmark = pytest.mark.browser
PAGE = Path(__file__).parents[2] / "results" / "gallery" / "lesson" / "lesson.html"


def test_every_step_fits_on_the_first_screen_in_every_language(browser: Any) -> None:
    page, said = browser.new_page(viewport={"width": 1280, "height": 720}), list[str]()
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
            if over > 1 or max(low) > 720:
                cut.append((language, step + 1, over, low))
    assert cut == []
    assert said == []
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
