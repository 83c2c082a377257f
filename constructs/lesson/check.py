"""How well states are read between solved ones: fresh solves at random points of the sliders."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.threads import one_thread
from buttress.lesson.grid import AXES, Scene
from buttress.lesson.interpolate import read
from buttress.lesson.solve import Solved
from buttress.lesson.states import Geometry, Layout, Reading, geometry_of, layout_of, moved_by
from buttress.sweeps.workshop import Workshop

ALLOWED_MM, ALLOWED_SHARE = 0.02, 0.05
"""A movement may be off by the larger of these (share: of the largest movement)."""


@dataclass(frozen=True)
class Ask:
    """A point of the sliders to be solved afresh."""

    family: int
    point: dict[str, float]
    load_N: float


@dataclass(frozen=True)
class Fresh:
    """A fresh answer: ``state`` None where it is not held."""

    layout: Layout
    geometry: Geometry
    state: FloatArray | None


@dataclass(frozen=True)
class Miss:
    """How far what is shown is from a fresh solve at one point.

    ``error_mm``: worst place of the fragments' outlines, ``moved_mm`` the largest movement there;
    ``force_share``: worst error of a force on a fragment over the load; None where one of the two
    does not hold, or where the page shows a neighbour instead of reading between states.
    """

    family: int
    point: dict[str, float]
    load_N: float
    mixed: bool
    held_shown: bool
    held_fresh: bool
    error_mm: float | None
    moved_mm: float | None
    force_share: float | None

    @property
    def good(self) -> bool | None:
        """Whether the movement is read within what is allowed; None where there is none."""
        if self.error_mm is None or self.moved_mm is None:
            return None
        return self.error_mm <= max(ALLOWED_MM, ALLOWED_SHARE * self.moved_mm)


def draws(scene: Scene, count: int, seed: int) -> list[Ask]:
    """Random points: families in turn, every slider even over its range, none at a node."""
    random = np.random.default_rng(seed)
    open_ = [i for i, f in enumerate(scene.families) if len(f.nodes()) > 1]
    out = []
    for k in range(count):
        number = open_[k % len(open_)]
        axes = scene.families[number].axes
        point = {a: float(random.uniform(axes[a][0], axes[a][-1])) for a in AXES}
        out.append(Ask(number, point, float(random.uniform(*scene.load_N))))
    return out


def fresh(scene: Scene, ask: Ask) -> Fresh | None:
    """Solve a point from scratch; None where the hardware cannot be placed there."""
    with one_thread():
        try:
            case = scene.case(ask.family, ask.point)
            _, model, _ = Workshop().model(case, case.study.constructs[0])
        except InputError:
            return None
        answer = model.answer(ask.load_N)
        layout = layout_of(model)
        state = Reading(model, layout).state(answer) if answer.held else None
        return Fresh(layout, geometry_of(model, layout), state)


def missed(solved: Solved, ask: Ask, found: Fresh) -> Miss | None:
    """The page's reading of a point next to the fresh answer."""
    seen = read(solved, ask.point, ask.load_N)
    if seen is None:
        return None
    error = moved = force = None
    if seen.state is not None and found.state is not None and not seen.mixed:
        error = moved = force = 0.0
        lay = found.layout
        rings = [r for r in found.geometry.rings if r[1] == "fragment"]
        for k, (_, _, ring) in enumerate(rings):
            at = slice(lay.rigid(k), lay.rigid(k) + 3)
            true = moved_by(found.state[at], ring)
            gap = true - moved_by(seen.state[at], ring)
            error = max(error, float(np.hypot(*gap.T).max()))
            moved = max(moved, float(np.hypot(*true.T).max()))
            sunk = slice(lay.sunk(k), lay.sunk(k) + 2)
            error = max(error, float(np.abs(found.state[sunk] - seen.state[sunk]).max()))
            for j in range(len(lay.sources)):
                two = slice(lay.force(k, j), lay.force(k, j) + 2)
                force = max(force, float(np.hypot(*(found.state[two] - seen.state[two]))))
        force /= ask.load_N
    return Miss(
        family=ask.family, point=ask.point, load_N=ask.load_N, mixed=seen.mixed,
        held_shown=seen.held, held_fresh=found.state is not None, error_mm=error, moved_mm=moved,
        force_share=force)


def measure(scene: Scene, solved: tuple[Solved, ...], count: int, seed: int, workers: int
            ) -> list[Miss]:
    """Misses at ``count`` random points of a scene."""
    asks = draws(scene, count, seed)
    if workers == 1:
        answers = [fresh(scene, a) for a in asks]
    else:
        from buttress.workers import pool

        with pool(workers) as processes:
            answers = list(processes.map(fresh, [scene] * len(asks), asks))
    out = [missed(solved[a.family], a, f) for a, f in zip(asks, answers, strict=True)
           if f is not None]
    return [m for m in out if m is not None]


def summary(misses: list[Miss]) -> dict[str, Any]:
    """Figures for the page: how many points, how far off, how often the verdict is right."""
    read_ = [m for m in misses if m.error_mm is not None]
    errors = np.array([m.error_mm for m in read_])
    # Over what is allowed: 1 is just within 0.02 mm or 5 %.
    shares = np.array([m.error_mm / max(ALLOWED_MM, ALLOWED_SHARE * (m.moved_mm or 0.0))
                       for m in read_ if m.error_mm is not None])
    forces = np.array([m.force_share for m in read_])

    def of(values: FloatArray, q: float) -> float | None:
        return float(np.quantile(values, q)) if values.size else None

    return {"points": len(misses), "read": len(read_),
            "within": int((shares <= 1.0).sum()),
            "error_mm_median": of(errors, 0.5), "error_mm_p95": of(errors, 0.95),
            "error_mm_max": of(errors, 1.0), "of_allowed_max": of(shares, 1.0),
            "force_share_p95": of(forces, 0.95), "force_share_max": of(forces, 1.0),
            "at_a_change": sum(m.mixed for m in misses),
            "verdict_right": sum(m.held_shown == m.held_fresh for m in misses),
            "worst": [asdict(m) for m in sorted(
                read_, key=lambda m: -(m.error_mm or 0.0))[:3]]}
