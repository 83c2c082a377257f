"""From bodies and links to the condensed problem: flexibility between links, modes, loads.

Body i moves by ``u_i = K_i^+ (f_i - B_i lam) + N_i q`` where ``N_i`` are its rigid motions and the
kinks of its hinges, and ``q`` their amplitudes in mm. With ``F = B^T K^+ B`` and ``G = B^T N``

    w = d - offset - (F + C) lam + G q,        force on the modes = N^T f - G^T lam,

which is zero for a rigid motion and within the plastic moment for a kink.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.member import Member
from buttress.fe.links.link import LinkList
from buttress.fe.links.placed import Placed


@dataclass(frozen=True)
class Measure:
    """A displacement to be evaluated for every solution: the sum of columns of bodies [mm]."""

    name: str
    parts: tuple[tuple[Body, Column], ...]


@dataclass(frozen=True)
class Condensed:
    """The condensed problem of ``n`` links, ``m`` rigid motions, ``h`` kinks, ``p`` load cases.

    Law arrays (``compliance``, ``lower``, ``upper``, ``gap``, ``friction``, ``slope``,
    ``partner``, ``opens``) are over the links; `with_law` gives a copy with other values at
    negligible cost.
    """

    links: LinkList
    bodies: tuple[Body, ...]
    loads: tuple[tuple[tuple[Body, Column], ...], ...]
    flexibility: FloatArray      # (n, n) F, mm/N
    rigid: FloatArray            # (n, m) G of the rigid motions
    kinks: FloatArray            # (n, h) G of the kinks
    kink_limit: FloatArray       # (h,) plastic moment over the member's length, N
    kink_slope: FloatArray       # (h,) its rise with the kink's amplitude, N/mm
    load_deformation: FloatArray  # (n, p) B^T K^+ f of each unit load case
    load_rigid: FloatArray       # (m, p) R^T f
    load_kinks: FloatArray       # (h, p) moment of loads on the members themselves, over length
    load_flexibility: FloatArray  # (p, p) f^T K^+ f, mm/N
    rigid_body: IntArray         # (m,) number of the body of each rigid motion
    farthest: FloatArray         # (m,) rigid motion beyond which a solution is rejected, mm
    measure_names: tuple[str, ...]
    measure_links: FloatArray    # (k, n) c^T K^+ B
    measure_rigid: FloatArray    # (k, m)
    measure_kinks: FloatArray    # (k, h)
    measure_loads: FloatArray    # (k, p)
    compliance: FloatArray
    lower: FloatArray
    upper: FloatArray
    gap: FloatArray
    friction: FloatArray
    slope: FloatArray            # (n,) rise of the force beyond a bound, N/mm
    soften: FloatArray           # (n,) way of giving at which only the residual share is left, mm
    residual: FloatArray         # (n,) that share
    partner: IntArray
    opens: BoolArray
    measure_parts: tuple[tuple[tuple[Body, Column], ...], ...] = ()
    load_base: FloatArray | None = None
    """What unit loads have moved by the poses of moved bodies ``(p,)``, mm."""
    placed: Placed | None = None
    """How the bodies have moved; None as built."""

    def with_law(self, **law: Any) -> Condensed:
        """Copy with other law arrays or kink limits (friction, strengths, gaps, compliances)."""
        return replace(self, **law)

    def firm(self) -> Condensed:
        """Copy in which whatever hardens has no bound: limit analysis of it bounds any load."""
        hardens = self.slope > 0
        return replace(
            self, lower=np.where(hardens & (self.lower < 0), -np.inf, self.lower),
            upper=np.where(hardens, np.inf, self.upper),
            kink_limit=np.where(self.kink_slope > 0, np.inf, self.kink_limit))

    def kept(self, given: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares ``(n,)`` of the lower and upper bounds that are left after giving way [mm]."""
        soft = self.soften > 0
        way = np.minimum(np.abs(given) / np.where(soft, self.soften, 1.0), 1.0)
        left = np.where(soft, 1.0 - (1.0 - self.residual) * way, 1.0)
        return left, np.where(self.upper == -self.lower, left, 1.0)

    def after(self, slack: FloatArray, given: FloatArray) -> FloatArray:
        """What links that harden or soften have given way by ``(n,)`` after a slack, mm.

        Strength that is lost does not come back when a link slips back; crushing breaks no bond.
        """
        hardens = (self.slope > 0) & ((slack > 0) | (self.lower < 0))
        loses = (self.soften > 0) & ((slack < 0) | (self.upper == -self.lower))
        return given + np.where(hardens, slack, 0.0) + np.where(loses, np.abs(slack), 0.0)

    @property
    def n(self) -> int:
        """The number of links."""
        return self.flexibility.shape[0]

    def measures(self, load: FloatArray, force: FloatArray, rigid: FloatArray,
                 kink: FloatArray) -> dict[str, float]:
        """The measured displacements [mm] of a solution."""
        values = (self.measure_loads @ load - self.measure_links @ force
                  + self.measure_rigid @ rigid + self.measure_kinks @ kink)
        if self.placed is not None:
            values += self.placed.measured
        return dict(zip(self.measure_names, values.tolist(), strict=True))


def kink_motions(body: Member, nodes: Sequence[int]) -> FloatArray:
    """Displacements ``(n_dof, k)`` of kinks at nodes, of amplitude 1 mm: the angle is 1 mm over
    the member's length."""
    return body.kinks(nodes) / body.length


def condense(bodies: Sequence[Body], links: LinkList,
             loads: Sequence[Sequence[tuple[Body, Column]]],
             measures: Sequence[Measure] = ()) -> Condensed:
    """Condense bodies and links; ``loads`` is one list of (body, column) per load case.

    Responses already computed for a body are reused. The order of the links is kept.
    """
    number = {id(b): i for i, b in enumerate(bodies)}
    n, p, k, h = len(links.links), len(loads), len(measures), len(links.hinges)
    m = sum(b.rigid.shape[1] for b in bodies)
    flex, rigid, kinks = np.zeros((n, n)), np.zeros((n, m)), np.zeros((n, h))
    load_def, load_rigid = np.zeros((n, p)), np.zeros((m, p))
    load_kinks, load_flex = np.zeros((h, p)), np.zeros((p, p))
    m_links, m_rigid = np.zeros((k, n)), np.zeros((k, m))
    m_kinks, m_loads = np.zeros((k, h)), np.zeros((k, p))
    limit = np.array([x.plastic_moment / x.member.length for x in links.hinges])
    slope = np.array([x.slope / x.member.length**2 for x in links.hinges])

    # For every body: the link ends, hinges, loads and measures attached to it.
    ends: list[list[tuple[int, float, Column]]] = [[] for _ in bodies]
    for i, link in enumerate(links.links):
        for sign, end in ((1.0, link.a), (-1.0, link.b)):
            if end.body is not None and end.column is not None:
                ends[number[id(end.body)]].append((i, sign, end.column))
    bent = np.array([number[id(x.member)] for x in links.hinges], dtype=np.int64)
    pushes, readings = (_on_bodies(group, number) for group in (loads, [x.parts for x in measures]))

    start = 0
    owner = np.zeros(m, dtype=np.int64)
    for i, body in enumerate(bodies):
        r = body.rigid.shape[1]
        span = slice(start, start + r)
        owner[span] = i
        start += r
        link_ids = body.register([e[2] for e in ends[i]])
        # A link may have both ends on one body.
        at, first = np.unique(_numbers(ends[i]), return_index=True)
        signs = np.array([e[1] for e in ends[i]])[:, None]

        def of_links(table: FloatArray, signs: FloatArray = signs,
                     first: IntArray = first) -> FloatArray:
            table = signs * table
            return table if first.size == len(table) else np.add.reduceat(table, first, axis=0)

        flex[np.ix_(at, at)] += of_links(of_links(body.flexibility(link_ids, link_ids)).T)
        rigid[at, span] += of_links(body.motions(link_ids))
        bends = np.flatnonzero(bent == i)
        if isinstance(body, Member) and bends.size:
            turns = kink_motions(body, [links.hinges[j].node for j in bends])
            kinks[np.ix_(at, bends)] += of_links(body.matrix(link_ids) @ turns)
        if not (pushes[i] or readings[i]):
            continue
        push, load = body.register([c for _, c in pushes[i]]), _numbers(pushes[i])
        read, what = body.register([c for _, c in readings[i]]), _numbers(readings[i])
        # A load case or a measure may have several columns of one body.
        np.add.at(load_def.T, np.ix_(load, at), of_links(body.flexibility(link_ids, push)).T)
        np.add.at(load_rigid[span].T, load, body.motions(push))
        np.add.at(load_flex, np.ix_(load, load), body.flexibility(push, push))
        np.add.at(m_links, np.ix_(what, at), of_links(body.flexibility(link_ids, read)).T)
        np.add.at(m_rigid[:, span], what, body.motions(read))
        np.add.at(m_loads, np.ix_(what, load), body.flexibility(read, push))
        if bends.size:
            np.add.at(load_kinks.T, np.ix_(load, bends), body.matrix(push) @ turns)
            np.add.at(m_kinks, np.ix_(what, bends), body.matrix(read) @ turns)
    flex += flex.T
    flex *= 0.5
    return Condensed(
        links=links, bodies=tuple(bodies), loads=tuple(tuple(c) for c in loads), flexibility=flex,
        rigid=rigid, kinks=kinks, kink_limit=limit, kink_slope=slope, load_deformation=load_def,
        load_rigid=load_rigid, load_kinks=load_kinks, load_flexibility=load_flex,
        rigid_body=owner,
        farthest=np.concatenate([np.zeros(0), *(b.farthest for b in bodies)]),
        measure_names=tuple(x.name for x in measures), measure_links=m_links, measure_rigid=m_rigid,
        measure_kinks=m_kinks, measure_loads=m_loads,
        measure_parts=tuple(x.parts for x in measures), **links.arrays())


def _on_bodies(groups: Sequence[Sequence[tuple[Body, Column]]], number: dict[int, int]
               ) -> list[list[tuple[int, Column]]]:
    """For every body, which of its columns belong to which of the groups."""
    out: list[list[tuple[int, Column]]] = [[] for _ in number]
    for i, items in enumerate(groups):
        for body, column in items:
            out[number[id(body)]].append((i, column))
    return out


def _numbers(items: Sequence[tuple[Any, ...]]) -> IntArray:
    return np.array([item[0] for item in items], dtype=np.int64)
