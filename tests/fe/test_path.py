"""Paths: steps, stops, gaps, peaks, events, states at loads, unloading and reloading."""

from functools import cache

import numpy as np
import pytest
from perfect import perfect

from buttress.bone.bone import build_bone
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.events import events_of, standing
from buttress.fe.solve.path import BEYOND, LOAD_LIMIT, RISES, Path, press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import balance, probe, state_at, to_load
from buttress.fe.verification import hinge, pressed, statics
from buttress.model.install import build_model
from buttress.verification.studies import coarse


@cache
def bar():
    return pressed.bent(True)


@cache
def construct(name, hardens=False):
    """A path of the study of a medial shear fracture, with peaks where nothing hardens."""
    study = coarse("medial-shear", name)
    if not hardens:
        study = perfect(study)
    model = build_model(build_bone(study), next(c for c in study.constructs if c.name == name))
    ram = Ram.of(model.problem, model.bone.load_vector(1.0))
    return model, press(ram, model.memory, steps(5.0), near=model.tightened)


def test_steps_grow_and_end_where_they_are_told_to():
    places = np.array(steps(5.0, first=0.02, growth=1.35))
    assert places[0] == 0.02
    assert places[-1] == 5.0
    assert np.diff(places)[:-1] == pytest.approx(0.02 * 1.35 ** np.arange(1, len(places) - 1))


@pytest.mark.parametrize("places", [(), (0.0, 1.0), (-0.1, 1.0), (0.2, 0.2)])
def test_displacements_that_do_not_rise_are_refused(places):
    ram = Ram.of(hinge.bar(built_in=False).problem, np.ones(1))
    with pytest.raises(ValueError, match="must rise from 0 mm"):
        press(ram, Memory.none(ram.plain), places)


def test_what_is_elastic_answers_with_a_straight_line():
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(0.5, first=0.01), most_load=300.0)
    first = path.points[1]
    for point in path.points[1:]:
        assert point.load_N == pytest.approx(first.load_N / first.ram_mm * point.ram_mm, rel=1e-9)
    assert (path.status, path.peak_status) == ("stopped", "beyond the search")
    short = press(ram, Memory.none(ram.plain), steps(0.02, first=0.01), most_load=300.0)
    assert (short.status, short.peak_status) == ("complete", RISES)


def test_a_limit_of_load_leaves_the_peak_beyond_the_search():
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(20.0, first=0.1), most_load=200.0)
    assert (path.status, path.stopped, path.peak_status) == ("stopped", LOAD_LIMIT,
                                                             "beyond the search")
    assert path.points[-2].load_N <= 200.0 < path.points[-1].load_N
    assert path.reach(150.0) == "reached"
    assert path.reach(5000.0) == "not known"


def test_a_rule_ends_a_path_at_the_point_that_it_names():
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(20.0, first=0.1),
                 stop=lambda point: "moved" if point.answer.rigid.any() else None)
    assert (path.status, path.stopped, len(path.points)) == ("stopped", "moved", 3)


def test_beyond_the_peak_a_load_is_never_reached():
    path = bar()
    assert path.peak_status == "found"
    assert path.reach(path.peak_N + 1e-6) == "never"
    assert state_at(path, path.peak_N + 1e-6) is None
    assert state_at(path, -1.0) is None
    assert state_at(path, 0.0) is path.points[0]


def test_a_point_without_an_answer_is_a_gap_and_ends_nothing(monkeypatch):
    real = Ram.step

    def step(self, memory, *, place=None, **rest):
        lost = place is not None and (0.3 < place < 0.55 or 9.0 < place < 20.0)
        return None if lost else real(self, memory, place=place, **rest)

    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    places = [0.1, 0.2, 0.45, 0.5, 0.6, 1.0, 2.0, 4.0, 8.0]
    whole = press(ram, Memory.none(ram.plain), places)
    monkeypatch.setattr(Ram, "step", step)
    path = press(ram, Memory.none(ram.plain), places)
    assert path.status == "gaps"
    assert {g.status for g in path.gaps} == {"unconverged"}
    assert all(0.3 < g.ram_mm < 0.55 for g in path.gaps)
    assert path.points[-1].ram_mm == 8.0
    assert path.points[-1].load_N == pytest.approx(whole.points[-1].load_N, rel=1e-9)
    assert path.peak_status == "found"
    near_the_top = press(ram, Memory.none(ram.plain), [*places, 18.0])
    assert near_the_top.points[-1].load_N == path.points[-1].load_N
    assert near_the_top.peak_status == "not known"
    assert near_the_top.reach(1e4) == "not known"


def test_a_step_that_finds_nothing_is_halved_twice(monkeypatch):
    real, asked = Ram.step, []

    def step(self, memory, *, place=None, hammer=False, **rest):
        asked.append((place, hammer))
        return None if place > 0.2 and not hammer else real(self, memory, place=place, **rest)

    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    start = press(ram, Memory.none(ram.plain), [0.2])
    monkeypatch.setattr(Ram, "step", step)
    path = press(ram, start.points[-1].memory, [0.6], after=(start.points[-1], start.zero))
    # Each that is not the last is also sought by way of its first quarter.
    assert asked[:6] == [(pytest.approx(place), hammer) for place, hammer in (
        (0.6, False), (0.3, True), (0.4, False), (0.4, False), (0.25, True), (0.3, False))]
    assert (asked[6][0], asked[6][1]) == (pytest.approx(0.3), True)
    assert [p.ram_mm for p in path.points] == pytest.approx([0.2, 0.3, 0.4, 0.5, 0.6])
    assert path.status == "complete"


def test_a_step_found_by_way_of_shorter_ones_is_that_step(monkeypatch):
    """What is not found at once leaves no points between, and the same state."""
    model = construct("antiglide")[0]
    ram = Ram.of(model.problem, model.bone.load_vector(1.0))
    places = [0.05, 0.2, 0.4]
    whole = press(ram, model.memory, places, near=model.tightened)
    real, ways = Ram.step, []

    def step(self, memory, *, place=None, near=(), hammer=False, **rest):
        far = place is not None and near and place - near[0].place > 0.11
        if far:
            ways.append(place)
        return None if far else real(self, memory, place=place, near=near, hammer=hammer, **rest)

    monkeypatch.setattr(Ram, "step", step)
    other = press(ram, model.memory, places, near=model.tightened)
    assert len(ways) >= 2
    assert [p.ram_mm for p in other.points] == [p.ram_mm for p in whole.points]
    assert [p.load_N for p in other.points] == pytest.approx([p.load_N for p in whole.points],
                                                             rel=1e-7)
    assert other.points[-1].memory.offset == pytest.approx(whole.points[-1].memory.offset, abs=1e-9)


def test_a_fragment_that_nothing_supports_is_pressed_without_load():
    model, path = construct("nothing")
    assert model.tightened is None
    assert path.status == "complete"
    assert [p.load_N for p in path.points] == [0.0] * len(path.points)
    assert (path.peak_N, path.peak_status, events_of(path)) == (0.0, "found", ())


def test_movements_that_are_not_small_end_a_path():
    path = construct("antiglide")[1]
    assert (path.status, path.stopped) == ("stopped", BEYOND)
    assert path.peak_status == "found"


def test_every_point_is_proved_by_its_residuals():
    model, path = construct("lag screws")
    p = model.problem
    assert len(path.points) > 10
    for before, point in zip(path.points, path.points[1:], strict=False):
        a = point.answer
        assert a.residual < 1e-9
        assert a.complementarity < 1e-8
        # The same step by the solver without ram: balance and slack from the load itself.
        assert p.load_rigid @ a.load == pytest.approx(p.rigid.T @ a.force, abs=1e-8 * point.load_N)
        slack = (p.load_deformation @ a.load - p.gap - before.memory.offset + p.rigid @ a.rigid
                 - p.flexibility @ a.force - p.compliance * a.force + p.kinks @ a.kink)
        assert slack == pytest.approx(a.slack, abs=1e-9)


@pytest.mark.parametrize("name", ["lag screws", "antiglide"])
def test_a_peak_is_where_single_steps_hold_no_more(name):
    model, path = construct(name)
    assert path.peak_status == "found"
    assert not path.gaps
    assert model.solver.answer(model.bone.load_vector(0.99 * path.peak_N), model.memory).held
    over = model.bone.load_vector(1.02 * path.peak_N)
    assert not model.solver.answer(over, model.memory).held


def test_what_hardens_still_rises_at_the_end_of_the_way():
    path = construct("lag screws", hardens=True)[1]
    assert (path.status, path.peak_status) == ("complete", RISES)
    assert path.reach(1.1 * path.peak_N) == "not known"
    loads = [p.load_N for p in path.points]
    assert loads == sorted(loads)
    perfect = construct("lag screws")[1]
    assert path.peak_N > 1.05 * perfect.peak_N
    # What hardens acts beyond the bounds alone: nothing else changes before the first of them.
    for one, other in zip(path.points[:3], perfect.points[:3], strict=True):
        assert one.load_N == pytest.approx(other.load_N, rel=0.02)


@pytest.mark.parametrize("name", ["lag screws", "antiglide", "antiglide + screw"])
def test_steps_half_as_long_change_no_load_by_half_a_per_cent(name):
    model, path = construct(name)
    places = [p.ram_mm for p in path.points]
    between = [0.5 * (a + b) for a, b in zip(places, places[1:], strict=False)]
    fine = press(path.ram, model.memory, sorted({*places[1:], *between}), near=model.tightened)
    loads = {p.ram_mm: p.load_N for p in fine.points}
    for point in path.points[1:]:
        assert loads[point.ram_mm] == pytest.approx(point.load_N, rel=5e-3)
    assert fine.peak_N == pytest.approx(path.peak_N, rel=1e-3)


@pytest.mark.parametrize(("hardens", "last"), [(False, "peak"), (True, "hinge")])
def test_events_come_in_order_and_only_the_first_of_a_source(hardens, last):
    """Where nothing hardens, lag screws let go before they have bent to their plastic moment."""
    path = construct("lag screws", hardens)[1]
    events = events_of(path)
    assert [e.ram_mm for e in events] == sorted(e.ram_mm for e in events)
    assert len({(e.kind, e.source) for e in events}) == len(events)
    assert {e.kind for e in events} >= {"slip", "opening", "yield", last}
    for e in events:
        if e.kind != "peak":
            assert np.isfinite(e.place).all()
            assert (e.link >= 0) != (e.hinge >= 0)


def test_an_event_is_where_a_link_comes_to_its_bound():
    path = construct("lag screws")[1]
    p = path.ram.plain
    event = next(e for e in events_of(path) if e.kind == "yield")
    number = path.first_above(event.load_N)
    way = abs(path.points[number].load_N - path.points[number - 1].load_N)
    just_before = state_at(path, event.load_N - 0.01 * way).answer
    just_after = state_at(path, event.load_N + 0.01 * way).answer
    same = [i for i, x in enumerate(p.links.links) if x.source == event.source
            and p.friction[i] == 0 and not p.opens[i]]
    assert np.abs(just_before.slack[same]).max() < 1e-6
    assert np.abs(just_after.slack[same]).max() > 1e-9


def test_what_tightening_has_led_to_is_not_told_of_loading():
    """Part of the lag screw's thread stands at its strength when tightened. The event of loading is
    where a station comes to its strength that had some left."""
    model, path = construct("antiglide + screw")
    p, force = path.ram.plain, model.tightened.force
    thread = [i for i, x in enumerate(p.links.links) if x.source == "fragment lag"
              and not p.opens[i] and p.friction[i] == 0]
    full = np.abs(force[thread]) >= 0.999999 * p.upper[thread]
    assert 0 < full.sum() < full.size
    assert [e.source for e in standing(path) if e.kind == "yield"] == ["fragment lag"]
    event = next(e for e in events_of(path) if (e.kind, e.source) == ("yield", "fragment lag"))
    assert abs(force[event.link]) < 0.999 * p.upper[event.link]
    there = state_at(path, event.load_N).answer.force[event.link]
    assert abs(there) == pytest.approx(p.upper[event.link], rel=0.02)
    assert standing(construct("antiglide")[1]) == ()


def test_unloading_and_pressing_again_come_back_to_the_path():
    path = bar()
    point = path.points[-3]
    way = to_load(path.ram, point, path.zero)
    assert way[-1].load_N == pytest.approx(0.0, abs=1e-9)
    assert 0.0 < way[-1].ram_mm < point.ram_mm
    again = press(path.ram, way[-1].memory, [p.ram_mm for p in path.points[-3:]],
                  after=(way[-1], path.zero))
    assert [p.load_N for p in again.points[1:]] == pytest.approx(
        [p.load_N for p in path.points[-3:]], rel=1e-9)
    answers = [again.points[-1].answer.kink, path.points[-1].answer.kink]
    assert answers[0] == pytest.approx(answers[1], abs=1e-9)


def test_friction_takes_energy_and_gives_none_back():
    ram = Ram.of(statics.fragment(stop=np.inf).problem, np.ones(1))
    missing = []
    for count in (10, 100):
        path = press(ram, Memory.none(ram.plain), 0.2 * np.arange(1, count + 1) / count)
        found = np.array([balance(path, number) for number in range(1, len(path.points))])
        assert (found[:, 2] > 0.0).all()
        done, stored, lost = found.sum(axis=0)
        missing.append((stored + lost) / done - 1.0)
    # Friction rises within a step and is counted at its end: an error that falls with the step.
    assert 0.0 < missing[1] < 0.03 < missing[0]


def test_other_starts_lead_to_the_same_state_where_it_is_the_only_one():
    path = construct("lag screws")[1]
    assert probe(path, 4)[0] == "unique"


def test_a_path_counts_what_it_cost():
    tally = construct("lag screws")[1].ram.tally
    assert tally.lost < 0.3 * tally.guesses
    assert tally.lemke == 0


def test_a_path_without_equilibrium_at_rest_has_no_points():
    path = pressed.slope(float(np.radians(22.0)), True)
    assert isinstance(path, Path)
    assert path.points == ()
    assert (path.status, path.peak_status) == ("gaps", "not known")
    assert path.gaps[0].status == "no equilibrium"
    assert path.reach(1.0) == "not known"
