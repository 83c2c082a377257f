"""A path goes on with geometry that moves: from one committed configuration to the next.

Each step starts from the committed configuration: where faces meet is found anew there, and slip is
counted from there. Pressed to the next place of the ram, the answer moves the bodies; the problem
is built again where they now are and solved again, until they move no more. So equilibrium holds in
the configuration of the answer itself, whatever the size of the step; only friction and the work of
the ram depend on it. A step that moves a body too far is shortened.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.member import Member, kinked
from buttress.fe.links.condense import Condensed
from buttress.fe.moved.faces import Meeting, faces_of
from buttress.fe.moved.place import Mover
from buttress.fe.moved.shape import Config, Shape, bend, rigid_move
from buttress.fe.moved.spots import CannotMove, Layout
from buttress.fe.moved.vectors import turned
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.path import Point
from buttress.fe.solve.ram import Pressed, Ram, with_ram
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import TOO_FAR

STEP_MM = 0.25
"""Longest step of the ram once geometry moves."""
MOST_MM = 0.75
"""Longest motion of a body in a step: of its centre, or of a point at its radius of inertia."""
SNAP_MM = 3.0
"""The same where shorter steps were no use: something snaps."""
FARTHEST_MM, FARTHEST_DEG = 20.0, 60.0
"""Movement of a body beyond which geometry is not followed."""
STILL_MM = 0.02
"""Motion in a correction below which a configuration is that of its answer."""
ROUNDS = 16
"""Corrections of a step before it is taken as not found."""
IDLE = 4
"""Corrections one after another that do not halve what is missed: a step is then given up."""
PIVOTS = 30
"""Most pivots from a neighbour, and as many more with each halving: as long as a step can be
shortened, that takes less than a long way round."""
LEAST, MOST = 0.2, 1.5
"""Bounds of the share of a correction that is made."""


@dataclass(frozen=True)
class Moved:
    """A committed configuration with where its faces meet.

    ``before``: the one that its step began in, and ``step_mm`` how far the ram went in it.
    """

    config: Config
    meeting: Meeting
    before: Config | None = None
    step_mm: float = 0.0


class Moving:
    """Steps of a ram's path on moved geometry. Raises `CannotMove` for what it cannot move.

    ``kinds``: names of the contact links that form faces. ``from_mm``: motion of a body from which
    on a path moves its geometry. ``far_mm``: movement of any point of a meshed body with which a
    path ends. ``longest``: step of the ram [mm].
    """

    def __init__(self, ram: Ram, kinds: Iterable[str], from_mm: float, still_mm: float = STILL_MM,
                 far_mm: float = np.inf, longest: float = STEP_MM) -> None:
        self.still_mm, self.kinds, self.far_mm = still_mm, tuple(kinds), far_mm
        self.ram, self.from_mm, self.longest = ram, from_mm, longest
        self.cannot = ""

    @cached_property
    def mover(self) -> Mover:
        """Made when it is first needed: most paths end before."""
        layout = Layout(self.ram.plain)
        return Mover(layout, faces_of(layout, self.kinds))

    @property
    def layout(self) -> Layout:
        """Links, loads and measures taken apart; raises `CannotMove` where they cannot be."""
        return self.mover.layout

    @cached_property
    def rubs(self) -> IntArray:
        """The friction links of faces."""
        faces = [f.friction[f.friction >= 0] for f in self.mover.faces]
        return np.concatenate(faces) if faces else np.zeros(0, dtype=np.int64)

    def due(self, last: Point) -> bool:
        """Whether what follows a point is to be found on moved geometry."""
        if last.moved is not None:
            return True
        if self.cannot or np.abs(last.answer.rigid).max(initial=0.0) < self.from_mm:
            return False
        try:
            return bool(self.layout.problem.n)
        except CannotMove as error:
            self.cannot = str(error)
            return False

    def beyond(self, point: Point) -> float:
        """How much farther any point of a meshed body has moved than the path is to go [mm]."""
        config = point.moved.config
        return max((
            float(np.hypot(*(config.centre[i] + turned(np.full(len(arm), config.angle[i]), arm)
                             - body.points).T).max())
            for i, body in enumerate(self.layout.problem.bodies)
            if self.layout.free[i] and not self.layout.member[i]
            for arm in (body.points - self.layout.centre[i],)), default=0.0) - self.far_mm

    def motion(self, before: Point, after: Point) -> tuple[FloatArray, FloatArray]:
        """Rigid motions ``(m,)`` and kinks ``(h,)`` [mm] from one point to another."""
        lay, (a, b) = self.layout, (self._started(p).config for p in (before, after))
        step = b.middle(lay) - a.middle(lay)
        turn = (b.turns(lay) - a.turns(lay)) * lay.length
        kink = after.answer.kink - before.answer.kink
        for i, shape in a.shapes.items():
            mine = lay.hinges == i
            bent = kinked(shape.points, lay.hinge_node[mine]) @ kink[mine]
            # Kinks move the mean of the nodes as well, and are told apart.
            mean = bent.reshape(-1, 3).mean(axis=0)
            step[i] -= mean[:2] / lay.length[i]
            turn[i] -= mean[2]
        return np.column_stack([step, turn])[lay.free].ravel(), kink

    def step(self, last: Point, place: float, zero: float, size: float, halved: int, hammer: bool,
             toward: Point | None = None) -> Point | bool | None:
        """The next committed point at a position of the ram [mm]; None where it is not known,
        False where it would move too far for one step. ``toward``: a point that a longer step has
        led to."""
        start, length = self._started(last), place - zero - last.ram_mm
        ahead = self._ahead(start, length) if toward is None else \
            self._ahead(toward.moved, length - toward.moved.step_mm)
        found: Point | bool | None = None
        # Where the last step's way leads to a geometry without an answer, from where it has ended.
        for config in (start.config,) if ahead is None else (ahead, start.config):
            found = self._settle(last, start, config, ahead is config, place, zero, size, halved,
                                 hammer)
            if isinstance(found, Point):
                break
        return found

    def _settle(self, last: Point, start: Moved, config: Config, ahead: bool, place: float,
                zero: float, size: float, halved: int, hammer: bool) -> Point | bool | None:
        """The step by corrections of a configuration until it is that of its answer."""
        length = place - zero - last.ram_mm
        memory = self._memory(start, last)
        near = self._settled(last.state)
        ram = self._ram(config, self.mover.meeting(config, start.meeting), start.meeting)
        share, missed, least, idle = 1.0, np.zeros(0), np.inf, 0
        for number in range(ROUNDS):
            found = ram.step(memory, place=place, near=[near], size=size, hammer=hammer,
                             pivots=PIVOTS * (1 + halved))
            if found is None or not found.held:
                # As where its answer moves farther than one step may.
                return None if found is None or TOO_FAR not in found.answer.notes else False
            after = self.advance(config, ram.plain, found.answer)
            miss = np.concatenate([found.answer.rigid,
                                   self.mover.patched(after.patches - config.patches)])
            far = self._far(start.config, after)
            if far > (SNAP_MM if hammer else MOST_MM) or self._beyond(after):
                return False
            if (number > 0 or ahead) and float(np.abs(miss).max(initial=0.0)) < self.still_mm:
                break
            off = float(np.linalg.norm(miss))
            least, idle = (off, 0) if off < 0.5 * least else (least, idle + 1)
            if idle == IDLE:
                return None
            share = _relaxed(share, missed, miss) if number > 1 else 1.0
            missed = miss
            config = after if share == 1.0 else self.advance(config, ram.plain, found.answer,
                                                             share)
            meeting = self.mover.meeting(config, start.meeting)
            ram, near = self._ram(config, meeting, start.meeting), self._settled(found)
        else:
            return None
        kept = ram.advance(found, memory)
        return Point(place - zero, found.load, found, kept, memory, ram,
                     Moved(after, self.mover.meeting(after), start.config, length),
                     self._slipped(last))

    def _ahead(self, start: Moved, length: float) -> Config | None:
        """Where a step [mm] would lead if all went on as in the step before; None where there is
        none, or that is too far."""
        lay, now, before = self.layout, start.config, start.before
        if before is None:
            return None
        more = length / start.step_mm
        shapes: dict[int, Shape] = {}
        for i, shape in now.shapes.items():
            old = before.shapes[i]
            move = more * np.column_stack([shape.points - old.points, shape.angle - old.angle])
            shapes[i] = bend(shape.natural, lay.hinge_node[lay.hinges == i], shape,
                             move.ravel(), shape.forces + more * (shape.forces - old.forces),
                             shape.kinks + more * (shape.kinks - old.kinks))
        step, turn = more * (now.centre - before.centre), more * (now.angle - before.angle)
        pushed = now.pushed + sum(self._work(now, i, step[i], float(turn[i]))
                                  for i in range(len(turn)) if i not in shapes)
        there = Config(now.centre + step, now.angle + turn, shapes, pushed,
                       now.patches + more * (now.patches - before.patches))
        return there if self._far(now, there) < MOST_MM else None

    def _far(self, before: Config, after: Config) -> float:
        """The largest motion of a body between two configurations [mm]."""
        lay = self.layout
        step = np.hypot(*(after.middle(lay) - before.middle(lay)).T)
        turn = np.abs(after.turns(lay) - before.turns(lay)) * lay.length
        return float(max(step.max(initial=0.0), turn.max(initial=0.0)))

    def _beyond(self, config: Config) -> bool:
        """Whether a body has moved farther than geometry is followed."""
        lay = self.layout
        step = np.hypot(*(config.middle(lay) - lay.centre).T)
        turn = np.abs(config.turns(lay))
        return bool(step.max(initial=0.0) > FARTHEST_MM
                    or turn.max(initial=0.0) > np.radians(FARTHEST_DEG))

    def _settled(self, state: Pressed) -> Pressed:
        """A state as a start in another geometry: its motion is where the geometry now is."""
        a = state.answer
        return replace(state, answer=replace(a, rigid=np.zeros_like(a.rigid)))

    def _started(self, last: Point) -> Moved:
        if last.moved is not None:
            return last.moved
        config = Config.start(self.layout)
        meeting = self.mover.meeting(config)
        problem = self.mover.problem(config, meeting)
        config = self.advance(config, problem, last.answer)
        return Moved(config, self.mover.meeting(config))

    @staticmethod
    def _slipped(last: Point) -> FloatArray:
        """Slip of each link up to a point, what tightening has led to among it."""
        if last.slipped is None or last.began is None:
            return last.memory.offset
        return last.slipped + last.memory.offset - last.began.offset

    def _memory(self, start: Moved, last: Point) -> Memory:
        """What the last point left, slip on faces counted from there in the new geometry."""
        if not self.rubs.size:
            return last.memory
        offset = last.memory.offset.copy()
        offset[self.rubs] = self.mover.slips(start.config, start.meeting, last.answer)[self.rubs]
        return replace(last.memory, offset=offset)

    def _ram(self, config: Config, meeting: Meeting, began: Meeting) -> Ram:
        problem = self.mover.problem(config, meeting, began)
        return replace(self.ram, plain=problem, solver=Solver(with_ram(problem, self.ram.pattern)))

    def _work(self, config: Config, number: int, step: FloatArray, turn: float) -> FloatArray:
        """What a meshed body's move by a step [mm] and a turn [rad] moves each unit load along its
        own fixed line ``(p,)``, mm."""
        unit = self.mover.pushes.unit(config, number, config.centre[number] + 0.5 * step)
        return unit @ np.array([step[0], step[1], turn])

    def advance(self, config: Config, problem: Condensed, answer: Answer, share: float = 1.0
                ) -> Config:
        """The configuration after an answer of the problem in another one, or a share of the way
        there."""
        lay, placed = self.layout, problem.placed
        assert placed is not None
        centre, angle, pushed = config.centre.copy(), config.angle.copy(), config.pushed.copy()
        shapes: dict[int, Shape] = {}
        for i, body in enumerate(lay.problem.bodies):
            rigid = share * answer.rigid[lay.problem.rigid_body == i]
            if not isinstance(body, Member):
                if not lay.free[i]:
                    continue
                turn = rigid[2] / lay.length[i]
                pushed += self._work(config, i, rigid[:2], turn)
                centre[i] += rigid[:2]
                angle[i] += turn
                continue
            shape, mine = config.shapes[i], lay.hinges == i
            forces = (self.mover.pushes.on_member(i)[0].T @ answer.load
                      - placed.pushing[i].nodes(answer.force))
            kinks = answer.kink[mine] / lay.length[i]
            forces = shape.forces + share * (forces - shape.forces)
            kinks = shape.kinks + share * (kinks - shape.kinks)
            move = (shape.flexibility @ (forces - shape.forces)
                    + rigid_move(shape.points, shape.points.mean(axis=0), lay.length[i], rigid)
                    + kinked(shape.points, lay.hinge_node[mine]) @ (kinks - shape.kinks))
            shapes[i] = bend(body, lay.hinge_node[mine], shape, move, forces, kinks)
        patches = self.mover.patches(config, placed, answer)
        return Config(centre, angle, shapes, pushed,
                      config.patches + share * (patches - config.patches))


def _relaxed(share: float, before: FloatArray, now: FloatArray) -> float:
    """The share of the next correction (Aitken's process for vectors: Irons and Tuck, Int J Numer
    Meth Engng 1969;1:275-7; memory).

    What a correction leaves undone is what forces do by turning (geometric stiffness), which the
    condensed problem does not hold: next to a hinge of metal that yields it is most of the
    stiffness.
    """
    change = now - before
    size = float(change @ change)
    if size == 0.0:
        return 1.0
    return float(np.clip(-share * (before @ change) / size, LEAST, MOST))


__all__ = ["CannotMove", "Moved", "Moving"]
