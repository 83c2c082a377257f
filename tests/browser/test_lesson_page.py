"""The lesson in a real browser: every control, the tour by keyboard, hostile names, paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lesson_page import opened, settled
from small_lesson import random_points, small_lesson

from buttress import LABEL
from buttress.lesson.embed import controls
from buttress.lesson.look import Facts
from buttress.lesson.page import Lesson
from buttress.lesson.step import Step

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def lesson() -> Lesson:
    return small_lesson()


@pytest.fixture(scope="module")
def kept(browser: Any, lesson: Lesson, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A page for all tests that begin at a step, since a step sets every control."""
    yield from silent(browser, lesson, tmp_path_factory.mktemp("kept"))


@pytest.fixture
def page(kept: Any) -> Any:
    """The page at its first step, on the usual screen."""
    kept.set_viewport_size({"width": 1280, "height": 720})
    kept.evaluate("scrollTo(0, 0); go(0)")
    return kept


@pytest.fixture
def fresh(browser: Any, lesson: Lesson, tmp_path: Path) -> Iterator[Any]:
    """A page as it opens: nothing has the focus, and nothing but the first step was solved."""
    yield from silent(browser, lesson, tmp_path)


def silent(browser: Any, lesson: Lesson, folder: Path) -> Iterator[Any]:
    """A page that says nothing and asks for nothing until it is closed."""
    shown = opened(browser, lesson, folder)
    yield shown
    assert shown.said == []
    assert [u for u in shown.asked if not u.startswith(("data:", "blob:"))] == [
        (folder / "lesson.html").as_uri()]
    shown.close()


def picture(page: Any) -> str:
    return page.eval_on_selector_all("svg", "all => all.map(s => s.innerHTML).join()")


def sentence(page: Any) -> str:
    return page.inner_text("#sentence")


def nudge(page: Any, name: str) -> None:
    """Move a slider to its other end, as a hand would."""
    page.eval_on_selector(f"#{name}", """s => {
        s.focus();
        s.value = Number(s.value) > (Number(s.min) + Number(s.max)) / 2 ? s.min : s.max;
        s.dispatchEvent(new Event('input', {bubbles: true}));
        s.dispatchEvent(new Event('change', {bubbles: true}));
    }""")
    settled(page)


def click(page: Any, where: str) -> None:
    """Click, and wait for what it asks for."""
    page.click(where)
    settled(page)


def box(part: str) -> str:
    return f"#parts input[data-part='{part}']"


@pytest.mark.parametrize("name", ["load", "slope", "friction", "strength", "position", "tension"])
def test_every_slider_changes_picture_and_sentence(page: Any, name: str) -> None:
    page.evaluate("go(1)")
    before = picture(page), sentence(page)
    assert page.is_enabled(f"#{name}")
    nudge(page, name)
    assert picture(page) != before[0]
    assert sentence(page) != before[1]
    assert page.inner_text("#changed").strip()


def test_a_load_that_was_passed_takes_few_guesses(fresh: Any) -> None:
    """Not a clock: a guess takes under a millisecond on a machine that does nothing else."""
    fresh.evaluate("go(1)")
    nudge(fresh, "load")
    guesses = fresh.evaluate("""async () => {
        const out = [];
        for (const load of [400, 500, 600, 700, 800]) {
          const before = lesson.now.guesses;
          $('load').value = load;
          await show('load');
          out.push(lesson.now.guesses - before);
        }
        return out; }""")
    assert max(guesses) <= 20


def test_every_part_changes_picture_and_sentence(page: Any) -> None:
    page.evaluate("go(1)")
    parts = page.evaluate("choiceOf(lesson.sides[0]).parts.map((p) => p.name)")
    assert {"antiglide plate", "upper lag", "lower lag"} < set(parts)
    start = picture(page)
    for part in parts:
        before = picture(page), sentence(page)
        click(page, box(part))
        assert picture(page) != before[0], part
        assert sentence(page) != before[1], part
        assert page.inner_text("#changed").startswith(f"Without “{part}”, nothing stops the fragment"
                                                      " but friction")
        click(page, box(part))
    assert picture(page) == start


def test_a_plate_goes_with_its_screws(page: Any) -> None:
    page.evaluate("go(1)")
    plate = box("antiglide plate")
    screws = page.evaluate("choiceOf(lesson.sides[0]).parts.filter((p) => p.plate).map((p) => p.name)")
    click(page, plate)
    assert not any(page.is_checked(box(s)) for s in screws)
    click(page, box(screws[0]))
    assert page.is_checked(plate)
    assert not page.is_checked(box(screws[1]))
    click(page, box(screws[0]))
    assert not page.is_checked(plate)
    click(page, plate)
    assert all(page.is_checked(box(s)) for s in screws)


def test_without_any_hardware_it_says_what_friction_would_be_needed(page: Any) -> None:
    for part in ("antiglide plate", "upper lag", "lower lag"):
        page.uncheck(box(part))
        settled(page)
    assert "Not held" in sentence(page)
    # A plane 20 degrees steep holds from a friction of cot 20 = 2.7 on, if nothing tilts.
    assert "Friction alone would not be enough: values up to μ = 6 were tried" in sentence(page)
    assert "friction of at least" not in sentence(page)
    assert "No polygon closes" in page.text_content("#polygon")
    slopes = int(page.get_attribute("#slope", "max"))
    page.evaluate(f"$('slope').value = {slopes}; $('slope').dispatchEvent(new Event('input')); "
                  "lesson.settled")
    assert "Held" in page.inner_text("#outcome")     # 70 degrees to the axis is flat
    assert "It needs friction of at least" in sentence(page)


def ask_of(page: Any, lesson: Lesson, ask: Any) -> None:
    """Put a point on the page."""
    page.evaluate("(a) => { place(a); return show(''); }", controls((ask,), lesson.facts))


def test_arrows_lie_on_the_lines_of_their_forces(page: Any, lesson: Lesson) -> None:
    """The moment of each drawn force is the moment that the state holds, and pushes end where
    their lines enter the fragment."""
    seen = 0
    for ask in random_points(lesson.facts, 8, 5):
        ask_of(page, lesson, ask)
        for drawn in page.evaluate("""() => lesson.now && forcesOn(lesson.now).map((f) => {
            const ring = lesson.now.geometry.rings.find((r) => r.kind === 'fragment').points;
            const at = (p) => p && p[0] * f.force[1] - p[1] * f.force[0];
            return [f.size, f.moment, at(f.point), at(entry(ring, f))]; })""") or []:
            seen += 1
            size, moment, point, tip = drawn
            assert point == pytest.approx(moment, abs=1e-6 * size)
            assert tip is None or tip == pytest.approx(moment, abs=1e-6 * size)
    assert seen > 8


def test_what_is_carried_adds_up_and_is_what_python_says(page: Any, lesson: Lesson) -> None:
    held = 0
    for ask in random_points(lesson.facts, 8, 6):
        ask_of(page, lesson, ask)
        told = page.evaluate("lesson.now && lesson.now.held && carriers(lesson.now)")
        if not told:
            continue
        held += 1
        load = page.evaluate("lesson.now.load")     # in steps of the slider
        look = lesson.facts.look(replace(ask, load_N=load))
        assert look.on_N == pytest.approx(told["size"], rel=1e-5)
        assert sum(k["percent"] for k in told["kinds"]) == 100
        for kind in told["kinds"]:
            assert abs(kind["percent"] - 100 * kind["share"]) < 1
            assert kind["share"] == pytest.approx(look.carried(kind["kind"]), abs=1e-4)
            assert kind["aside"] == pytest.approx(look.aside(kind["kind"]), abs=1e-4 * load)
    assert held > 2


def test_shares_below_zero_are_words(page: Any) -> None:
    """98 % and 4 % less 2 % that presses down as well: all of it stands there and adds up."""
    found = page.evaluate("percents([{share: 0.984}, {share: 0.042}, {share: -0.026}])"
                          ".map((k) => k.percent)")
    assert sum(found) == 100
    text = page.evaluate("""() => {
        const now = {...lesson.now, state: lesson.now.state.slice()}, lay = now.layout;
        const j = lay.sources.findIndex((s) => s.kind === 'fracture'), at = lay.force[0];
        const k = lay.sources.findIndex((s) => s.kind === 'plate'), own = 0;
        lay.sources.forEach((s, i) => { if (i !== own) now.state.fill(0, at[i], at[i] + 3); });
        now.state[at[j] + 1] = -0.05 * -now.state[at[own] + 1];
        now.state[at[k] + 1] = -1.05 * now.state[at[own] + 1];
        return carriedWords(now); }""")
    assert ("and what presses down with it, the fracture face (5 %), is carried by the plate "
            "(105 %).") in text


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1280, 720), (390, 844)])
def test_numbers_and_words_of_the_forces_are_whole_and_apart(page: Any, width: int, height: int
                                                             ) -> None:
    page.set_viewport_size({"width": width, "height": height})
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
        for off in ([], ["antiglide plate"], ["antiglide plate", "upper lag", "lower lag"]):
            page.evaluate(f"go({step})")
            for part in off:
                page.uncheck(box(part))
                settled(page)
            for name in ("free", "polygon"):
                circles, outside = page.evaluate("""(id) => {
                    const svg = $(id), view = svg.viewBox.baseVal;
                    return [[...svg.querySelectorAll('circle')].filter((c) => c.getAttribute('stroke'))
                        .map((c) => ['cx', 'cy', 'r'].map((a) => Number(c.getAttribute(a)))),
                      [...svg.querySelectorAll('text,circle')].map((t) => t.getBBox()).filter((b) =>
                        b.x < -1 || b.y < -1 || b.x + b.width > view.width + 1 ||
                        b.y + b.height > view.height + 1).length]; }""", name)
                assert outside == 0, (step, off, name)
                for i, (x, y, r) in enumerate(circles):
                    for u, v, _ in circles[:i]:
                        assert np.hypot(x - u, y - v) > 1.7 * r, (step, off, name)
    size = page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
    assert size == pytest.approx(22.5 if width == 1920 else 15.0, abs=0.1)


@pytest.mark.parametrize("tail_first", [True, False])
def test_numbers_of_crowded_arrows_stay_apart(page: Any, tail_first: bool) -> None:
    """Five short arrows on almost one line, as a raft, graft and load make them."""
    found = np.array(page.evaluate("""(tail) => {
        const svg = $('free');
        svg.replaceChildren();
        numbered({ svg, em: 15, width: 200, height: 200 }, [0, 1, 2, 3, 4].map((i) => ({
          from: [100 + i, -100], to: [101 + i, -112 - 20 * (i === 0)], colour: '#000', dash: '',
          number: i + 1 })), tail);
        return [...svg.querySelectorAll('circle')].map((c) =>
          ['cx', 'cy', 'r'].map((a) => Number(c.getAttribute(a)))); }""", tail_first))
    apart = np.hypot(*(found[:, None, :2] - found[None, :, :2]).transpose(2, 0, 1))
    assert apart[np.triu_indices(5, 1)].min() > 1.9 * found[0, 2]
    assert ((found[:, :2] > found[0, 2]) & (found[:, :2] < 200 - found[0, 2])).all()


def test_the_menu_of_steps_shows_its_titles_whole(page: Any) -> None:
    room = page.evaluate("""DATA.steps.map((s, i) => {
        const c = document.createElement('canvas').getContext('2d'), e = $('steps');
        c.font = getComputedStyle(e).font;
        return e.clientWidth - 24 - c.measureText((i + 1) + '. ' + 'M'.repeat(15)).width; })""")
    assert min(room) > 0


def test_arrow_keys_walk_the_tour_but_for_a_slider_in_hand(fresh: Any) -> None:
    fresh.keyboard.press("ArrowRight")
    assert fresh.evaluate("lesson.step") == 1
    fresh.keyboard.press("ArrowLeft")
    assert fresh.evaluate("lesson.step") == 0
    fresh.focus("#load")
    before = fresh.evaluate("Number($('load').value)")
    fresh.keyboard.press("ArrowRight")
    assert fresh.evaluate("[lesson.step, Number($('load').value)]") == [0, before + 10]
    fresh.keyboard.press("PageDown")      # what a remote control sends, slider or not
    assert fresh.evaluate("lesson.step") == 1


def test_controls_that_left_a_step_can_be_put_back(fresh: Any) -> None:
    for step in range(fresh.evaluate("DATA.steps.length")):
        fresh.evaluate(f"go({step})")
        assert not fresh.is_visible("#again"), step
    before = picture(fresh)
    nudge(fresh, "load")
    assert fresh.is_visible("#again")
    click(fresh, "#again")
    assert not fresh.is_visible("#again")
    assert picture(fresh) == before


def test_another_fracture_is_another_step(browser: Any, lesson: Lesson, tmp_path: Path) -> None:
    def again(step: Step) -> Step:
        return replace(step, title="Second " + step.title[:20],
                       shows=tuple(replace(x, scene=1) for x in step.shows))

    told = tuple(replace(x, steps=(*x.steps, *map(again, x.steps))) for x in lesson.told)
    two = replace(lesson, scenes=lesson.scenes * 2, problems=lesson.problems * 2,
                  facts=Facts(lesson.scenes * 2), mesh=lesson.mesh * 2, told=told)
    page = opened(browser, two, tmp_path)
    page.evaluate("go(1)")
    page.select_option("#scene", "1")
    settled(page)
    assert "Second" in page.inner_text("#step-title")
    page.select_option("#scene", "0")
    settled(page)
    assert page.inner_text("#step-title").startswith("1 of ")
    assert "Second" not in page.inner_text("#step-title")
    page.close()


def test_the_tour_is_walked_by_keyboard(fresh: Any) -> None:
    steps = fresh.evaluate("DATA.steps.length")
    titles = [fresh.inner_text("#step-title")]
    for _ in range(40):
        if fresh.evaluate("document.activeElement.id") == "next":
            break
        fresh.keyboard.press("Tab")
    assert fresh.evaluate("document.activeElement.id") == "next"
    for _ in range(steps - 1):
        fresh.keyboard.press("Enter")
        settled(fresh)
        titles.append(fresh.inner_text("#step-title"))
        assert fresh.inner_text("#step-title") in fresh.text_content("#spoken")
    assert len(set(titles)) == steps
    fresh.keyboard.press("PageUp")
    assert fresh.inner_text("#step-title") == titles[-2]


def test_a_slider_answers_to_arrow_keys_and_is_spoken(fresh: Any) -> None:
    fresh.focus("#load")
    before = sentence(fresh)
    for _ in range(12):
        fresh.keyboard.press("ArrowRight")
    settled(fresh)
    assert sentence(fresh) != before
    fresh.wait_for_timeout(400)
    assert fresh.inner_text("#outcome") in fresh.text_content("#spoken")
    assert fresh.get_attribute("#spoken", "aria-live") == "polite"


def test_every_control_has_a_name(page: Any) -> None:
    unnamed = page.evaluate("""() => [...document.querySelectorAll('input,select,button')]
        .filter(e => !(e.labels && e.labels.length) && !e.textContent.trim()).map(e => e.id)""")
    assert unnamed == []
    assert all(page.eval_on_selector_all("svg", "a => a.map(s => s.getAttribute('aria-label'))"))


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1024, 768), (1920, 1080), (390, 800)])
def test_it_does_not_scroll_sideways(page: Any, width: int, height: int) -> None:
    page.set_viewport_size({"width": width, "height": height})
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_first_screen_holds_picture_sentence_controls_and_limits(page: Any) -> None:
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
        for part in ("#section", "#polygon", "#sentence", ".cannot", "#next", "#tension",
                     ".label"):
            where = page.locator(part).bounding_box()
            assert where["y"] >= 0
            assert where["y"] + where["height"] <= 720, part
    assert LABEL.split(".")[0] in page.inner_text(".label")


def test_it_prints_to_one_page(page: Any) -> None:
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


def test_how_it_solves_stands_on_the_page(page: Any, lesson: Lesson) -> None:
    words = page.inner_text(".below")
    assert f"{lesson.count} condensed problems" in words
    assert "what is not found is called not known" in words
