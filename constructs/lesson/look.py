"""What the solved states show at a point, as numbers that sentences are made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from constructs.lesson.grid import Scene
from constructs.lesson.interpolate import cell, read
from constructs.lesson.solve import Solved
from constructs.lesson.states import moved_by
from constructs.patches import patches


@dataclass(frozen=True)
class Look:
    """One state in numbers: None where it does not exist. ``moved_mm`` is of the fragment that
    moves most, the rest of the first one; forces as shares of its load that they carry."""

    held: bool
    load_N: float
    sunk_mm: float | None = None
    tilt_deg: float | None = None
    gap_mm: float | None = None
    step_mm: float | None = None
    moved_mm: float | None = None
    end_N: float | None = None
    need: float | None = None
    carried: Mapping[str, float] | None = None
    by_source: Mapping[str, float] | None = None
    status: str = "ok"


@dataclass(frozen=True)
class Asked:
    """A point of the lesson: scene, choice, switches (screws, plate, graft), sliders, load."""

    scene: int
    choice: int
    on: tuple[bool, bool, bool]
    point: dict[str, float]
    load_N: float


class Facts:
    """Looks states up; sentences get every number from here."""

    def __init__(self, scenes: tuple[Scene, ...], solved: tuple[tuple[Solved, ...], ...]) -> None:
        self.scenes, self.solved = scenes, solved

    def ask(self, scene: int, choice: int | str = 0, *, screws: bool = True, plate: bool = True,
            graft: bool = True, load: float | None = None, **point: float) -> Asked:
        """A point: the scene's own values but for what is given."""
        here = self.scenes[scene]
        number = choice if isinstance(choice, int) else next(
            i for i, c in enumerate(here.choices) if c.name == choice)
        return Asked(scene, number, (screws, plate, graft), {**here.base, **point},
                     here.load_base_N if load is None else load)

    def family(self, asked: Asked) -> Solved:
        """The family of a point."""
        return self.solved[asked.scene][self.scenes[asked.scene].family(asked.choice, *asked.on)]

    def look(self, asked: Asked) -> Look:
        """The numbers of a point."""
        solved = self.family(asked)
        seen = read(solved, asked.point, asked.load_N)
        if seen is None or solved.layout is None:
            return Look(False, asked.load_N, status="no place")
        path, lay = solved.paths[seen.corner], solved.layout
        if seen.state is None:
            corners = [(solved.paths[i], w) for i, w in cell(solved.family.axes, asked.point)]
            need = (sum(w * (p.need or 0.0) for p, w in corners)
                    if all(p.need is not None for p, _ in corners) else None)
            return Look(False, asked.load_N, end_N=seen.end_N, need=need, status=path.status)
        state = seen.state
        geometry = solved.geometry[seen.corner[0], seen.corner[2]]
        rings = [r[2] for r in geometry.rings if r[1] == "fragment"]
        moved = max(float(np.hypot(*moved_by(state[lay.rigid(k):lay.rigid(k) + 3], ring).T).max())
                    for k, ring in enumerate(rings))
        edges = [state[lay.edge(k):lay.edge(k) + 2] for k in range(len(lay.edges))]
        load = state[lay.force(0, 0):lay.force(0, 0) + 2]
        square = float(load @ load)
        carried: dict[str, float] = {}
        by_source: dict[str, float] = {}
        for j, (name, kind) in enumerate(lay.sources[1:], 1):
            force = state[lay.force(0, j):lay.force(0, j) + 2]
            if square > 0.0:
                by_source[name] = -float(force @ load) / square
                carried[kind] = carried.get(kind, 0.0) + by_source[name]
        return Look(
            True, asked.load_N, float(state[lay.sunk(0)]),
            float(np.degrees(state[lay.rigid(0) + 2])),
            max((float(e[1]) for e in edges), default=None),
            max((abs(float(e[0])) for e in edges), default=None),
            moved, seen.end_N, path.need, carried, by_source)


    def most(self, asked: Asked) -> float:
        """The largest load of a scene's slider [N]."""
        return self.scenes[asked.scene].load_N[1]

    def beside(self, asked: Asked) -> float:
        """How far the load on the first fragment passes outside of the fragment's lowest point
        [mm], on the side away from the bone; 0 or less where it passes inside."""
        solved = self.family(asked)
        corner = max(cell(solved.family.axes, asked.point), key=lambda c: c[1])[0]
        geometry = solved.geometry[corner[0], corner[2]]
        ring = next(r[2] for r in geometry.rings if r[1] == "fragment")
        foot = ring[int(ring[:, 1].argmin())]
        away = -1.0 if foot[0] < 0.0 else 1.0
        load = max((p.centre for p in patches(self.scenes[asked.scene].study)),
                   key=lambda x: away * x)
        return float(away * (load - foot[0]))


def mm(value: float | None) -> str:
    """Millimetres, three decimals below a tenth."""
    if value is None:
        return "no number"
    return f"{value:.3f} mm" if abs(value) < 0.0995 else f"{value:.2f} mm"


def upto(end: float | None, most: float) -> str:
    """A limit load in words, or that there is none up to the largest load ``most``."""
    return f"more than {most:.0f} N" if end is None or end > most else f"up to {newton(end)}"


def newton(value: float) -> str:
    """Newtons, three digits."""
    return f"{float(f'{value:.3g}'):.0f} N"


def outcome(look: Look) -> str:
    """Held with how much movement, or not."""
    if look.held:
        return f"held, moving {mm(look.moved_mm)} at most"
    if look.status == "not tightened":
        return "not held: the bone lets go while the screws are tightened"
    return f"not held at {newton(look.load_N)}"


def verdict(a: Look, b: Look, more: str, less: str, same: str, neither: str,
            share: float = 0.05) -> str:
    """One of four sentences: b moves more than a, less, the same within a share, or neither
    holds. A state that does not hold counts as moving more than one that does."""
    if not a.held and not b.held:
        return neither
    if a.held != b.held:
        return less if b.held else more
    assert a.moved_mm is not None
    assert b.moved_mm is not None
    if abs(a.moved_mm - b.moved_mm) <= share * max(a.moved_mm, b.moved_mm):
        return same
    return more if b.moved_mm > a.moved_mm else less


def percent(value: float) -> str:
    """A share in percent."""
    return f"{100 * value:.0f} %"
