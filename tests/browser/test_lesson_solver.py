"""The page's solver against the toolkit's: the same states, solved by both.

`pytest -m deep -s tests/browser/test_lesson_solver.py` compares 300 states of the shipped lesson,
each with other parts in place, and prints the largest differences and the times.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lesson_page import opened
from small_lesson import random_points, small_lesson

from buttress.fe.solve.path import steps
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.lesson.build import make
from buttress.lesson.catalogue import Words
from buttress.lesson.embed import controls
from buttress.lesson.grid import scene_of
from buttress.lesson.look import Asked, Facts
from buttress.lesson.own_words import own_tour
from buttress.lesson.page import Lesson
from buttress.lesson.shipped import shipped_scenes
from buttress.lesson.states import Reading, layout_of
from buttress.lesson.step import Step
from buttress.model.pressing import FARTHEST_MM
from buttress.study.read import example

pytestmark = pytest.mark.browser
FORCE_SHARE, MOVED_SHARE = 1e-4, 1e-4
"""Forces may differ by this share of the load, movements by this share of the largest one."""
STEP_SHARE = 5e-3
"""Where Python halved a step of the path that the page took whole, friction of single links has
another history: by at most what halving may change (0.5 % of the load)."""
ASK = """async (a) => {
    const scene = DATA.scenes[a.scene], at = a.sides[0], start = performance.now();
    const q = question(scene, { ...at, out: new Set(at.out) }, a.point, a.load);
    const found = await solver.here(q), now = stateShown(q, found);
    return { verdict: found.verdict, place: q.problem.place, took: performance.now() - start,
        state: found.state && Array.from(found.state),
        sources: now.layout.sources.map((s) => [s.name, s.variant || ""]), kinds: now.kinds,
        links: found.links, force: found.force && Array.from(found.force) };
}"""


@dataclass
class Found:
    """How far page and Python are apart over many states."""

    verdicts: Counter = field(default_factory=Counter)
    forces: list[float] = field(default_factory=list)
    links: list[float] = field(default_factory=list)
    halved: list[float] = field(default_factory=list)
    moved: list[float] = field(default_factory=list)
    sunk: list[float] = field(default_factory=list)
    took: list[float] = field(default_factory=list)

    def words(self) -> str:
        return (f"{sum(self.verdicts.values())} states; verdicts (Python, page): "
                f"{dict(self.verdicts)}; largest difference of a source's force "
                f"{max(self.forces):.1e} and of a link's force {max(self.links):.1e} of the load ("
                f"{max(self.halved, default=0.0):.1e} in {len(self.halved)} states whose path was "
                "stepped otherwise), of "
                f"a movement {max(self.moved):.1e} of the largest, of subsidence {max(self.sunk):.1e} "
                f"mm; time in the page: median {np.median(self.took):.0f} ms, 95th percentile "
                f"{np.quantile(self.took, 0.95):.0f} ms, most {max(self.took):.0f} ms")


def told(page: Any, facts: Facts, asked: Asked) -> dict[str, Any]:
    return page.evaluate(ASK, controls((asked,), facts))


def order_of(model: Any, here: dict[str, Any]) -> np.ndarray:
    """Where the links of a model stand among those that the page has in place: a screw of another
    kind is a part of its own there, listed after the others. Its links keep their order."""
    own = [x.source for x in model.problem.links.links]
    theirs: dict[str, list[int]] = {}
    for i, name in enumerate(here["links"]):
        theirs.setdefault(name, []).append(i)
    return np.array([theirs[name].pop(0) for name in own], dtype=int)


def halved(model: Any, load: float) -> bool:
    """Whether Python took a path to a load in other steps than the usual ones."""
    usual = np.array(steps(FARTHEST_MM))
    places = np.array([p.ram_mm for p in model.pressing.up_to(load).points])
    places = places[places > 0.5 * usual[0]]    # beyond where the parts are seated
    return bool((np.abs(places[:, None] - usual).min(axis=1) > 1e-9).any())


def compared(page: Any, facts: Facts, asks: list[Asked]) -> Found:
    found = Found()
    for asked in asks:
        model = facts.built(asked)[1]
        with one_thread():
            answer = model.answer(asked.load_N)
        here = told(page, facts, asked)
        place = [asked.point["slope"], asked.point["position"]]
        plate = any(p.kind == "plate" for p in model.hardware.parts)
        known = 2 if plate else 1    # without a plate there is nothing to shift
        assert here["place"][:known] == pytest.approx(place[:known])
        verdict = ("not tightened" if not model.stands and answer.status == Status.NO_EQUILIBRIUM
                 else "held" if answer.held else "not held"
                 if answer.status == Status.NO_EQUILIBRIUM else "not known")
        found.verdicts[verdict, here["verdict"]] += 1
        found.took.append(here["took"])
        if here["state"] is None or not answer.held:
            continue
        lay = layout_of(model)
        state, seen = Reading(model, lay).state(answer), np.array(here["state"])
        links = answer.force - np.array(here["force"])[:-1][order_of(model, here)]
        alike = found.halved if halved(model, asked.load_N) else found.links
        alike.append(float(np.abs(links).max(initial=0.0)) / asked.load_N)
        whole = len(here["sources"])
        edges = slice(0, lay.force(0, 0))       # fragments and lips come first in both
        moved = state[edges] - seen[edges]
        for k in range(len(lay.edges)):         # a step-off has no sign in Python
            moved[lay.edge(k)] = state[lay.edge(k)] - abs(seen[lay.edge(k)])
        found.moved.append(float(np.abs(moved).max()) / max(float(np.abs(state[edges]).max()), 1e-9))
        found.sunk.append(max(abs(float(moved[lay.sunk(k)])) for k in range(len(lay.fragments))))
        for k in range(len(lay.fragments)):
            for j, (name, _) in enumerate(lay.sources):
                there = [name, here["kinds"].get(name, "")]
                at = edges.stop + 3 * (k * whole + here["sources"].index(
                    there if there in here["sources"] else [name, ""]))
                gap = state[lay.force(k, j):lay.force(k, j) + 2] - seen[at:at + 2]
                found.forces.append(float(np.hypot(*gap)) / asked.load_N)
    return found


def agrees(found: Found, most_unknown: float) -> None:
    count = sum(found.verdicts.values())
    unknown = 0
    for (python, page), number in found.verdicts.items():
        if page == "not known" or python == "not known":
            unknown += number * (page != python)
        else:
            assert python == page, found.verdicts
    assert unknown <= most_unknown * count, found.verdicts
    assert max(found.forces) < FORCE_SHARE
    assert max(found.links) < FORCE_SHARE
    assert max(found.halved, default=0.0) < STEP_SHARE
    assert max(found.moved) < MOVED_SHARE


@pytest.fixture(scope="module")
def small(browser: Any, tmp_path_factory: Any) -> Iterator[tuple[Any, Lesson]]:
    lesson = small_lesson()
    page = opened(browser, lesson, tmp_path_factory.mktemp("solver"))
    yield page, lesson
    page.close()


def test_the_page_solves_as_python_does(small: tuple[Any, Lesson]) -> None:
    page, lesson = small
    found = compared(page, lesson.facts, random_points(lesson.facts, 30, 4))
    print(found.words())
    agrees(found, 0.1)
    assert len(found.links) + len(found.halved) >= 12
    assert len(set(found.verdicts)) > 1


def test_a_difference_would_be_seen(small: tuple[Any, Lesson]) -> None:
    """With a hundredth more friction than Python, the page is not let through."""
    page, lesson = small
    asks = random_points(lesson.facts, 8, 21)
    page.evaluate("solver.local = null; lawOf_ = lawOf; "
                  "lawOf = (p, s) => lawOf_(p, { ...s, friction: s.friction + 0.01 }); 0")
    found = compared(page, lesson.facts, asks)
    page.evaluate("solver.local = null; lawOf = lawOf_; 0")
    assert max(found.forces) > FORCE_SHARE


def test_the_state_at_a_load_does_not_depend_on_what_was_shown_before(small: tuple[Any, Lesson]
                                                                      ) -> None:
    page, lesson = small
    facts = lesson.facts
    asked = facts.ask(0, load=650.0, friction=0.31, tension=0.8)
    first = told(page, facts, asked)["state"]
    for other in random_points(facts, 6, 9):
        told(page, facts, other)
    assert told(page, facts, asked)["state"] == pytest.approx(first, rel=1e-6, abs=1e-7)
    for change in ({"friction": 0.5}, {"strength": 0.8}, {"tension": 0.3}, {"load": 300.0}):
        settings = {"load": 650.0, "friction": 0.31, "tension": 0.8, **change}
        dragged = told(page, facts, facts.ask(0, **settings))["state"]
        page.evaluate("solver.local = null; 0")
        fresh = told(page, facts, facts.ask(0, **settings))["state"]
        assert dragged == pytest.approx(fresh, rel=1e-6, abs=1e-7)
        told(page, facts, asked)


def test_stages_are_pressed_from_what_they_left(browser: Any, tmp_path: Path) -> None:
    study = example("staged-tightening")
    mesh = study.mesh.model_copy(update={"size_mm": 4.0, "coarse_mm": 8.0})
    scene = scene_of(study.model_copy(update={"mesh": mesh, "constructs": study.constructs[:1]}))
    lesson = make((scene,), own_tour, "staged", lambda text: None, "test", finer=False)
    page = opened(browser, lesson, tmp_path)
    facts = lesson.facts
    found = compared(page, facts, [facts.ask(0, load=load) for load in (250.0, 700.0)])
    agrees(found, 0.0)
    assert page.is_disabled("#friction")
    page.close()


def test_what_is_not_found_is_not_known(small: tuple[Any, Lesson]) -> None:
    page = small[0]
    page.evaluate("""async () => { await go(0); solver.alone = true; solver.local = null;
        lesson.was = [search, lemkeAnswer]; search = () => null;
        lemkeAnswer = () => null; lesson.wanted.friction = 0.123; await show('friction'); }""")
    assert page.inner_text("#outcome").startswith("Not known at")
    assert "Not held" not in page.inner_text("#sentence")
    assert "not known" in page.text_content("#free")
    assert "No polygon closes" not in page.text_content("#polygon")
    page.evaluate("[search, lemkeAnswer] = lesson.was; solver.alone = false; 0")


def _one_step(facts: Facts, words: Words) -> tuple[Step, ...]:
    return (Step("Start", ("",), (facts.ask(0),)),)


@pytest.mark.deep
def test_three_hundred_states_of_the_shipped_lesson(browser: Any, tmp_path: Path) -> None:
    lesson = make(shipped_scenes(), _one_step, "300 states", print, "test", finer=False)
    page = opened(browser, lesson, tmp_path)
    found = compared(page, lesson.facts, random_points(lesson.facts, 300, 1))
    print(found.words())
    agrees(found, 0.03)
    page.close()
