"""Where the arrows of a free body stand: at what pushes, with a couple where the line passes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from figure_texts import clashes, shown_texts
from made_up import picture
from small_study import small_study
from under_loads import under_loads

from buttress.draw.all import free_body
from buttress.results.picture import OFF_MM
from buttress.study.view import View


def test_every_force_of_a_free_body_acts_at_its_part_and_moments_close() -> None:
    shot = under_loads(small_study("antiglide + screw", loads=(1500.0,)), limits=False)[
        "antiglide + screw"].picture(1500.0)
    [body] = shot.free_bodies
    lines = {m.name: m.points for m in shot.members}
    for arrow in body.arrows:
        if arrow.source in lines:
            apart = np.hypot(*(lines[arrow.source] - arrow.point).T).min()
            assert apart < OFF_MM + 10.0, arrow.source
    moment = sum(a.couple_Nmm + a.point[0] * a.force[1] - a.point[1] * a.force[0]
                 for a in body.arrows)
    size = sum(np.hypot(*a.force) for a in body.arrows)
    assert moment == pytest.approx(0.0, abs=1e-3 * size)


@pytest.mark.parametrize(("knee", "sense"), [("right", "clockwise"), ("left", "counter-clockwise")])
def test_a_couple_is_told_with_its_sense_as_drawn(knee: str, sense: str) -> None:
    shot = replace(picture("x", 1500.0), view=View(knee))
    [body] = shot.free_bodies
    arrows = tuple(replace(a, couple_Nmm=840.0) if a.source == "plate" else a for a in body.arrows)
    ax = free_body(replace(shot, free_bodies=(replace(body, arrows=arrows),)), "medial")
    figure = ax.get_figure(root=True)
    said = [" ".join(t.get_text().split()) for t, _ in shown_texts(figure)]
    assert f"plate 539 N and a couple of 0.84 N m, {sense}" in said
    assert sum("couple" in s for s in said) == 2     # one part, and what a couple is
    assert clashes(figure) == []
