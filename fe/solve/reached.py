"""The state of a path at a load, unloading and reloading, work and energies.

Committed points do not depend on the loads that are asked for: the state at a load is one more
step from the last committed point before the path first reaches it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from buttress.fe.errors import SolveError
from buttress.fe.solve.path import MOST_PIVOTS, Path, Point
from buttress.fe.solve.ram import Pressed, Ram

CLOSE = 1e-9
"""Share of the load to which the ram's position is sought."""
TRIES = 40
NEAR, NEARINGS = 0.02, 6
"""Share of the way between two points, in load or in displacement, within which moved geometry is
near enough to that of a state, and how often it is moved nearer to that of a load."""
MOST_HALVINGS = 16
SHORTEST = 1 / 4
"""Shortest step of unloading, over the way."""


def state_at(path: Path, load: float) -> Point | None:
    """The first state along the path that carries ``load`` [N]; None where it reaches none.

    See `Path.reach` for what None means. Negative loads are never reached.
    """
    number = path.first_above(load) if load >= 0.0 else None
    if number is None:
        return None
    after = path.points[number]
    if number == 0 or after.load_N == load:
        return after
    moved = _moved_to(path, number, load) if after.moved is not None else None
    if moved is not None:
        return moved
    found = between(path, number, load)
    return None if found is None else path.between(number, found)


def at_place(path: Path, number: int, ram_mm: float, close: Point | None = None,
             share: float = NEAR) -> Point | None:
    """The state at a displacement [mm] between two committed points, the numbered one and that
    before it, stepped to from the first; None where it is not found.

    ``close``: a state found between the two on its own geometry, which serves within a ``share`` of
    the way from it.
    """
    before, after = path.points[number - 1:number + 1]
    if close is not None and close.moved is not None and (
            abs(ram_mm - close.ram_mm) <= share * (after.ram_mm - before.ram_mm)):
        shifted = _as_at(path, close, place=path.zero + ram_mm)
        if shifted is not None:
            return shifted
    if after.moved is not None and path.geometry is not None:
        moved = path.geometry.step(before, path.zero + ram_mm, path.zero, path.largest, 0, False,
                                   after)
        if isinstance(moved, Point):
            return moved
    found = path.ram_of(number).step(path.began(number), place=path.zero + ram_mm,
                                     near=[before.state, after.state], size=path.largest)
    if found is None or not found.held:
        return None
    return replace(path.between(number, found), ram_mm=ram_mm)


def _moved_to(path: Path, number: int, load: float) -> Point | None:
    """The state at a load [N] between two points on moved geometry, on geometry nearly its own;
    None where that is not found."""
    low, high = path.points[number - 1:number + 1]
    rise = high.load_N - low.load_N
    for _ in range(NEARINGS):
        share = (load - low.load_N) / (high.load_N - low.load_N)
        near = at_place(path, number, low.ram_mm + share * (high.ram_mm - low.ram_mm))
        if near is None or near.ram is None or near.began is None:
            return None
        if abs(near.load_N - load) <= NEAR * rise:
            return _as_at(path, near, load=load)
        low, high = (near, high) if near.load_N < load else (low, near)
    return None


def _as_at(path: Path, point: Point, place: float | None = None, load: float | None = None
           ) -> Point | None:
    """The state at a position [mm] or a load [N] of the ram on the geometry of a point; None where
    it is not found."""
    if point.ram is None or point.began is None:
        return None
    found = point.ram.step(point.began, place=place, load=load, near=[point.state],
                           size=path.largest)
    if found is None or not found.held:
        return None
    return replace(point, ram_mm=found.place - path.zero, load_N=found.load, state=found,
                   memory=point.ram.advance(found, point.began))


def between(path: Path, number: int, load: float) -> Pressed | None:
    """The state at a load [N] between those of two committed points, stepped to from the first."""
    before, after = path.points[number - 1:number + 1]
    ram, low, high, began = path.ram_of(number), before.state, after.state, path.began(number)
    size = max(abs(p.load_N) for p in path.points)
    # Moved geometry is that of the second point, where the first one carries a little more or less.
    slack = (1e-6 if after.moved is None else 1.0) * (after.state.place - before.state.place)

    def at_load(*near: Pressed) -> Pressed | None:
        found = ram.step(began, load=load, near=near, size=size)
        inside = found is not None and found.held and (
            before.state.place - slack <= found.place <= after.state.place + slack)
        return found if inside else None

    found = at_load(low, high)
    # The load need not rise steadily with the force held; it does with the ram.
    misses, spent = [low.load - load, high.load - load], ram.tally.pivots
    for _ in range(TRIES):
        if found is not None:
            return found
        share = min(max(misses[0] / (misses[0] - misses[1]), 0.02), 0.98)
        middle = ram.step(began, place=low.place + share * (high.place - low.place),
                          near=[low, high], size=size,
                          hammer=ram.tally.pivots - spent < MOST_PIVOTS)
        if middle is None or not middle.held:
            return None
        miss = middle.load - load
        if abs(miss) <= CLOSE * size:
            return at_load(middle) or middle
        if miss < 0.0:      # Illinois: the end that stays counts half
            misses = [miss, 0.5 * misses[1]] if low is not before.state else [miss, misses[1]]
            low = middle
        else:
            misses = [0.5 * misses[0], miss] if high is not after.state else [misses[0], miss]
            high = middle
        found = at_load(low, high)
    return None


def to_load(ram: Ram, point: Point, zero: float, load: float = 0.0) -> list[Point] | None:
    """Go on from a point to another load of the ram [N], held by force: unloading, as a rule.

    Returns the points of the way, slip and crushing committed at each; None where a step has no
    answer. ``zero``: the ram's position in the tightened state, see `Path`.
    """
    points, size = [point], max(abs(point.load_N), abs(load))
    start, done, step = point.load_N, 0.0, 1.0
    while done < 1.0:
        share = min(done + step, 1.0)
        last = points[-1]
        # Turning back, what has slipped sticks at first.
        found = ram.step(last.memory, load=start + share * (load - start), size=size,
                         near=[ram.settled(last.state), last.state], hammer=step <= SHORTEST)
        if found is None or not found.held:
            if step <= SHORTEST:
                return None
            step *= 0.5
            continue
        done = share
        points.append(Point(found.place - zero, found.load, found,
                            ram.advance(found, last.memory)))
    return points[1:]


def probe(path: Path, number: int, shares: tuple[float, ...] = (0.0, 0.5, 2.0)
          ) -> tuple[str, float]:
    """Whether other starts lead to another state at a committed point: "unique" or "branch found".

    With friction equilibrium may have several answers at one position of the ram. Tried are all
    friction slipping either way, and the states that other friction (``shares`` of it) leads to.
    The number is the spread of the load [N]; finding no branch does not prove that there is none.
    """
    point = path.points[number]
    loads = [point.load_N]
    for found in path.ram_of(number).others(path.began(number), point.state,
                                            path.zero + point.ram_mm, shares):
        # A piece that runs ahead of the ram without any force is no state under a load.
        if found.load > 1e-6 * point.load_N:
            loads.append(found.load)
    spread = float(np.ptp(loads))
    unique = spread <= 1e-6 * max(abs(x) for x in loads)
    return ("unique" if unique else "branch found"), spread


def work(path: Path, number: int, fine: float = 1e-9) -> float:
    """Work of the ram [N mm] in the step to a committed point.

    The step is halved wherever the load between two places is not their mean, until what that can
    change is below ``fine`` of the whole. Raises SolveError where a state between is not found.
    """
    before, after = path.points[number - 1:number + 1]
    ram, began = path.ram_of(number), path.began(number)
    whole = max(abs(after.load_N * (after.ram_mm - before.ram_mm)), 1e-300)

    def area(low: Pressed, high: Pressed, halvings: int) -> float:
        way = high.place - low.place
        middle = ram.step(began, place=low.place + 0.5 * way, near=[high, low],
                          size=path.peak_N)
        if middle is None or not middle.held:
            raise SolveError("a state between two points of a path was not found")
        bend = abs(middle.load - 0.5 * (low.load + high.load)) * way
        if halvings == 0 or bend <= fine * whole:
            return 0.25 * way * (low.load + 2 * middle.load + high.load)
        return area(low, middle, halvings - 1) + area(middle, high, halvings - 1)

    return area(ram.settled(before.state), after.state, MOST_HALVINGS)


def balance(path: Path, number: int) -> tuple[float, float, float]:
    """Work of ram and base load, change of the elastic energy, and what was dissipated [N mm] in
    the step to a committed point."""
    ram, last = path.ram_of(number), path.ram_of(number - 1)
    before, after = path.points[number - 1:number + 1]
    done = work(path, number) + ram.base_place(after.state) - last.base_place(before.state)
    return (done, ram.energy(after.state) - last.energy(before.state),
            ram.dissipated(after.state))
