"""Which condensed problems a lesson holds: constructs, and the places at which each is built.

Load, friction, tension, the strength of bone and what is in place are free in the page; only
geometry (the slope of the fracture, the place of the plate, graft or none) comes from a list.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from buttress.bone.measures import reference_band
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.rules.check import Finding, check
from buttress.study.case import Case
from buttress.study.implants import Screw, tension
from buttress.study.loads import PressInput
from buttress.study.points import ends, entry
from buttress.study.points import slope as angle
from buttress.study.read import study_from
from buttress.study.study import Construct, Fracture, Study
from buttress.sweeps.keys import digest
from buttress.sweeps.vary import plain
from buttress.words import marked

FREE = {"friction": (0.0, 0.8), "strength": (0.3, 1.5), "tension": (0.0, 1.5)}
"""Ranges of what the page may change continuously: friction of the fractures, and factors on the
strength of bone other than cortex and on the tension of all screws."""
LOAD_LOW_N = 100.0
LEAST_FRICTION = 1e-4
"""In place of none: a face without friction has other links."""
BEYOND = 6.0
"""How far a turned fracture reaches beyond the bone's outline [mm]; that is cut off."""
Point = Mapping[str, float]
"""Values of slope [degrees], position [mm] and what is in `FREE`."""
Place = tuple[float, float]
"""Slope of the fracture [degrees], and how far plates are moved along the bone [mm]."""

SLOPES, MOVES = (15.0, 30.0), (-10.0, 2.5, 15.0)
BARE_SLOPES = (15.0, 20.0, 25.0, 30.0, 37.5, 45.0, 52.5, 60.0, 65.0, 70.0)
FEW = 2
"""Constructs up to which a study of one's own is also built at other slopes and places."""


Kinds = Mapping[str, tuple[tuple[str, Screw], ...]]
"""Of a screw, by name: (kind, the screw as that kind), as it is in the construct first."""


def kind_name(screw: str, kind: str) -> str:
    """Name of a screw of another kind than in the construct, beside it in one problem."""
    return f"{screw} ({kind})"


@dataclass(frozen=True)
class Family:
    """One set of hardware and the places at which it is built, the study's own first. ``kinds``:
    the same with every kind of its screws side by side, which is built at the study's own place."""

    construct: Construct
    places: tuple[Place, ...]
    kinds: Construct | None = None

    def at(self, place: Place) -> Construct:
        """What is condensed at a place."""
        return self.kinds if self.kinds is not None and place == self.places[0] else self.construct


@dataclass(frozen=True)
class Choice:
    """A construct that can be chosen; ``families`` with graft and without."""

    name: str
    note: str
    has: tuple[bool, bool, bool]
    families: dict[bool, int]
    kinds: Kinds = field(default_factory=dict)
    broken: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()
    """What `check` says of it: rules that it breaks, and warnings."""

    @property
    def marked(self) -> str:
        """Its name, marked where it breaks a rule of the trade."""
        return marked(self.name, bool(self.broken))


@dataclass(frozen=True)
class Time:
    """What is left of friction and tension after a time, as shares: ``key`` of the catalogue."""

    key: str
    friction: float
    tension: float


@dataclass(frozen=True)
class Scene:
    """A fracture with all that may be done to it. ``base`` are the study's own values; ``bare`` is
    the family without any hardware, if it is built at slopes of its own."""

    study: Study
    title: str
    turned: str | None
    families: tuple[Family, ...]
    choices: tuple[Choice, ...]
    base: dict[str, float]
    load_N: tuple[float, float]
    load_base_N: float
    bare: int | None = None
    times: tuple[Time, ...] = ()

    def of_kinds(self, choice: int, kinds: Mapping[str, str]) -> Construct:
        """A construct with the kinds of its screws."""
        whole, known = self.study.constructs[choice], self.choices[choice].kinds
        return whole.model_copy(update={"screws": tuple(
            dict(known[s.name])[kinds[s.name]] if s.name in kinds else s for s in whole.screws)})

    def case(self, construct: Construct, point: Point) -> Case:
        """The study of one construct at a point. Raises `InputError` where it cannot be built."""
        study = study_from(self._data(self._tensioned(construct, point["tension"]), point))
        return Case(study, {"cancellous_strength": point["strength"]})

    def _tensioned(self, construct: Construct, factor: float) -> Construct:
        if factor == 1.0 or construct.stages:
            return construct
        return construct.model_copy(update={"screws": tuple(
            s.model_copy(update={"tension_N": factor * tension(s)}) if tension(s) > 0 else s
            for s in construct.screws)})

    def _data(self, construct: Construct, point: Point) -> dict:
        data = plain(self.study.model_copy(update={"constructs": (construct,)}))
        for row in data.get("fracture", ()):
            row["friction"] = max(point["friction"], LEAST_FRICTION)
        move = point["position"]
        if self.turned is not None:
            line = next(f for f in self.study.fractures if f.name == self.turned)
            turned = turned_line(self.study, line, point["slope"])
            now = exit_of(self.study, line)
            row = next(r for r in data["fracture"] if r["name"] == self.turned)
            row["points_mm"] = [list(line_start(self.study, line)), list(turned[1])]
            side = -1.0 if now[0] < line_start(self.study, line)[0] else 1.0
            for plate in construct.plates:
                if plate.side == self.study.section.sides[0 if side < 0 else 1]:
                    # The plate's place is given from the apex, so it moves with it.
                    move = point["position"] + turned[0][1] - now[1]
            for row in data.get("fragment", ()):
                row["inside_mm"] = list(within(self.study, line, turned[1]))
        for row in data["construct"][0].get("plate", ()):
            row["top_mm"] = row["top_mm"] + move
        return data


def line_start(study: Study, fracture: Fracture) -> tuple[float, float]:
    """The place at which a straight fracture enters the joint surface [mm]."""
    return entry(fracture.points_mm, Section(study.section).shape.joint_line())


def slope_of(fracture: Fracture) -> float:
    """Angle of a straight fracture to the long axis, to a tenth of a degree."""
    return round(angle(fracture.points_mm), 1)


def exit_of(study: Study, fracture: Fracture) -> tuple[float, float]:
    """Where a straight fracture leaves the bone below: the apex of the fragment [mm]."""
    return turned_line(study, fracture, slope_of(fracture))[0]


def turned_line(study: Study, fracture: Fracture, slope: float
                ) -> tuple[tuple[float, float], tuple[float, float]]:
    """Apex and end point of a fracture turned about its end at the joint to a slope [degrees]."""
    start = np.array(line_start(study, fracture))
    low = np.array(min(fracture.points_mm, key=lambda p: p[1]))
    side = -1.0 if low[0] < start[0] else 1.0
    along = np.array([side * np.sin(np.radians(slope)), -np.cos(np.radians(slope))])
    ring = Polygon(Section(study.section).outline()[0])
    inside = LineString([start + 1e-3 * along, start + 300.0 * along]).intersection(ring)
    first = inside if inside.geom_type == "LineString" else inside.geoms[0]
    x, y = first.coords[-1]
    end = np.array([x, y]) + BEYOND * along
    return (float(x), float(y)), (float(end[0]), float(end[1]))


def within(study: Study, fracture: Fracture, end: tuple[float, float]) -> tuple[float, float]:
    """A point [mm] in the fragment that a straight fracture to ``end`` parts from the shaft."""
    start, last = np.array(line_start(study, fracture)), np.array(end)
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
    (x0, y0), x1 = ends(line.points_mm)[0], min(line.points_mm, key=lambda p: p[1])[0]
    if y0 < -1e-9 or abs(x0) > study.section.width_mm / 2 or x1 == x0:
        return None
    apex = exit_of(study, line)
    band = reference_band(study)
    return line.name if apex[1] > band[1] + BEYOND + 1.0 else None


def _fits(study: Study, construct: Construct, place: float) -> bool:
    """Whether the plates of a construct lie on the bone when moved by ``place`` [mm]."""
    low = -study.section.height_mm + 3.0
    return all(p.top_mm + place <= -0.5 and p.top_mm + place - p.length >= low
               for p in construct.plates)


def without(construct: Construct, names: tuple[str, ...]) -> Construct:
    """A construct without the parts of these names; a plate takes its screws with it."""
    gone = set(names)
    screws = tuple(s for s in construct.screws if s.name not in gone and s.plate not in gone)
    stages = construct.stages if not names else ()
    return construct.model_copy(update={
        "plates": tuple(p for p in construct.plates if p.name not in gone), "screws": screws,
        "wires": tuple(w for w in construct.wires if w.name not in gone), "stages": stages})


def base_of(study: Study, turned: str | None) -> dict[str, float]:
    """The study's own values."""
    line = next((f for f in study.fractures if f.name == turned), None)
    return {"slope": slope_of(line) if line else 0.0, "position": 0.0, "strength": 1.0,
            "tension": 1.0, "friction": study.fractures[0].friction if study.fractures else 0.0}


Places = Mapping[str, tuple[Place, ...]]
"""Further places of some constructs, by name: slopes and moves of the plate."""


def side_by_side(construct: Construct, kinds: Kinds) -> Construct:
    """A construct with every kind of its screws at once, of which the page takes one each."""
    beside = [s.model_copy(update={"name": kind_name(name, kind)})
              for name, all_ in kinds.items() for kind, s in all_[1:]
              if any(x.name == name for x in construct.screws)]
    return construct.model_copy(update={"screws": (*construct.screws, *beside)})


def scene_of(study: Study, title: str = "", more: Places | None = None,
             kinds: Mapping[str, Kinds] | None = None, times: tuple[Time, ...] = (),
             most_N: float = 1000.0) -> Scene:
    """The scene of a study: every construct, with and without its graft, in small movements (as
    the page solves it).

    ``most_N``: load up to which its slider goes at least.

    ``more``: further places of its constructs; without it, of all where they are few. ``kinds``:
    what else a screw may be, by construct.
    """
    turned = turnable(study)
    study = study.model_copy(update={"press": PressInput(large_movements="off")})
    study = study.model_copy(update={"section": study.section.model_copy(
        update={"reference_band_mm": reference_band(study)})}) if study.fractures else study
    base = base_of(study, turned)
    own = (base["slope"], 0.0)
    families: list[Family] = []
    number: dict[str, int] = {}

    def family(construct: Construct, places: tuple[Place, ...], kinds: Kinds) -> int:
        key = content(construct)
        if key not in number:
            number[key] = len(families)
            families.append(Family(construct, places,
                                   side_by_side(construct, kinds) if kinds else None))
        return number[key]

    choices, told = [], _findings(study)
    for construct in study.constructs:
        found, own_kinds = {}, (kinds or {}).get(construct.name, {})
        for graft in ((True, False) if construct.fills else (True,)):
            kept = parted(construct, True, True, graft)
            places = (own, *(p for p in _further(study, kept, turned, own, more) if p != own))
            found[graft] = family(kept, places, own_kinds)
        broken, doubtful = (_told([f for f in told if f.level == level
                                   and f.construct == construct.name])
                            for level in ("broken", "warning"))
        choices.append(Choice(construct.name, construct.note, has(construct), found, own_kinds,
                              broken, doubtful))
    bare = None
    if turned is not None:
        slopes = [own[0], *(s for s in BARE_SLOPES if abs(s - own[0]) > 1.0)]
        bare = family(parted(study.constructs[0], False, False, False),
                      tuple((s, 0.0) for s in slopes), {})
    top = max(study.load.total_N)
    return Scene(
        study=study, title=title or study.title or study.name, turned=turned,
        families=tuple(families), choices=tuple(choices), base=base,
        load_N=(LOAD_LOW_N, max(*study.load.total_N, most_N)),
        load_base_N=min(study.load.total_N, key=lambda p: abs(p - 0.6 * top)), bare=bare,
        times=times)


def _findings(study: Study) -> list[Finding]:
    """What the rules of the trade say; nothing of a study that cannot be built, which the page
    leaves out with its reason."""
    try:
        return check(study)
    except InputError:
        return []


def _told(findings: list[Finding]) -> tuple[str, ...]:
    """Findings in words, those of one message together."""
    return tuple(f"{', '.join(f.part for f in findings if f.message == message)}: {message}"
                 for message in dict.fromkeys(f.message for f in findings))


def _further(study: Study, construct: Construct, turned: str | None, own: Place,
             more: Places | None) -> tuple[Place, ...]:
    """Further places at which a construct is built."""
    if more is not None:
        return more.get(construct.name, ())
    if len(study.constructs) > FEW or construct.stages:
        return ()
    slopes = tuple((s, 0.0) for s in SLOPES) if turned is not None else ()
    moves = tuple((own[0], m) for m in MOVES if _fits(study, construct, m))
    return (*slopes, *(moves if construct.plates else ()))
