"""Every menu and control of every step, one after the other: what the page says, what it draws and
what its menus stand at are one state, and nothing that was chosen is lost on the way."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from lesson_page import AGREES, opened, settled
from small_lesson import NAME
from small_study import small_study

from buttress.lesson.build import make
from buttress.lesson.catalogue import LANGUAGES, Words
from buttress.lesson.grid import Scene, scene_of
from buttress.lesson.look import Facts
from buttress.lesson.page import Lesson
from buttress.lesson.shipped import kinds_of
from buttress.lesson.step import Step
from buttress.study.study import Study

pytestmark = pytest.mark.browser
STRAIGHT = "straight plate"
CONTROLS = """() => [...document.querySelectorAll('.controls select')].filter((s) => s.getClientRects().length)
    .flatMap((s) => [...s.options].map((o) => ['menu', s.id, o.value]))
    .concat([...document.querySelectorAll('.controls input[type=range]')].flatMap((s) =>
        [s.min, s.max].map((v) => ['range', s.id, v])))
    .concat(['parts', 'parts-b'].flatMap((id) => [...$(id).querySelectorAll('input,button')].map((b) =>
        [b.tagName, id, b.dataset.part ?? b.dataset.kind]))) """
PUT = """async ([how, id, value]) => {
    if (how === 'menu' || how === 'range') {
        const e = $(id);
        if (e.disabled || !e.getClientRects().length) return false;
        e.dispatchEvent(new Event('focus'));
        e.value = value;
        e.dispatchEvent(new Event(how === 'menu' ? 'change' : 'input', { bubbles: true }));
    } else {
        const e = [...$(id).querySelectorAll(how)].find((b) => (b.dataset.part ?? b.dataset.kind) === value);
        if (!e || e.disabled || !e.getClientRects().length) return false;
        e.click();
    }
    await lesson.settled;
    return true; }"""


def two(facts: Facts, t: Words) -> tuple[Step, ...]:
    """A step with one construct, one with two side by side, one without a plate."""
    one, plate = facts.ask(0, NAME), facts.ask(0, STRAIGHT, load=600.0)
    screws = facts.ask(0, NAME, plate=False, kinds={"upper lag": "position", "lower lag": "position"})
    fast = facts.ask(0, STRAIGHT, load=600.0, kinds={"shaft 1": "locked"})
    return tuple(Step(f"{t.name} {k}", ("Text.",), shows, "Before.") for k, shows in enumerate(
        ((one,), (plate, fast), (screws,))))


def both_kinds(study: Study) -> Scene:
    """The small scene with kinds for the straight plate too, which it builds at two places."""
    return scene_of(study, "", {NAME: ((30.0, 0.0), (20.0, 15.0)), STRAIGHT: ((20.0, 2.5),)},
                    {c.name: kinds_of(c) for c in study.constructs})


@pytest.fixture(scope="module")
def lesson() -> Lesson:
    study = small_study(NAME, STRAIGHT, "lag screws", loads=(400.0, 1000.0))
    return make((both_kinds(study),), two, "Controls", lambda text: None, "test", finer=False)


@pytest.fixture
def page(browser: Any, lesson: Lesson, tmp_path: Path) -> Iterator[Any]:
    shown = opened(browser, lesson, tmp_path)
    yield shown
    assert shown.said == []
    shown.close()


@pytest.mark.parametrize("step", [0, 1, 2])
def test_every_control_of_a_step_shows_one_state(page: Any, step: int) -> None:
    page.evaluate(f"go({step})")
    assert page.evaluate(AGREES) == []
    controls, done = page.evaluate(CONTROLS), set()
    for control in controls:
        page.evaluate(f"go({step})")
        if page.evaluate(PUT, control):
            done.add((control[0], control[1]))
            assert page.said == [], control
            assert page.evaluate(AGREES) == [], control
    assert {("menu", "choice"), ("menu", "beside"), ("range", "load"), ("range", "friction"),
            ("INPUT", "parts")} <= done
    for language in LANGUAGES:
        page.select_option("#language", language)
        for number in range(3):
            page.select_option("#choice", str(number))
            settled(page)
            assert page.evaluate(AGREES) == [], (language, number)


def test_one_control_after_the_other_shows_one_state(page: Any) -> None:
    page.evaluate("go(1)")
    for control in page.evaluate(CONTROLS)[::2]:
        page.evaluate(PUT, control)
        assert page.evaluate(AGREES) == [], control


def test_another_hardware_is_said_by_its_name(page: Any) -> None:
    page.evaluate("go(0)")
    page.select_option("#choice", label="lag screws")
    settled(page)
    assert page.inner_text("#changed").startswith("Now lag screws: it moves ")
    assert page.evaluate("lesson.now.choice") == "lag screws"


# -- kinds of screws come back -----------------------------------------------------------------

def slide(page: Any, name: str, value: int) -> None:
    page.evaluate(PUT, ["range", name, str(value)])


def test_a_locked_head_is_locked_again_where_it_can_be(page: Any) -> None:
    page.evaluate("go(1)")
    before = page.evaluate("lesson.shown[1].largest")
    slide(page, "position", 1)
    assert page.inner_text("#parts-b button[data-kind='shaft 1']") == "unlocked"
    note = page.inner_text("#picture-note-b")
    assert "shaft 1: unlocked here; other kinds are solved at 20° and in the plate's own place" in note
    assert "unlocked here" not in page.inner_text("#picture-note")      # nothing was chosen there
    slide(page, "position", 0)
    assert page.inner_text("#parts-b button[data-kind='shaft 1']") == "locked"
    assert page.evaluate("lesson.shown[1].largest") == pytest.approx(before, rel=1e-9)
    assert "here; other kinds" not in page.inner_text("#picture-note-b")


def test_position_screws_stay_where_no_plate_is_and_return_after_a_slope(page: Any) -> None:
    page.evaluate("go(2)")
    assert page.is_disabled("#position")
    assert page.inner_text("#position-value") == "no plate"
    assert page.is_enabled("#slope")
    kinds = page.evaluate("lesson.now.kinds['upper lag']")
    assert kinds == "position"
    slide(page, "slope", 1)
    assert page.evaluate("lesson.now.kinds['upper lag']") == "lag"
    assert "upper lag and lower lag: lag here" in page.inner_text("#picture-note")
    slide(page, "slope", 0)
    assert page.evaluate("lesson.now.kinds['upper lag']") == "position"


def test_the_place_of_a_plate_waits_while_the_plate_is_out(page: Any) -> None:
    page.evaluate("go(0)")
    slide(page, "position", 1)
    moved = page.evaluate("[lesson.now.largest, lesson.now.problem.place[1]]")
    assert moved[1] != 0.0
    page.uncheck("#parts input[data-part='antiglide plate']")
    settled(page)
    assert page.is_disabled("#position")
    assert page.evaluate("lesson.now.problem.place[1]") == 0.0
    page.check("#parts input[data-part='antiglide plate']")
    settled(page)
    assert page.evaluate("[lesson.now.largest, lesson.now.problem.place[1]]") == pytest.approx(moved)


# -- held, and over the limit ------------------------------------------------------------------

SPOILED = """([limit, was]) => {
    DATA.scenes[0].limit = limit;
    const now = stateShown({ scene: DATA.scenes[0], choice: DATA.scenes[0].choices[0], problem: lesson.now.problem,
        controls: { ...lesson.now, out: lesson.now.out, kinds: {}, kept: {} } }, lesson.now);
    return [now.over, outcome(now), compared({ ...now, over: false, held: was }, now),
        beside(now, { ...now, held: false, verdict: 'fails' }), beside({ ...now, held: false, verdict: 'fails' }, now)]; }"""


def test_beyond_the_limit_nothing_is_called_held(page: Any) -> None:
    page.evaluate("go(0)")
    moved = page.evaluate("lesson.now.largest")
    over, said, then, left, right = page.evaluate(SPOILED, [0.5 * moved, False])
    assert over
    assert said.startswith("Over the limit of ")
    assert "Held" not in said
    assert "held" not in then
    assert "over the limit" in then
    assert left.startswith("The one on the left moves")
    assert "over the limit" in left
    assert right.startswith("The one on the right moves")
    over, said, then, left, _ = page.evaluate(SPOILED, [2.0 * moved, False])
    assert not over
    assert said.startswith("Held at")
    assert then == "the fragment is now held."       # it never was before
    assert left == "Only the one on the left is held."
    page.evaluate("DATA.scenes[0].limit = 0.001; go(0)")
    assert "bad" in page.get_attribute("#sentence", "class")


def test_less_movement_is_told_by_both_numbers(page: Any) -> None:
    said = page.evaluate("beside({ ...lesson.now, largest: 0.001 }, { ...lesson.now, largest: 0.3794 })")
    assert said == "The fragment moves less on the left: 0.001 mm against 0.38 mm."


# -- guesses -----------------------------------------------------------------------------------

def test_guesses_have_one_tolerance(page: Any) -> None:
    """51 against 49 percent: either is right. So is a movement at the limit, on either side."""
    found = page.evaluate("""() => {
        const load = lesson.now.layout.sources.findIndex((s) => s.kind === 'load');
        const put = (shares) => { const now = { ...lesson.now, state: lesson.now.state.slice(), fragment: 0 };
            const at = now.layout.force[0], down = [0, 1].map((i) => now.state[at[load] + i]);
            now.layout.sources.forEach((s, j) => { if (j !== load) now.state.fill(0, at[j], at[j] + 3); });
            for (const [kind, share] of Object.entries(shares)) {
                const j = now.layout.sources.findIndex((s) => s.kind === kind);
                [0, 1].forEach((i) => { now.state[at[j] + i] = -share * down[i]; });
            }
            return now; };
        const ask = (now) => [QUESTIONS.carries.options([now]), QUESTIONS.carries.right([now])];
        const within = (x) => QUESTIONS.within.right([{ ...lesson.now, largest: x * lesson.now.scene.movement }]);
        const less = (x) => QUESTIONS.less.right([{ ...lesson.now, largest: 1 }, { ...lesson.now, largest: x }]);
        return [ask(put({ fracture: 0.51, plate: 0.49 })), ask(put({ fracture: 0.6, screw: 0.4 })),
            [0.9, 0.97, 1.03, 1.1].map(within), [1.04, 1.06].map(less)]; }""")
    assert found[0] == [["fracture", "plate", "none"], ["fracture", "plate"]]
    assert found[1] == [["fracture", "screw", "none"], ["fracture"]]
    assert found[2] == [["within"], ["within", "beyond"], ["beyond", "within"], ["beyond"]]
    assert found[3] == [["same"], ["a"]]


# -- what is drawn -----------------------------------------------------------------------------

def test_a_screw_is_named_and_as_wide_in_every_kind(page: Any) -> None:
    page.evaluate("go(2)")
    wide = """() => lesson.now.geometry.members.filter((m) => m.kind === 'screw').map((m) => m.width)"""
    position = page.evaluate(wide)
    page.evaluate("lesson.sides[0].kinds = {}; show('')")
    settled(page)
    assert page.evaluate(wide) == position == [6.5, 6.5]
    named = "[...$('section').querySelectorAll('text.screw')].map((x) => x.textContent)"
    assert page.evaluate(named) == ["upper lag", "lower lag"]
    page.evaluate("go(1)")
    assert page.evaluate(named) == ["shaft 1", "shaft 2", "shaft 3"]


def test_a_thin_plate_is_drawn_thinner_than_a_thick_one(page: Any) -> None:
    page.evaluate("go(1)")
    width = """(k) => { const m = lesson.shown[k].geometry.members.find((x) => x.kind === 'plate');
        return [m.width, ...[...$(k ? 'section-b' : 'section').querySelectorAll(':scope > path')]
            .filter((p) => p.getAttribute('stroke') === COLOUR.plate).map((p) => Number(p.getAttribute('stroke-width')))]; }"""
    page.select_option("#beside", label=NAME)
    settled(page)
    thick, thin = (page.evaluate(width, k) for k in (0, 1))
    assert (thick, thin) == ([3.3, 3.3], [1.0, 1.0])


def test_a_caption_names_kinds_only_where_they_differ(page: Any) -> None:
    page.evaluate("go(1)")
    assert "unlocked" in page.inner_text("#picture-note")
    assert "locked" in page.inner_text("#picture-note-b")
    page.select_option("#beside", label=NAME)
    settled(page)
    assert "locked" not in page.inner_text("#picture-note") + page.inner_text("#picture-note-b")


@pytest.mark.parametrize("kind", ["screw", "wire"])
def test_what_holds_from_inside_is_drawn_where_it_is(page: Any, kind: str) -> None:
    """A wire that lifts the fragment: its line enters at the foot, its arrow stands at the wire."""
    tips = page.evaluate("""(kind) => {
        const ring = [[0, 0], [20, 0], [20, 40], [0, 40]], point = [10, 30];
        const f = { kind, force: [0, 100], size: 100, point };
        return [tipOf(ring, f), tipOf(ring, { ...f, kind: 'plate' }), tipOf(ring, { ...f, point: [-5, 30] })]; }""", kind)
    assert tips == [[10, 30], [10, 0], None]


# -- on paper ----------------------------------------------------------------------------------

def test_the_handout_states_its_scale_and_what_it_cannot_tell(page: Any) -> None:
    page.evaluate("window.print = () => {}; printHandout()")
    page.wait_for_function("document.body.classList.contains('printing-all')")
    notes = page.eval_on_selector_all(".sheet .scale", "a => a.map((e) => e.textContent)")
    assert page.locator(".sheet article svg").count() == 4
    assert len(notes) == page.locator(".sheet article").count() == 3    # one scale for two pictures
    assert all("Movement × 20; bar: 10 mm of bone" in x or "not an amount" in x for x in notes)
    last = page.locator(".sheet").last.text_content()
    assert "What this cannot tell you" in last
    assert "Anything about a patient" in last


def test_names_of_crossing_screws_stay_apart(page: Any) -> None:
    """The plate moved 15 mm up, where its screws end in one place."""
    spots = page.evaluate("""() => {
        const svg = document.createElementNS(SVG, 'svg'), put = [];
        for (const y of [0, 1, -9]) label(svg, 'a screw', [[40, y - 20], [0, y]], 3.5, put, [], 3.1);
        return [...svg.querySelectorAll('text')].map((x) => [Number(x.getAttribute('x')), Number(x.getAttribute('y'))]); }""")
    assert len(spots) == 3
    for i, (x, y) in enumerate(spots):
        for u, v in spots[:i]:
            assert abs(x - u) > 12 or abs(y - v) > 4


def test_a_name_does_not_lie_on_the_next_screw(page: Any) -> None:
    """Two thick screws 9 mm apart: the names stand above the upper and below the lower one."""
    heights = page.evaluate("""() => {
        const svg = document.createElementNS(SVG, 'svg'), put = [];
        const lines = [0, -9].map((y) => ({ from: [40, y], to: [0, y], width: 6.5 }));
        lines.forEach((l, i) => label(svg, 'a screw', [l.from, l.to], 6.5, put, [lines[1 - i]], 3.1));
        return [...svg.querySelectorAll('text')].map((x) => -Number(x.getAttribute('y'))); }""")
    assert heights[0] > 3.25
    assert heights[1] < -9 - 3.25


def test_the_slider_of_the_plate_follows_the_side_that_has_one(page: Any) -> None:
    page.evaluate("go(1)")
    page.uncheck("#parts input[data-part='straight plate']")
    settled(page)
    assert page.is_enabled("#position")
    before = page.evaluate("lesson.shown.map((n) => n.largest)")
    slide(page, "position", 1)
    after = page.evaluate("lesson.shown.map((n) => n.largest)")
    assert page.inner_text("#position-value") == "2.5 mm up"
    assert after[0] == before[0] is None      # nothing holds there
    assert after[1] != pytest.approx(before[1], rel=1e-3)
    assert page.evaluate(AGREES) == []
