"""Large movements: paths whose geometry moves, against closed forms at finite rotation.

A bar on a hinge with a spring at its tip, which leans by t0: P = k L cos t (1 - sin t0 / sin t),
largest k L (1 - sin(t0)^(2/3))^(3/2) (Koiter's two-thirds power; Thompson and Hunt, A General
Theory of Elastic Stability, 1973; memory). Two bars of length a between supports, their pin pressed
down by d: P = 2 EA (l/a - 1) d/l with l^2 = a^2 + d^2 (string action). A block that slides down a
slope, friction or none, held by a bar on two pins that turns with it: equilibrium along and across
the slope. A block pressed beside the corner of its base, about which it turns, held back by a
spring: moments about the corner. A block on a circular face, pushed along it: moments about the
face's centre. A block on the end of a held column that bends: the face turns with the column, and
without friction the block must be held along it by P sin t. Loads of the last four keep their line
in space.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.moved.walk import Moving
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.path import Path, press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped, rectangle
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    SLENDER,
    matched,
    piece,
    touch,
    turned,
)
from buttress.fe.verification.problem import node_at, unknowns

STILL = 1e-7  # mm, corrections go on until bodies move less
FIRM = 1e8  # MPa, blocks: give way by 1e-7 of what moves; stiffer, rounding beside the bar shows
STIFF = BeamSection(1e9, 1e12, SLENDER)
TIP, LEAN, SPRING = 100.0, 0.05, 2.0  # mm, rad, N/mm
HALF, STRETCH = 50.0, 1e4  # mm, N: the string
SLOPE, BAR, REACH = np.radians(50.0), 2e4, np.array([30.0, 10.0])  # EA of the bar and its way, mm
BESIDE, CORNER_SPRING = 5.0, 20.0  # mm, N/mm
COLUMN, OFF = 2e4, 3.0  # MPa; mm, eccentricity of the load: the block does not gape
ROUND, LIFT, ASLANT, ROUND_SPRING = 60.0, 40.0, 0.3, 20.0  # mm: face and load; N/mm
STATICS = "equilibrium in the moved place, by hand"
BUCKLING = "buckling of a bar on a hinge with a spring, exact geometry (Koiter's law for the peak)"


@dataclass(frozen=True)
class Built:
    """Bodies under one load and the links between them."""

    bodies: tuple[Body, ...]
    links: LinkList
    load: tuple[Body, Column]
    still: float = STILL

    def path(self, farthest: float, first: float, growth: float = 1.3, moves: bool = True) -> Path:
        """The path of the ram; SolveError where it is not complete."""
        ram = Ram.of(condense(self.bodies, self.links, [[self.load]]), np.ones(1))
        geometry = Moving(ram, (Kind.CONTACT,), 0.0, self.still) if moves else None
        path = press(ram, Memory.none(ram.plain), steps(farthest, first, growth),
                     geometry=geometry)
        if path.status != "complete":
            raise SolveError(f"verification problem: a path that is {path.status}")
        return path


def _join(links: LinkList, a: End, b: End, direction: FloatArray, soft: float = 0.0) -> None:
    links.add(Link("pin", "pin", a, b, compliance=soft,
                   direction=(float(direction[0]), float(direction[1]))))


def _spring(links: LinkList, block: Continuum, node: int, stiffness: float) -> None:
    _join(links, End(block, block.node(node)(ALONG)), GROUND, ALONG, 1.0 / stiffness)


def leaning() -> Built:
    """The bar on a hinge with a spring at its tip, under a load straight down."""
    tip = TIP * np.array([np.sin(LEAN), np.cos(LEAN)])
    bar, links = Member("bar", np.array([[0.0, 0.0], tip]), [STIFF]), LinkList()
    for d in (ALONG, ACROSS):
        _join(links, End(bar, bar.translation(0, d)), GROUND, d)
    _join(links, End(bar, bar.translation(1, ALONG)), GROUND, ALONG, 1.0 / SPRING)
    return Built((bar,), links, (bar, bar.translation(1, -ACROSS)))


def leaning_load(down: float) -> float:
    """The load [N] by hand once the tip of the leaning bar has moved ``down`` [mm] (Koiter)."""
    angle = np.arccos(np.cos(LEAN) - down / TIP)
    return float(SPRING * TIP * np.cos(angle) * (1.0 - np.sin(LEAN) / np.sin(angle)))


def string() -> Built:
    """Two bars in line between supports, their common pin loaded across them."""
    bars = [Member(f"bar {side:+g}", np.array([[side * HALF, 0.0], [0.0, 0.0]]),
                   [BeamSection(STRETCH, 1e9, SLENDER)]) for side in (-1, 1)]
    links = LinkList()
    for d in (ALONG, ACROSS):
        ends = [End(b, b.translation(1, d)) for b in bars]
        _join(links, ends[0], ends[1], d)
        for b in bars:
            _join(links, End(b, b.translation(0, d)), GROUND, d)
    return Built(tuple(bars), links, (bars[0], bars[0].translation(1, -ACROSS)), 1e-4)


def string_load(down: float) -> float:
    """The load [N] by hand once the pin of the string has moved ``down`` [mm]."""
    long = np.hypot(HALF, down)
    return float(2.0 * STRETCH * (long / HALF - 1.0) * down / long)


def _pair(base: Grid, block: Grid, normals: Callable[[FloatArray], FloatArray], friction: float,
          firm: float = FIRM) -> tuple[Continuum, Continuum, LinkList]:
    """A rigid block on a base, as firm as given [MPa], that is held at its bottom, in contact in
    order along x."""
    low = piece(base, firm, 0.3, 10.0, unknowns(base.edges["bottom"]), "base")
    top, links = piece(block, FIRM, 0.3, 10.0), LinkList()
    nodes = matched(base, "top", block, "bottom")
    order = np.argsort(low.points[nodes[0], 0])
    nodes = nodes[0][order], nodes[1][order]
    touch(links, low, top, nodes, normals(low.points[nodes[0]]), friction=friction)
    return low, top, links


def sliding(friction: float) -> Built:
    """A block on a slope, with friction or none, held by a bar on two pins, under its weight."""
    base, block, links = _pair(
        turned(rectangle(10, 2, 40, 6, 0, -6), -SLOPE), turned(rectangle(10, 4, 40, 12), -SLOPE),
        lambda _: np.array([np.sin(SLOPE), np.cos(SLOPE)]), friction)
    node = node_at(block.mesh, *_held(0.0))
    bar = Member("bar", np.array([_held(0.0), _held(0.0) + REACH]),
                 [BeamSection(BAR, 1e9, SLENDER)])
    for d in (ALONG, ACROSS):
        _join(links, End(block, block.node(node)(d)), End(bar, bar.translation(0, d)), d)
        _join(links, End(bar, bar.translation(1, d)), GROUND, d)
    return Built((base, block, bar), links, (block, block.node(node)(-ACROSS)))


def _held(slid: float) -> FloatArray:
    """Where the bar holds the block, mm."""
    down = np.array([np.cos(SLOPE), -np.sin(SLOPE)])
    return np.asarray((20.0 + slid) * down + 12.0 * np.array([np.sin(SLOPE), np.cos(SLOPE)]))


def sliding_load(friction: float, down: float) -> float:
    """The load [N] by hand once the block has sunk ``down`` [mm]: balance on the slope."""
    way = _held(0.0) + REACH - _held(down / np.sin(SLOPE))
    rest, long = np.hypot(*REACH), np.hypot(*way)
    pull = BAR * (long - rest) / rest * way / long
    along = pull @ [np.cos(SLOPE), -np.sin(SLOPE)]
    across = pull @ [np.sin(SLOPE), np.cos(SLOPE)]
    return float(-(along + friction * across) / (np.sin(SLOPE) - friction * np.cos(SLOPE)))


def cornered() -> Built:
    """A block pressed beside the corner of its base, held back by a spring at its far top."""
    base, block, links = _pair(rectangle(10, 2, 40, 6, -40, -6), rectangle(10, 6, 40, 30, -40, 0),
                               lambda _: ACROSS, 0.8)
    _spring(links, block, node_at(block.mesh, -40, 30), CORNER_SPRING)
    # Two forces whose sum acts beside the block.
    shares = 1.0 + BESIDE / 4.0, -BESIDE / 4.0
    nodes = [node_at(block.mesh, x, 30) for x in (0, -4)]
    return Built((base, block), links, (block, Column.of([2 * k + 1 for k in nodes],
                                                         [-s for s in shares])))


def cornered_load(angle: float) -> float:
    """The load [N] by hand once the block has turned by ``angle`` [rad]: moments at the corner."""
    x = np.cos(angle) * -40.0 - np.sin(angle) * 30.0
    y = np.sin(angle) * -40.0 + np.cos(angle) * 30.0
    return float(CORNER_SPRING * (x + 40.0) * y / BESIDE)


def rounded() -> Built:
    """A block on a circular face without friction, pushed aslant along it, held by a spring."""
    def arc(low: float, high: float) -> Grid:
        def shape(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
            angle, radius = -np.pi / 2 + (2 * s - 1) * np.radians(35.0), low + (high - low) * t
            return radius * np.cos(angle), radius * np.sin(angle)
        return mapped(24, 2, shape)

    base, block, links = _pair(arc(ROUND + 10, ROUND), arc(ROUND, LIFT), lambda x: -x / ROUND, 0.0)
    node = node_at(block.mesh, 0, -LIFT)
    _spring(links, block, node, ROUND_SPRING)
    return Built((base, block), links, (block, Column.of([2 * node, 2 * node + 1],
                                                         [ASLANT, -1.0])))


def rounded_load(angle: float) -> float:
    """The load [N] by hand once the block has turned by ``angle`` [rad]: moments about the face's
    centre.
    """
    return float(ROUND_SPRING * LIFT * np.sin(angle) * np.cos(angle) / ASLANT)


def bent() -> Built:
    """A tall block without friction on the wide end of a slender column that it bends, held from
    sliding."""
    def column(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        y = -40.0 * (1.0 - t)
        return np.interp(y, (-8.0, -4.0), (2.0, 10.0)) * (2.0 * s - 1.0), y

    base, block, links = _pair(mapped(8, 10, column), rectangle(8, 20, 20, 80, -10),
                               lambda _: ACROSS, 0.0, COLUMN)
    held, holds = (End(x, x.node(node_at(x.mesh, -10, 0))(ALONG)) for x in (block, base))
    _join(links, held, holds, ALONG, 1e-4)
    # Two forces whose sum acts beside the axis.
    nodes = [node_at(block.mesh, x, 80) for x in (0, 10)]
    shares = 1.0 - OFF / 10.0, OFF / 10.0
    return Built((base, block), links, (block, Column.of([2 * k + 1 for k in nodes],
                                                         [-s for s in shares])), 1e-6)


@cache
def bends() -> Path:
    """Its path, to where the column's end has turned by some degrees."""
    return bent().path(0.4, 0.05)


def bent_load() -> float:
    """The load at the end of the path over that by hand: balance of the block on its face."""
    point = bends().points[-1]
    return float(point.load_N / (abs(point.answer.force[-1])
                                 / np.sin(abs(point.moved.config.angle[1]))))


WAYS: dict[str, tuple[Callable[[], Built], float, Callable[[float], float]]] = {
    "bar on a hinge": (leaning, 9.0, leaning_load), "string": (string, 4.0, string_load),
    "block on a slope": (partial(sliding, 0.0), 6.0, partial(sliding_load, 0.0)),
    "block on a rough slope": (partial(sliding, 0.2), 6.0, partial(sliding_load, 0.2)),
    "block over a corner": (cornered, 2.0, cornered_load),
    "block on a round face": (rounded, 4.0, rounded_load)}


@cache
def walked(name: str) -> Path:
    """The path of one of the ways, to where geometry has changed by a tenth or more."""
    build, far, _ = WAYS[name]
    return build().path(far, 0.05)


def over_by_hand(name: str) -> float:
    """The load at the end of a path over that by hand."""
    point, by_hand = walked(name).points[-1], WAYS[name][2]
    turns = name in ("block over a corner", "block on a round face")
    return point.load_N / by_hand(float(point.moved.config.angle[1]) if turns else point.ram_mm)


def energy(name: str) -> float:
    """Work of the ram over what is stored and dissipated, by the trapezoidal rule."""
    path = walked(name)
    work = np.trapezoid([p.load_N for p in path.points], [p.ram_mm for p in path.points])
    rubs = path.ram.plain.friction > 0.0
    forces = [np.where(rubs, p.answer.force, 0.0) for p in path.points]
    lost = sum(float(0.5 * (forces[i - 1] + forces[i]) @ p.answer.slack)
               for i, p in enumerate(path.points) if i)
    return float(work / (path.ram_of(-1).energy(path.points[-1].state) + lost))


def rate() -> float:
    """Order in which small movements come to the answer of large ones: 1 is in proportion."""
    apart = []
    for far in (0.02, 0.2):
        small, large = (sliding(0.0).path(far, far / 4, 1.0, moves).points[-1].load_N
                        for moves in (False, True))
        apart.append(abs(large / small - 1.0))
    return float(np.log10(apart[1] / apart[0]))


CASES = register(
    *(Case(f"large movement: {name}", BUCKLING if name == "bar on a hinge" else STATICS, "derived",
           "load over that by hand", "-", 1.0, 2e-5, partial(over_by_hand, name)) for name in WAYS),
    Case("large movement: block on a column that bends", STATICS, "derived",
         "load over that by hand", "-", 1.0, 1e-3, bent_load),
    Case("large movement: bar on a hinge, peak", BUCKLING, "memory", "peak", "N",
         SPRING * TIP * (1.0 - np.sin(LEAN) ** (2 / 3)) ** 1.5, 1e-4,
         lambda: walked("bar on a hinge").peak_N),
    *(Case(f"large movement: {name}, energy", "conservation of energy", "derived",
           "work over stored and dissipated energy", "-", 1.0, tolerance, partial(energy, name),
           basis="self-consistency")
      for name, tolerance in (("bar on a hinge", 1e-3), ("block on a slope", 5e-3),
                              ("block on a rough slope", 5e-3), ("block over a corner", 2e-3),
                              ("block on a round face", 1e-3))),
    Case("large movement: block on a slope, small movement", "expansion in the movement",
         "derived", "order of the difference from small movements", "-", 1.0, 0.05, rate,
         basis="self-consistency"))
