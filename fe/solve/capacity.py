"""Holding capacity by limit analysis: the largest load factor of any admissible force system.

A linear program over the link forces: equilibrium of every body, bounds, friction cones and
plastic moments (static theorem of plasticity). With Coulomb friction it is an upper bound of the
limit load under sliding; without friction, a lower bound while gaps are closed. Its dual is the
failure mechanism: the motion that starts at capacity or, where the load cannot be carried, the
motion of the unsupported body.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.sparse as sp
from scipy.optimize import linprog

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import Condensed
from buttress.fe.silence import output_to_errors

EITHER = "unbounded or infeasible"
"""What HiGHS says of a program in which presolve found one of the two; no other trouble is a proof.
"""


@dataclass(frozen=True)
class Escape:
    """Rigid motion ``(m,)`` of the bodies, scaled to a largest amplitude of one."""

    rigid: FloatArray
    kink: FloatArray


@dataclass(frozen=True)
class Capacity:
    """Result of the linear program.

    ``factor`` multiplies the load; None with ``status`` "not limited by this model".
    ``feasible`` is False where even zero load (pre-tension alone) has no equilibrium. ``at_bound``
    lists the links, ``turning`` the hinges, that take part in the failure mechanism.
    """

    status: str
    factor: float | None
    feasible: bool
    force: FloatArray | None
    escape: Escape | None
    at_bound: tuple[int, ...] = ()
    turning: tuple[int, ...] = ()


NOT_LIMITED = Capacity(
    status="not limited by this model", factor=None, feasible=True, force=None, escape=None)


@dataclass(frozen=True)
class _Law:
    """The law of the links as the program has it, ``(n,)`` each [N].

    ``shared``: groups of links of which only the sum is prescribed. A pair of a friction link and
    its partner that frictional contact alone bounds is in ``slides`` and ``presses``; the other
    friction links are in ``rubs``.
    """

    lower: FloatArray
    upper: FloatArray
    friction: FloatArray
    shared: list[list[int]]
    slides: IntArray
    presses: IntArray
    rubs: IntArray


@dataclass(frozen=True)
class _Program:
    """``left x <= rhs``, ``equal x = total`` and ``bounds``; ``edges`` makes forces of ``x``.

    Unknowns, all but the last divided by ``scale`` [N]: forces, moments at hinges, the factor.
    """

    left: sp.spmatrix
    rhs: FloatArray
    equal: sp.spmatrix
    total: FloatArray
    bounds: FloatArray
    edges: sp.csr_matrix
    scale: float


def capacity(problem: Condensed, load: FloatArray, *, prescribed: dict[int, float] | None = None,
             frictionless: bool = False, sums: bool = False) -> Capacity:
    """Largest factor of ``load (p,)`` in equilibrium within all bounds.

    ``prescribed`` link forces [N] are constant (tightened screws keep their force); with ``sums``
    only the sum of those of one source is, so that a tightened head may tilt. Raises `SolveError`
    where the balance at zero load is not found.
    """
    m, h = problem.rigid.shape[1], problem.kinks.shape[1]
    if m == 0 and h == 0:  # every body is held by itself and none can let go
        return NOT_LIMITED
    load, prescribed = np.asarray(load, dtype=float), prescribed or {}
    law = _law(problem, prescribed, frictionless, sums)
    program = _set_up(problem, load, prescribed, law)
    cost = np.zeros(problem.n + h + 1)
    cost[-1] = -1.0
    options = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}
    # Without presolve it is a quarter faster, and presolve occasionally reports a problem as
    # infeasible that has a solution at zero load.
    result = _least(cost, program, {**options, "presolve": False})
    if result.status not in (0, 3):
        result = _least(cost, program, options)
    if result.status == 3:
        return NOT_LIMITED
    if result.status != 0 or result.x is None:
        return _without_answer(program, result.message, m, h)
    return _limited(problem, load, law, program, result)


def _law(problem: Condensed, prescribed: dict[int, float], frictionless: bool, sums: bool) -> _Law:
    n = problem.n
    lower, upper = problem.lower.copy(), problem.upper.copy()
    friction = np.zeros(n) if frictionless else problem.friction.copy()
    groups: dict[object, list[int]] = {}
    for i in prescribed:
        groups.setdefault(problem.links.links[i].source if sums else i, []).append(i)
    shared = [group for group in groups.values() if len(group) > 1]
    for i, force in prescribed.items():
        if not any(i in group for group in shared):
            lower[i] = upper[i] = force
            friction[i] = 0.0
    rubs = np.flatnonzero(friction > 0)
    mates = problem.partner[rubs]
    plain = ((lower[rubs] == 0) & (upper[rubs] == 0) & (lower[mates] == 0)
             & np.isposinf(upper[mates]) & (friction[mates] == 0)
             & (np.bincount(mates, minlength=n)[mates] == 1))
    return _Law(lower, upper, friction, shared, rubs[plain], mates[plain], rubs[~plain])


def _set_up(problem: Condensed, load: FloatArray, prescribed: dict[int, float], law: _Law
             ) -> _Program:
    n, m, h = problem.n, problem.rigid.shape[1], problem.kinks.shape[1]
    load_rigid, load_kinks = problem.load_rigid @ load, problem.load_kinks @ load
    held = [abs(force) for force in prescribed.values()]
    scale = max([float(np.abs(load_rigid).max(initial=0.0)), *held]) or 1.0
    edges = _edges(law.slides, law.presses, law.friction, n + h + 1)
    # The moment at a hinge is that of the loads on the member minus that of its links.
    equal = sp.csr_matrix(np.vstack([
        np.hstack([problem.rigid.T, np.zeros((m, h)), -(load_rigid / scale)[:, None]]),
        np.hstack([problem.kinks.T, np.eye(h), -(load_kinks / scale)[:, None]]),
        *(np.isin(np.arange(n + h + 1), group)[None] for group in law.shared)])) @ edges
    total = np.zeros(m + h + len(law.shared))
    total[m + h:] = [sum(prescribed[i] for i in group) / scale for group in law.shared]
    left, rhs = _cones(problem, law)
    most = problem.kink_limit
    bounds = np.column_stack([np.concatenate([law.lower, -most, [0.0]]),
                              np.concatenate([law.upper, most, [np.inf]])]) / scale
    bounds[law.rubs] = [-np.inf, np.inf]
    bounds[law.slides] = [0.0, np.inf]
    return _Program(left, rhs / scale, equal, total, bounds, edges, scale)


def _cones(problem: Condensed, law: _Law) -> tuple[sp.csr_matrix, FloatArray]:
    """Rows and most [N] of friction, which on either side is at most its share of the partner."""
    rubs = law.rubs
    row = np.arange(2 * rubs.size)
    left = sp.csr_matrix(
        (np.concatenate([np.repeat([1.0, -1.0], rubs.size), np.tile(-law.friction[rubs], 2)]),
         (np.tile(row, 2), np.concatenate([np.tile(rubs, 2),
                                           np.tile(problem.partner[rubs], 2)]))),
        shape=(2 * rubs.size, problem.n + problem.kinks.shape[1] + 1))
    return left, np.concatenate([law.upper[rubs], -law.lower[rubs]])


def _without_answer(program: _Program, said: str, m: int, h: int) -> Capacity:
    """What is known where the program has no answer: whether zero load is carried."""
    missing, motion = _unbalanced(program)
    if missing <= 1e-9:  # zero load is carried, so the program should have had an answer
        return NOT_LIMITED if EITHER in said else Capacity(
            status=f"not found ({said})", factor=None, feasible=True, force=None, escape=None)
    largest = max(float(np.abs(motion).max(initial=0.0)), 1e-300)
    return Capacity(
        status="no equilibrium at zero load", factor=0.0, feasible=False, force=None,
        escape=Escape(motion[:m] / largest, np.zeros(h)))


def _limited(problem: Condensed, load: FloatArray, law: _Law, program: _Program, result: Any
             ) -> Capacity:
    """The answer of the program, with the failure mechanism that its dual is."""
    n, m, h = problem.n, problem.rigid.shape[1], problem.kinks.shape[1]
    # Marginals of the equilibrium rows are the velocities of the bodies, up to one factor.
    velocity = np.asarray(result.eqlin.marginals, dtype=float)[:m]
    inequal = np.asarray(result.ineqlin.marginals, dtype=float)
    single = np.asarray(result.lower.marginals + result.upper.marginals, dtype=float)
    turn = -single[n:n + h]
    at_bound = np.abs(single[:n]) > 1e-9
    # Off one edge of its cone a pair slides along the other; off both it separates.
    off = at_bound[law.presses], at_bound[law.slides]
    at_bound[law.presses], at_bound[law.slides] = off[0] & off[1], off[0] | off[1]
    let_go = {*np.flatnonzero(at_bound).tolist(),
              *np.tile(law.rubs, 2)[np.abs(inequal) > 1e-9].tolist()}
    largest = max(float(np.abs(velocity).max(initial=0.0)), 1e-300)
    load_rigid = problem.load_rigid @ load
    # Sign: the load does positive work on the mechanism.
    if float(velocity @ load_rigid) < 0:
        velocity, turn = -velocity, -turn
    return Capacity(
        status="limited", factor=float(result.x[-1]), feasible=True,
        force=(program.edges @ result.x)[:n] * program.scale,
        escape=Escape(velocity / largest, turn / largest), at_bound=tuple(sorted(let_go)),
        turning=tuple(np.flatnonzero(np.abs(turn) > 1e-9).tolist()))


def _edges(slides: IntArray, presses: IntArray, friction: FloatArray, size: int
           ) -> sp.csr_matrix:
    """Matrix from unknowns to forces for pairs that are bounded by frictional contact alone.

    The nonnegative forces along the two edges of such a pair's cone replace its normal force and
    friction force, so that the cone needs no rows.
    """
    both, slope = np.concatenate([presses, slides]), friction[slides]
    same = np.setdiff1d(np.arange(size), both)
    rows = np.concatenate([same, presses, presses, slides, slides])
    columns = np.concatenate([same, both, both])
    values = np.concatenate([np.ones(same.size + both.size), slope, -slope])
    return sp.csr_matrix((values, (rows, columns)), shape=(size, size))


def sliding_motion(problem: Condensed, load: FloatArray,
                   prescribed: dict[int, float] | None = None, found: Capacity | None = None
                   ) -> Escape | None:
    """The failure mechanism at capacity, in which rough faces slide without separating.

    The dual of a friction cone is a motion that opens as it slides. Here the friction force is
    fixed at the value that the normal forces at capacity allow, so that sliding is along the face.
    ``found``: the capacity, where it is known. None where no motion is known.
    """
    found = found or capacity(problem, load, prescribed=prescribed, sums=True)
    normal = np.zeros(problem.n) if found.force is None else np.maximum(
        found.force[problem.partner], 0.0)
    width = np.where(problem.friction > 0, problem.friction * normal, 0.0)
    fixed = problem.with_law(lower=problem.lower - width, upper=problem.upper + width,
                             friction=np.zeros(problem.n))
    return capacity(fixed, load, prescribed=prescribed, sums=True).escape or found.escape


def _least(cost: FloatArray, program: _Program, options: dict[str, Any]) -> Any:
    """Least cost ``cost x`` of a program, by HiGHS."""
    solve: Any = linprog  # its stubs, where installed, do not know sparse matrices
    with output_to_errors():
        return solve(cost, A_ub=program.left, b_ub=program.rhs, A_eq=program.equal,
                     b_eq=program.total, bounds=program.bounds, method="highs", options=options)


def _unbalanced(program: _Program) -> tuple[float, FloatArray]:
    """Smallest unbalanced force of any admissible system at zero load, and the motion of bodies
    and hinges ``(m + h,)`` that it drives (the dual).

    Friction cones and hinges may also be exceeded, at the same cost.
    """
    equal, left = program.equal[:, :-1], program.left[:, :-1]
    (m, n), k = equal.shape, left.shape[0]
    result = _least(np.concatenate([np.zeros(n), np.ones(2 * m + k)]), replace(
        program, left=sp.hstack([left, sp.csr_matrix((k, 2 * m)), -sp.eye(k)]).tocsr(),
        equal=sp.hstack([equal, sp.eye(m), -sp.eye(m), sp.csr_matrix((m, k))]).tocsr(),
        bounds=np.vstack([program.bounds[:-1], [[0.0, np.inf]] * (2 * m + k)])), {})
    if result.status != 0:
        raise SolveError(f"the balance at zero load could not be determined: {result.message}")
    return float(result.fun), np.asarray(result.eqlin.marginals, dtype=float)
