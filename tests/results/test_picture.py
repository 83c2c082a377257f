"""What a picture draws is what the answer says."""

from __future__ import annotations

import numpy as np
from small_study import small_study

from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.picture import take_picture


def test_the_arrows_of_a_free_body_stand_on_their_lines_of_action() -> None:
    """Forces and, about any point, moments of a body in equilibrium close (statics)."""
    study = small_study("antiglide + lag screws")
    model = build_model(Bones(study).of(study.constructs[0]), study.constructs[0])
    answer = model.answer(700.0)
    [free] = take_picture(model, answer, 700.0).free_bodies
    points, forces = (np.array([getattr(a, name) for a in free.arrows])
                      for name in ("point", "force"))
    for about in ((0.0, 0.0), (-25.0, -12.0)):
        arm = points - about
        moments = arm[:, 0] * forces[:, 1] - arm[:, 1] * forces[:, 0]
        # Arrows too small to draw are left out: a thousandth of the load each.
        assert abs(moments.sum()) < 0.005 * np.abs(moments).sum()
    assert np.hypot(*forces.sum(axis=0)) < 0.005 * 700.0
