"""The part of a study file on implants and grafts: plates, screws, wires and void fillings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, model_validator

from buttress.study import tables
from buttress.study.bone import Depth, Side, Thickness, listed
from buttress.study.checked import (
    MOST,
    Checked,
    Name,
    OneOf,
    Point,
    Within,
    ascending,
    distinct_points,
    refuse,
)

LIKE = {"like": "name of a part of this kind, in this construct or shared"}


def screw_forms() -> tuple[str, ...]:
    """Names of the thread forms that a screw may have."""
    return tables.rows("screws", "cortical") + tables.rows("screws", "cancellous")


def plate_sections() -> tuple[str, ...]:
    """Names of the plate sections of the data table."""
    return (tables.rows("plates", "arc") + tables.rows("plates", "flat")
            + tables.rows("plates", "head and shaft"))


def wire_diameters() -> tuple[float, ...]:
    """Diameters of the wires of the data table, mm."""
    return tuple(tables.number("wires", row, "diameter") for row in tables.rows("wires", "wire"))


def metals() -> tuple[str, ...]:
    """Names of the metals of the data table."""
    return tables.rows("materials", "metal")


def graft_materials() -> tuple[str, ...]:
    """Names of the materials that may fill a void."""
    return tables.rows("grafts", "graft") + tables.rows("grafts", "cement")


Metal = Annotated[str, OneOf(metals, "metal", "metal")]
Graft = Annotated[str, OneOf(graft_materials, "graft material", "fill")]


def _not_none(count: int) -> int:
    if count == 0:
        refuse("a raft without pieces", value=count,
               expected="1 to 12 side by side; for a construct without it, leave it out")
    return count


def _a_wire(diameter: float) -> float:
    sizes = wire_diameters()
    if diameter not in sizes:
        near = min(sizes, key=lambda d: abs(d - diameter))
        refuse(f"no wire of this diameter, did you mean {near:g}?",
               expected="one of " + ", ".join(f"{d:g}" for d in sizes))
    return diameter


class Segment(Checked):
    """One segment of a plate of varying section, from proximal to distal."""

    length_mm: Annotated[float, Within(1, 300, "mm")]
    width_mm: Annotated[float, Within(2, 40, "mm")]
    thickness_mm: Annotated[float, Within(0.4, 8, "mm")]


class Plate(Checked):
    """`[[construct.plate]]`: a plate on one of the two surfaces of the section.

    `top_mm` is the height y of its proximal end, 0 at the joint line and negative below it; from
    there it follows the surface, and `length_mm` and `holes_mm` are measured along it.
    `thickness_mm` replaces that of the section (of the shaft, where there is a head: the head
    keeps its proportion).
    """

    BEFORE: ClassVar[Mapping[str, str]] = LIKE

    name: Name
    section: Annotated[str, OneOf(plate_sections, "plate section", "plate_section")] | None = None
    segments: Annotated[tuple[Segment, ...], Field(min_length=1, max_length=MOST)] | None = None
    side: Side
    top_mm: Annotated[float, Within(-290, 0, "mm")]
    length_mm: Annotated[float, Within(8, 300, "mm")] | None = None
    thickness_mm: Annotated[float, Within(0.4, 8, "mm")] | None = None
    material: Metal = "steel"
    friction: Annotated[float, Within(0, 1.5)] = listed("materials.friction.plate_on_bone")
    holes_mm: Annotated[tuple[Annotated[float, Within(0, 300, "mm")], ...],
                        Field(max_length=MOST)] | None = None
    hole_clearance_mm: Annotated[float, Within(0, 5, "mm")] = listed(
        "plates.in use.hole_clearance")
    mismatch_mm: Annotated[float, Within(-5, 10, "mm")] = 0.0

    @model_validator(mode="after")
    def _consistent(self) -> Plate:
        if (self.section is None) == (self.segments is None):
            refuse("a plate has either a section or segments", key="section", value=self.section,
                   expected=" or ".join(f'"{s}"' for s in plate_sections()) + ", or segments")
        if self.segments is not None and self.length_mm is not None:
            refuse("the segments already give the length", key="length_mm", value=self.length_mm,
                   expected="no length_mm where segments are given")
        if self.segments is not None and self.thickness_mm is not None:
            refuse("the segments already give the thickness", key="thickness_mm",
                   value=self.thickness_mm, expected="no thickness_mm where segments are given")
        if self.section is not None and self.thickness_mm is not None \
                and tables.kind("plates", self.section) == "arc":
            # Half of the tube's outer radius; beyond it the wall is no longer thin.
            half = math.radians(tables.number("plates", self.section, "arc")) / 2
            most = tables.number("plates", self.section, "width") / (4 * math.sin(half))
            if self.thickness_mm > most:
                refuse("too thick for a sector of a tube", key="thickness_mm",
                       value=self.thickness_mm, expected=f"at most {most:.2f} mm")
        if self.segments is None and self.length_mm is None:
            refuse("missing key", key="length_mm", expected="the plate's length in mm")
        if self.holes_mm is not None:
            ascending(self.holes_mm, "holes_mm", "holes")
            if any(not 0 < hole < self.length for hole in self.holes_mm):
                refuse("a hole beyond the plate", key="holes_mm", value=self.holes_mm,
                       expected=f"distances from the proximal end, between 0 and {self.length:g}")
        return self

    @property
    def length(self) -> float:
        """Length along the surface, mm."""
        if self.segments is not None:
            return sum(s.length_mm for s in self.segments)
        assert self.length_mm is not None
        return self.length_mm

    @property
    def holes(self) -> tuple[float, ...]:
        """Distance of each hole from the proximal end, mm; by the section's pitch if not given.

        In a plate with a head the first is the row of holes across the head.
        """
        if self.holes_mm is not None:
            return self.holes_mm
        if self.section is None:
            return ()
        pitch = tables.number("plates", self.section, "pitch")
        edge = tables.number("plates", self.section, "edge")
        head: float = 0.0
        row: tuple[float, ...] = ()
        if tables.kind("plates", self.section) == "head and shaft":
            # The holes of a head stand side by side, at one height: one row, for a raft.
            head = min(tables.number("plates", self.section, "head_length"), self.length)
            row = (tables.number("plates", self.section, "row"),)
        room = self.length - head
        count = int((room - 2 * edge) / pitch + 1e-9) + 1 if room >= 2 * edge else 0
        first = self.length - room / 2 - (count - 1) * pitch / 2
        return (*row, *(first + i * pitch for i in range(count)))


class Pin(Checked):
    """Fields common to screws and wires: a straight round bar, or several side by side."""

    what: ClassVar[str] = "pin"
    BEFORE: ClassVar[Mapping[str, str]] = LIKE

    name: Name
    angle_deg: Annotated[float, Within(-75, 75, "deg")] = 0.0
    length_mm: Annotated[float, Within(6, 150, "mm")] | Literal["bicortical"]
    material: Metal = "steel"
    position_in_depth_mm: Annotated[float, Within(-45, 45, "mm")] = 0.0
    count: Annotated[int, AfterValidator(_not_none), Within(1, 12)] = 1


class Screw(Pin):
    """`[[construct.screw]]`: a screw with its head on a plate or on the bone."""

    what: ClassVar[str] = "screw"

    form: Annotated[str, OneOf(screw_forms, "screw form", "screw_form")]
    plate: str | None = None
    hole: Annotated[int, Within(1, MOST)] | None = None
    locked: bool = False
    side: Side | None = None
    height_mm: Depth | None = None
    thread_mm: Annotated[float, Within(2, 150, "mm")] | None = None
    use: Literal["positional", "lag"] = "positional"
    tension_N: Annotated[float, Within(0, 6000, "N")] | None = None
    pilot_mm: Annotated[float, Within(0.5, 8, "mm")] | None = None
    gliding_mm: Annotated[float, Within(0.5, 10, "mm")] | None = None
    washer: bool = False

    @model_validator(mode="after")
    def _consistent(self) -> Screw:
        if self.plate is not None:
            for key in ("side", "height_mm"):
                if getattr(self, key) is not None:
                    refuse("a screw's head is on a plate (plate, hole) or on bone "
                           "(side, height_mm), not both", key=key, value=getattr(self, key),
                           expected=f"no {key} where plate is given")
            if self.hole is None:
                refuse("missing key", key="hole", expected="the number of the plate's hole, from 1")
            if self.washer:
                refuse("a washer goes under a head that rests on bone", key="washer", value=True,
                       expected="no washer where plate is given")
        else:
            for key in ("side", "height_mm"):
                if getattr(self, key) is None:
                    refuse("missing key", key=key,
                           expected="side and height_mm of a head on bone, or plate and hole")
            for key in ("hole", "locked"):
                if getattr(self, key):
                    refuse(f"{key} without a plate", key=key, value=getattr(self, key),
                           expected=f"plate, or no {key}")
        if (self.thread_mm is not None and self.length_mm != "bicortical"
                and self.thread_mm > self.length_mm):
            refuse("the thread is longer than the screw", key="thread_mm", value=self.thread_mm,
                   expected=f"at most length_mm = {self.length_mm:g}")
        return self


def tension(screw: Screw) -> float:
    """Pre-tension of a screw, N: as given, else the form's working value if a lag screw, else 0."""
    if screw.tension_N is not None:
        return screw.tension_N
    return tables.number("screws", screw.form, "lag_tension") if screw.use == "lag" else 0.0


class Wire(Pin):
    """`[[construct.wire]]`: a smooth wire from the bone surface, without thread or head."""

    what: ClassVar[str] = "wire"

    diameter_mm: Annotated[float, AfterValidator(_a_wire)]
    side: Side
    height_mm: Depth


class Layer(Checked):
    """One layer of a fill: a material and its fraction of the fill's height."""

    material: Graft
    share: Annotated[float, Within(0.02, 1)]


class Fill(Checked):
    """`[[construct.fill]]`: graft or cement in a void, of one material or in level layers.

    `points_mm` is a polygon inside the void (a block smaller than the void); by default the whole
    void is filled. Overridden material values apply to every layer.
    """

    BEFORE: ClassVar[Mapping[str, str]] = LIKE

    name: Name
    void: str
    material: Graft | None = None
    layers: Annotated[tuple[Layer, ...], Field(min_length=1, max_length=MOST)] | None = None
    points_mm: Annotated[tuple[Point, ...], Field(min_length=3, max_length=MOST)] | None = None
    depth_mm: Thickness | None = None
    bonded: bool | None = None
    modulus_MPa: Annotated[float, Within(0.5, 30000, "MPa")] | None = None
    strength_MPa: Annotated[float, Within(0.01, 500, "MPa")] | None = None
    bond_MPa: Annotated[float, Within(0, 100, "MPa")] | None = None
    friction: Annotated[float, Within(0, 1.5)] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Fill:
        if (self.material is None) == (self.layers is None):
            refuse("a fill has either a material or layers", key="material", value=self.material,
                   expected=" or ".join(f'"{m}"' for m in graft_materials()) + ", or layers")
        if self.layers is not None:
            total = sum(layer.share for layer in self.layers)
            if abs(total - 1.0) > 1e-6:
                refuse("the shares of the layers do not add up to 1", key="layers",
                       value=f"{total:g}", expected="fractions of the height, from the bottom up")
        if self.points_mm is not None:
            distinct_points(self.points_mm, "points_mm")
        return self
