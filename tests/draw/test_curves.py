"""Curves of force over subsidence: the path, its events, and where two of them cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from made_up import comparison, construct, not_known, usual, words

from buttress.draw import all as figures
from buttress.draw.curves import SHOWN_MM
from buttress.draw.text import clashes
from buttress.results.path import PathEvent, PathPoint, PathResult, Where
from buttress.results.records import ConstructResult


def pressed(name: str, sunk: Sequence[float], loads: Sequence[float],
            events: Sequence[tuple[str, float, float]] = (), **more: Any) -> ConstructResult:
    """A construct with a path made up: the ram moves as far as the fragment sinks."""
    points = tuple(PathPoint(s, p, "held", {"medial": s}, {}, {})
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
    assert "one (peak at 1900 N)" in said
    assert "crushed" not in said


def test_where_two_curves_cross_is_marked() -> None:
    stiff = pressed("stiff", (0.0, 0.1, 2.0), (0.0, 1000.0, 1000.0))
    strong = pressed("strong", (0.0, 1.0, 2.0), (0.0, 2000.0, 2000.0))
    ax = figures.curves(comparison((stiff, strong)), "medial")
    [ring] = [x for x in ax.lines if x.get_gid() == "crossing"]
    assert tuple(ring.get_xydata()[0]) == pytest.approx((0.5, 1000.0))
    assert clashes(ax.get_figure(root=True)) == []


def test_a_list_says_what_is_known_of_each_peak() -> None:
    said = words(figures.curves(usual(), "medial")).replace("\n", " ")
    assert "lag screws (peak at 2100 N)" in said
    assert "raft (no peak up to 10000 N, only with friction above 4000 N)" in said
    assert "nothing (no load is carried)" in said
    lost = figures.curves(comparison((not_known("lost", 950.0),)), "medial")
    assert "lost (peak not known above 950 N)" in words(lost).replace("\n", " ")
    assert "peak not known above 950 N" in words(figures.capacity(comparison(
        (not_known("lost", 950.0),)))).replace("\n", " ")
