"""The one reader of answers: what a quantity of the catalogue is made from, computed when asked.

`Figures` holds one answer. Each of its properties is computed once, and only if a quantity asks
for it: a sweep that wants subsidence does not pay for fields of strain. The functions below are
those that the rows of `buttress.results.quantities` name; each takes the figures and the name of
a place (a fragment, a fracture, a screw; empty for the construct under its load).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np

from buttress.bone.measures import rims
from buttress.bone.patches import patches
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import nodal_forces, pushes, resultant, strained
from buttress.implants.hardware import Part
from buttress.model.model import Model
from buttress.results.contact_figures import contact_result, graft_results, unknown_contacts
from buttress.results.contacts import contact_lines, meets
from buttress.results.escape import escaping
from buttress.results.picture import centroid
from buttress.results.reader import (
    Reader,
    bone_strain,
    fibre_stress,
    over_yield,
    stations_at_capacity,
    under_load,
    widening,
)
from buttress.results.records import ContactResult, GraftResult, Where
from buttress.results.stress import Spread, TissueField, tissue_fields

FloatArray = np.ndarray


class Level(StrEnum):
    """What a quantity belongs to; one of each level has one value."""

    CONSTRUCT = "construct"
    LOAD = "load"
    FRAGMENT = "fragment"
    EDGE = "edge"            # the lips of a fracture at the joint
    FRACTURE = "fracture"
    PART = "part"            # a plate, screw or wire
    CONTACT = "contact"      # a line along which bodies touch
    GRAFT = "graft"
    CONDYLE = "condyle"
    PIECE = "piece"          # a piece of bone, the shaft too


class Figures:
    """What is read of one answer. ``total``: joint force [N], that of the answer where not given.

    ``pulled``: forces on the nodes of each member, where they are known; ``stations``: which links
    are screw stations, where that is known.
    """

    def __init__(self, reader: Reader, model: Model, answer: Answer, total: float | None = None,
                 pulled: Callable[[], list[FloatArray]] | None = None,
                 stations: FloatArray | None = None) -> None:
        self.reader, self.model, self.answer = reader, model, answer
        self.bone, self.held = reader.bone, answer.held
        self.total = total if total is not None else float(
            answer.load.sum() / reader.bone.load_vector(1.0).sum())
        self._pulled, self.stations = pulled, stations
        self.number = {reader.bone.bodies[i].name: i for i in reader.bone.fragments}
        self._pushes: dict[str, tuple[FloatArray, dict[str, FloatArray]]] = {}
        self._stress: dict[tuple[str, str, str], Spread | None] = {}
        self._sunk: dict[str, tuple[FloatArray, FloatArray] | None] = {}

    def places(self, level: Level) -> tuple[str, ...]:
        """Names of what a level has one value for."""
        return tuple({
            Level.FRAGMENT: lambda: self.number, Level.LOAD: lambda: ("",),
            Level.EDGE: lambda: (e.name for e in self.bone.edges),
            Level.FRACTURE: lambda: (f.name for f in self.bone.study.fractures),
            Level.PART: lambda: self.parts, Level.CONTACT: lambda: self.contacts,
            Level.GRAFT: lambda: self.grafts,
            Level.CONDYLE: lambda: (p.name for p in patches(self.bone.study)),
            Level.PIECE: lambda: (s.name for s in self.bone.solids),
            Level.CONSTRUCT: tuple}[level]())

    def kind(self, level: Level, name: str) -> str:
        """What a column of a level with several kinds takes a place for; a wire is a screw."""
        if level is Level.PART:
            return "plate" if self.parts[name][0].kind == "plate" else "screw"
        return self.contacts[name].kind if level is Level.CONTACT else name

    @cached_property
    def values(self) -> dict[str, float]:
        """Displacements of the measured places since the last tightening [mm]."""
        return self.reader.measures(self.model, self.answer)

    @cached_property
    def moved(self) -> list[FloatArray]:
        """Displacements of all bodies ``(n_dof,)`` [mm] for strains: one solve per body."""
        return strained(self.model.problem, self.answer)

    @cached_property
    def parts(self) -> dict[str, tuple[Part, FloatArray]]:
        """Each plate, screw and wire with the forces on its nodes [N, N mm]."""
        moved, count = self.answer.moved, len(self.model.solids)
        forces = self._pulled() if self._pulled is not None and moved is None else nodal_forces(
            moved or self.model.problem, self.answer.load, self.answer.force)[count:]
        parts = self.model.hardware.parts
        if moved is not None and moved.placed is not None:
            parts = [p if chain is None else replace(p, member=chain.member)
                     for p, chain in zip(parts, moved.placed.members[count:], strict=True)]
        return {p.name: (p, f) for p, f in zip(parts, forces, strict=True)}

    @cached_property
    def stresses(self) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Von Mises stress of each member's elements [MPa], and their section forces [N, N mm]."""
        return {name: fibre_stress(part, force) for name, (part, force) in self.parts.items()}

    @cached_property
    def strains(self) -> tuple[list[FloatArray], float, float, float]:
        """Strain over yield strain of each body of bone; share of volume over it, percentiles."""
        return bone_strain(self.reader, self.moved)

    @cached_property
    def spread(self) -> dict[str, tuple[float, float, float]]:
        """Share of volume over yield and percentiles of strain of each piece of bone."""
        return {s.name: over_yield(r.ravel(), t.volume.ravel()) for s, t, r in zip(
            self.bone.solids, self.reader.tissues, self.strains[0], strict=True)}

    @cached_property
    def tissues(self) -> dict[tuple[str, str], TissueField]:
        """Stress of each tissue of each body, by the names of both."""
        return {(x.body, x.tissue): x for x in tissue_fields(self.model.solids, self.moved)}

    def stress_spread(self, name: str, tissue: str, measure: str) -> Spread | None:
        """Percentiles of a stress of a tissue of a body; None where it has no such tissue."""
        key = name, tissue, measure
        if key not in self._stress:
            found = self.tissues.get((name, tissue))
            self._stress[key] = None if found is None else found.spread(measure)
        return self._stress[key]

    @cached_property
    def contacts(self) -> dict[str, ContactResult]:
        """Contact along each line; without equilibrium names and kinds only."""
        return ({x.name: contact_result(x) for x in self._lines} if self.held
                else unknown_contacts(self.model))

    @cached_property
    def _lines(self) -> tuple:
        return contact_lines(self.model, self.answer)

    @cached_property
    def grafts(self) -> dict[str, GraftResult]:
        """What each fill has crushed and carries; without equilibrium names only."""
        return (graft_results(self.model, self.answer, self._lines, self.moved) if self.held
                else {f.name: GraftResult() for f in self.model.hardware.fills})

    def is_loose(self, name: str) -> bool:
        """Whether a piece is left where it is, and so no part of the answer."""
        return name in self.model.hardware.loose

    def sunk(self, name: str) -> tuple[FloatArray, FloatArray] | None:
        """Subsidence of a fragment's joint nodes and their shares; None where it has none."""
        if name not in self._sunk:
            number = self.number[name]
            known = not self.is_loose(name) and self.bone.articular(number)[0].size
            self._sunk[name] = self.reader.surface(self.values, number) if known else None
        return self._sunk[name]

    @cached_property
    def apart(self) -> dict[str, tuple[float, float]]:
        """Step-off and gap of the lips of each fracture at the joint [mm]."""
        return {e.name: self.reader.step_off(self.values, e.name) for e in self.bone.edges}

    def centre(self, name: str) -> FloatArray:
        """Centroid of a fragment [mm]."""
        body = self.bone.bodies[self.number[name]]
        return centroid(body.points, body.mesh.triangles)

    def pushes(self, name: str) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Load on a fragment and the forces from every source: Fx, Fy [N] and moment about its
        centroid [N mm].

        Of a loose piece nothing; without equilibrium the load alone.
        """
        if name not in self._pushes:
            body, about = self.bone.bodies[self.number[name]], self.centre(name)
            if self.is_loose(name):
                found: tuple[FloatArray, dict[str, FloatArray]] = np.zeros(3), {}
            elif self.held:
                found = pushes(self.model.problem, self.answer, body, about)
            else:
                found = sum((factor * resultant(body, column, about)
                             for factor, case in zip(self.bone.load_vector(self.total),
                                                     self.bone.loads, strict=True)
                             for loaded, column in case if loaded is body), np.zeros(3)), {}
            self._pushes[name] = found
        return self._pushes[name]

    def unbalanced(self, name: str) -> float:
        """What the forces on a fragment leave unbalanced [N]: the largest component, moments over
        the drawn width of the section (which a slice or a traced outline has of its own)."""
        applied, sources = self.pushes(name)
        left = applied + sum(sources.values(), np.zeros(3))
        return max(float(np.abs(left[:2]).max()), abs(float(left[2])) / self.bone.section.extent)


def subsidence_mean(f: Figures, name: str) -> float | None:
    """Mean distal movement of a fragment's joint surface [mm]; None where it has none."""
    return None if (found := f.sunk(name)) is None else float(found[0] @ found[1])


def subsidence_max(f: Figures, name: str) -> float | None:
    """Largest distal movement of a fragment's joint surface [mm]; None where it has none."""
    return None if (found := f.sunk(name)) is None else float(found[0].max())


def subsidence_net(f: Figures, name: str) -> float | None:
    """Mean distal movement of a fragment's joint surface less that of the intact bone [mm]."""
    mean = subsidence_mean(f, name)
    return None if mean is None else mean - f.total * f.reader.intact[
        f.bone.solids[f.number[name]].name]


def lowest_point(f: Figures, name: str) -> Where:
    """Where a fragment's joint surface has sunk most."""
    found, number = f.sunk(name), f.number[name]
    assert found is not None
    node = f.bone.articular(number)[0][int(np.argmax(found[0]))]
    return at(name, f.bone.bodies[number].points[node])


def tilt(f: Figures, name: str) -> float | None:
    """Turn of a fragment in the frame of the shaft [degrees], positive where its end at +x
    (lateral, posterior) rises; None for a loose piece.
    """
    return None if f.is_loose(name) else float(
        np.degrees(f.values[f"turn {f.number[name]}"] - f.values["frame turn"]))


def balance_error(f: Figures, name: str) -> float | None:
    """Largest unbalanced force of a fragment over the joint force, a share."""
    return f.unbalanced(name) / f.total


def step_off(f: Figures, name: str) -> float:
    """Movement of a fracture's lips across the joint line [mm], unsigned."""
    return f.apart[name][0]


def gap(f: Figures, name: str) -> float:
    """Movement of a fracture's lips along the joint line [mm], opening positive."""
    return f.apart[name][1]


def lips(f: Figures, name: str) -> Where:
    """Where a fracture meets the joint."""
    e = next(x for x in f.bone.edges if x.name == name)
    return at(name, 0.5 * (f.bone.bodies[e.body_a].points[e.node_a]
                           + f.bone.bodies[e.body_b].points[e.node_b]))


def _along(f: Figures, name: str, kind: str) -> list[float]:
    """Slacks of a fracture's links where its faces still meet [mm]."""
    links, met = f.model.problem.links.links, meets(f.model, f.answer)
    return [float(f.answer.slack[i]) for i, x in enumerate(links)
            if x.source == name and x.kind == kind and met[i]]


def slip(f: Figures, name: str) -> float:
    """Largest slip along a fracture [mm], unsigned."""
    return max((abs(s) for s in _along(f, name, "contact friction")), default=0.0)


def opening(f: Figures, name: str) -> float:
    """Largest opening of a fracture [mm], 0 where it is closed."""
    return max([0.0, *(-s for s in _along(f, name, "contact"))])


def slip_beyond_element(f: Figures, name: str) -> bool:
    """Whether a fracture has slid farther than an element is long."""
    return slip(f, name) > min(b.mesh.size for b in f.bone.bodies)


def plateau_widening(f: Figures, name: str) -> float | None:
    """By how much the two rims of the plateau have moved apart [mm]; None in a slice."""
    return widening(f.bone, f.values)


def wider_rim(f: Figures, name: str) -> Where:
    """The rim of the plateau that moves more in the frame of the shaft."""
    found = []
    for (side, points), sign in zip(rims(f.bone.bodies, f.bone.study.section.sides).items(),
                                    (-1.0, 1.0), strict=True):
        body, node = points[0]
        place = f.bone.bodies[body].points[node]
        frame = f.values["frame x"] - f.values["frame turn"] * (place[1] - f.bone.frame_centre[1])
        found.append((sign * (f.values[f"rim {side} x"] - frame),
                      at(f.bone.solids[body].name, place)))
    return max(found, key=lambda x: x[0])[1]


def stiffness(f: Figures, name: str) -> float | None:
    """Joint force on the section over the mean movement of the contact patches along it [N/mm];
    None where they do not move that way.
    """
    share, moved = under_load(f.bone, f.values)
    return share * f.total / moved if moved > 0 else None


def stations(f: Figures, name: str) -> int:
    """Screw stations whose bearing or thread carries all that it can."""
    return stations_at_capacity(f.model, f.answer, f.stations)


def who_escapes(f: Figures, name: str) -> str | None:
    """Name of the body that moves freely; None where the load is held or no mechanism is known."""
    return None if f.held else escaping(f.model, f.answer)


def von_mises(f: Figures, name: str) -> float:
    """Largest von Mises stress of a member [MPa]."""
    return float(f.stresses[name][0].max(initial=0.0))


def yield_ratio(f: Figures, name: str) -> float:
    """Largest von Mises stress of a member over the yield strength of its metal."""
    return von_mises(f, name) / f.parts[name][0].material.yield_strength


def axial(f: Figures, name: str) -> float:
    """The largest axial force of a member by size [N], tension positive."""
    inner = f.stresses[name][1]
    return float(inner[int(np.argmax(np.abs(inner[:, 0]))), 0]) if len(inner) else 0.0


def hinges(f: Figures, name: str) -> int:
    """Number of plastic hinges that have turned in a member."""
    return sum(abs(kink) > 1e-12 for kink, hinge in zip(
        f.answer.kink.tolist(), f.model.problem.links.hinges, strict=True) if hinge.source == name)


def most_stressed(f: Figures, name: str) -> Where:
    """Where a member's stress is largest."""
    stress, points = f.stresses[name][0], f.parts[name][0].member.points
    worst = int(np.argmax(stress)) if stress.size else 0
    return at(name, points[worst:worst + 2].mean(axis=0))


def volume(f: Figures, name: str) -> float:
    """Volume of a piece of bone or a fill [mm³]."""
    return float(next(t.volume.sum() for s, t in zip(
        f.bone.solids, f.reader.tissues, strict=True) if s.name == name))


def of_bone(part: int) -> Callable[[Figures, str], float]:
    """Share of volume over yield (0), 95th (1) and 99th percentile (2): of a piece, or of all."""
    return lambda f, name: f.spread[name][part] if name else f.strains[1:][part]


def of_tissue(tissue: str, measure: str, part: str) -> Callable[[Figures, str], Any]:
    """A percentile of a stress of a tissue, or the place of the 99th."""
    def found(f: Figures, name: str) -> Any:
        spread = f.stress_spread(name, tissue, measure)
        return None if spread is None else getattr(spread, part)

    return found


def of_record(level: Level, key: str) -> Callable[[Figures, str], Any]:
    """A figure of a line of contact or of a graft."""
    return lambda f, name: getattr(
        (f.contacts if level is Level.CONTACT else f.grafts)[name], key)


def of_answer(key: str) -> Callable[[Figures, str], Any]:
    """What an answer says of itself."""
    return lambda f, name: getattr(f.answer, key)


def at(name: str, point: FloatArray) -> Where:
    """A named part and a place on it."""
    return Where(name, (float(point[0]), float(point[1])))
