"""Steps in an order, against the block by hand and bolts in parallel: 1e-9."""

import numpy as np
import pytest

from buttress.fe.verification import stagepath
from buttress.fe.verification.joint import PRELOAD, SHARE
from buttress.fe.verification.stagepath import BOTH, PRESSED, PUSHED


@pytest.mark.parametrize("case", stagepath.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_the_order_changes_the_answer():
    first, second = stagepath.along_path(PRESSED, BOTH), stagepath.along_path(PUSHED, BOTH)
    assert second[0] - first[0] == pytest.approx(0.4, rel=1e-9)
    assert first[1] - second[1] == pytest.approx(400.0, rel=1e-9)


def test_tightening_in_turns_converges_on_the_preload():
    """Each turn brings both bolts nearer to the preload, by the share squared."""
    missing = [PRELOAD - min(stagepath.tightened(*([0, 1] * turns))) for turns in (1, 2, 3)]
    assert missing[1] / missing[0] == pytest.approx(SHARE**2, rel=1e-6)
    assert missing[2] / missing[1] == pytest.approx(SHARE**2, rel=1e-5)


def test_a_bolt_that_leaves_takes_its_force_along():
    staging, (first, second) = stagepath.bolted()
    state = staging.start(np.array([True, True, True]))
    _, state = staging.step(state, np.zeros(1), {first: PRELOAD})
    _, state = staging.step(state, np.zeros(1), {second: PRELOAD})
    answer, state = staging.step(staging.leave(state, np.array([2])), np.zeros(1))
    assert answer.held
    assert answer.force[second] == 0.0
    # The part springs back to what one bolt of the first force's length holds.
    assert answer.force[first] == pytest.approx(PRELOAD, rel=1e-9)


def test_a_fastened_head_pulls_and_starts_without_force():
    """A head that has lifted off does not snap back when it is fastened; then it pulls."""
    staging, (first, second) = stagepath.bolted()
    state = staging.start(np.array([True, True, False]))
    down = np.array([-500.0])
    answer, state = staging.step(state, down)
    assert answer.force[first] == 0.0
    answer, state = staging.step(staging.fasten(state, np.array([first])), down)
    assert answer.method == "unchanged"
    assert answer.force[first] == pytest.approx(0.0, abs=1e-9)
    answer, _ = staging.step(state, 2 * down)
    assert answer.force[first] == pytest.approx(-SHARE * 500.0, rel=1e-6)
    assert second not in np.flatnonzero(answer.force)


def test_nothing_presses_on_a_piece_that_is_left():
    assert stagepath.left_behind()[1] == 0.0


def test_a_step_without_equilibrium_leaves_the_state():
    staging, (first, _) = stagepath.bolted()
    state = staging.start(np.array([True, False, False]))
    answer, after = staging.step(state, np.array([100.0]))
    assert answer.status == "no equilibrium"
    assert after is state
    with pytest.raises(KeyError):
        staging.step(state, np.zeros(1), {first: 10.0})
