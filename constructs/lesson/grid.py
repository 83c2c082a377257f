"""Which states a lesson needs: the sliders, the switches and the nodes between them.

A *family* is one set of hardware. Its states lie on a grid over up to four axes (slope of the
fracture, bone quality, place of the plate, friction); along the load each has a path of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from buttress.bone.measures import reference_band
from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.lesson.biting import biting
from buttress.study.case import Case
from buttress.study.read import study_from
from buttress.study.study import Construct, Fracture, Study
from buttress.sweeps.keys import digest
from buttress.sweeps.vary import plain

AXES = ("slope", "quality", "position", "friction")
SWITCHES = ("screws", "plate", "graft")
LOAD_LOW_N = 100.0
LEAST_FRICTION = 1e-4
"""In place of none: a face without friction has other links, which would be condensed anew."""
BEYOND = 6.0
"""How far a turned fracture reaches beyond the bone's outline [mm]; that is cut off."""
Point = Mapping[str, float]

SLOPES = (15.0, 17.5, 20.0, 25.0, 30.0)
FEW_SLOPES = (15.0, 20.0, 30.0)
TOPPLING = (-0.15, 0.15, 0.7)
"""Nodes around the slope at which the load passes over the foot of the fracture: what holds a
fragment by its foot alone changes there within a fraction of a degree."""
BARE_SLOPES = (15.0, 20.0, 25.0, 30.0, 37.5, 45.0, 52.5, 60.0, 70.0)
PLACES = (-15.0, -10.0, -7.5, -5.0, -2.5, 0.0, 2.5, 5.0, 10.0, 15.0)
FEW_PLACES = (-15.0, -5.0, 0.0, 2.5, 5.0, 15.0)
FRICTIONS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8)
SOME_FRICTIONS = (0.0, 0.15, 0.3, 0.5, 0.8)
FEW_FRICTIONS = (0.0, 0.2, 0.5, 0.8)
PLATE_FRICTIONS = (0.0, 0.4, 0.8)
QUALITIES = (0.5, 1.0)


@dataclass(frozen=True)
class Family:
    """One set of hardware and the nodes of its grid, one tuple an axis (one node: no slider)."""

    construct: Construct
    axes: dict[str, tuple[float, ...]]

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of nodes along each of `AXES`."""
        return tuple(len(self.axes[a]) for a in AXES)

    def nodes(self) -> list[tuple[int, ...]]:
        """Index of every path of the grid, the last axis fastest."""
        return list(product(*(range(n) for n in self.shape)))

    def point(self, index: tuple[int, ...]) -> dict[str, float]:
        """Values of the axes at a node."""
        return {a: self.axes[a][i] for a, i in zip(AXES, index, strict=True)}


@dataclass(frozen=True)
class Choice:
    """A construct that can be chosen; ``families`` by its switches (screws, plate, graft)."""

    name: str
    note: str
    has: tuple[bool, bool, bool]
    families: dict[tuple[bool, bool, bool], int]


@dataclass(frozen=True)
class Scene:
    """A fracture with all that may be done to it. ``base`` are the study's own values."""

    study: Study
    title: str
    turned: str | None
    families: tuple[Family, ...]
    choices: tuple[Choice, ...]
    base: dict[str, float]
    load_N: tuple[float, float]
    load_base_N: float

    def family(self, choice: int, screws: bool = True, plate: bool = True, graft: bool = True
               ) -> int:
        """Number of the family of a choice with its switches."""
        c = self.choices[choice]
        on = tuple(a and b for a, b in zip((screws, plate, graft), c.has, strict=True))
        return c.families[on[0], on[1], on[2]]

    def case(self, family: int, point: Point) -> Case:
        """The study of one family at a point of the sliders. Raises `InputError`."""
        return Case(study_from(self._data(self.families[family].construct, point)))

    def _data(self, construct: Construct, point: Point) -> dict:
        data = plain(self.study.model_copy(update={"constructs": (construct,)}))
        data["section"]["modulus_scale"] = point["quality"]
        for row in data.get("fracture", ()):
            row["friction"] = max(point["friction"], LEAST_FRICTION)
        move = point["position"]
        if self.turned is not None:
            line = next(f for f in self.study.fractures if f.name == self.turned)
            turned = turned_line(self.study, line, point["slope"])
            now = exit_of(self.study, line)
            row = next(r for r in data["fracture"] if r["name"] == self.turned)
            row["points_mm"] = [list(line_start(line)), list(turned[1])]
            side = -1.0 if now[0] < line_start(line)[0] else 1.0
            for plate in construct.plates:
                if plate.side == self.study.section.sides[0 if side < 0 else 1]:
                    # The plate's place is given from the apex, so it moves with it.
                    move = point["position"] + turned[0][1] - now[1]
            for row in data.get("fragment", ()):
                row["inside_mm"] = list(within(self.study, line, turned[1]))
        for row in data["construct"][0].get("plate", ()):
            row["top_mm"] = row["top_mm"] + move
        return data


def line_start(fracture: Fracture) -> tuple[float, float]:
    """The end of a straight fracture at the joint [mm]."""
    x, y = max(fracture.points_mm, key=lambda p: p[1])
    return float(x), float(y)


def slope_of(fracture: Fracture) -> float:
    """Angle of a straight fracture to the long axis, to a tenth of a degree."""
    (x0, y0), (x1, y1) = (line_start(fracture), min(fracture.points_mm, key=lambda p: p[1]))
    return round(float(np.degrees(np.arctan2(abs(x1 - x0), y0 - y1))), 1)


def exit_of(study: Study, fracture: Fracture) -> tuple[float, float]:
    """Where a straight fracture leaves the bone below: the apex of the fragment [mm]."""
    return turned_line(study, fracture, slope_of(fracture))[0]


def turned_line(study: Study, fracture: Fracture, slope: float
                ) -> tuple[tuple[float, float], tuple[float, float]]:
    """Apex and end point of a fracture turned about its end at the joint to a slope [degrees]."""
    start = np.array(line_start(fracture))
    low = np.array(min(fracture.points_mm, key=lambda p: p[1]))
    side = -1.0 if low[0] < start[0] else 1.0
    along = np.array([side * np.sin(np.radians(slope)), -np.cos(np.radians(slope))])
    ring = Polygon(Section(study.section).outline()[0])
    inside = LineString([start + 1e-3 * along, start + 300.0 * along]).intersection(ring)
    first = inside if inside.geom_type == "LineString" else inside.geoms[0]
    x, y = first.coords[-1]
    end = np.array([x, y]) + BEYOND * along
    return (float(x), float(y)), (float(end[0]), float(end[1]))


def toppling(study: Study, turned: str) -> float:
    """Slope [degrees] at which the load on the fragment passes over the foot of the fracture."""
    line = next(f for f in study.fractures if f.name == turned)
    start, foot = line_start(line), exit_of(study, line)
    side = -1.0 if foot[0] < start[0] else 1.0
    load = max((p.centre for p in patches(study)), key=lambda x: side * x)
    slopes = np.linspace(SLOPES[0], SLOPES[-1], 61)
    away = [abs(turned_line(study, line, float(s))[0][0] - load) for s in slopes]
    return round(float(slopes[int(np.argmin(away))]), 2)


def within(study: Study, fracture: Fracture, end: tuple[float, float]) -> tuple[float, float]:
    """A point inside the fragment that a straight fracture to ``end`` parts from the shaft."""
    start, last = np.array(line_start(fracture)), np.array(end)
    above = start - BEYOND * (last - start) / np.hypot(*(last - start))
    pieces = split(Polygon(Section(study.section).outline()[0]), LineString([above, last])).geoms
    point = max(pieces, key=lambda piece: piece.bounds[1]).representative_point()
    return round(point.x, 3), round(point.y, 3)


def parted(construct: Construct, screws: bool, plate: bool, graft: bool) -> Construct:
    """A construct without what is switched off; a plate takes the screws in its holes with it.

    Stages of assembly are those of the whole construct: without a part all is put in at once.
    """
    whole = all(on or not there for on, there in
                zip((screws, plate, graft), has(construct), strict=True))
    kept = tuple(s for s in construct.screws
                 if (plate if s.plate is not None else screws))
    return construct.model_copy(update={
        "plates": construct.plates if plate else (), "screws": kept,
        "wires": construct.wires if screws else (), "fills": construct.fills if graft else (),
        "stages": construct.stages if whole else ()})


def has(construct: Construct) -> tuple[bool, bool, bool]:
    """Whether a construct has screws of its own (or wires), a plate, graft."""
    own = any(s.plate is None for s in construct.screws) or bool(construct.wires)
    return own, bool(construct.plates), bool(construct.fills)


def content(construct: Construct) -> str:
    """Hash of what is put in, whatever it is called."""
    return digest(construct.model_dump(mode="json", exclude={"name", "note"}))


def turnable(study: Study) -> str | None:
    """The fracture whose slope may be changed: the only one, straight, from joint to side."""
    if len(study.fractures) != 1 or study.voids or len(study.fractures[0].points_mm) != 2:
        return None
    line = study.fractures[0]
    (x0, y0), x1 = line_start(line), min(line.points_mm, key=lambda p: p[1])[0]
    if y0 < -1e-9 or abs(x0) > study.section.width_mm / 2 or x1 == x0:
        return None
    apex = exit_of(study, line)
    band = reference_band(study)
    return line.name if apex[1] > band[1] + BEYOND + 1.0 else None


def axes_of(study: Study, construct: Construct, turned: str | None, density: int,
            plate_moves: bool = True) -> dict[str, tuple[float, ...]]:
    """Nodes of a family. ``density``: 2 the full grid, 1 a coarse one, 0 the study's values only
    but for friction."""
    base = base_of(study, turned)
    own, plate, graft = has(construct)
    bare = not (own or plate or graft)
    alone = plate and not own
    wanted: tuple[float, ...]
    slopes: tuple[float, ...] = (base["slope"],)
    if turned is not None and density:
        wanted = BARE_SLOPES if bare else SLOPES if alone and density == 2 else FEW_SLOPES
        if alone and density == 2:
            wanted = (*wanted, *(toppling(study, turned) + d for d in TOPPLING))
        slopes = _with(wanted, base["slope"])
    places: tuple[float, ...] = (0.0,)
    if plate and density and plate_moves:
        wanted = PLACES if alone and density == 2 and turned is not None else FEW_PLACES
        if turned is not None and density == 2:
            wanted = (*wanted, 10.0, *_biting(study, construct, turned))
        places = tuple(sorted({p for p in wanted if _fits(study, construct, p)}))
    levels: tuple[float, ...] = (base["quality"],)
    if density:
        levels = _with(tuple(q * base["quality"] for q in QUALITIES), base["quality"])
    rubbing = (FRICTIONS if bare else PLATE_FRICTIONS if alone and turned is not None
               else FEW_FRICTIONS if plate or turned is None else SOME_FRICTIONS)
    frictions = rubbing if study.fractures else (0.0,)
    return {"slope": slopes, "quality": levels, "position": places, "friction": frictions}


def _biting(study: Study, construct: Construct, turned: str) -> tuple[float, ...]:
    """Places at which a screw of the plate begins to bear on the fragment."""
    line = next(f for f in study.fractures if f.name == turned)
    now = exit_of(study, line)
    lines = []
    for slope in FEW_SLOPES:
        apex, end = turned_line(study, line, slope)
        lines.append((np.array([line_start(line), end]), apex[1] - now[1]))
    return biting(Section(study.section), construct, lines, (PLACES[0], PLACES[-1]))


def _with(nodes: tuple[float, ...], base: float) -> tuple[float, ...]:
    """Nodes with the study's own value among them, in place of one that is very near."""
    step = (max(nodes) - min(nodes)) / 100.0
    return tuple(sorted({base, *(n for n in nodes if abs(n - base) > step)}))


def _fits(study: Study, construct: Construct, place: float) -> bool:
    """Whether the plates of a construct lie on the bone when moved by ``place`` [mm]."""
    low = -study.section.height_mm + 3.0
    return all(p.top_mm + place <= -0.5 and p.top_mm + place - p.length >= low
               for p in construct.plates)


def base_of(study: Study, turned: str | None) -> dict[str, float]:
    """The study's own values of the axes."""
    line = next((f for f in study.fractures if f.name == turned), None)
    return {"slope": slope_of(line) if line else 0.0, "position": 0.0,
            "quality": study.section.modulus_scale,
            "friction": study.fractures[0].friction if study.fractures else 0.0}


MOST_PATHS = 1500
"""Paths that a study of one's own may cost before its grid is made coarser."""


def scene_of(study: Study, title: str = "", density: int | None = None,
             plate_moves: bool = True) -> Scene:
    """The scene of a study: every construct, whole and with its parts switched off."""
    turned = turnable(study)
    study = study.model_copy(update={"section": study.section.model_copy(
        update={"reference_band_mm": reference_band(study)})}) if study.fractures else study
    levels = (density,) if density is not None else (2, 1, 0)
    for level in levels:
        families, choices = _families(study, turned, level, plate_moves)
        if sum(len(f.nodes()) for f in families) <= MOST_PATHS:
            break
    low, high = LOAD_LOW_N, max(*study.load.total_N, 1000.0)
    top = max(study.load.total_N)
    shown = min(study.load.total_N, key=lambda p: abs(p - 0.6 * top))
    return Scene(
        study=study, title=title or study.title or study.name, turned=turned, families=families,
        choices=choices, base=base_of(study, turned), load_N=(low, high), load_base_N=shown)


def _families(study: Study, turned: str | None, density: int, plate_moves: bool
              ) -> tuple[tuple[Family, ...], tuple[Choice, ...]]:
    families: list[Family] = []
    number: dict[str, int] = {}
    choices = []
    for construct in study.constructs:
        there = has(construct)
        found: dict[tuple[bool, bool, bool], int] = {}
        for on in product(*((False, True) if t else (False,) for t in there)):
            on = (on[0], on[1], on[2])
            kept = parted(construct, *on)
            key = content(kept)
            if key not in number:
                number[key] = len(families)
                families.append(Family(kept, axes_of(study, kept, turned, density,
                                                     plate_moves)))
            found[on] = number[key]
        choices.append(Choice(construct.name, construct.note, there, found))
    return tuple(families), tuple(choices)
