"""What a study may say: one frozen model a table of the TOML file, with defaults and limits.

Every dimensional key ends in its unit. x points lateral, y proximal, the origin is the middle of
the joint line; medial is at -x. `constructs.study` reads files into these models.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from constructs import tables
from constructs.checked import (
    Checked,
    Name,
    OneOf,
    Point,
    Slug,
    Text,
    Within,
    ascending,
    closest,
    did_you_mean,
    distinct_points,
    refuse,
    unique,
)

Side = Literal["medial", "lateral"]
Metal = Literal["steel", "titanium"]
Depth = Annotated[float, Within(-300, 0, "mm")]  # a height y below the joint line
MOST = 100  # entries of any list: far above any sensible study, below what would hang a reader


def screw_forms() -> tuple[str, ...]:
    """Names of the thread forms that a screw may have."""
    return tables.rows("screws", "cortical") + tables.rows("screws", "cancellous")


def plate_sections() -> tuple[str, ...]:
    """Names of the plate sections of the data table."""
    return tables.rows("plates", "arc") + tables.rows("plates", "flat")


def _listed(path: str) -> Any:
    """A default out of the data tables (table.row.field), read when needed, not on import."""
    table, row, field = path.split(".")
    return Field(default_factory=lambda: tables.number(table, row, field))


class SectionInput(Checked):
    """`[section]`: size of the bone and its quality. All keys have defaults."""

    plane: Literal["coronal"] = "coronal"
    width_mm: Annotated[float, Within(40, 120, "mm")] = _listed("anatomy.section.width")
    depth_mm: Annotated[float, Within(25, 90, "mm")] = _listed("anatomy.section.depth")
    shaft_width_mm: Annotated[float, Within(12, 60, "mm")] = _listed("anatomy.section.shaft_width")
    shaft_depth_mm: Annotated[float, Within(12, 60, "mm")] = _listed("anatomy.section.shaft_depth")
    height_mm: Annotated[float, Within(80, 300, "mm")] = _listed("anatomy.section.height")
    metaphyseal_cortex_mm: Annotated[float, Within(0.3, 8, "mm")] = _listed(
        "anatomy.section.metaphyseal_cortex")
    shaft_cortex_mm: Annotated[float, Within(0.5, 12, "mm")] = _listed(
        "anatomy.section.shaft_cortex")
    subchondral_mm: Annotated[float, Within(0, 6, "mm")] = _listed("anatomy.section.subchondral")
    bone: Literal["dense", "soft", "foam"] = "dense"
    foam_grade: Literal[10, 15, 20] = 15
    modulus_scale: Annotated[float, Within(0.05, 20)] = 1.0
    cortex_scale: Annotated[float, Within(0.1, 5)] = 1.0
    side: Literal["right", "left"] = "right"
    reference_band_mm: tuple[Depth, Depth] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> SectionInput:
        for shaft, plateau in (("shaft_width_mm", "width_mm"), ("shaft_depth_mm", "depth_mm")):
            if getattr(self, shaft) > getattr(self, plateau):
                refuse("the shaft is larger than the plateau", key=shaft,
                       value=getattr(self, shaft),
                       expected=f"at most {plateau} = {getattr(self, plateau):g}")
        thinnest = min(self.shaft_width_mm, self.shaft_depth_mm) / 2
        for key in ("shaft_cortex_mm", "metaphyseal_cortex_mm"):
            if getattr(self, key) * self.cortex_scale >= thinnest:
                refuse("the cortex (times cortex_scale) fills the whole shaft", key=key,
                       value=getattr(self, key), expected=f"less than {thinnest:g} mm")
        if self.reference_band_mm is not None:
            low, high = self.reference_band_mm
            if not -self.height_mm <= low < high:
                refuse("a band between two heights", key="reference_band_mm",
                       value=self.reference_band_mm,
                       expected=f"[low, high], low < high, from {-self.height_mm:g} upwards")
        return self


class MeshInput(Checked):
    """`[mesh]`: element edge near fractures and implants, and far from them."""

    size_mm: Annotated[float, Within(0.2, 8, "mm")] = 1.5
    coarse_mm: Annotated[float, Within(0.2, 20, "mm")] = 3.0

    @model_validator(mode="before")
    @classmethod
    def _coarse_follows(cls, data: Any) -> Any:
        # Twice the fine size unless given, so that refining needs one key only.
        if isinstance(data, dict) and "coarse_mm" not in data:
            fine = data.get("size_mm")
            if isinstance(fine, int | float) and 0.2 <= fine <= 8:
                return {**data, "coarse_mm": 2.0 * fine}
        return data

    @model_validator(mode="after")
    def _coarser(self) -> MeshInput:
        if self.coarse_mm < self.size_mm:
            refuse("coarse_mm is finer than size_mm", key="coarse_mm", value=self.coarse_mm,
                   expected=f"at least {self.size_mm:g}")
        return self


class Fracture(Checked):
    """`[[fracture]]`: a polyline that parts the section; ends outside it are cut off."""

    name: Name
    points_mm: Annotated[tuple[Point, ...], Field(min_length=2, max_length=MOST)]
    friction: Annotated[float, Within(0, 1.5)] = _listed("materials.friction.bone_on_bone")

    @model_validator(mode="after")
    def _distinct(self) -> Fracture:
        distinct_points(self.points_mm, "points_mm")
        return self


class Fragment(Checked):
    """`[[fragment]]`: the name of the piece that holds a point, and its depth if not the bone's."""

    name: Name
    inside_mm: Point
    depth_mm: Annotated[float, Within(3, 90, "mm")] | None = None


class LoadInput(Checked):
    """`[load]`: total joint force on two patches of the joint line."""

    total_N: Annotated[tuple[Annotated[float, Within(1, 20000, "N")], ...],
                       Field(min_length=1, max_length=MOST)] = (500.0, 1000.0, 1500.0)
    medial_share: Annotated[float, Within(0, 1)] = _listed("loads.default.medial_share")
    direction_deg: Annotated[float, Within(-60, 60, "deg")] = 0.0
    patch_width_mm: Annotated[float, Within(2, 50, "mm")] = _listed("loads.default.patch_width")
    medial_centre_mm: Annotated[float, Within(-60, -1, "mm")] = Field(
        default_factory=lambda: -tables.number("loads", "default", "centre"))
    lateral_centre_mm: Annotated[float, Within(1, 60, "mm")] = _listed("loads.default.centre")

    @model_validator(mode="after")
    def _rising(self) -> LoadInput:
        ascending(self.total_N, "total_N", "loads")
        return self


class LimitsInput(Checked):
    """`[limits]`: what counts as failed."""

    step_off_mm: Annotated[float, Within(0.05, 20, "mm")] = _listed("anatomy.limits.step_off")


class Segment(Checked):
    """One stretch of a plate of changing section, from proximal to distal."""

    length_mm: Annotated[float, Within(1, 300, "mm")]
    width_mm: Annotated[float, Within(2, 40, "mm")]
    thickness_mm: Annotated[float, Within(0.4, 8, "mm")]


class Plate(Checked):
    """`[[construct.plate]]`: a plate on the medial or lateral surface."""

    name: Name
    section: Annotated[str, OneOf(plate_sections, "plate section")] | None = None
    segments: Annotated[tuple[Segment, ...], Field(min_length=1, max_length=MOST)] | None = None
    side: Side
    top_mm: Annotated[float, Within(-290, 0, "mm")]
    length_mm: Annotated[float, Within(8, 300, "mm")] | None = None
    material: Metal = "steel"
    friction: Annotated[float, Within(0, 1.5)] = _listed("materials.friction.plate_on_bone")
    holes_mm: Annotated[tuple[Annotated[float, Within(0, 300, "mm")], ...],
                        Field(max_length=MOST)] | None = None
    hole_clearance_mm: Annotated[float, Within(0, 5, "mm")] = 0.5
    mismatch_mm: Annotated[float, Within(-5, 10, "mm")] = 0.0

    @model_validator(mode="after")
    def _consistent(self) -> Plate:
        if (self.section is None) == (self.segments is None):
            refuse("a plate has either a section or segments", key="section", value=self.section,
                   expected=" or ".join(f'"{s}"' for s in plate_sections()) + ", or segments")
        if self.segments is not None and self.length_mm is not None:
            refuse("the segments already give the length", key="length_mm", value=self.length_mm,
                   expected="no length_mm beside segments")
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
        """Distance of each hole from the proximal end, mm; by the section's pitch if not given."""
        if self.holes_mm is not None:
            return self.holes_mm
        if self.section is None:
            return ()
        pitch = tables.number("plates", self.section, "pitch")
        edge = tables.number("plates", self.section, "edge")
        count = int((self.length - 2 * edge) / pitch + 1e-9) + 1 if self.length >= 2 * edge else 0
        first = (self.length - (count - 1) * pitch) / 2
        return tuple(first + i * pitch for i in range(count))


class Screw(Checked):
    """`[[construct.screw]]`: a screw with its head on a plate or on the bone."""

    name: Name
    form: Annotated[str, OneOf(screw_forms, "screw form")]
    plate: str | None = None
    hole: Annotated[int, Within(1, MOST)] | None = None
    locked: bool = False
    angle_deg: Annotated[float, Within(-75, 75, "deg")] = 0.0
    side: Side | None = None
    height_mm: Depth | None = None
    length_mm: Annotated[float, Within(6, 150, "mm")] | Literal["bicortical"]
    thread_mm: Annotated[float, Within(2, 150, "mm")] | None = None
    use: Literal["positional", "lag"] = "positional"
    tension_N: Annotated[float, Within(0, 6000, "N")] | None = None
    pilot_mm: Annotated[float, Within(0.5, 8, "mm")] | None = None
    gliding_mm: Annotated[float, Within(0.5, 10, "mm")] | None = None
    material: Metal = "steel"
    position_in_depth_mm: Annotated[float, Within(-45, 45, "mm")] = 0.0
    count: Annotated[int, Within(1, 12)] = 1
    washer: bool = False

    @model_validator(mode="after")
    def _consistent(self) -> Screw:
        if self.plate is not None:
            for key in ("side", "height_mm"):
                if getattr(self, key) is not None:
                    refuse("a screw's head is on a plate (plate, hole) or on bone "
                           "(side, height_mm), not both", key=key, value=getattr(self, key),
                           expected=f"no {key} beside plate")
            if self.hole is None:
                refuse("missing key", key="hole", expected="the number of the plate's hole, from 1")
            if self.washer:
                refuse("a washer lies under a head on bone", key="washer", value=True,
                       expected="no washer in a plate")
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


class Construct(Checked):
    """`[[construct]]`: the plates and screws that are put in together; may be empty."""

    name: Name
    note: Text = ""
    plates: Annotated[tuple[Plate, ...], Field(alias="plate", max_length=MOST)] = ()
    screws: Annotated[tuple[Screw, ...], Field(alias="screw", max_length=MOST)] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Construct:
        unique(self.screws, "screw", "screw", unique(self.plates, "plate", "plate"))
        plates = {p.name: p for p in self.plates}
        for screw in self.screws:
            if screw.plate is None or screw.hole is None:
                continue
            if screw.plate not in plates:
                refuse("no such plate in this construct"
                       + did_you_mean(closest(screw.plate, plates)),
                       key=f"screw.{screw.name}.plate", value=screw.plate,
                       expected=", ".join(f'"{p}"' for p in plates) or "a [[construct.plate]]")
            count = len(plates[screw.plate].holes)
            if screw.hole > count:
                refuse("hole number beyond the plate", key=f"screw.{screw.name}.hole",
                       value=screw.hole, expected=f'1 to {count}, the holes of "{screw.plate}"'
                       if count else f'holes_mm in plate "{screw.plate}", which has no holes')
        return self


class Study(Checked):
    """A fracture, the constructs to compare and the loads. Immutable."""

    name: Slug
    title: Text = ""
    scenario: Text = ""
    section: SectionInput = Field(default_factory=SectionInput)
    mesh: MeshInput = Field(default_factory=MeshInput)
    fractures: Annotated[tuple[Fracture, ...], Field(alias="fracture",
                                                        max_length=MOST)] = ()
    fragments: Annotated[tuple[Fragment, ...], Field(alias="fragment",
                                                        max_length=MOST)] = ()
    load: LoadInput = Field(default_factory=LoadInput)
    limits: LimitsInput = Field(default_factory=LimitsInput)
    constructs: Annotated[tuple[Construct, ...],
                          Field(alias="construct", min_length=1, max_length=MOST)]

    @model_validator(mode="after")
    def _consistent(self) -> Study:
        taken = unique(self.fractures, "fracture", "fracture")
        unique(self.fragments, "fragment", "fragment")
        unique(self.constructs, "construct", "construct")
        for construct in self.constructs:
            # Forces on a fragment are listed by the name of their source.
            for part, where in ((construct.plates, "plate"), (construct.screws, "screw")):
                unique(part, f"construct.{construct.name}.{where}", where, taken)
        for fragment in self.fragments:
            if fragment.depth_mm is not None and fragment.depth_mm > self.section.depth_mm:
                refuse("the fragment is deeper than the bone",
                       key=f"fragment.{fragment.name}.depth_mm", value=fragment.depth_mm,
                       expected=f"at most section.depth_mm = {self.section.depth_mm:g}")
        if self.fragments and not self.fractures:
            refuse("a fragment needs a fracture that parts it from the bone",
                   key="fragment", expected="a [[fracture]]")
        return self

    def resolved(self) -> dict[str, Any]:
        """Every key with its value, defaults and derived ones filled in: see `resolve.resolved`."""
        from constructs.resolve import resolved
        return resolved(self)
