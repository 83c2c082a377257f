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
import scipy.linalg

from fe.body import Body, Column
from fe.link import LinkList
from fe.member import Member

FloatArray = np.ndarray
IntArray = np.ndarray


@dataclass(frozen=True)
class Measure:
    """A displacement to be read off every answer: the sum of columns of bodies [mm]."""

    name: str
    parts: tuple[tuple[Body, Column], ...]


@dataclass(frozen=True)
class Condensed:
    """The condensed problem of ``n`` links, ``m`` rigid motions, ``h`` kinks, ``p`` load cases.

    Law arrays (``compliance``, ``lower``, ``upper``, ``gap``, ``friction``, ``partner``,
    ``opens``) are over the links; `with_law` gives a copy with other values, which costs nothing.
    """

    links: LinkList
    bodies: tuple[Body, ...]
    loads: tuple[tuple[tuple[Body, Column], ...], ...]
    flexibility: FloatArray      # (n, n) F, mm/N
    rigid: FloatArray            # (n, m) G of the rigid motions
    kinks: FloatArray            # (n, h) G of the kinks
    kink_limit: FloatArray       # (h,) plastic moment over the member's length, N
    load_deformation: FloatArray  # (n, p) B^T K^+ f of each unit load case
    load_rigid: FloatArray       # (m, p) R^T f
    load_kinks: FloatArray       # (h, p) moment of loads on the members themselves, over length
    rigid_body: IntArray         # (m,) number of the body of each rigid motion
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
    partner: IntArray
    opens: IntArray

    def with_law(self, **law: Any) -> Condensed:
        """Copy with other law arrays or kink limits (friction, strengths, gaps, compliances)."""
        return replace(self, **law)

    @property
    def n(self) -> int:
        return self.flexibility.shape[0]

    def measures(self, load: FloatArray, force: FloatArray, rigid: FloatArray,
                 kink: FloatArray) -> dict[str, float]:
        """The measured displacements [mm] of an answer."""
        values = (self.measure_loads @ load - self.measure_links @ force
                  + self.measure_rigid @ rigid + self.measure_kinks @ kink)
        return dict(zip(self.measure_names, values.tolist(), strict=True))


def kink_motion(body: Member, node: int) -> FloatArray:
    """Displacements of a kink of amplitude 1 mm: the angle is 1 mm over the member's length."""
    return body.kink(node) / body.length


def condense(bodies: Sequence[Body], links: LinkList,
             loads: Sequence[Sequence[tuple[Body, Column]]],
             measures: Sequence[Measure] = ()) -> Condensed:
    """Condense bodies and links; ``loads`` is one list of (body, column) a load case.

    Responses already known to a body are reused. The order of the links is kept.
    """
    number = {id(b): i for i, b in enumerate(bodies)}
    n, p, k, h = len(links.links), len(loads), len(measures), len(links.hinges)
    m = sum(b.rigid.shape[1] for b in bodies)
    flex, rigid, kinks = np.zeros((n, n)), np.zeros((n, m)), np.zeros((n, h))
    load_def, load_rigid = np.zeros((n, p)), np.zeros((m, p))
    load_kinks = np.zeros((h, p))
    m_links, m_rigid = np.zeros((k, n)), np.zeros((k, m))
    m_kinks, m_loads = np.zeros((k, h)), np.zeros((k, p))
    limit = np.array([x.plastic_moment / x.member.length for x in links.hinges])

    # For every body: which link ends, loads and measures hold on it, with their signs.
    ends: list[list[tuple[int, float, Column]]] = [[] for _ in bodies]
    for i, link in enumerate(links.links):
        for sign, end in ((1.0, link.a), (-1.0, link.b)):
            if end.body is not None and end.column is not None:
                ends[number[id(end.body)]].append((i, sign, end.column))
    parts: list[list[tuple[str, int, Column]]] = [[] for _ in bodies]
    for kind, group in (("load", list(loads)), ("measure", [x.parts for x in measures])):
        for i, items in enumerate(group):
            for body, column in items:
                parts[number[id(body)]].append((kind, i, column))

    start = 0
    owner = np.zeros(m, dtype=np.int64)
    for i, body in enumerate(bodies):
        r = body.rigid.shape[1]
        span = slice(start, start + r)
        owner[span] = i
        start += r
        where = np.array([e[0] for e in ends[i]], dtype=np.int64)
        signs = np.array([e[1] for e in ends[i]])
        link_ids = body.register([e[2] for e in ends[i]])
        other_ids = body.register([q[2] for q in parts[i]])
        b = body.matrix(link_ids)
        np.add.at(flex, (where[:, None], where[None, :]),
                  signs[:, None] * signs[None, :] * body.flexibility(link_ids, link_ids))
        np.add.at(rigid[:, span], where, signs[:, None] * (b @ body.rigid))
        for j, hinge in enumerate(links.hinges):
            if hinge.member is body:
                np.add.at(kinks[:, j], where, signs * (b @ kink_motion(hinge.member, hinge.node)))
        if not parts[i]:
            continue
        cross = body.flexibility(other_ids, link_ids) * signs[None, :]
        among = body.flexibility(other_ids, other_ids)
        motions = body.matrix(other_ids) @ body.rigid
        is_load = [(row, q[1]) for row, q in enumerate(parts[i]) if q[0] == "load"]
        for row, (kind, j, column) in enumerate(parts[i]):
            if kind == "load":
                np.add.at(load_def[:, j], where, cross[row])
                load_rigid[span, j] += motions[row]
            else:
                np.add.at(m_links[j], where, cross[row])
                m_rigid[j, span] += motions[row]
                for other, case in is_load:
                    m_loads[j, case] += among[row, other]
            for q, hinge in enumerate(links.hinges):
                if hinge.member is body:
                    shape = kink_motion(hinge.member, hinge.node)
                    work = float(column.values @ shape[column.dofs])
                    if kind == "load":
                        load_kinks[q, j] += work
                    else:
                        m_kinks[j, q] += work
    return Condensed(links, tuple(bodies), tuple(tuple(c) for c in loads),
                     0.5 * (flex + flex.T), rigid, kinks, limit, load_def, load_rigid,
                     load_kinks, owner, tuple(x.name for x in measures), m_links, m_rigid, m_kinks,
                     m_loads, **links.arrays())


def smallest_eigenvalue(problem: Condensed) -> float:
    """Smallest eigenvalue of F on self-equilibrated forces over its largest: not below -1e-10.

    A negative value means a wrong mesh (clockwise triangles) or a wrong factorisation.
    """
    basis = scipy.linalg.null_space(problem.rigid.T) if problem.rigid.size else np.eye(problem.n)
    if basis.shape[1] == 0:
        return 0.0
    values = np.linalg.eigvalsh(basis.T @ problem.flexibility @ basis)
    return float(values[0] / max(values[-1], 1e-300))
