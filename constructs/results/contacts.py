"""Pressure along every line where bodies touch: fractures, plates on bone, faces of fills.

A pressure is a node's force over its share of the length (edge shape functions: 1/6, 4/6, 1/6)
and the depth that it stands for: the bone's chord t, at a plate the plate's width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point

from buttress.bone.layout import fill_outline
from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.links.link import Kind, Link
from buttress.fe.links.placed import still_meet
from buttress.fe.solve.answer import Answer
from buttress.implants.kinds import Hold
from buttress.implants.placement import plate_line
from buttress.implants.sections import section_at
from buttress.model.model import Model

PRESSING = (Kind.CONTACT, Kind.BOND, Hold.PLATE_ON_BONE, Hold.BONDED_PLATE)
DUST = 1e-10
"""Forces under this share of the largest force of any link are rounding, and taken as 0."""
AT_BOUND = 1e-6
"""A node counts as crushed when its force is this close to the crushing strength, relative."""


@dataclass(frozen=True)
class ContactLine:
    """The nodes of one line of contact in order, with what was found there under one load.

    ``normals``, as faces then lie, point from the first body of ``pairs`` to the second; ``pair``
    numbers the two bodies of each node. ``opening`` and ``crushed`` are 0 where a node neither
    parts nor crushes, ``opening`` NaN where it has slid beyond the end of the other face.
    """

    name: str
    kind: str                 # "fracture" | "plate" | "graft"
    places: FloatArray        # (k, 2) mm
    normals: FloatArray       # (k, 2)
    position: FloatArray      # (k,) mm along the line
    length: FloatArray        # (k,) mm
    depth: FloatArray         # (k,) mm
    pair: IntArray            # (k,)
    pairs: tuple[tuple[str, str], ...]
    force: FloatArray         # (k,) N, compression positive
    rub: FloatArray           # (k,) N along the line
    opening: FloatArray       # (k,) mm
    crushed: FloatArray       # (k,) mm
    at_strength: np.ndarray   # (k,) bool

    @property
    def pressure(self) -> FloatArray:
        """Normal force over length and depth ``(k,)``, MPa; below 0 where bonded faces pull."""
        return self.force / (self.length * self.depth)

    @property
    def shear(self) -> FloatArray:
        """Force along the line over length and depth ``(k,)``, MPa."""
        return self.rub / (self.length * self.depth)

    @property
    def touching(self) -> np.ndarray:
        """Nodes that press ``(k,)``."""
        return self.force > 0.0


def contact_lines(model: Model, answer: Answer) -> tuple[ContactLine, ...]:
    """Every line of contact of a construct under one load: fractures, plates, fills.

    Forces are those that act: tightening and load together.
    """
    links = model.problem.links.links
    groups: dict[str, list[int]] = {}
    rubs: dict[int, int] = {}
    for i, link in enumerate(links):
        if link.kind in PRESSING and not _along(links, i):
            groups.setdefault(link.source, []).append(i)
        elif link.kind.removesuffix(" friction").removesuffix(" shear") in PRESSING:
            rubs[i - 1] = i    # the link along a face is added right after the one across it
    kinds = {p.name: p.kind for p in model.hardware.parts}
    kinds |= {f.name: "graft" for f in model.hardware.fills}
    order = ("fracture", "plate", "graft")
    return tuple(_line(model, answer, name, kinds.get(name, "fracture"), np.array(groups[name]),
                       rubs)
                 for name in sorted(groups, key=lambda n: order.index(kinds.get(n, "fracture"))))


def meets(model: Model, answer: Answer) -> BoolArray:
    """Of each link, whether its faces still lie over one another ``(n,)``: in moved geometry what
    has slid beyond the end of the other face meets nothing, and has a stated gap."""
    problem = model.problem
    if answer.moved is None:
        return np.ones(problem.n, dtype=bool)
    return still_meet(answer.moved.gap, problem.gap)


def _along(links: list[Link], i: int) -> bool:
    """Whether a link is the second, tangential one of a bonded plate's node."""
    link = links[i]
    return (link.kind == Hold.BONDED_PLATE and i > 0 and links[i - 1].kind == link.kind
            and links[i - 1].place == link.place
            and abs(float(np.dot(links[i - 1].direction, link.direction))) < 1e-9)


def _line(model: Model, answer: Answer, name: str, kind: str, numbers: IntArray,
          rubs: dict[int, int]) -> ContactLine:
    links = model.problem.links.links
    mine = [links[i] for i in numbers]
    places = np.array([x.place for x in mine])
    weight = np.array([x.weight for x in mine])
    position, depth = (_on_plate(model, name, places) if kind == "plate"
                       else _on_face(model, name, kind, mine, places))
    names: dict[tuple[str, str], int] = {}
    solids = {id(s.body): s.name for s in model.solids}

    def called(body: object) -> str:
        return solids.get(id(body), name)

    pair = np.array([names.setdefault((called(x.a.body), called(x.b.body)), len(names))
                     for x in mine])
    dust = DUST * float(np.abs(answer.force).max(initial=0.0))
    found = np.where(np.abs(answer.force) > dust, answer.force, 0.0)
    force, slack = found[numbers], answer.slack[numbers]
    rub = np.array([found[rubs[i]] if i in rubs else 0.0 for i in numbers])
    upper = model.problem.upper[numbers]
    at = np.isfinite(upper) & (force >= upper * (1.0 - AT_BOUND))
    order = np.lexsort((position, pair))
    placed = None if answer.moved is None else answer.moved.placed
    normals = np.array([x.direction for x in mine]) if placed is None else placed.direction[numbers]
    return ContactLine(
        name=name, kind=kind, places=places[order],
        normals=normals[order], position=position[order],
        length=(weight / depth)[order], depth=depth[order], pair=pair[order], pairs=tuple(names),
        force=force[order], rub=rub[order],
        opening=np.where(force > 0.0, 0.0, np.where(
            meets(model, answer)[numbers], np.maximum(-slack, 0.0), np.nan))[order],
        crushed=np.where(at, np.maximum(slack, 0.0), 0.0)[order], at_strength=at[order])


def _on_plate(model: Model, name: str, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance from the plate's proximal end, and its width there."""
    plate = next(p for p in model.construct.plates if p.name == name)
    line = plate_line(model.bone.section, plate)
    path = LineString(line.points)
    along = np.array([path.project(Point(p)) for p in places])
    return along, np.array([section_at(plate, float(s)).width for s in along])


def _on_face(model: Model, name: str, kind: str, links: list[Link], places: FloatArray
             ) -> tuple[FloatArray, FloatArray]:
    """Distance along the drawn fracture or round the fill, and the depth that the faces share."""
    if kind == "graft":
        fill = next(f for f in model.construct.fills if f.name == name)
        ring = fill_outline(model.bone.study, fill)
        path = LineString(np.vstack([ring, ring[:1]]))
    else:
        fracture = next(f for f in model.bone.study.fractures if f.name == name)
        path = LineString(fracture.points_mm)
    along = np.array([path.project(Point(p)) for p in places])
    solids = {id(s.body): s.piece for s in model.solids}
    depth = np.empty(len(places))
    ends = np.array([(id(x.a.body), id(x.b.body)) for x in links])
    for a, b in np.unique(ends, axis=0):
        at = (ends == (a, b)).all(axis=1)
        depth[at] = np.minimum(solids[a].depth(places[at]), solids[b].depth(places[at]))
    return along, depth


def percentile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Smallest of the values that at least a share of the weights does not exceed."""
    return percentiles(values, weights, (share,))[0]


def percentiles(values: FloatArray, weights: FloatArray, shares: Sequence[float]
                ) -> tuple[float, ...]:
    """The same for several shares, sorted once."""
    order = np.argsort(values, kind="stable")
    rising = np.cumsum(weights[order]) / weights.sum()
    return tuple(float(values[order[min(int(np.searchsorted(rising, share)), values.size - 1)]])
                 for share in shares)
