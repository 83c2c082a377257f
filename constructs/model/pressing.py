"""A construct under the ram of a test machine: the one way in which a load is answered.

The joint is pressed by displacement from the tightened state, slip and crushing committed step by
step; the force of the ram is the load. "The state at a load" is the first one that pressing
reaches. The points of the path do not depend on the loads that are asked for.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import Kind
from buttress.fe.moved.walk import STEP_MM, Moving
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import Escape, capacity
from buttress.fe.solve.path import FAR, GROWTH, LOAD_LIMIT, RISES, Path, Point, press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import state_at
from buttress.fe.solve.step import TOO_FAR
from buttress.fe.solve.subset import Subset
from buttress.fe.status import Status
from buttress.implants.kinds import Hold
from buttress.study.tables import number

SEARCH_LIMIT_N = number("loads", "path", "search_limit")
"""Loads are pressed up to here: about ten times body weight, beyond any activity of the knee."""
FARTHEST_MM = number("loads", "path", "farthest")
"""Displacement of the ram at which pressing ends: the joint has then moved more than 5 mm."""
MOVED_FROM_MM = number("loads", "path", "moved_from")
"""Motion of a piece or implant from which on a path moves geometry, where that is automatic."""
FACES = (Kind.CONTACT, Hold.PLATE_ON_BONE)
"""Contacts that form faces, along which pieces and plates slide."""
NEVER_REACHED = "the path never reaches this load"
ENDS_BELOW = f"the path ends below this load, where {TOO_FAR}"
NOT_KNOWN = "the path is not known up to this load"
PASSED = "the path passes this load, but no state was found at it"
NO_FORCES = "no force system carries this load (limit analysis with friction)"


class Pressing:
    """The path of one construct, pressed only as far as it has been asked for.

    ``start``: the state without more load that it is pressed from, if known, and ``memory`` what it
    has left. ``base (p,)``: a load that acts already, on top of which the ram presses. ``counted``:
    what slip and kinks count from, if not ``memory``. ``whole``: the problem that this one is a
    part of, in whose numbering answers are given, and its memory.
    """

    def __init__(self, problem: Condensed, pattern: FloatArray, memory: Memory,
                 start: Answer | None, base: FloatArray | None = None,
                 large: str = "off", counted: Memory | None = None, growth: float = GROWTH,
                 whole: tuple[Subset, Memory] | None = None) -> None:
        self.memory, self.start, self.within = memory, start, whole
        self.counted = memory if counted is None else counted
        if not pattern.any():
            raise InputError("the load presses on nothing in this section", key="load",
                             expected="a share of the joint force on a condyle that is shown")
        self.ram = Ram.of(problem, pattern, base)
        self.geometry = None if large == "off" else Moving(
            self.ram, FACES, 0.0 if large == "on" else MOVED_FROM_MM, far_mm=FARTHEST_MM,
            longest=STEP_MM * min(1.0, (growth - 1.0) / (GROWTH - 1.0)))
        self._places = steps(FARTHEST_MM, growth=growth)
        self._path: Path | None = None
        self._far: Path | None = None

    @property
    def begun(self) -> FloatArray:
        """How far each link had slipped before it is pressed ``(n,)`` [mm], of what is counted."""
        return self.memory.offset - self.counted.offset

    @property
    def whole(self) -> Path:
        """The path to the limit of load or of displacement, or to where movements are large."""
        return self.up_to(SEARCH_LIMIT_N)

    def up_to(self, load: float) -> Path:
        """The path at least to where it first carries a load [N], if it does.

        What is pressed beyond the limit of the search stays apart: nothing that is read off the
        path up to there depends on whether more was asked for.
        """
        if load > SEARCH_LIMIT_N:
            self._far = self._pressed(self._far or self.whole, load)
            return self._far
        self._path = self._pressed(self._path, load)
        return self._path

    def _pressed(self, path: Path | None, load: float) -> Path:
        if path is None:
            return press(self.ram, self.memory, self._places, near=self.start, most_load=load,
                         geometry=self.geometry)
        if path.stopped == LOAD_LIMIT and path.first_above(load) is None:
            return press(self.ram, self.memory, self._places, most_load=load, onto=path,
                         geometry=self.geometry)
        return path

    def answer(self, load: float) -> Answer:
        """The state that the path first reaches at a load [N], movements from the tightened one.

        "no equilibrium" where the path is known never to carry it, or only after moving farther
        than small movements allow, with the motion in which it gives way; "unconverged" where
        that is not known.
        """
        return self.reached(load)[0]

    def reached(self, load: float) -> tuple[Answer, Memory]:
        """`answer`, and the memory that it leaves; that of the tightened state where it is not
        held."""
        path = self.up_to(load)
        point = state_at(path, load)
        if point is not None:
            return self.since_tightened(point), point.memory
        return self._not_reached(path, load), self.memory

    def _not_reached(self, path: Path, load: float) -> Answer:
        if path.reach(load) == "never":
            return self._none(load, Status.NO_EQUILIBRIUM, NEVER_REACHED, self.motion(path))
        if path.stopped in FAR or path.peak_status == RISES:
            return self._none(load, Status.NO_EQUILIBRIUM, ENDS_BELOW, self.motion(path))
        proof = capacity(self.ram.plain.firm(), self.ram.base + load * self.ram.pattern)
        if not proof.feasible or (proof.factor is not None and proof.factor < 1.0 - 1e-9):
            return self._none(load, Status.NO_EQUILIBRIUM, NO_FORCES, proof.escape)
        passed = path.first_above(load) is not None
        return self._none(load, Status.UNCONVERGED, PASSED if passed else NOT_KNOWN, None)

    def since_tightened(self, point: Point) -> Answer:
        """The answer of a point, its slip and kinks counted from the tightened state."""
        found = point.answer
        # A point's own step begins at the memory that it started from.
        before = (point.began or self.memory).offset if point.slipped is None else point.slipped
        found = replace(found, slack=found.slack + before - self.counted.offset,
                        kink_step=found.kink - self.counted.kink)
        return found if self.within is None else self.within[0].carried_back(
            found, self.within[1])

    def motion(self, path: Path) -> Escape | None:
        """The motion in which the construct gives way: that of the last step of its path."""
        if len(path.points) < 2:
            return None
        last, before = path.points[-1].answer, path.points[-2].answer
        rigid, kink = last.rigid - before.rigid, last.kink - before.kink
        if path.points[-1].moved is not None and self.geometry is not None:
            rigid, kink = self.geometry.motion(*path.points[-2:])
        size = float(np.abs(rigid).max(initial=0.0))
        return Escape(rigid / size, kink / size) if size > 0.0 else None

    def _none(self, load: float, status: Status, why: str, escape: Escape | None) -> Answer:
        p = self.ram.plain
        nan, no_kink = np.full(p.n, np.nan), np.full(p.kinks.shape[1], np.nan)
        return Answer(
            status=status, method="path", force=nan, rigid=np.full(p.rigid.shape[1], np.nan),
            kink=no_kink, slack=nan, kink_step=no_kink,
            load=self.ram.base + load * self.ram.pattern, residual=np.nan, complementarity=np.nan,
            rcond=0.0, steps=0, escape=escape, notes=(why,))
