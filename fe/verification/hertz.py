"""A roller pressed on a flat (Hertz; Johnson, Contact Mechanics, 1985, ch. 4; memory).

As in Hertz's theory both bodies are half-planes that meet with the roller's gap x²/2R: the face is
flat, the links have the gap. Half of each is meshed, `FAR` contact widths wide and deep. The peak
is the force of the middle node over its weight; the half-width follows from the second moment of
the pressure, a² = 4 sum(f x²) / sum(f), which no single node decides. The approach of the bodies
is not comparable in two dimensions: it grows with the size of what is meshed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, edge_weights
from buttress.fe.bodies.body import Column
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped
from buttress.fe.verification.parts import matched, piece, touch
from buttress.fe.verification.problem import unknowns

FORCE, RADIUS = 35e3, 50.0  # N/mm, mm
MODULI, POISSON = (210e3, 70e3), 0.3  # MPa: roller, flat
FAR = 24.0  # size of the bodies over the half-width
SOURCE = "Hertz; Johnson, Contact Mechanics, 1985, ch. 4"
READ = "; half-width and peak read in Rao, Engineering Optimization, problem 5.5 (p. 297)"


@dataclass(frozen=True)
class Contact:
    """Peak pressure [MPa] and half-width [mm]."""

    peak: float
    width: float


def theory(*, plane_strain: bool) -> Contact:
    """Hertz's line contact."""
    shrink = 1 - POISSON**2 if plane_strain else 1.0
    effective = 1 / sum(shrink / e for e in MODULI)
    width = float(np.sqrt(4 * FORCE * RADIUS / (np.pi * effective)))
    return Contact(2 * FORCE / (np.pi * width), width)


def stretched(across: int, width: float, share: float = 1.5, growth: float = 7 / 6
              ) -> FloatArray:
    """Places (k,) from 0 to at least `FAR` widths: `across` equal elements in `width`, up to
    `share` widths, then each larger than the last by `growth`."""
    step = width / across
    places = list(step * np.arange(round(share * across) + 1))
    while places[-1] < FAR * width:
        step *= growth
        places.append(places[-1] + step)
    return np.array(places)


def graded(x: FloatArray, y: FloatArray) -> Grid:
    """Lattice with the given lines; mid-sides in their middles."""
    def at(lines: FloatArray, share: FloatArray) -> FloatArray:
        return np.interp(share * (len(lines) - 1), np.arange(len(lines)), lines)
    return mapped(len(x) - 1, len(y) - 1, lambda s, t: (at(x, s), at(y, t)))


@cache
def solved(across: int = 8, *, plane_strain: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places, forces and pressures of the face's nodes, ordered from the middle outward."""
    width = theory(plane_strain=plane_strain).width
    lines = stretched(across, width)
    down, up = graded(lines, -lines[::-1]), graded(lines, lines)
    poisson = POISSON / (1 - POISSON) if plane_strain else POISSON
    shrink = 1 - POISSON**2 if plane_strain else 1.0
    flat = piece(down, MODULI[1] / shrink, poisson, fixed=np.union1d(
        unknowns(down.edges["bottom"]), unknowns(down.edges["left"], [0])), name="flat")
    roller = piece(up, MODULI[0] / shrink, poisson, fixed=unknowns(up.edges["left"], [0]),
                   name="roller")
    nodes = matched(down, "top", up, "bottom")
    x = down.points[nodes[0], 0]
    near = x < 1.5 * width
    nodes, x = (nodes[0][near], nodes[1][near]), x[near]
    links = LinkList()
    touch(links, flat, roller, nodes, [0.0, 1.0], gap=x**2 / (2 * RADIUS))
    load = edge_load(up, up.edges["top"], lambda xy, normal: -normal / lines[-1])
    problem = condense([flat, roller], links, [[(roller, Column.dense(load))]])
    answer = Solver(problem).answer(np.array([FORCE / 2]))
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    pressure = answer.force / edge_weights(down, down.edges["top"])[nodes[0]]
    order = np.argsort(x)
    return x[order], answer.force[order], pressure[order]


def computed(across: int = 8, *, plane_strain: bool) -> Contact:
    """What the contact links say."""
    x, force, pressure = solved(across, plane_strain=plane_strain)
    return Contact(float(pressure[0]), float(2 * np.sqrt(force @ x**2 / force.sum())))


def value(key: str, plane_strain: bool) -> float:
    """One of the two, by its name."""
    return float(getattr(computed(plane_strain=plane_strain), key))


CASES = register(*(
    Case(f"Hertz, {name}, {label}", SOURCE + READ * strain, "seen" if strain else "memory", label,
         unit,
         getattr(theory(plane_strain=strain), key), 0.01,
         partial(value, key, strain))
    for name, strain in (("plane strain", True), ("plane stress", False))
    for key, label, unit in (("peak", "peak pressure", "MPa"), ("width", "half-width", "mm"))))
