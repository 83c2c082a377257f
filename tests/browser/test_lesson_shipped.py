"""The lesson in the gallery, in a browser: every step fits on a projector, in both languages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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
