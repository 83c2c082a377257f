"""Faces that slide along each other: where each point of one now meets the other.

The links of a face join matched points, in order along it. Once the bodies have moved, a point of
the one face (the slave) meets the other between two of its points (the master). The master face is
the smooth curve through its points with their normals (cubic Hermite), so that the normal does not
jump from one edge to the next and is the gradient of the gap: force and gap do the same work.

Where two faces have slid, each of them ends within the other at one end. A corner that presses on a
face does so along the normal of the face, whichever body it belongs to. So from either end to the
middle, it is the points of the face that ends there within the other that meet it; what has slid
past the other's end meets nothing, and its link is open.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.moved.spots import NONE, Layout
from buttress.fe.moved.vectors import left_of

PAST = 1e-6
"""Share of an edge by which a point may be past the end of a face and still meet it."""
SAME_MM = 1e-3
"""Faces that end as near to each other as this end at the same place."""
REACH_MM = 10.0
"""A point farther than this from the other face does not meet it."""
NEWTON = 5


@dataclass(frozen=True)
class Curve:
    """Points of a face in order: their spots ``(k,)`` and the links that they belong to ``(k,)``.

    ``side`` is 0 for the points of the links' first bodies and 1 for those of their second.
    """

    spot: IntArray
    link: IntArray
    side: int


@dataclass(frozen=True)
class Face:
    """The normal links of a face ``(k,)``, their friction links (`NONE` without), the spots of
    their two ends, and the curve of either side. Where neither has slid past the other, the points
    of side ``slave`` meet it: those of the larger piece, in whatever order pieces are listed."""

    normal: IntArray
    friction: IntArray
    spots: tuple[IntArray, IntArray]
    curves: tuple[Curve, Curve]
    slave: int = 0


@dataclass(frozen=True)
class Meeting:
    """Where the links of all faces meet: arrays over the ``n`` links of the problem.

    ``slave``: 0 or 1, the end whose own point it is; `NONE` where nothing meets, and for links
    that belong to no face. ``low``, ``high``: spots of the master's edge, ``share`` the place on
    it (0 at ``low``).
    """

    slave: IntArray
    low: IntArray
    high: IntArray
    share: FloatArray
    point: FloatArray      # (n, 2) of the master, mm
    normal: FloatArray     # (n, 2) from the first body to the second


def faces_of(layout: Layout, kinds: Iterable[str]) -> tuple[Face, ...]:
    """The faces among a problem's links: contacts of the given kinds, by source and bodies."""
    kinds, p = set(kinds), layout.problem
    links = p.links.links
    groups: dict[tuple, list[int]] = {}
    for i, link in enumerate(links):
        if link.kind in kinds and link.opens and NONE not in (layout.a[i], layout.b[i]):
            key = link.kind, link.source, layout.body[layout.a[i]], layout.body[layout.b[i]]
            groups.setdefault(key, []).append(i)
    rubs = {int(p.partner[i]): i for i in np.flatnonzero(p.friction > 0)}
    out = []
    for (kind, source, *bodies), own in groups.items():
        curves = []
        for side, ends in enumerate((layout.a, layout.b)):
            whole = own
            if layout.member[bodies[side]]:
                # A plate is one surface, whatever pieces lie under it.
                whole = sorted(i for key, some in groups.items() for i in some if (
                    key[:2] == (kind, source) and key[2 + side] == bodies[side]))
            curves.append(_curve(layout, ends, whole, side))
        if min(c.spot.size for c in curves) >= 2:
            normal = np.array(own)
            plate = bool(layout.member[bodies].any())
            larger = 0 if plate else int(np.argmax(layout.length[bodies]))
            out.append(Face(normal, np.array([rubs.get(i, NONE) for i in own]),
                            (layout.a[normal], layout.b[normal]), (curves[0], curves[1]), larger))
    return tuple(out)


def _curve(layout: Layout, ends: IntArray, links: list[int], side: int) -> Curve:
    """The points of the links' ends, without those at the same place as the one before."""
    kept = [links[0]]
    for i in links[1:]:
        if np.hypot(*(layout.point[ends[i]] - layout.point[ends[kept[-1]]])) > 1e-6:
            kept.append(i)
    return Curve(ends[np.array(kept)], np.array(kept), side)


def meet(faces: Iterable[Face], n: int, place: FloatArray, normal: FloatArray,
         before: Meeting | None = None) -> Meeting:
    """Where the faces meet when all spots are at ``place (s, 2)``; ``normal (n, 2, 2)`` are the
    normals at the points of the links' two ends.

    ``before``: keep its slaves, also a little past the end of a face; else they are chosen anew.
    """
    out = Meeting(np.full(n, NONE), np.full(n, NONE), np.full(n, NONE), np.zeros(n),
                  np.zeros((n, 2)), np.zeros((n, 2)))
    for face in faces:
        if before is None:
            slave = _slaves(face, place, normal)
        else:
            slave = before.slave[face.normal]
        for side in (0, 1):
            own = slave == side
            if not own.any():
                continue
            found, _, hits = _closest(face.curves[1 - side], place, normal,
                                      place[face.spots[side][own]])
            if before is not None:
                hits[:] = True
            _enter(out, face.normal[own][hits], side, [x[hits] for x in found])
        rubs = face.friction != NONE
        for values in (out.slave, out.low, out.high, out.share, out.point, out.normal):
            values[face.friction[rubs]] = values[face.normal[rubs]]
    return out


def _slaves(face: Face, place: FloatArray, normal: FloatArray) -> IntArray:
    """The side whose point each link of a face ``(k,)`` is to have; `NONE` for what has slid away
    from the middle, where the two sides change over."""
    first, last = (_within(face, place, end) for end in (0, -1))
    if first == last:
        return np.full(face.normal.size, first)
    # From its end to its middle the points of one face, beyond it those of the other.
    side, curve = face.slave, face.curves[face.slave]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place[curve.spot], axis=0).T))])
    half = float(np.interp(0.5 * along[-1], along, np.arange(along.size)))
    own = np.searchsorted(curve.link, face.normal, side="right") - 1.0
    other = _closest(curve, place, normal, place[face.spots[1 - side]])[1]
    sign = 1.0 if first == side else -1.0
    return np.where(sign * (own - half) <= PAST, side,
                    np.where(sign * (other - half) > PAST, 1 - side, NONE))


def _within(face: Face, place: FloatArray, end: int) -> int:
    """The side whose end (0 or -1) lies within the other's face; `Face.slave` where both end at
    the same place."""
    past = np.zeros(2)
    for side in (0, 1):
        x = place[face.curves[1 - side].spot]
        out = x[0] - x[1] if end == 0 else x[-1] - x[-2]
        past[side] = (place[face.spots[side][end]] - x[end]) @ out / np.hypot(*out)
    return face.slave if abs(past[0] - past[1]) < SAME_MM else int(np.argmin(past))


def _enter(out: Meeting, links: IntArray, side: int, found: list) -> None:
    out.slave[links] = side
    for values, new in zip((out.low, out.high, out.share, out.point, out.normal), found,
                           strict=True):
        values[links] = new


def _closest(curve: Curve, place: FloatArray, normal: FloatArray, points: FloatArray
             ) -> tuple[list, FloatArray, BoolArray]:
    """For points ``(s, 2)``: edge (two spots), share, place and normal on a curve; where along it
    that is, counted in its points; and which meet it."""
    x, n = place[curve.spot], normal[curve.link, curve.side]
    step = np.diff(x, axis=0)
    length2 = np.einsum("ij,ij->i", step, step)
    ahead = points[:, None] - x[None, :-1]
    t = np.einsum("sij,ij->si", ahead, step) / length2
    inner = np.clip(t, 0.0, 1.0)
    away = np.linalg.norm(ahead - inner[..., None] * step, axis=2)
    each, k = np.arange(len(points)), np.argmin(away, axis=1)
    t = t[each, k]
    last = len(step) - 1
    hits = ~(((k == 0) & (t < -PAST)) | ((k == last) & (t > 1.0 + PAST)))
    hits &= away[each, k] < REACH_MM
    low, high = np.where(k == 0, -1.0, 0.0), np.where(k == last, 2.0, 1.0)
    share = np.clip(t, low, high)
    tangent = left_of(n)
    tangent *= np.sign(np.einsum("ij,ij->i", tangent, np.gradient(x, axis=0)))[:, None]
    size = np.sqrt(length2)[k][:, None]
    ends = x[k], x[k + 1], size * tangent[k], size * tangent[k + 1]
    for _ in range(NEWTON):
        at, rate = hermite(share, *ends)
        miss = np.einsum("ij,ij->i", points - at, rate)
        share = np.clip(share + miss / np.einsum("ij,ij->i", rate, rate), low, high)
    at, rate = hermite(share, *ends)
    across = left_of(rate)
    across *= np.sign(np.einsum("ij,ij->i", across, n[k] + n[k + 1]))[:, None]
    across /= np.linalg.norm(across, axis=1)[:, None]
    return [curve.spot[k], curve.spot[k + 1], share, at, across], k + share, hits


def hermite(t: FloatArray, p: FloatArray, q: FloatArray, u: FloatArray, v: FloatArray
            ) -> tuple[FloatArray, FloatArray]:
    """Points ``(s, 2)`` of cubic curves from ``p`` to ``q`` with the tangents ``u`` and ``v`` at
    ``t (s,)``, and their rates."""
    t = t[:, None]
    at = ((2 * t**3 - 3 * t**2 + 1) * p + (t**3 - 2 * t**2 + t) * u
          + (3 * t**2 - 2 * t**3) * q + (t**3 - t**2) * v)
    rate = (6 * (t**2 - t) * (p - q) + (3 * t**2 - 4 * t + 1) * u + (3 * t**2 - 2 * t) * v)
    return at, rate
