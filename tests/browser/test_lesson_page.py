"""The lesson in a real browser: every control, the tour by keyboard, hostile names, paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_lesson import small_lesson, small_scene
from small_study import small_study

from constructs import LABEL
from constructs.lesson.build import make
from constructs.lesson.check import draws
from constructs.lesson.grid import AXES, Scene
from constructs.lesson.interpolate import read
from constructs.lesson.own_words import own_tour
from constructs.lesson.page import Lesson, write_lesson
from constructs.schema import Study

pytestmark = pytest.mark.browser
HOSTILE = "</script><script>hacked()</script>'\"&lt;"
IMAGE = "<img src=x onerror=window.hacked=2>"
SLOWEST_MS = 50.0


@pytest.fixture(scope="module")
def lesson() -> Lesson:
    return small_lesson(6)


def opened(browser: Any, made: Lesson, folder: Path) -> Any:
    write_lesson(made, folder / "lesson.html")
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.said, page.asked = [], []
    page.on("console", lambda m: page.said.append(m.text))
    page.on("pageerror", lambda e: page.said.append(str(e)))
    page.on("request", lambda r: page.asked.append(r.url))
    page.goto((folder / "lesson.html").as_uri())
    return page


@pytest.fixture
def page(browser: Any, lesson: Lesson, tmp_path: Path) -> Iterator[Any]:
    shown = opened(browser, lesson, tmp_path)
    yield shown
    assert shown.said == []
    assert [u for u in shown.asked if not u.startswith("data:")] == [
        (tmp_path / "lesson.html").as_uri()]
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


@pytest.mark.parametrize("name", ["load", "slope", "friction", "quality", "position"])
def test_every_slider_changes_picture_and_sentence(page: Any, name: str) -> None:
    page.evaluate("go(1)")
    before = picture(page), sentence(page)
    assert page.is_enabled(f"#{name}")
    nudge(page, name)
    assert picture(page) != before[0]
    assert sentence(page) != before[1]
    assert page.inner_text("#changed").strip()
    assert page.evaluate("lesson.milliseconds") < SLOWEST_MS


@pytest.mark.parametrize("name", ["screws", "plate"])
def test_every_switch_changes_picture_and_sentence(page: Any, name: str) -> None:
    page.evaluate("go(1)")
    before = picture(page), sentence(page)
    page.click(f"#{name}")
    assert picture(page) != before[0]
    assert sentence(page) != before[1]
    assert page.inner_text("#changed").startswith("Without the")
    assert "nothing stops the fragment but friction" in page.inner_text("#changed")
    page.click(f"#{name}")
    assert picture(page) == before[0]


def test_without_any_hardware_it_says_what_friction_would_be_needed(page: Any) -> None:
    page.uncheck("#plate")
    page.uncheck("#screws")
    assert "Not held" in sentence(page)
    assert "No friction" in sentence(page) or "friction of at least" in sentence(page)
    assert "No polygon closes" in page.text_content("#polygon")


def test_the_script_reads_between_states_as_python_does(page: Any, lesson: Lesson) -> None:
    scene, solved = lesson.scenes[0], lesson.solved[0]
    for ask in draws(scene, 24, 11):
        told = page.evaluate(
            "([f, p, l]) => { const s = readState(DATA.scenes[0].families[f], p, l);"
            " return s && {held: s.held, mixed: s.mixed, state: s.state && Array.from(s.state)}; }",
            [ask.family, [ask.point[a] for a in AXES], ask.load_N])
        seen = read(solved[ask.family], ask.point, ask.load_N)
        assert seen is not None
        assert (told["held"], told["mixed"]) == (seen.held, seen.mixed)
        if seen.state is not None:
            size = np.abs(seen.state).max()
            assert np.array(told["state"]) == pytest.approx(seen.state, abs=1e-6 * size)


def test_the_tour_is_walked_by_keyboard(page: Any) -> None:
    steps = page.evaluate("DATA.steps.length")
    titles = [page.inner_text("#step-title")]
    for _ in range(40):
        if page.evaluate("document.activeElement.id") == "next":
            break
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "next"
    for _ in range(steps - 1):
        page.keyboard.press("Enter")
        titles.append(page.inner_text("#step-title"))
        assert page.inner_text("#step-title") in page.text_content("#spoken")
    assert len(set(titles)) == steps
    page.keyboard.press("PageUp")
    assert page.inner_text("#step-title") == titles[-2]


def test_a_slider_answers_to_arrow_keys_and_is_spoken(page: Any) -> None:
    page.focus("#load")
    before = sentence(page)
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    assert sentence(page) != before
    page.wait_for_timeout(400)
    assert page.inner_text("#outcome") in page.text_content("#spoken")
    assert page.get_attribute("#spoken", "aria-live") == "polite"


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
        for part in ("#section", "#polygon", "#sentence", ".cannot", "#next", "#position",
                     ".label"):
            box = page.locator(part).bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 720, part
    assert LABEL.split(".")[0] in page.inner_text(".label")


def test_it_prints_to_one_page(page: Any) -> None:
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


def test_how_far_it_is_off_stands_on_the_page(page: Any, lesson: Lesson) -> None:
    words = page.inner_text(".below")
    assert f"{lesson.accuracy[0]['points']} random points" in words
    assert "within 5 % or 0.02 mm" in words


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


def few(scene: Scene) -> Scene:
    from dataclasses import replace

    def one(axes: dict[str, tuple[float, ...]]) -> dict[str, tuple[float, ...]]:
        return {a: n if a == "friction" else n[-1:] for a, n in axes.items()}

    return replace(scene, families=tuple(replace(f, axes=one(f.axes)) for f in scene.families))


def test_names_are_text(browser: Any, tmp_path: Path) -> None:
    scene = few(small_scene(hostile_study()))
    made = make((scene,), own_tour, scene.title, 1, 0, 0, lambda text: None, f"buttress {HOSTILE}")
    page = opened(browser, made, tmp_path)
    for step in range(page.evaluate("DATA.steps.length")):
        page.evaluate(f"go({step})")
    page.click("#screws")
    assert page.said == []
    assert len(page.asked) == 1
    assert page.evaluate("window.hacked") is None
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 2
    assert page.inner_text("h1").startswith("</script><script>")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    page.close()


def test_a_study_that_nothing_holds_is_still_a_page(browser: Any, tmp_path: Path) -> None:
    study = small_study("nothing", loads=(400.0,))
    scene = few(small_scene(study))
    made = make((scene,), own_tour, scene.title, 1, 0, 0, lambda text: None, "test")
    page = opened(browser, made, tmp_path)
    assert page.said == []
    assert "no construct of this study holds" in page.inner_text("#step-text")
    assert "Not held" in sentence(page)
    page.close()
