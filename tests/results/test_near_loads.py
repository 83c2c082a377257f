"""The load at a limit where answers between two points of the path do not converge."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import made_up
import pytest
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.model.install import build_model
from buttress.model.model import intact_measures
from buttress.results import search as searching
from buttress.results.judged import UNKNOWN, Cell, judged
from buttress.results.limits import find_limit, kept_words, moved_joint
from buttress.results.order import AT_LEAST, MOVED, best_first, ranks, reserve, reserve_words
from buttress.results.path import Reserve
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.records import LimitResult
from buttress.results.search import LEAST_N, NEAR, NOT_FOUND, Gauge, Search


@cache
def pressed() -> tuple[Search, Gauge]:
    study = small_study("antiglide")
    bone = build_bone(study)
    model = build_model(bone, study.constructs[0])
    reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
    return Search(model, most=1500.0), moved_joint(reader, model, 1.0)


def between(number: int) -> tuple[Gauge, float, float]:
    """A gauge that is reached midway between two points of the path, and their loads [N]."""
    search, gauge = pressed()
    low, high = search.points[number - 1:number + 1]
    read = [gauge.read(search.pressing.since_tightened(p)) for p in (low, high)]
    assert read[0] is not None
    assert read[1] is not None
    return (replace(gauge, limit=0.5 * (read[0].value + read[1].value)),
            max(p.load_N for p in search.points[:number]), high.load_N)


def near(number: int) -> bool:
    search, _ = pressed()
    low, high = (p.load_N for p in search.points[number - 1:number + 1])
    return high - low <= max(LEAST_N, NEAR * high)


def test_between_points_far_apart_it_is_not_found_and_its_bounds_are(
        monkeypatch: pytest.MonkeyPatch) -> None:
    search, _ = pressed()
    number = next(i for i in range(3, len(search.points)) if not near(i))
    gauge, low, high = between(number)
    usual = search.reach(gauge)
    assert not isinstance(usual, str)
    monkeypatch.setattr(searching, "at_place", lambda *_: None)
    found = find_limit(search, gauge)
    assert (found.load_N, found.kept_to_N, found.over_from_N) == (None, low, high)
    assert low < usual.carried_N < high
    assert kept_words("step-off", found).startswith("the load at the limit of step-off was not found")
    assert "and no longer from" in kept_words("step-off", found)


def test_between_points_next_to_each_other_it_is_that_of_the_second(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """A construct whose joint had moved by 1.1 mm at 1 N was ranked 1-6."""
    search, _ = pressed()
    number = next(i for i in range(1, len(search.points)) if near(i))
    gauge, low, high = between(number)
    monkeypatch.setattr(searching, "at_place", lambda *_: None)
    found = search.reach(gauge)
    assert not isinstance(found, str)
    assert low <= found.carried_N == high


def lost(kept: float, over: float | None) -> LimitResult:
    return LimitResult(None, None, "step_off_mm", 2.0, "mm", f"{NOT_FOUND}: answers", kept, over)


@pytest.mark.parametrize(("force", "cell"), [
    (240.0, None), (260.0, Cell(UNKNOWN, None, "step-off not found")),
    (300.0, Cell("over a limit: step-off", 290.0, at_most=True))])
def test_above_the_upper_bound_a_limit_is_reached(force: float, cell: Cell | None) -> None:
    """A row that showed 2.16 mm of step-off, over the limit of 1.5 mm, read "not known"."""
    construct = replace(made_up.construct("c"), limits={"step-off": lost(250.0, 290.0)},
                        without_friction_N=None)
    found = judged(construct, force)
    assert found == cell if cell else found.verdict == "within all limits"
    if cell and cell.at_most:
        assert found.words == "over a limit: step-off from at most 290 N"


def reserved(name: str, load: float | None, **bounds: Any) -> Any:
    return replace(made_up.construct(name), reserve=Reserve(load, 0.5, None, None, **bounds))


def test_a_load_between_bounds_is_ordered_by_them() -> None:
    one = reserved("between", None, kept_to_N=10.0, over_from_N=200.0)
    open_ = reserved("open", None, kept_to_N=10.0)
    more = reserved("more", 300.0)
    assert (reserve(one).kind, reserve(one).text) == (AT_LEAST, "10\N{EN DASH}200")
    assert ranks((one, more)) == {"between": "2", "more": "1"}
    assert [c.name for c in best_first((one, more))] == ["more", "between"]
    assert ranks((open_, more)) == {"open": "1\N{EN DASH}2", "more": "1\N{EN DASH}2"}
    assert reserve_words(one) == (
        "the joint moves less than 0.5 mm up to 10 N and has moved as far at 200 N; between them "
        "the answer is not known")


def test_a_movement_next_to_no_load_is_told_so() -> None:
    """It read "before it is pressed" of a joint that moved as soon as it was."""
    soon, at_once = reserved("soon", 1e-9), reserved("at once", 0.0)
    assert reserve(soon).kind == MOVED
    assert reserve_words(soon) == "the joint has moved 0.5 mm at less than 1 N"
    assert reserve_words(at_once) == "the joint has moved 0.5 mm before it is pressed"
