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


SMALL = """() => {
    const out = [];
    for (const e of document.querySelectorAll('body *')) {
        if (!e.getClientRects().length || ![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())) continue;
        const m = e.ownerSVGElement && e.getScreenCTM();
        const px = m ? Number(e.getAttribute('font-size')) * Math.hypot(m.a, m.b) : parseFloat(getComputedStyle(e).fontSize);
        if (0.75 * px < 8.99 && !e.closest('.hidden')) out.push([e.textContent.slice(0, 30), 0.75 * px]);
    }
    return out; }"""
"""Words that are smaller than 9 points."""
PAPER_MM = {"A4": (210, 297), "Letter": (216, 279)}


def on_paper(page: Any, paper: str, landscape: bool) -> list[Any]:
    """What is too small as it lies on a sheet of paper with margins of 8 mm."""
    wide, high = (round((mm - 16) * 96 / 25.4) for mm in PAPER_MM[paper][::-1 if landscape else 1])
    page.emulate_media(media="print")
    page.set_viewport_size({"width": wide, "height": high})
    small = page.evaluate(SMALL)
    page.emulate_media(media="null")
    page.set_viewport_size({"width": 1280, "height": 720})
    return small


def test_the_handout_of_the_tour_has_its_head_on_every_page_and_words_of_9_points(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.evaluate("window.print = () => {}; 0")
    for language in LANGUAGES:
        page.select_option("#language", language)
        for paper in ("A4", "Letter"):
            for landscape in (False, True):
                page.evaluate("printHandout()")
                assert on_paper(page, paper, landscape) == []
                printed, sheets = page.pdf(format=paper, landscape=landscape), page.locator(".sheet").count()
                assert sheets == page.locator(".sheet-head").count() <= 6
                assert len(re.findall(rb"/Type\s*/Page\b", printed)) == sheets, (language, paper, landscape)
    page.close()


def test_a_step_on_paper_is_one_page_of_words_of_9_points(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.uncheck("#predict")
    for language in LANGUAGES:
        page.select_option("#language", language)
        for step in (3, 9, 10, 11):      # one picture, two, the longest words
            page.evaluate(f"go({step})")
            for paper in PAPER_MM:
                for landscape in (False, True):
                    page.evaluate("wordsFor(STEP_TYPE)")     # as the browser does before it prints
                    assert on_paper(page, paper, landscape) == [], (language, step, paper, landscape)
                    page.evaluate("wordsFor(0)")
                    printed = page.pdf(format=paper, landscape=landscape)
                    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1, (language, step, paper)
    page.close()


KINDS_SEEN = """(k) => { const s = $(k ? 'section-b' : 'section'), box = (e) => e.getBoundingClientRect();
    const spots = (b) => [0, 0.25, 0.5, 0.75, 1].flatMap((u) => [0, 0.5, 1].map((v) => new DOMPoint(b.x + u * b.width, b.y + v * b.height)));
    const told = [...s.querySelectorAll('.legend text')], view = box(s);
    const solid = [...s.querySelectorAll(':scope > .metal path, :scope > path')].filter((p) => p.getAttribute('stroke') === COLOUR.plate
        || p.closest('.metal') || p.getAttribute('fill') === FILL.shaft);
    const covers = (p, e) => spots(e.getBBox()).some((x) => p.isPointInStroke(x) || (p.getAttribute('fill') !== 'none' && p.isPointInFill(x)));
    return { acts: [...new Set([...s.querySelectorAll(':scope > .metal')].map((g) => g.dataset.acts))].sort(),
        words: told.map((e) => e.textContent), named: ACTS.filter((a) => told.some((e) => e.textContent === t('legend.' + a))).sort(),
        over: told.filter((e) => solid.some((p) => covers(p, e))).map((e) => e.textContent),
        out: told.filter((e) => box(e).left < view.left || box(e).right > view.right).map((e) => e.textContent) }; }"""


def test_every_kind_of_screw_that_is_drawn_is_named_beside_the_bone(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.uncheck("#predict")
    seen: set[str] = set()
    for language in LANGUAGES:
        page.select_option("#language", language)
        for step in range(page.evaluate("DATA.steps.length")):
            page.evaluate(f"go({step})")
            for k in range(page.evaluate("lesson.shown.filter(Boolean).length")):
                told = page.evaluate(KINDS_SEEN, k)
                assert told["acts"] == told["named"], (language, step, k)
                assert told["over"] == told["out"] == [], (language, step, k)
                seen |= set(told["acts"])
    assert seen == {"lag", "position", "locked", "unlocked"}
    page.close()


def test_washers_of_neighbours_do_not_cover_each_other(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(PAGE.as_uri())
    page.evaluate("lesson.begun")
    page.uncheck("#predict")
    found = 0
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
        boxes = page.evaluate("""[...$('section').querySelectorAll('.washer')].map((e) => {
            const b = e.getBoundingClientRect(); return [b.top, b.bottom]; })""")
        for i, (top, bottom) in enumerate(boxes):
            found += 1
            assert all(bottom < u or v < top for u, v in boxes[:i]), step
    assert found >= 4
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
