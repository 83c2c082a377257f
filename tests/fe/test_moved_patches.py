"""How patches of a bent body move: by the slope of its bending line where they are."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.fe.moved.patches import Patches

CURVED = 1e-3   # 1/mm
X = np.array([0.0, 2.0, 4.0, 6.0, 10.0, 12.0, 14.0, 40.0, 46.0, 10.0])   # mm
NAMES = ("plate",) * 4 + ("head",) * 3 + ("cut",) * 2 + ("bar",)
BODY = np.array([0] * 9 + [1])   # the last point is on another body


def bent() -> tuple[Patches, np.ndarray, np.ndarray]:
    """Patches along a body that is bent to a parabola, their motions, and what bends (s, 2)."""
    point = np.stack([X, np.full(X.size, 3.0)], axis=1)
    patches = Patches(BODY, point, [(name, i) for i, name in enumerate(NAMES)])
    elastic = np.stack([np.zeros(X.size), 0.5 * CURVED * X**2], axis=1)
    return patches, patches.fit(elastic), elastic


def test_a_patch_turns_by_the_slope_in_its_middle_and_a_short_one_with_its_body() -> None:
    """A chord of a parabola is as steep as the parabola in its middle. 4 mm are too short to tell a
    turn: the straight line through all of the body's points does."""
    patches, motion, elastic = bent()
    named = [NAMES[patches.spot[patches.patch == k][0]] for k in range(len(motion))]
    plate, head, cut = (named.index(name) for name in ("plate", "head", "cut"))
    assert motion[plate, 2] == pytest.approx(CURVED * 3.0)
    assert motion[cut, 2] == pytest.approx(CURVED * 43.0)
    whole = np.polyfit(X[:9], elastic[:9, 1], 1)[0]
    assert motion[head, 2] == pytest.approx(whole)
    assert abs(whole - CURVED * 12.0) > 0.1 * whole
    assert motion[head, :2] == pytest.approx(elastic[4:7].mean(axis=0))


def test_what_patches_carry_is_what_bends_but_for_its_curving_within_them() -> None:
    """A parabola of 6 mm is off the straight line of best fit by less than c l^2 / 8."""
    patches, motion, elastic = bent()
    moved, turn, linear = patches.carried(motion)
    for own in (slice(0, 4), slice(7, 9)):
        assert np.abs(linear[own] - elastic[own]).max() < CURVED * 36.0 / 8
        assert moved[own] == pytest.approx(linear[own], abs=0.5 * 3.0 * np.abs(turn[own]).max() ** 2)
