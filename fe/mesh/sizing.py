"""Element size at a point, and distribution of points along given lines."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import InputError

GROWTH = 0.3  # mm of element size gained for each mm of distance from a fine place
NARROW = np.radians(60.0)  # corners narrower than an equilateral triangle need finer elements
SHELL = np.radians(40.0)  # corners narrower than this get points at equal distances on both sides


class Sizing:
    """Target edge length [mm]: the given size, reduced where lines are close, then growing.

    Called with points (p, 2) it gives (p,). The size is limited by the length of a line, the
    distance to lines that do not join it, and the angle of a narrow corner.
    """

    def __init__(self, points: FloatArray, segments: IntArray,
                 size: float | Callable[[FloatArray], FloatArray]) -> None:
        self._size = size
        self._places = np.zeros((0, 2))
        self._limits = np.zeros(0)
        places, limits = _limits(points, segments, self)
        self._add(places, limits)

    def __call__(self, xy: FloatArray) -> FloatArray:
        h = self._given(xy)
        for start in range(0, len(xy), 4096):  # blocks bound the memory of the distance table
            part = slice(start, start + 4096)
            if len(self._limits):
                dx = xy[part, 0, None] - self._places[:, 0]
                dy = xy[part, 1, None] - self._places[:, 1]
                reach = self._limits + GROWTH * np.sqrt(dx * dx + dy * dy)
                h[part] = np.minimum(h[part], reach.min(axis=1))
        return h

    def refine(self, places: FloatArray, factor: float) -> None:
        """Scale the target element size by `factor` around points (p, 2)."""
        self._add(places, factor * self(places))

    def _given(self, xy: FloatArray) -> FloatArray:
        wanted = self._size(xy) if callable(self._size) else self._size
        h = np.array(np.broadcast_to(np.asarray(wanted, dtype=float), (len(xy),)))
        if not (np.isfinite(h) & (h > 0.0)).all():
            bad = int((~(np.isfinite(h) & (h > 0.0))).argmax())
            raise InputError("invalid element size", key="size",
                             value=f"{h[bad]} at ({xy[bad, 0]:.2f}, {xy[bad, 1]:.2f})",
                             expected="a length above 0 mm everywhere")
        return h

    def _add(self, places: FloatArray, limits: FloatArray) -> None:
        """Keep only active limits: tightest first, each below the size already required."""
        for k in np.argsort(limits, kind="stable"):
            if limits[k] < 0.97 * self(places[k:k + 1])[0]:
                self._places = np.vstack([self._places, places[k]])
                self._limits = np.append(self._limits, limits[k])


def sharpest_corners(points: FloatArray, segments: IntArray) -> FloatArray:
    """Sharpest angle (n,) between segments that meet at each point, degrees; 360 if none do."""
    sharpest = np.full(len(points), 360.0)
    for node, _, _, angle in _corners(points, segments):
        sharpest[node] = min(sharpest[node], float(np.degrees(angle)))
    return sharpest


def _corners(points: FloatArray, segments: IntArray) -> list[tuple[int, int, int, float]]:
    """Neighbouring segments around each point: (point, segment, next segment, angle)."""
    spokes: dict[int, list[tuple[float, int]]] = {}
    for k, (a, b) in enumerate(segments.tolist()):
        dx, dy = points[b] - points[a]
        spokes.setdefault(a, []).append((float(np.arctan2(dy, dx)), k))
        spokes.setdefault(b, []).append((float(np.arctan2(-dy, -dx)), k))
    corners = []
    for node in sorted(spokes):
        around = sorted(spokes[node])
        for j in range(len(around) if len(around) > 1 else 0):
            (here, k), (there, other) = around[j], around[(j + 1) % len(around)]
            corners.append((node, k, other, (there - here) % (2.0 * np.pi)))
    return corners


def _limits(points: FloatArray, segments: IntArray,
            given: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, FloatArray]:
    start, end = points[segments[:, 0]], points[segments[:, 1]]
    length = np.linalg.norm(end - start, axis=1)
    coarse = given(0.5 * (start + end))
    count = np.clip(np.ceil(2.0 * length / coarse).astype(int), 2, 200)
    owner = np.repeat(np.arange(len(segments)), count + 1)
    step = np.concatenate([np.linspace(0.0, 1.0, c + 1) for c in count])
    places = start[owner] + step[:, None] * (end - start)[owner]
    limits = np.minimum(length[owner], given(places))
    joined = (segments[:, None, :, None] == segments[None, :, None, :]).any(axis=(2, 3))
    narrow: dict[tuple[int, int], int] = {}
    for node, k, other, angle in _corners(points, segments):
        if angle < NARROW:
            narrow[k, other] = narrow[other, k] = node
    for j in range(len(segments)):
        apart = ~joined[owner, j]
        # A sample at the end of its segment also touches the segments that join it there.
        distance = distance_to_segment(places, start[j], end[j])
        touching = distance <= 1e-9 * length[owner]
        apart &= ~touching
        limits[apart] = np.minimum(limits[apart], distance[apart])
    for (k, other), node in sorted(narrow.items()):
        mine = owner == k
        distance = distance_to_segment(places[mine], start[other], end[other])
        shortest = min(length[k], length[other], float(given(points[node:node + 1])[0]))
        limits[mine] = np.minimum(limits[mine], np.maximum(1.3 * distance, 0.6 * shortest))
    return places, limits


def distance_to_segment(xy: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Distance of points (p, 2) from the segment a-b, mm."""
    along = b - a
    t = np.clip((xy - a) @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
    away = xy - a - t[:, None] * along
    return np.sqrt(away[:, 0] ** 2 + away[:, 1] ** 2)


def divide(points: FloatArray, segments: IntArray,
           sizing: Sizing) -> tuple[FloatArray, IntArray, IntArray]:
    """Put points along the segments: all points (given first), pieces (k, 2), their segment."""
    length = np.linalg.norm(points[segments[:, 1]] - points[segments[:, 0]], axis=1)
    shells = _shells(points, segments, length, sizing)
    new: list[FloatArray] = []
    pieces: list[tuple[int, int]] = []
    segment: list[int] = []
    total = len(points)
    for k, (a, b) in enumerate(segments.tolist()):
        stops = np.unique([0.0, *shells.get(k, []), 1.0])
        along = np.concatenate([
            _spread(points[a], points[b], s, t, float(length[k]), sizing)
            for s, t in pairwise(stops.tolist())])[:-1]
        chain = [a, *range(total, total + len(along)), b]
        total += len(along)
        new.append(points[a] + along[:, None] * (points[b] - points[a]))
        pieces.extend(pairwise(chain))
        segment.extend([k] * (len(chain) - 1))
    return (np.vstack([points, *new]), np.array(pieces, dtype=np.int64),
            np.array(segment, dtype=np.int64))


def _spread(a: FloatArray, b: FloatArray, s: float, t: float, length: float,
            sizing: Sizing) -> FloatArray:
    """Parameters in (s, t] that divide this stretch in equal counts of elements."""
    sample = np.linspace(s, t, max(9, min(401, int(4 * (t - s) * length / _least(sizing, a, b)))))
    density = 1.0 / sizing(a + sample[:, None] * (b - a))
    steps = np.diff(sample) * length * 0.5 * (density[1:] + density[:-1])
    passed = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(1, round(float(passed[-1])))
    inner = np.interp(passed[-1] * np.arange(1, count) / count, passed, sample)
    return np.append(inner, t)


def _least(sizing: Sizing, a: FloatArray, b: FloatArray) -> float:
    return float(sizing(a + np.linspace(0.0, 1.0, 5)[:, None] * (b - a)).min())


def _shells(points: FloatArray, segments: IntArray, length: FloatArray,
            sizing: Sizing) -> dict[int, list[float]]:
    """Points at equal distances on both sides of sharp corners, as parameters of the segments.

    The triangle in the corner is then isosceles and the strips behind it are even.
    """
    stops: dict[int, list[float]] = {}
    for node, k, other, angle in _corners(points, segments):
        if angle >= SHELL:
            continue
        room = 0.6 * min(length[k], length[other])
        radius = float(sizing(points[node:node + 1])[0])
        opening = 2.0 * np.sin(0.5 * angle)
        while radius < room:
            for leg in (k, other):
                part = radius / length[leg]
                stops.setdefault(leg, []).append(part if segments[leg, 0] == node else 1.0 - part)
            step = opening * radius * 1.3
            if step > 0.8 * float(sizing(points[node:node + 1])[0]) / 0.6:
                break
            radius += step
    return stops
