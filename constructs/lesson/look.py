"""What the solved states show at a point, as numbers that sentences are made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from buttress.bone.patches import patches
from buttress.lesson.grid import Scene
from buttress.lesson.interpolate import cell, read
from buttress.lesson.solve import Solved
from buttress.lesson.states import moved_by

WORTH_AN_ARROW = 0.01
"""Share of the load below which a force has no arrow on the page (`forces.js` says the same)."""


@dataclass(frozen=True)
class Push:
    """The force of one source on a fragment: ``share`` of the fragment's load carried against it
    (all sources together: one), ``aside_N`` across the load, ``size_N`` in all."""

    kind: str
    share: float
    aside_N: float = 0.0
    size_N: float = 0.0


@dataclass(frozen=True)
class Look:
    """One state in numbers: None where it does not exist. ``moved_mm`` is of the point that moves
    most of all fragments; the rest is of the first one, with the load ``on_N`` on it. ``goes``:
    what fails, in words."""

    held: bool
    load_N: float
    sunk_mm: float | None = None
    tilt_deg: float | None = None
    gap_mm: float | None = None
    step_mm: float | None = None
    moved_mm: float | None = None
    end_N: float | None = None
    need: float | None = None
    on_N: float | None = None
    pushes: Mapping[str, Push] = field(default_factory=dict)
    goes: str = ""
    status: str = "ok"

    def carried(self, kind: str) -> float:
        """Share of the fragment's load that sources of a kind carry against it."""
        return sum(p.share for p in self.pushes.values() if p.kind == kind)

    def aside(self, kind: str) -> float:
        """Push of the sources of a kind across the load [N], positive towards +x."""
        return sum(p.aside_N for p in self.pushes.values() if p.kind == kind)

    def pushing(self, kind: str) -> list[Push]:
        """The sources of a kind whose force is worth an arrow on the page."""
        return [p for p in self.pushes.values()
                if p.kind == kind and p.size_N > WORTH_AN_ARROW * self.load_N]


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
        return Asked(
            scene=scene, choice=number, on=(screws, plate, graft), point={**here.base, **point},
            load_N=here.load_base_N if load is None else load)

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
            return Look(False, asked.load_N, end_N=seen.end_N, need=need,
                        goes=path.lets_go, status=path.status)
        state = seen.state
        geometry = solved.geometry[seen.corner[0], seen.corner[2]]
        rings = [r[2] for r in geometry.rings if r[1] == "fragment"]
        moved = max(float(np.hypot(*moved_by(state[lay.rigid(k):lay.rigid(k) + 3], ring).T).max())
                    for k, ring in enumerate(rings))
        edges = [state[lay.edge(k):lay.edge(k) + 2] for k in range(len(lay.edges))]
        load = state[lay.force(0, 0):lay.force(0, 0) + 2]
        size = float(np.hypot(*load))
        pushes: dict[str, Push] = {}
        if size > 0.0:
            down = load / size
            across = np.array([-down[1], down[0]]) * (1.0 if down[1] < 0.0 else -1.0)
            for j, (name, kind) in enumerate(lay.sources[1:], 1):
                force = state[lay.force(0, j):lay.force(0, j) + 2]
                pushes[name] = Push(kind, -float(force @ down) / size, float(force @ across),
                                    float(np.hypot(*force)))
        return Look(
            held=True, load_N=asked.load_N, sunk_mm=float(state[lay.sunk(0)]),
            tilt_deg=float(np.degrees(state[lay.rigid(0) + 2])),
            gap_mm=max((float(e[1]) for e in edges), default=None),
            step_mm=max((abs(float(e[0])) for e in edges), default=None), moved_mm=moved,
            end_N=seen.end_N, need=path.need, on_N=size, pushes=pushes, goes=path.lets_go)

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
        return f"held, moving up to {mm(look.moved_mm)}"
    if look.status == "not tightened":
        return "not held: the bone fails while the screws are tightened"
    return f"not held at {newton(look.load_N)}"


def verdict(a: Look, b: Look, more: str, less: str, same: str, neither: str,
            share: float = 0.05) -> str:
    """One of four sentences: b moves more than a, less, the same within a share, or neither
    is held. A state that is not held counts as moving more than one that does."""
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
