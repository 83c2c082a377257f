"""Paths under a ram: proved against trying every state, whatever loads are asked for."""

import numpy as np
import pytest
from blocks import FORCE, build, cases
from enumerated import problem, solutions, violation
from hypothesis import given, settings
from hypothesis import strategies as st

from buttress.fe.solve.answer import Memory
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.path import press, steps
from buttress.fe.solve.ram import Ram, with_ram
from buttress.fe.solve.reached import state_at

NO_LOAD = np.zeros(1)
PLACES = steps(1.0, first=0.002, growth=1.6)
FEW, MANY = range(200), range(200, 5200)


def pressed_to(path, number):
    """The problem with ram of a committed point, as plain gaps, and its unknowns."""
    before, point = path.points[number - 1:number + 1]
    p = with_ram(path.ram.plain, np.ones(1))
    gap = p.gap + np.append(before.memory.offset, -point.ram_mm - path.zero)
    rise = p.slope * np.append(before.memory.given, 0.0)
    law = {"gap": gap, "upper": p.upper + rise, "lower": p.lower + np.where(p.lower < 0, rise, 0.0)}
    return p.with_law(**law), np.append(point.answer.force, point.load_N), point.answer.rigid


def judged(seed, hardens=False):
    """Number of points and of gaps of a random problem's path; asserts that no verdict is false."""
    p = problem(seed, hardens)
    ram = Ram.of(p, np.ones(1))
    path = press(ram, Memory.none(p), PLACES)
    if not path.points:
        # Contacts with a lack of fit may have no equilibrium at rest.
        return 0, 0
    for number in range(1, len(path.points)):
        stepped, force, rigid = pressed_to(path, number)
        size = max(abs(path.points[number].load_N), 1e-3 * np.abs(force).max(), 1.0)
        assert violation(stepped, force, rigid, NO_LOAD, size) < 1e-6
    for gap in path.gaps:
        number = max(i for i, x in enumerate(path.points) if x.ram_mm < gap.ram_mm)
        offset = np.append(path.points[number].memory.offset, -gap.ram_mm - path.zero)
        p_ram = with_ram(p, np.ones(1))
        assert gap.status == "unconverged"
        list(solutions(p_ram.with_law(gap=p_ram.gap + offset), NO_LOAD))
    limit = capacity(p.firm(), np.ones(1))
    # Limit analysis knows no gaps: what is still open at the end of the way may yet close.
    exact = path.peak_status == "found" and not p.friction.any() and not (p.gap > 0.0).any()
    if limit.factor is not None:
        assert path.peak_N <= limit.factor * (1 + 1e-6) + 1e-6
        if exact:
            assert path.peak_N == pytest.approx(limit.factor, rel=2e-3, abs=1e-6)
    else:
        assert not exact
    return len(path.points) - 1, len(path.gaps)


@pytest.mark.parametrize("hardens", [False, True])
def test_no_verdict_of_a_path_is_false(hardens):
    points, gaps = np.sum([judged(seed, hardens) for seed in FEW], axis=0)
    assert points > 1000
    assert gaps <= 0.002 * points


@pytest.mark.deep
def test_no_verdict_of_many_paths_is_false():
    points, gaps = np.sum([judged(seed, seed % 2 == 0) for seed in MANY], axis=0)
    assert points > 25_000
    assert gaps <= 0.002 * points


def test_the_check_notices_a_wrong_point():
    ram = Ram.of(problem(3), np.ones(1))
    path = press(ram, Memory.none(ram.plain), PLACES)
    stepped, force, rigid = pressed_to(path, 3)
    assert force[-1] > 1.0
    assert violation(stepped, force, rigid, NO_LOAD, force[-1]) < 1e-8
    assert violation(stepped, 1.001 * force, rigid, NO_LOAD, force[-1]) > 1e-5
    assert violation(stepped, force, rigid + 1e-3, NO_LOAD, force[-1]) > 1e-6


@given(cases(held=True), st.lists(st.floats(0.01, 1.2), min_size=1, max_size=4))
@settings(max_examples=25)
def test_loads_that_are_asked_for_change_no_path(case, shares):
    def pressed(ram):
        return press(ram, Memory.none(ram.plain), steps(0.5, first=0.01))

    def loads(asked):
        ram = Ram.of(build(case).problem, np.ones(1))
        path = pressed(ram)
        return ram, path, [state_at(path, share * path.peak_N) for share in asked]

    ram, path, found = loads(shares)
    plain, asked = ([(x.ram_mm, x.load_N) for x in p.points] for p in (
        pressed(Ram.of(build(case).problem, np.ones(1))), pressed(ram)))
    assert plain == asked == [(x.ram_mm, x.load_N) for x in path.points]
    alone = [loads([share])[2][0] for share in shares]
    for one, other, share in zip(found, alone, shares, strict=True):
        assert (one is None) == (other is None)
        assert (one is None) == (share > 1.0 + 1e-12)
        if one is not None:
            assert one.load_N == other.load_N
            assert one.ram_mm == other.ram_mm


@given(cases(held=True))
@settings(max_examples=20)
def test_halving_the_steps_changes_little(case):
    ram = Ram.of(build(case).problem, np.ones(1))
    coarse = steps(0.4, first=0.01, growth=1.35)
    fine = sorted({*coarse, *(0.5 * (a + b) for a, b in zip((0.0, *coarse), coarse, strict=False))})
    one, two = (press(ram, Memory.none(ram.plain), places) for places in (coarse, fine))
    assert not one.gaps
    assert not two.gaps
    loads = {p.ram_mm: p.load_N for p in two.points}
    # While a gap closes the load is small and its friction just begins: a share of what comes.
    for point in one.points:
        assert loads[point.ram_mm] == pytest.approx(point.load_N, rel=5e-3,
                                                    abs=1e-3 * one.peak_N)


@given(cases(held=True))
@settings(max_examples=15)
def test_the_state_at_a_load_is_a_step_to_that_load(case):
    solver = build(case)
    ram = Ram.of(solver.problem, np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(2.0, first=0.01), most_load=2 * FORCE)
    found = state_at(path, 0.5 * path.peak_N)
    assert found is not None
    before = max((p for p in path.points if p.load_N < found.load_N), key=lambda p: p.ram_mm)
    same = solver.answer(np.array([found.load_N]), before.memory)
    assert same.held
    assert found.answer.residual < 1e-9
    assert found.answer.complementarity < 1e-8
    assert found.answer.force == pytest.approx(same.force, abs=1e-6 * found.load_N)
