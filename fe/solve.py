"""Bounded links with Coulomb friction: active sets on the condensed problem, a proof at the end.

Every link starts as sticking; the sticking problem is inverted once a construct, and each step
solves only for the links that have left it (opened, slipped, yielded) and for the hinges that
turn. The friction bound is inside the linear system: a slipping link's force is plus or minus
``friction`` times its partner's unknown force. The trial value of a link is its force plus its
residual over its own flexibility; projecting it on the bounds gives the next state. Where this
does not end, Lemke's method answers (`fe.lemke`), and where no force system can carry the load,
a linear program proves it (`fe.limit`). An answer is accepted only on its own residuals.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.linalg.lapack as lapack

from fe.condense import Condensed
from fe.errors import SolveError
from fe.limit import FARTHEST_MM, Escape, capacity
from fe.threads import one_thread

FloatArray = np.ndarray
IntArray = np.ndarray

EQUILIBRIUM = 1e-9
COMPLEMENTARITY = 1e-8
RCOND = 1e-12
LOCKED = 1e-3
"""Errors are relative to the load, or to this share of the largest force where that is more."""
LOOSE = 1e-13
"""Reciprocal condition below which the sticking problem counts as singular."""
LAYER = 1e-7
"""Compliance added to redundant links, over the flexibility that each has anyway."""
SCATTERED = 16
"""Starts at random where everything else says that nothing holds."""
FIRM = (1e3, 1e2)
"""Weights against slack of the trial value, tried where the natural one does not end."""
RAMP = (0.3, 0.5, 0.65, 0.75, 0.85, 0.9, 0.93, 0.96, 0.98, 1.0)
"""Shares of a load through which its states are followed where no start ends at once."""
MOST_STEPS = 80
MOST_SINGLE_STEPS = 400


@dataclass(frozen=True)
class Memory:
    """What earlier stages left: slip or crushing of each link and kink of each hinge [mm]."""

    offset: FloatArray
    kink: FloatArray

    @staticmethod
    def none(problem: Condensed) -> Memory:
        return Memory(np.zeros(problem.n), np.zeros(problem.kinks.shape[1]))


@dataclass(frozen=True)
class Answer:
    """Forces, motions and proof of one step. Arrays are NaN where ``status`` is not "held"."""

    status: str                  # "held" | "no equilibrium" | "unconverged"
    method: str                  # "active set" | "active set, slip start" | ... | "Lemke"
    force: FloatArray            # (n,) N
    rigid: FloatArray            # (m,) mm
    kink: FloatArray             # (h,) mm, earlier kinks included
    slack: FloatArray            # (n,) w: slip, opening or crushing of this step, mm
    kink_step: FloatArray        # (h,) kink of this step, mm
    load: FloatArray             # (p,) factor of each load case
    residual: float              # equilibrium error over the total load
    complementarity: float       # distance of the forces from their projection, over the load
    rcond: float
    steps: int
    escape: Escape | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def held(self) -> bool:
        return self.status == "held"


class Singular(Exception):
    """The linear system of a step is singular: the links that are left do not hold a body."""


class Solver:
    """Answers of one condensed problem; keeps the inverse of its sticking state.

    ``variant`` gives a solver for other bounds, friction or gaps that shares the inverse.
    Raises nothing on a mechanism: the answer then has the status "no equilibrium".
    """

    def __init__(self, problem: Condensed, _shared: Solver | None = None) -> None:
        self.problem = problem
        if _shared is not None:
            self.__dict__.update({k: v for k, v in _shared.__dict__.items() if k != "problem"})
            return
        n = problem.n
        self.stiff = problem.flexibility + np.diag(problem.compliance)
        self.scale = np.maximum(np.diag(self.stiff), 1e-300)
        self.unit = float(np.mean(self.scale)) if n else 1.0
        self.kink_scale = np.full(problem.kinks.shape[1], 1.0 / self.unit)
        self.layer = 0.0
        with one_thread():
            self.inverse = self._invert()
            if self.inverse is None:
                # Where three bodies meet at a point their links are redundant: a thin layer
                # between the faces makes the forces unique. A structure that is loose even with
                # everything stuck stays singular.
                # Relative to each link's own flexibility: a soft spring elsewhere sets no scale.
                own = np.diag(problem.flexibility)
                layer = LAYER * np.maximum(own, 1e-4 * np.median(own))
                layer[problem.compliance > 0.0] = 0.0
                self.layer = float(layer.max(initial=0.0))
                self.stiff = self.stiff + np.diag(layer)
                self.inverse = self._invert()
            if self.inverse is None:
                return
            # Force answers to unit slack and unit kinks, both made dimensionless.
            self.to_slack = -self.inverse[:, :n] * (self.scale / self.unit)
            self.to_kink = self.inverse[:, :n] @ problem.kinks / self.unit
            diagonal = np.einsum("ij,ij->j", problem.kinks, self.to_kink[:n])
            self.kink_scale = 1.0 / np.maximum(diagonal, 1e-12 / self.unit)
            self.to_kink = self.to_kink * self.kink_scale

    def _invert(self) -> FloatArray | None:
        """Inverse of the sticking problem ``[[F + C, -G], [G^T, 0]]``, None where singular."""
        n, m = self.problem.n, self.problem.rigid.shape[1]
        if n + m == 0:
            return None
        system = np.zeros((n + m, n + m))
        system[:n, :n] = self.stiff / self.unit
        system[:n, n:] = -self.problem.rigid
        system[n:, :n] = self.problem.rigid.T
        norm = np.linalg.norm(system, 1)
        lu, piv, info = lapack.dgetrf(system)
        if info != 0 or lapack.dgecon(lu, norm)[0] < LOOSE:
            return None
        return lapack.dgetri(lu, piv)[0]

    def variant(self, problem: Condensed) -> Solver:
        """Solver of the same links with another law; compliances must be the same."""
        if not np.array_equal(problem.compliance, self.problem.compliance):
            return Solver(problem)
        return Solver(problem, _shared=self)

    def answer(self, load: FloatArray, memory: Memory | None = None,
               prescribed: dict[int, float] | None = None, near: Answer | None = None,
               quick: bool = False) -> Answer:
        """The step to ``load (p,)`` from ``memory``; ``prescribed`` link forces [N] are held.

        ``near``: a held answer of a similar load, from which the states are followed where the
        sticking start does not end; it cannot change what is accepted. ``quick`` leaves out
        Lemke's method, so that "unconverged" may stand for "no equilibrium": for searches.
        """
        load = np.asarray(load, dtype=float)
        with one_thread():
            step = _Step(self, load, memory or Memory.none(self.problem), prescribed or {})
            return step.run(near, quick)

    def advance(self, answer: Answer, memory: Memory | None = None) -> Memory:
        """Memory after an answer: slip, crushing, kinks and tightened lengths are kept."""
        memory = memory or Memory.none(self.problem)
        if not answer.held:
            raise SolveError("a stage without equilibrium cannot be followed by another")
        keep = answer.slack.copy()
        # A link that is open forgets how far; one that was just tightened carries a force.
        idle = np.abs(answer.force) <= 1e-12 * np.abs(answer.force).max(initial=0.0)
        keep[self.problem.opens & idle & (answer.slack < 0)] = 0.0
        return Memory(memory.offset + keep, memory.kink + answer.kink_step)


class _Step:
    """One step: data, linear solves for a guessed state, and the search for the right state."""

    def __init__(self, solver: Solver, load: FloatArray, memory: Memory,
                 prescribed: dict[int, float]) -> None:
        p = solver.problem
        self.solver, self.p, self.load, self.memory = solver, p, load, memory
        self.prescribed = prescribed
        self.lower, self.upper = p.lower.copy(), p.upper.copy()
        self.friction = p.friction.copy()
        for i, force in prescribed.items():
            self.lower[i] = self.upper[i] = force
            self.friction[i] = 0.0
        self.partner = np.where(self.friction > 0, p.partner, 0)
        self.d = p.load_deformation @ load - p.gap - memory.offset + p.kinks @ memory.kink
        self.r = p.load_rigid @ load
        self.k = p.load_kinks @ load
        applied = float(np.abs(self.r).sum()) if not load.any() else float(np.abs(load).sum())
        self.reference = max(applied, sum(abs(f) for f in prescribed.values()))
        if self.reference == 0.0:  # only lack of fit or earlier slip: the forces it could raise
            self.reference = float((np.abs(self.d) / solver.scale).max(initial=1e-12))
        self.tol = 1e-12 * self.reference

    # -- linear algebra of one guessed state ------------------------------------------------
    def _solve(self, state: IntArray, turning: IntArray) -> tuple[FloatArray, ...]:
        """Forces, rigid motions, slack and kink for a state; raises `Singular`."""
        s, p = self.solver, self.p
        assert s.inverse is not None
        n = p.n
        out, hin = np.flatnonzero(state), np.flatnonzero(turning)
        sign = state[out].astype(float)
        bound = np.where(sign > 0, self.upper[out], self.lower[out])
        slope = sign * self.friction[out]
        mate = self.partner[out]
        k_out, k_hin = s.to_slack[:n, out], s.to_kink[:n, hin]
        kinks = p.kinks[:, hin]
        size = out.size + hin.size
        small = np.zeros((size, size))
        joined = np.concatenate([k_out, k_hin], axis=1)
        small[:out.size] = joined[out] - slope[:, None] * joined[mate]
        small[out.size:] = kinks.T @ joined
        limit = turning[hin] * p.kink_limit[hin]
        factor, rcond = None, 1.0
        if size:
            norm = np.linalg.norm(small, 1)
            lu, piv, info = lapack.dgetrf(small)
            rcond = float(lapack.dgecon(lu, norm)[0]) if info == 0 else 0.0
            if rcond < RCOND:
                raise Singular
            factor = (lu, piv)

        force, rigid = np.zeros(n), np.zeros(p.rigid.shape[1])
        slack, kink = np.zeros(n), np.zeros(p.kinks.shape[1])
        for _ in range(3):  # the first pass solves, the others remove the rounding of the inverse
            res = np.concatenate([
                (self.d - s.stiff @ force + p.rigid @ rigid + p.kinks @ kink - slack) / s.unit,
                self.r - p.rigid.T @ force])
            base = s.inverse @ res
            step = np.zeros(size)
            if factor is not None:
                miss = np.concatenate([
                    bound - (force[out] + base[out]) + slope * (force[mate] + base[mate]),
                    # the moment at a kink is k - kinks^T lam, at its bound turning * limit
                    self.k[hin] - limit - kinks.T @ (force + base[:n])])
                step = lapack.dgetrs(factor[0], factor[1], miss)[0]
            delta = base + s.to_slack[:, out] @ step[:out.size]
            delta += s.to_kink[:, hin] @ step[out.size:]
            force += delta[:n]
            rigid += delta[n:] * s.unit
            slack[out] += step[:out.size] * s.scale[out]
            kink[hin] += step[out.size:] * s.kink_scale[hin]
        return force, rigid, slack, kink, np.array(rcond)

    def residuals(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> tuple:
        """Slack recomputed from the answer, equilibrium error, complementarity error (relative)."""
        s, p = self.solver, self.p
        slack = self.d - s.stiff @ force + p.rigid @ rigid + p.kinks @ kink
        target, kink_target, _, _ = self._project(force, slack, kink)
        error = float(np.abs(target - force).max(initial=0.0))
        moment = self.k - p.kinks.T @ force
        error = max(error, float(np.abs(kink_target - moment).max(initial=0.0)))
        balance = float(np.abs(self.r - p.rigid.T @ force).max(initial=0.0))
        # Tightened parts under a small load: rounding is relative to the forces that are there.
        largest = float(np.abs(force).max(initial=0.0))
        loaded = self.load.any() or self.prescribed
        against = max(self.reference, LOCKED * largest) if loaded else \
            max(largest, LOCKED * self.reference)
        return slack, balance / against, error / against

    def _project(self, force: FloatArray, slack: FloatArray, kink: FloatArray,
                 firm: float = 1.0) -> tuple:
        """Trial values projected on the bounds, and the states that this means.

        ``firm`` divides the slack's part: links then change state by their forces first.
        """
        s, p = self.solver, self.p
        trial = force + slack / (firm * s.scale)
        lower, upper = self.lower, self.upper
        value = np.clip(trial, lower, upper)
        rubs = self.friction > 0
        width = np.where(rubs, self.friction * np.maximum(value[self.partner], 0.0), 0.0)
        lower, upper = lower - width, upper + width
        value = np.where(rubs, np.clip(trial, lower, upper), value)
        state = (trial > upper + self.tol).astype(np.int8) - (trial < lower - self.tol)
        # A friction link whose partner carries nothing has no sign; give it one for good, so
        # that noise does not look like a change of state. Prescribed forces likewise.
        state[(upper - lower) <= 2 * self.tol] = 1
        moment = self.k - p.kinks.T @ force
        trial_moment = moment + kink / s.kink_scale
        kink_value = np.clip(trial_moment, -p.kink_limit, p.kink_limit)
        turning = (trial_moment > p.kink_limit + self.tol).astype(np.int8) - (
            trial_moment < -p.kink_limit - self.tol)
        return value, kink_value, state.astype(np.int8), turning.astype(np.int8)

    # -- search -----------------------------------------------------------------------------
    def _search(self, state: IntArray, single: bool = False, turning: IntArray | None = None,
                firm: float = 1.0) -> Answer | None:
        """Follow the states from a start; None where it cycles, is singular or takes too long."""
        seen: set[bytes] = set()
        if turning is None:
            turning = np.zeros(self.p.kinks.shape[1], dtype=np.int8)
        for step in range(1, (MOST_SINGLE_STEPS if single else MOST_STEPS) + 1):
            try:
                force, rigid, slack, kink, rcond = self._solve(state, turning)
            except Singular:
                return None
            _, _, new, new_turning = self._project(force, slack, kink, firm)
            same = np.array_equal(new, state) and np.array_equal(new_turning, turning)
            if same or self._acceptable(force, rigid, kink):
                found = self.accept(force, rigid, kink, float(rcond), step)
                if found is not None or same:
                    return found
            if single:
                new, new_turning = self._one_change(state, new, turning, new_turning,
                                                    force, slack)
            key = new.tobytes() + new_turning.tobytes()
            if key in seen:
                return None
            seen.add(key)
            state, turning = new, new_turning
        return None

    def _one_change(self, state: IntArray, new: IntArray, turning: IntArray,
                    new_turning: IntArray, force: FloatArray, slack: FloatArray) -> tuple:
        """Only the worse half of the changes: ends cycles in which links overreact together."""
        changed = np.flatnonzero(new != state)
        if changed.size <= 1:
            return new, new_turning
        target = self._project(force, slack, np.zeros_like(turning, dtype=float))[0]
        size = np.abs(target - force)[changed]
        keep = changed[np.argsort(-size, kind="stable")[: max(1, changed.size // 4)]]
        mixed = state.copy()
        mixed[keep] = new[keep]
        return mixed, new_turning

    def _acceptable(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> bool:
        _, balance, error = self.residuals(force, rigid, kink)
        return balance < EQUILIBRIUM and error < 0.01 * COMPLEMENTARITY

    def accept(self, force: FloatArray, rigid: FloatArray, kink: FloatArray, rcond: float,
                steps: int) -> Answer | None:
        """The answer, if its own residuals prove it."""
        slack, balance, error = self.residuals(force, rigid, kink)
        far = float(np.abs(rigid).max(initial=0.0))
        if not (balance < EQUILIBRIUM and error < COMPLEMENTARITY and far < FARTHEST_MM):
            return None
        return Answer("held", "active set", force, rigid, kink + self.memory.kink, slack, kink,
                      self.load, balance, error, rcond, steps)

    def follow(self, force: FloatArray, slack: FloatArray, kink: FloatArray) -> Answer | None:
        """Follow the states that given forces and slacks stand for."""
        if self.solver.inverse is None:
            return None
        _, _, state, turning = self._project(force, slack, kink)
        return self._search(state, turning=turning)

    def _follow_load(self) -> Answer | None:
        """Follow the states while the load grows; each is only a start for the next."""
        if self.prescribed or not self.load.any():
            return None
        near: Answer | None = None
        for share in RAMP:
            part = _Step(self.solver, share * self.load, self.memory, {})
            start = np.where(self.p.opens & (self.p.gap > 0), -1, 0).astype(np.int8)
            found = part._search(start)
            if found is None and near is not None:
                found = part.follow(near.force, near.slack, near.kink_step)
            near = found or near
        return found

    def run(self, near: Answer | None = None, quick: bool = False) -> Answer:
        p = self.p
        stick = np.zeros(p.n, dtype=np.int8)
        for i in self.prescribed:
            stick[i] = 1
        # A gap that is still open starts open: sticking across it would pull the parts together.
        stick[p.opens & (p.gap > 0)] = -1
        if self.solver.inverse is not None:
            found = self._search(stick)
            if found is None and near is not None and near.held:
                found = self.follow(near.force, near.slack, near.kink_step)
                found = replace(found, method="active set, neighbour") if found else None
            if found is not None:
                return found
        if self.solver.inverse is not None:
            # Soft graft between stiff walls overreacts to its slack and cycles.
            for firm in FIRM:
                found = self._search(stick, firm=firm)
                if found is not None:
                    return replace(found, method="active set, firm")
        limit = capacity(p, self.load, prescribed=self.prescribed)
        if not limit.feasible or (limit.factor is not None and limit.factor < 1.0 - 1e-9):
            return self.none("no equilibrium", limit.escape)
        if self.solver.inverse is not None:
            # A fragment that slides up to a stop is held only with that stop closed.
            closed = np.where(p.opens, 0, stick).astype(np.int8)
            for base, sign, name in ((stick, 1, "slip start"), (stick, -1, "opposite slip start"),
                                     (closed, 1, "closed slip start"),
                                     (closed, -1, "closed opposite slip start"),
                                     (stick, 0, "damped")):
                start = base.copy()
                start[self.friction > 0] = sign
                for i in self.prescribed:
                    start[i] = 1
                found = self._search(start, single=sign == 0)
                if found is not None:
                    return replace(found, method=f"active set, {name}")
            found = self._follow_load()
            if found is not None:
                return replace(found, method="active set, load followed")
        if quick:
            return self.none("unconverged", limit.escape, "left out: Lemke's method")
        from fe.fallback import lemke_answer  # only the rare case pays for it

        answer = lemke_answer(self, limit)
        return answer if answer.held else self._scattered(stick) or answer

    def _scattered(self, stick: IntArray) -> Answer | None:
        """Last resort: with friction a ray of Lemke's is no proof, so try states at random.

        Seeded, so the same problem gives the same answer.
        """
        if self.solver.inverse is None:
            return None
        rng = np.random.default_rng(0)
        rubs = self.friction > 0
        for _ in range(SCATTERED):
            start = stick.copy()
            start[rubs] = rng.integers(-1, 2, int(rubs.sum()))
            loose = self.p.opens & (self.lower < self.upper)
            start[loose] = rng.integers(-1, 1, int(loose.sum()))
            found = self._search(start, single=False)
            if found is not None:
                return replace(found, method="active set, scattered start")
        return None

    def none(self, status: str, escape: Escape | None, note: str = "",
              method: str = "") -> Answer:
        p = self.p
        nan = np.full(p.n, np.nan)
        method = method or ("linear program" if status == "no equilibrium" else "none")
        no_kink = np.full(p.kinks.shape[1], np.nan)
        return Answer(status, method, nan, np.full(p.rigid.shape[1], np.nan), no_kink, nan,
                      no_kink, self.load, np.nan, np.nan, 0.0, 0,
                      escape, (note,) if note else ())

