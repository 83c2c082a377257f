"""Curves of force over subsidence: the path, its events, and where two of them cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from figure_texts import clashes
from made_up import comparison, construct, not_known, usual, words

from buttress import compare, example, only
from buttress.draw import all as figures
from buttress.draw.curves import FAILURE, ORDER, SHOWN_MM, shown
from buttress.draw.page import paper
from buttress.fe.richardson import SPREAD
from buttress.results.bar import Bar
from buttress.results.beyond import peak_not_known
from buttress.results.crossing import crossing
from buttress.results.path import PathEvent, PathPoint, PathResult, Reserve, Where
from buttress.results.records import ConstructResult


def pressed(name: str, sunk: Sequence[float], loads: Sequence[float],
            events: Sequence[tuple[str, float, float]] = (), **more: Any) -> ConstructResult:
    """A construct with a path made up: the ram moves as far as the fragment sinks, and the joint
    opens twice as far."""
    points = tuple(PathPoint(s, p, "held", {"medial": s}, {}, {}, 2.0 * s)
                   for s, p in zip(sunk, loads, strict=True))
    path = PathResult("complete", "", True, 0.0, points, tuple(
        PathEvent(kind, load, at, Where("screw", None)) for kind, load, at in events))
    return replace(construct(name, **more), path=path, curve_load_N=tuple(loads),
                   curve_subsidence_mm={"medial": tuple(sunk)})


def test_a_curve_is_the_path_ended_at_two_millimetres_with_its_events() -> None:
    one = pressed("one", (0.0, 0.5, 1.0, 4.2), (0.0, 1000.0, 1500.0, 1900.0),
                  (("slip", 10.0, 0.005), ("hinge", 1250.0, 0.75), ("hinge", 1400.0, 0.9),
                   ("peak", 1900.0, 4.2)), ends=1900.0)
    ax = figures.curves(comparison((one,)), "medial")
    [line] = [x for x in ax.lines if x.get_gid() == "path one"]
    # By hand: from 1500 N at 1 mm to 1900 N at 4.2 mm the force at 2.2 mm is 1650 N.
    assert line.get_xydata() == pytest.approx(
        np.array([(0.0, 0.0), (0.5, 1000.0), (1.0, 1500.0), (SHOWN_MM, 1650.0)]))
    marks = {x.get_gid(): tuple(x.get_xydata()[0]) for x in ax.lines if x.get_gid()}
    assert marks["hinge one"] == pytest.approx((0.75, 1250.0))
    assert set(marks) == {"path one", "hinge one"}       # the peak lies beyond what is drawn
    said = words(ax).replace("\n", " ")
    assert "a plastic hinge forms" in said
    assert "one (peak at 1900 N, only with friction above 1281 N)" in said
    assert "crushed" not in said


@pytest.mark.parametrize("fragment", ["medial", None])
def test_a_mark_lies_on_its_curve_at_its_load(fragment: str | None) -> None:
    """Between two points a curve is drawn straight, while the load at an event was found on the
    way: marks stood beside their curves."""
    one = pressed("one", (0.0, 0.1, 0.2, 0.9), (0.0, 900.0, 1400.0, 1100.0),
                  (("hinge", 1250.0, 0.15), ("crushing", 1250.0, 0.6)))
    ax = figures.curves(comparison((one,)), fragment)
    marks = {x.get_gid(): tuple(x.get_xydata()[0]) for x in ax.lines if x.get_gid()}
    times = 1.0 if fragment else 2.0
    assert marks["hinge one"] == pytest.approx((times * 0.17, 1250.0))
    assert marks["crushing one"] == pytest.approx((times * 0.55, 1250.0))


def test_where_two_curves_cross_is_marked() -> None:
    stiff = pressed("stiff", (0.0, 0.1, 2.0), (0.0, 1000.0, 1000.0))
    strong = pressed("strong", (0.0, 1.0, 2.0), (0.0, 2000.0, 2000.0))
    ax = figures.curves(comparison((stiff, strong)), "medial")
    [ring] = [x for x in ax.lines if x.get_gid() == "crossing"]
    assert tuple(ring.get_xydata()[0]) == pytest.approx((0.5, 1000.0))
    assert clashes(ax.get_figure(root=True)) == []


def test_every_crossing_has_its_ring_and_a_tie_has_none() -> None:
    """Over subsidence and over movement by one rule: ahead by more than a tie, first one and then
    the other."""
    sunk = (0.0, 0.1, 0.3, 0.5, 0.75)
    one = pressed("one", sunk, (0.0, 2000.0, 2100.0, 5000.0, 5100.0))
    other = pressed("other", sunk, (0.0, 1000.0, 3500.0, 3600.0, 8000.0))
    close = pressed("close", sunk, (0.0, 2020.0, 2090.0, 5020.0, 5080.0))
    for made, count in (((one, other), 3), ((one, close), 0)):
        for fragment in (None, "medial"):
            ax = figures.curves(comparison(made), fragment)
            rings = [x for x in ax.lines if x.get_gid() == "crossing"]
            assert len(rings) == count
            for ring in rings:
                [place] = ring.get_xydata()
                for c in made:
                    [line] = [x for x in ax.lines if x.get_gid() == f"path {c.name}"]
                    assert np.interp(place[0], *line.get_data()) == pytest.approx(place[1])


def test_a_list_says_what_is_known_of_each_peak() -> None:
    said = words(figures.curves(usual(), "medial")).replace("\n", " ")
    assert "lag screws (peak at 2100 N, only with friction above 1281 N)" in said
    assert "raft (no peak up to 10000 N, only with friction above 4000 N)" in said
    assert "nothing (no load is carried)" in said
    lost = figures.curves(comparison((not_known("lost", 950.0),)), "medial")
    assert "lost (peak not known above 950 N)" in words(lost).replace("\n", " ")
    assert "peak not known above 950 N" in words(figures.capacity(comparison(
        (not_known("lost", 950.0),)))).replace("\n", " ")


@pytest.mark.parametrize(("loads", "gaps", "told"), [
    ((0.0, 900.0, 1500.5, 1100.2, 1200.0), (2.0,), (
        "peak not known above 1500 N: pressed on, the load falls to 1100 N, and then answers do "
        "not converge")),
    ((0.0, 900.0, 1500.5, 1100.2, 1200.0), (0.8, 2.0), "peak not known above 1500 N"),
    ((0.0, 900.0, 1500.5, 1490.0), (2.0,), "peak not known above 1500 N")])
def test_what_a_path_without_a_known_peak_did_is_told(
        loads: tuple[float, ...], gaps: tuple[float, ...], told: str) -> None:
    made = pressed("lost", [0.3 * i for i in range(len(loads))], loads)
    assert made.path is not None
    path = replace(made.path, status="gaps", gaps_mm=gaps)
    assert peak_not_known(replace(made, path=path, known_to_N=max(loads))) == told


def test_the_movement_that_orders_constructs_is_drawn_as_the_sentences_have_it() -> None:
    """Over the largest movement of the joint, not over subsidence; rings where a verdict says."""
    stiff = pressed("stiff", (0.0, 0.05, 0.1, 1.05), (0.0, 1000.0, 2000.0, 2100.0))
    strong = pressed("strong", (0.0, 0.05, 0.1, 1.05), (0.0, 500.0, 1000.0, 5000.0))
    made = comparison((stiff, strong))
    ax = figures.curves(made)
    [line] = [x for x in ax.lines if x.get_gid() == "path stiff"]
    assert line.get_xdata() == pytest.approx([0.0, 0.1, 0.2, 2.1])
    [ring] = [x for x in ax.lines if x.get_gid() == "crossing"]
    told = crossing(stiff, strong)
    assert told is not None
    assert told.places == ((told.moved_mm, told.load_N),)
    assert tuple(ring.get_xydata()[0]) == pytest.approx(told.places[0])
    lines = {x.get_gid(): float(np.asarray(x.get_xdata())[0]) for x in ax.lines}
    assert lines[f"0.5 mm: {ORDER}"] == made.study.limits.movement_mm == 0.5
    assert lines[f"2 mm: {FAILURE}"] == 2.0
    assert clashes(ax.get_figure(root=True)) == []
    assert "the largest of net subsidence, step-off and gap" in words(ax).replace("\n", " ")


def test_the_line_of_the_order_meets_each_curve_at_its_reserve() -> None:
    study = example("lateral-split")
    study = only(study.model_copy(update={"mesh": study.mesh.model_copy(
        update={"size_mm": 5.0, "coarse_mm": 10.0})}), "two lag screws", "buttress plate")
    found = compare(study, pictures=False)
    ax = figures.curves(found)
    for c in found:
        [line] = [x for x in ax.lines if x.get_gid() == f"path {c.name}"]
        assert c.reserve.load_N is not None
        assert np.interp(c.reserve.movement_mm, *line.get_data()) == pytest.approx(
            c.reserve.load_N, rel=1e-6)


def test_the_list_of_a_narrow_figure_is_not_cut_off_and_names_no_line_that_is_not_drawn() -> None:
    events = [("anchorage", 900.0, 0.1), ("hinge", 950.0, 0.12)]
    made = comparison((pressed("a", (0.0, 0.1, 0.2), (0.0, 900.0, 1200.0), events),))
    with paper(85):
        ax = figures.curves(made)
        figure = ax.get_figure(root=True)
        figure.draw_without_rendering()
        wide = figure.bbox.width
        told = list(ax.get_legend().get_texts())
        assert max(t.get_window_extent().x1 for t in told) <= wide
    said = [t.get_text().replace("\n", " ") for t in told]
    assert "part of an anchorage gives way" in said
    assert f"0.5 mm: {ORDER}" not in said      # the curve ends at 0.4 mm
    assert f"2 mm: {FAILURE}" not in said


def test_rounding_does_not_keep_a_reserve_on_a_plateau_off_the_curve() -> None:
    """It lay 1e-10 N above the next point, so that the curve showed 3760 N for 4230."""
    c = replace(pressed("a", (0.0, 0.2, 0.4), (0.0, 3600.0, 4230.0)),
                reserve=Reserve(4230.0 + 1e-9, 0.5, "step-off", "edge"))
    sunk, load = shown(c, None)
    assert np.interp(0.5, sunk, load) == pytest.approx(4230.0)
    ahead = pressed("b", (0.0, 0.2, 0.4), (0.0, 3700.0, 3900.0))
    found = crossing(c, ahead)
    assert found is None or found.moved_mm < 0.5


def test_no_more_load_is_drawn_than_was_searched() -> None:
    far = pressed("far", (0.0, 0.2, 0.4), (0.0, 8000.0, 16000.0))
    assert figures.curves(comparison((far,))).get_ylim()[1] == pytest.approx(10600.0)


def test_error_bars_of_the_reserve_stand_at_the_movement_that_orders() -> None:
    bar = Bar("reserve_N", "N", None, "", (1500.0, 1600.0), SPREAD, 1400.0, 1700.0)
    one = replace(pressed("one", (0.0, 0.25, 1.0), (0.0, 1600.0, 1900.0)), bars=(bar,),
                  reserve=Reserve(1600.0, 0.5, "gap", "edge"))
    [drawn] = [x for x in figures.curves(comparison((one,))).lines
               if x.get_gid() == "error bar one"]
    assert drawn.get_xydata() == pytest.approx(np.array([(0.5, 1400.0), (0.5, 1700.0)]))
