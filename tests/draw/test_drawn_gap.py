"""What is drawn at the joint is what is reported: no gap is seen where gap and step are zero."""

from __future__ import annotations

import numpy as np
import pytest
from depressed_study import GRAFT, depressed
from figure_texts import clashes, shown_texts
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from small_study import small_study
from under_loads import under_loads

from buttress.draw.overview import overview
from buttress.draw.section import deformed
from buttress.results.comparison import Comparison
from buttress.results.picture import Picture
from buttress.sweeps.vary import varied

FACTOR = 50.0
LOAD = 1500.0


@pytest.fixture(scope="module")
def solved() -> Comparison:
    return under_loads(small_study("antiglide", "antiglide + lag screws", loads=(LOAD,)), limits=False)


def lips(picture: Picture) -> tuple[np.ndarray, np.ndarray]:
    """The two nodes of fragment and shaft that met at the joint, moved as they are drawn."""
    shaft, piece = picture.bodies[-1], picture.bodies[0]
    apart = np.hypot(*(piece.points[:, None] - shaft.points[None]).T).T
    mine, other = np.nonzero(apart < 1e-6)
    k = int(np.argmax(piece.points[mine, 1]))
    return (piece.points[mine[k]] + FACTOR * piece.displacement[mine[k]],
            shaft.points[other[k]] + FACTOR * shaft.displacement[other[k]])


def drawn_nearest(ax: Axes, at: np.ndarray) -> float:
    """Distance of the nearest vertex of the outlines that are drawn."""
    every = np.concatenate([s for c in ax.collections if isinstance(c, LineCollection)
                            for s in c.get_segments()])
    return float(np.hypot(*(every - at).T).min())


@pytest.mark.parametrize("name", ["antiglide", "antiglide + lag screws"])
def test_the_drawn_lips_are_as_far_apart_as_is_reported(solved: Comparison, name: str) -> None:
    construct = solved[name]
    picture = construct.picture(LOAD)
    (edge,) = construct.load(LOAD).edges.values()
    assert edge.step_off_mm is not None
    assert edge.gap_mm is not None
    one, other = lips(picture)
    reported = float(np.hypot(edge.step_off_mm, edge.gap_mm))
    assert np.hypot(*(one - other)) == pytest.approx(FACTOR * reported, abs=FACTOR * 1e-6)
    ax = deformed(picture, factor=FACTOR)
    for lip in (one, other):      # each is a corner of an outline that is drawn
        assert drawn_nearest(ax, lip) < 1e-9


def test_one_of_them_opens_and_the_other_does_not(solved: Comparison) -> None:
    open_, closed = (next(iter(solved[n].load(LOAD).edges.values()))
                     for n in ("antiglide", "antiglide + lag screws"))
    assert (open_.gap_mm or 0.0) > 0.02
    assert (closed.gap_mm or 0.0) < 0.002
    one, other = lips(solved["antiglide + lag screws"].picture(LOAD))
    assert np.hypot(*(one - other)) < FACTOR * 0.002


def test_cement_is_a_filling_and_no_graft() -> None:
    made = under_loads(depressed(GRAFT | {"material": "bone cement"}, loads=(400.0,)),
                       limits=False, pictures=True)
    shown = " ".join(t.get_text() for t, _ in shown_texts(
        deformed(made["c"].picture(400.0)).get_figure(root=True)))
    assert "force of a filling on bone" in shown
    assert "a graft" not in shown


@pytest.mark.parametrize(("given", "said"), [
    ({"fracture.*.gap_mm": 0.2}, True), ({"fragment.*.step_mm": 0.5}, True), ({}, False)])
def test_what_reduction_leaves_is_said_not_to_be_drawn(given: dict[str, float], said: bool) -> None:
    """Faces 0.2 mm apart that close are drawn, magnified, as if one piece lay in the other."""
    study = varied(small_study("antiglide", loads=(500.0,)), given).study
    made = under_loads(study, limits=False, pictures=True)
    for ax in (deformed(made["antiglide"].picture(500.0)), overview(made, 500.0)):
        shown = " ".join(" ".join(t.get_text().split()) for t, _ in shown_texts(ax.get_figure(root=True)))
        assert ("left by reduction" in shown) == said
        assert clashes(ax.get_figure(root=True)) == []
