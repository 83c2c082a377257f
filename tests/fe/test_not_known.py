"""What was not found is not known: on the path, of its peak, and of a load beyond it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from buttress.fe.solve.answer import Memory
from buttress.fe.solve.path import BEYOND, RISES, Path, Point, press, steps
from buttress.fe.solve.ram import Pressed, Ram, RamStep
from buttress.fe.status import Status
from buttress.fe.verification import hinge

LOST = 0.2
"""Ram position [mm] from where on nothing is found."""


def pressed(monkeypatch: pytest.MonkeyPatch, answered: str) -> Path:
    """A bar that is pressed; beyond `LOST` a step is answered by nothing, by "unconverged" or by
    "no equilibrium"."""
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    found = Ram._search

    def search(self: Ram, step: RamStep, near: tuple[Pressed, ...], pivots: int) -> object:
        if -step.memory.offset[-1] <= LOST or step.prescribed:
            return found(self, step, near, pivots)
        return None if answered == "nothing" else step.none(Status(answered), None)

    monkeypatch.setattr(Ram, "_search", search)
    monkeypatch.setattr(Ram, "_lemke", lambda self, step: None)
    return press(ram, Memory.none(ram.plain), steps(1.0, first=0.02))


@pytest.mark.parametrize("answered", ["nothing", "unconverged"])
def test_a_step_without_an_answer_is_a_gap_and_no_peak(answered: str,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    path = pressed(monkeypatch, answered)
    assert path.points[-1].ram_mm == pytest.approx(LOST, abs=0.1)
    assert path.gaps
    assert {g.status for g in path.gaps} == {"unconverged"}
    assert (path.status, path.peak_status) == ("gaps", "not known")
    assert path.stopped != BEYOND
    assert path.reach(path.peak_N) == "reached"
    assert path.reach(2.0 * path.peak_N) == "not known"


def test_a_step_that_would_move_too_far_ends_the_path_without_a_gap(
        monkeypatch: pytest.MonkeyPatch) -> None:
    path = pressed(monkeypatch, "no equilibrium")
    assert path.gaps == ()
    assert (path.status, path.stopped) == ("stopped", BEYOND)
    assert path.peak_status == RISES


def test_a_load_is_never_reached_only_below_a_peak_that_is_found() -> None:
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    short = press(ram, Memory.none(ram.plain), steps(0.02, first=0.005))
    assert short.peak_status == RISES
    assert short.reach(2.0 * short.peak_N) == "not known"
    assert replace(short, peak_status="found").reach(2.0 * short.peak_N) == "never"


def test_the_first_of_several_places_with_a_load_is_meant() -> None:
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(0.1, first=0.02))
    points = tuple(replace(p, load_N=load) for p, load in zip(
        path.points, (0.0, 5.0, 9.0, 7.0, 9.5), strict=False))
    assert [replace(path, points=points).first_above(x) for x in (4.0, 8.0, 9.2, 20.0)] == [
        1, 2, 4, None]


class Stub:
    """Geometry that moves from the first point on; ``found`` answers its steps but for every second
    one, until ``last``."""

    longest = 1.0

    def __init__(self, ram: Ram, missed: bool | None, last: float = np.inf) -> None:
        self.ram, self.missed, self.last, self.asked = ram, missed, last, 0

    def due(self, last: Point) -> bool:
        return last.ram_mm > 0.0

    def beyond(self, point: Point) -> float:
        return -1.0

    def step(self, last: Point, place: float, zero: float, size: float, halved: int, hammer: bool
             ) -> Point | bool | None:
        self.asked += 1
        if last.moved is not None and (halved == 0 or place > self.last):
            return self.missed
        found = self.ram.step(last.memory, place=place, near=[last.state], size=size)
        assert found is not None
        return replace(last, ram_mm=place - zero, load_N=found.load, state=found, moved=True,
                       memory=self.ram.advance(found, last.memory), began=last.memory)


def stubbed(missed: bool | None, last: float = np.inf) -> tuple[Path, Stub]:
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    stub = Stub(ram, missed, last)
    return press(ram, Memory.none(ram.plain), steps(2.0, first=0.02, growth=1.05),
                 geometry=stub), stub


@pytest.mark.parametrize(("missed", "status"), [(False, "jumps"), (None, "unconverged")])
def test_a_jump_under_load_is_not_known_as_a_step_without_an_answer(missed: bool | None,
                                                                    status: str) -> None:
    path, _ = stubbed(missed, last=0.2)
    assert path.points[-1].load_N > 1.0
    assert {g.status for g in path.gaps} == {status}
    assert path.stopped == ""
    assert path.reach(2.0 * path.peak_N) == "not known"


def test_a_path_that_catches_at_every_step_ends_after_some(monkeypatch: pytest.MonkeyPatch) -> None:
    whole, many = stubbed(None)
    monkeypatch.setattr("buttress.fe.solve.path.MOST_LOST", 4)
    short, few = stubbed(None)
    assert short.lost == 4 < whole.lost
    assert few.asked < many.asked
    assert len(short.gaps) == 1
    assert short.reach(2.0 * short.peak_N) == "not known"
    for one, other in zip(short.points, whole.points, strict=False):
        assert one.load_N == other.load_N
