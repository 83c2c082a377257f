"""What a teacher does with the lesson: two constructs side by side, predict then reveal, another
language, the handout on paper, the picture as a file; at four sizes and by keyboard alone."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from lesson_page import opened, settled
from small_lesson import NAME, small_scene
from small_study import small_study

from buttress import LABEL
from buttress.lesson.build import make
from buttress.lesson.catalogue import LANGUAGES, Words, words_in
from buttress.lesson.look import Facts
from buttress.lesson.page import Lesson
from buttress.lesson.step import Step

pytestmark = pytest.mark.browser
SIZES = [(1280, 720), (1024, 768), (1920, 1080), (390, 844)]
ASKS = ("within", "way", "carries", "less", "push")


def talk(facts: Facts, t: Words) -> tuple[Step, ...]:
    """A step for each kind of question, the last one with two constructs."""
    one, bare = facts.ask(0, NAME), facts.ask(0, NAME, screws=False, plate=False)
    plate = facts.ask(0, NAME, screws=False)
    shows = {"within": (one,), "way": (bare,), "carries": (plate,), "less": (one, plate), "push": (plate,)}
    return (*(Step(f"Step {asks} {t.language}", (f"{t.name}: the answer.",), shows[asks],
                   f"{t.name}: what is put in.", asks) for asks in ASKS),
            Step("Which", ("Text.",), (plate,), "Before.", "which", ("shaft 1", "shaft 2")))


@pytest.fixture(scope="module")
def lesson() -> Lesson:
    scene = small_scene(small_study(NAME, "lag screws", loads=(400.0, 1000.0)))
    return make((scene,), talk, "A talk", lambda text: None, "test", finer=False)


@pytest.fixture
def page(browser: Any, lesson: Lesson, tmp_path: Path) -> Iterator[Any]:
    yield from silent(browser, lesson, tmp_path)


def silent(browser: Any, lesson: Lesson, folder: Path) -> Iterator[Any]:
    """A page that says nothing and asks for nothing until it is closed."""
    shown = opened(browser, lesson, folder, predict=True)
    yield shown
    assert shown.said == []
    assert [u for u in shown.asked if not u.startswith(("data:", "blob:"))] == [
        (folder / "lesson.html").as_uri()]
    shown.close()


@pytest.fixture(scope="module")
def kept(browser: Any, lesson: Lesson, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A page for tests at many sizes, on screen and on paper."""
    yield from silent(browser, lesson, tmp_path_factory.mktemp("kept"))


@pytest.fixture
def sized(kept: Any) -> Any:
    """The page as it opens, but for its size and language."""
    kept.select_option("#language", "en")
    kept.evaluate("document.body.classList.remove('printing-all'); scrollTo(0, 0); "
                  "lesson.predict = true; lesson.chosen.clear(); go(0)")
    return kept


def tab_to(page: Any, where: str) -> None:
    """Reach an element with the Tab key alone."""
    for _ in range(60):
        if page.evaluate("(w) => document.activeElement.matches(w)", where):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{where} is not reached by Tab")


# -- two side by side --------------------------------------------------------------------------

def test_two_constructs_are_solved_under_the_same_sliders(page: Any) -> None:
    page.evaluate("lesson.predict = false; go(0)")
    page.select_option("#beside", label="lag screws")
    settled(page)
    assert page.is_visible("#section-b")
    for load in (400, 1000):
        page.evaluate(f"lesson.wanted.friction = 0.2; $('load').value = {load}; $('load').dispatchEvent(new Event('input'))")
        settled(page)
        alone = page.evaluate("""async () => {
            const [a, b] = lesson.shown, q = question(sceneNow(), whole(b === null ? 0 :
                sceneNow().choices.findIndex((c) => c.name === b.choice)), lesson.wanted,
                Number($('load').value));
            const found = stateShown(q, await solver.here(q));
            return [a.load, b.load, b.largest, found.largest, a.magnified, b.magnified, a.largest]; }""")
        assert alone[0] == alone[1] == load
        assert alone[2] == pytest.approx(alone[3], rel=1e-6)
        assert alone[4] == alone[5]             # drawn to the same scale
        said = page.inner_text("#changed")
        more = alone[2] > 1.05 * alone[6] and alone[2] - alone[6] > 0.005
        assert alone[2] > alone[6]              # screws alone move more than with the plate
        assert ("less on the left" in said) == more
        assert ("Both move alike" in said) != more
        assert f"Held at {load}" in page.inner_text("#outcome-b").replace("\u00a0", " ")


def test_each_side_has_its_own_parts(page: Any) -> None:
    page.evaluate("lesson.predict = false; go(0)")
    page.select_option("#beside", label=NAME)
    settled(page)
    assert "Both move alike" in page.inner_text("#changed")
    page.uncheck("#parts-b input[data-part='antiglide plate']")
    settled(page)
    assert page.is_checked("#parts input[data-part='antiglide plate']")
    assert page.evaluate("lesson.shown[1].largest > lesson.shown[0].largest")
    page.select_option("#beside", "")
    settled(page)
    assert not page.is_visible("#section-b")
    assert page.is_visible("#free")


def test_a_screw_becomes_another_kind_by_keyboard(page: Any) -> None:
    page.evaluate("lesson.predict = false; go(0)")
    before = page.evaluate("lesson.now.largest")
    tab_to(page, "#parts button[data-kind='upper lag']")
    page.keyboard.press("Enter")
    settled(page)
    assert page.inner_text("#parts button[data-kind='upper lag']") == "position"
    assert page.evaluate("lesson.now.kinds['upper lag']") == "position"
    assert page.evaluate("lesson.now.largest") != before
    assert "“upper lag” is now position" in page.inner_text("#changed")
    page.keyboard.press("Enter")
    settled(page)
    assert page.evaluate("lesson.now.largest") == pytest.approx(before, rel=1e-9)


# -- predict, then reveal ----------------------------------------------------------------------

def test_nothing_of_the_answer_shows_before_it_is_guessed(page: Any) -> None:
    for step in range(len(ASKS)):
        page.evaluate(f"go({step})")
        assert page.is_visible("#question"), step
        assert not page.is_visible("#sentence")
        assert not page.is_visible("#free")
        assert "what is put in" in page.inner_text("#step-text")
        assert "the answer" not in page.inner_text("#step-text")
        assert "held" not in page.get_attribute("#section", "aria-label").split("fragment.")[1]
        moved = page.evaluate("""() => { const p = [...$('section').querySelectorAll('path')]
            .filter((x) => ['#E3C99A', 'none'].includes(x.getAttribute('fill')));
            return p[0].getAttribute('d') === p[1].getAttribute('d'); }""")
        assert moved, "the fragment is drawn where it was before loading"


def test_the_right_answer_is_read_from_the_solved_state(page: Any, lesson: Lesson) -> None:
    facts = lesson.facts
    looks = [[facts.look(a) for a in s.shows] for s in lesson.steps]
    within = "within" if looks[0][0].moved_mm <= 0.5 else "beyond"
    assert looks[0][0].held
    carried = max(("fracture", "plate", "screw"), key=looks[2][0].carried)
    less = "a" if looks[3][0].moved_mm < looks[3][1].moved_mm else "b"
    # A fragment on a slope that falls to the medial side goes down and to that side.
    # A plate on that side stands in the way of the slide, so it pushes up and to the other side.
    for step, answer in enumerate((within, "low", carried, less, "high", "shaft 1")):
        page.evaluate(f"go({step})")
        page.click(f"#options button[data-option='{answer}']")
        assert ". So it is" in page.inner_text("#guess"), step
        assert "the answer" in page.inner_text("#step-text") or step == 5
    page.evaluate("go(99)")
    assert page.inner_text("#step-title") == "What you predicted"
    assert "6 of 6 guesses" in page.inner_text("#step-text")


def test_guesses_are_kept_to_the_end_of_the_talk_by_keyboard(page: Any) -> None:
    tab_to(page, "#options button[data-option='fails']")
    page.keyboard.press("Enter")
    assert "Your guess: It is not held. The model:" in page.inner_text("#guess")
    assert page.is_visible("#sentence")
    page.keyboard.press("PageDown")
    settled(page)
    tab_to(page, "#options button[data-option='low']")
    page.keyboard.press("Enter")
    page.keyboard.press("PageUp")
    settled(page)
    assert "Your guess: It is not held" in page.inner_text("#guess")
    for _ in range(len(ASKS) + 2):
        page.keyboard.press("PageDown")
        settled(page)
    rows = page.eval_on_selector_all(".guesses tr", "all => all.map((r) => r.textContent)")
    assert "1 of 2 guesses" in page.inner_text("#step-text")
    assert len(rows) == 3
    assert "It is not held" in rows[1]
    assert page.evaluate("Object.keys(localStorage).length + Object.keys(sessionStorage).length") == 0


def test_a_control_that_is_moved_shows_the_answer_without_a_guess(page: Any) -> None:
    page.evaluate("$('load').value = 500; $('load').dispatchEvent(new Event('input'))")
    settled(page)
    assert page.is_visible("#sentence")
    page.click("#again")
    settled(page)
    page.evaluate("go(99)")
    assert "Nothing was guessed" in page.inner_text("#step-text")


# -- languages ---------------------------------------------------------------------------------

def overflowing(page: Any) -> list[str]:
    """What is cut off or runs over something else."""
    return page.evaluate("""() => {
        const out = [], seen = (e) => e.getClientRects().length > 0;
        if (document.documentElement.scrollWidth > innerWidth) out.push('page');
        for (const e of document.querySelectorAll('header *,main p,main h2,main label,main button,' +
            'main output,main legend,figcaption,td')) {
          if (seen(e) && !e.classList.contains('hidden') && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline' &&
              e.clientWidth) out.push((e.id || e.className || e.tagName) + ': ' + e.textContent.slice(0, 40));
        }
        const boxes = ['.tour', '.controls', '#sentence', '#question', '.cannot', '.free', '#step-text']
          .map((w) => [w, document.querySelector(w)]).filter(([, e]) => seen(e))
          .map(([w, e]) => [w, e.getBoundingClientRect()]);
        for (const [w, a] of boxes) for (const [v, b] of boxes) {
          if (w < v && ![w, v].includes('#step-text') && a.left < b.right - 1 && b.left < a.right - 1 &&
              a.top < b.bottom - 1 && b.top < a.bottom - 1) out.push(w + ' over ' + v);
        }
        return out; }""")


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_both_languages_fit_at_every_size(sized: Any, width: int, height: int) -> None:
    sized.set_viewport_size({"width": width, "height": height})
    for language in LANGUAGES:
        sized.select_option("#language", language)
        for predict in (True, False):
            for step in (0, 3):
                sized.evaluate(f"lesson.predict = {str(predict).lower()}; lesson.chosen.clear(); go({step})")
                assert overflowing(sized) == [], (language, predict, step)
        sized.evaluate("lesson.predict = true; go(99)")
        assert overflowing(sized) == [], language


def test_a_page_in_another_language_has_no_words_of_the_first(page: Any) -> None:
    page.evaluate("lesson.predict = false; go(3)")
    tab_to(page, "#language")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    settled(page)
    assert page.evaluate("document.documentElement.lang") == "de"
    shown = page.inner_text("main") + page.inner_text("header")
    english = words_in("en")
    for key in english.page_keys:
        text = english.sentences[key]
        if len(text) > 14 and "{" not in text and "|" not in text:
            assert text not in shown, key
    assert "Gehalten bei" in page.inner_text("#outcome")
    assert re.search(r"\d,\d+.mm", page.inner_text("#outcome"))
    assert not re.search(r"\d\.\d+.mm", page.inner_text("#sentence"))
    assert "Begriffe" in page.inner_text(".below:not([hidden])")
    assert page.locator(".below:visible").count() == 1
    nameless = page.eval_on_selector_all("svg:visible", "a => a.map(s => s.getAttribute('aria-label'))")
    assert all("Section" not in x for x in nameless)
    page.select_option("#language", "en")
    assert "Held at" in page.inner_text("#outcome")


# -- on paper and as files ---------------------------------------------------------------------

@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_handout_has_every_step_and_the_label_on_each_page(sized: Any, paper: str,
                                                               landscape: bool) -> None:
    sized.evaluate("window.print = () => {}; printHandout()")
    printed = sized.pdf(format=paper, landscape=landscape)
    heads = sized.eval_on_selector_all(".sheet-head", "all => all.map((e) => e.textContent)")
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == len(heads) == 2
    assert all(LABEL in h for h in heads)
    titles = sized.eval_on_selector_all(".sheet h3", "all => all.map((e) => e.textContent)")
    assert len(titles) == sized.evaluate("DATA.steps.length")
    assert sized.locator(".sheet article svg").count() == len(ASKS) + 2    # one for each, two where two stand


def test_a_step_prints_to_one_page(sized: Any) -> None:
    for landscape in (False, True):
        printed = sized.pdf(format="A4", landscape=landscape)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1, landscape


def test_the_picture_is_saved_as_svg_and_png(page: Any, tmp_path: Path) -> None:
    page.evaluate("lesson.predict = false; go(3)")
    for kind in ("svg", "png"):
        with page.expect_download() as saved:
            tab_to(page, f"#{kind}")
            page.keyboard.press("Enter")
        saved.value.save_as(tmp_path / f"picture.{kind}")
    text = (tmp_path / "picture.svg").read_text("utf-8")
    assert LABEL.split(".")[0] in re.sub(r"<[^>]*>", " ", text)
    assert text.count("<svg") == 3              # the whole, and a section for each side
    assert text.startswith("<svg")
    assert 'xmlns="http://www.w3.org/2000/svg"' in text
    raw = (tmp_path / "picture.png").read_bytes()
    assert raw[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", raw[16:24])
    assert width == 1600
    assert height > 600
    dark = page.evaluate("""async () => { const i = new Image(); i.src = addressOf(wholePicture().text);
        await i.decode(); const c = document.createElement('canvas'); c.width = i.width; c.height = i.height;
        const x = c.getContext('2d'); x.drawImage(i, 0, 0);
        const d = x.getImageData(0, 0, c.width, c.height).data; let n = 0;
        for (let k = 0; k < d.length; k += 4) n += d[k] < 245 || d[k + 1] < 245 ? 1 : 0;
        return n / (d.length / 4); }""")
    assert dark > 0.1, "an empty picture"


# -- speed -------------------------------------------------------------------------------------

def test_the_page_stays_awake_while_it_solves(page: Any) -> None:
    """Not a clock of the solver: while a thread solves, the page itself answers at once."""
    page.evaluate("lesson.predict = false; go(0)")
    told = page.evaluate("""async () => {
        lesson.wanted.friction = 0.271;
        const before = performance.now();
        const wait = show('friction');
        const labels = [performance.now() - before, $('friction-value').textContent];
        let ticks = 0;
        const clock = setInterval(() => { ticks += 1; }, 5);
        await wait;
        clearInterval(clock);
        return [...labels, ticks, solver.alone === undefined, lesson.milliseconds]; }""")
    assert told[1] == "0.27"
    assert told[3], "no worker thread was started"
    assert told[2] >= 1 or told[4] < 20


def test_a_newer_question_takes_the_place_of_an_older_one(page: Any) -> None:
    page.evaluate("lesson.predict = false; go(0)")
    page.evaluate("""() => { for (let i = 0; i < 30; i++) {
        $('load').value = 400 + 10 * i; $('load').dispatchEvent(new Event('input')); } }""")
    settled(page)
    assert page.evaluate("lesson.now.load") == 690
    assert page.evaluate("solver.lanes[0].next") is None
