"""Live answers: the same as a comparison's, with nothing factorised twice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from small_study import small_study
from under_loads import under_loads

from buttress import Explorer
from buttress.fe.errors import InputError
from buttress.fe.solve.path import press
from buttress.model import pressing
from buttress.study.read import only
from buttress.sweeps.vary import varied

FRICTION = "fracture.shear plane.friction"


@pytest.fixture(scope="module")
def explorer() -> Explorer:
    return Explorer(small_study("nothing", "lag screws", "antiglide"))


@pytest.mark.parametrize("values", [{}, {FRICTION: 0.3},
                                    {"construct.lag screws.screw.upper lag.tension_N": 150}])
def test_live_answers_are_those_of_a_comparison(explorer: Explorer, values: dict) -> None:
    fresh = under_loads(varied(explorer.study, values).study, limits=False, pictures=False)
    for name in ("lag screws", "antiglide"):
        live, same = explorer.answer(name, 700.0, values), fresh[name].load(700.0)
        assert live.result.status == same.status
        assert live.picture.held == (same.status == "held")
        assert same.fragments
        for fragment, figures in same.fragments.items():
            assert live.result.fragments[fragment].subsidence_mean_mm == pytest.approx(
                figures.subsidence_mean_mm, rel=1e-9)
        assert explorer.capacity(name, values) == pytest.approx(fresh[name].capacity_N, rel=1e-6)


def test_a_live_picture_is_marked_where_the_construct_breaks_a_rule_as_it_is_placed(
        explorer: Explorer) -> None:
    assert explorer.answer("lag screws", 500.0).picture.marked_name == "lag screws"
    strips = {"construct.lag screws.screw.upper lag.tension_N": 5900}
    assert explorer.answer("lag screws", 500.0, strips).picture.marked_name == "lag screws (!)"
    assert explorer.answer("lag screws", 500.0).picture.marked_name == "lag screws"


def test_another_load_friction_or_tension_factorises_nothing(explorer: Explorer) -> None:
    explorer.answer("lag screws", 500.0)
    before = explorer.counts
    for load, friction in ((300.0, 0.5), (900.0, 0.35), (700.0, 0.2)):
        explorer.answer("lag screws", load, {FRICTION: friction})
        explorer.capacity("lag screws", {FRICTION: friction})
    for key in ("bones", "factorisations", "condensed"):
        assert explorer.counts[key] == before[key]


def test_the_path_of_two_constructs_is_pressed_once_each(monkeypatch: pytest.MonkeyPatch) -> None:
    pressed = []
    monkeypatch.setattr(pressing, "press", lambda *given, onto=None, **more: (
        pressed.append(onto), press(*given, onto=onto, **more))[1])
    explorer = Explorer(small_study("lag screws", "antiglide"))
    for place in (0.1, 0.2, 0.3):
        for name in ("lag screws", "antiglide"):
            kept = explorer.pressed(name, place)
            assert explorer.answer(name, kept.result.total_load_N).result.status == "held"
    assert pressed == [None, None]
    alone = Explorer(explorer.study).pressed("antiglide", 0.3).result
    assert alone.total_load_N == pytest.approx(kept.result.total_load_N, rel=1e-9)
    assert alone.fragments["medial"].subsidence_mean_mm == pytest.approx(
        kept.result.fragments["medial"].subsidence_mean_mm, rel=1e-9)
    explorer.answer("antiglide", 700.0, {FRICTION: 0.3})
    assert len(pressed) == 4    # with other values it has another path


def test_what_holds_nothing_has_an_answer_too(explorer: Explorer) -> None:
    live = explorer.answer("nothing", 500.0)
    assert live.result.status == "no equilibrium"
    assert explorer.capacity("nothing") == (0.0, 0.0)
    assert "no equilibrium" in live._repr_html_()


def test_what_is_asked_wrongly_is_named(explorer: Explorer) -> None:
    with pytest.raises(InputError, match="lag screws"):
        explorer.answer("lag screw", 500.0)
    with pytest.raises(InputError, match="friction"):
        explorer.answer("nothing", 500.0, {"fracture.shear plane.frictoin": 0.3})
    for load in (0.0, -5.0, 1e9, float("nan")):
        with pytest.raises(InputError, match="load"):
            explorer.answer("nothing", load)


def test_some_constructs_of_a_study(explorer: Explorer) -> None:
    picked = only(explorer.study, "antiglide", "nothing")
    assert [c.name for c in picked.constructs] == ["antiglide", "nothing"]
    for names in (("antiglid",), (), ("nothing", "nothing")):
        with pytest.raises(InputError, match="lag screws"):
            only(explorer.study, *names)


@pytest.mark.parametrize("ask", [
    lambda e: e.pressed("lag screws", -1.0), lambda e: e.pressed("lag screws", float("nan")),
    lambda e: e.pressed("lag screws", "1"), lambda e: e.answer("lag screws", "500"),
    lambda e: e.answer("lag screws", float("nan")), lambda e: e.answer("lag screws", 500.0, [1])])
def test_what_is_no_number_is_refused(explorer: Explorer, ask: Callable[[Explorer], Any]) -> None:
    """A displacement that is no number was answered at the end of the path."""
    with pytest.raises(InputError, match=r"not a valid|not values by key"):
        ask(explorer)
