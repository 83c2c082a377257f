"""Reading between solved states, as the page's script does it (`page.js` says the same).

Inside a cell of the grid states are read linearly, each corner from its own path of loads. Where
some corners hold a load and others give way under it or do not hold it, nothing is interpolated:
limit loads say which side the point is on, and the nearest corner of that side is shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.lesson.grid import AXES
from buttress.lesson.solve import Index, Path, Solved

UNLIMITED_N = 5e3
"""Stands for a limit load beyond the slider where limit loads are interpolated."""
LEAST_END_N = 1.0


@dataclass(frozen=True)
class Seen:
    """What the lesson shows at a point: ``corner`` is the nearest one (of the shown side).

    ``mixed``: corners of the cell differ in kind or give way, so a single corner is shown.
    ``state`` is None where it does not hold.
    """

    held: bool
    mixed: bool
    state: FloatArray | None
    end_N: float | None
    corner: Index


def cell(axes: Mapping[str, tuple[float, ...]], point: Mapping[str, float]
         ) -> list[tuple[Index, float]]:
    """Corners around a point and their weights (over zero); points outside are drawn in."""
    sides = []
    for axis in AXES:
        nodes = axes[axis]
        value = min(max(point[axis], nodes[0]), nodes[-1])
        k = max(i for i, n in enumerate(nodes) if n <= value)
        t = 0.0 if k == len(nodes) - 1 else (value - nodes[k]) / (nodes[k + 1] - nodes[k])
        sides.append([(k, 1.0 - t)] if t < 1e-9 else [(k, 1.0 - t), (k + 1, t)])
    return [(tuple(k for k, _ in corner), float(np.prod([w for _, w in corner])))
            for corner in product(*sides)]


def limit_load(corners: list[tuple[Path, float]], friction: float) -> float | None:
    """Limit load at a point from those of the corners, None where none is on the slider.

    Where friction alone decides, the least friction is interpolated instead.
    """
    needs = [p.need for p, _ in corners]
    if all(n is not None for n in needs):
        need = sum(w * n for n, (_, w) in zip(needs, corners, strict=True) if n is not None)
        return None if friction >= need else 0.0
    return mean_load([(p.end_N, w) for p, w in corners])


def mean_load(loads: list[tuple[float | None, float]]) -> float | None:
    """Loads interpolated by their logarithms; None is no limit, and stays so if all are."""
    if all(load is None for load, _ in loads):
        return None
    mean = sum(w * np.log(max(UNLIMITED_N if load is None else min(load, UNLIMITED_N),
                              LEAST_END_N)) for load, w in loads)
    return float(np.exp(mean)) if mean > np.log(1.5 * LEAST_END_N) else 0.0


HOLDS, GIVES, NOT_HELD = 0, 1, 2


def kind(path: Path, load: float) -> int:
    """Whether a path holds a load, holds it while giving way, or does not hold it."""
    if not path.holds(load):
        return NOT_HELD
    return GIVES if path.knee_N is not None and load > path.knee_N else HOLDS


def read(solved: Solved, point: Mapping[str, float], load: float) -> Seen | None:
    """What is shown at a point and load [N]; None where no corner could be solved."""
    found = [(i, solved.paths[i], w) for i, w in cell(solved.family.axes, point)]
    fit = [(i, p, w) for i, p, w in found if p.status != "no place"]
    if not fit:
        return None
    total = sum(w for _, _, w in fit)
    fit = [(i, p, w / total) for i, p, w in fit]
    end = limit_load([(p, w) for _, p, w in fit], point["friction"])
    kinds = [kind(p, load) for _, p, _ in fit]
    if len(fit) == len(found) and len(set(kinds)) == 1 and kinds[0] != GIVES:
        nearest = max(fit, key=lambda f: f[2])[0]
        if kinds[0] == NOT_HELD:
            return Seen(held=False, mixed=False, state=None, end_N=end, corner=nearest)
        state = sum(w * p.at(load) for _, p, w in fit)
        return Seen(held=True, mixed=False, state=np.asarray(state), end_N=end, corner=nearest)
    knee = mean_load([(p.end_N if p.knee_N is None else p.knee_N, w) for _, p, w in fit])
    wanted = (NOT_HELD if end is not None and load > end
              else GIVES if knee is not None and load > knee else HOLDS)
    shown = min(set(kinds), key=lambda k: (abs(k - wanted), k))
    index, path, _ = max((f for f, k in zip(fit, kinds, strict=True) if k == shown),
                         key=lambda f: f[2])
    held = shown != NOT_HELD
    return Seen(
        held=held, mixed=True, state=path.at(load) if held else None, end_N=end, corner=index)
