"""`[own]`: screw forms, plate sections, metals, bone presets and fills that a study gives itself.

They join the rows of the data tables for this study only. Each number is a key with its unit, as in
the tables; each row needs a source, which the report lists with the status "given".
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, model_validator

from buttress.study import tables
from buttress.study.checked import MOST, Checked, Name, Text, Within, refuse, unique
from buttress.study.tables import OwnName

UNITS = ("mm", "MPa", "N", "deg")


def _told(source: str) -> str:
    if len(source.strip()) < 3:
        refuse("a row without its source", value=source,
               expected="where its numbers come from, in a few words")
    return source


class OwnRow(Checked):
    """A row of a data table: its numbers, and where they come from."""

    table: ClassVar[str] = ""

    name: Name
    source: Annotated[Text, AfterValidator(_told)]

    @model_validator(mode="after")
    def _new(self) -> OwnRow:
        if self.name in tables.rows(self.table):
            refuse("a name of the data tables", key="name", value=self.name,
                   expected="a name of its own")
        return self

    def _sorted(self, *keys: str) -> None:
        """Refuse sizes that do not rise from key to key; those that are not given are passed."""
        given = [(k, getattr(self, k)) for k in keys if getattr(self, k) is not None]
        for (low, small), (high, large) in zip(given, given[1:], strict=False):
            if small > large:
                refuse(f"{low} is larger than {high}", key=low, value=small,
                       expected=f"at most {high} = {large:g}")

    def _only(self, kind: str, needed: tuple[str, ...], others: tuple[str, ...]) -> None:
        """Refuse a row of a kind without a number that it needs, or with one of another kind."""
        for key in needed:
            if getattr(self, key) is None:
                refuse("missing key", key=key, expected=f'a number, with kind = "{kind}"')
        for key in others:
            if getattr(self, key) is not None:
                refuse(f'a row of the kind "{kind}" has no such key', key=key,
                       value=getattr(self, key), expected=f"no {key}")

    @property
    def kind_of_row(self) -> str:
        """The kind of the row in its table."""
        return str(getattr(self, "kind", ""))

    def named(self) -> OwnName:
        """Its name, which carries the row."""
        row: dict[str, str | dict[str, str | float]] = {"kind": self.kind_of_row}
        for key in type(self).model_fields:
            value = getattr(self, key)
            if isinstance(value, float):
                stem, _, unit = key.rpartition("_")
                field, unit = (stem, unit) if unit in UNITS else (key, "-")
                row[field] = {"value": value, "unit": unit, "source": self.source,
                              "status": tables.GIVEN}
        return OwnName(self.name, row)


class OwnScrewForm(OwnRow):
    """`[[own.screw_form]]`: a thread form, for `form` of screws.

    A cortical form is threaded throughout; a cancellous one has a shaft and two lengths of thread,
    of which a screw gets the long one where it fits.
    """

    table: ClassVar[str] = "screws"

    kind: Literal["cortical", "cancellous"]
    thread_mm: Annotated[float, Within(1, 12, "mm")]
    core_mm: Annotated[float, Within(0.6, 10, "mm")]
    pitch_mm: Annotated[float, Within(0.2, 5, "mm")]
    head_mm: Annotated[float, Within(2, 20, "mm")]
    pilot_mm: Annotated[float, Within(0.5, 10, "mm")]
    gliding_mm: Annotated[float, Within(0.5, 12, "mm")] | None = None
    shaft_mm: Annotated[float, Within(0.6, 12, "mm")] | None = None
    short_thread_mm: Annotated[float, Within(2, 100, "mm")] | None = None
    long_thread_mm: Annotated[float, Within(2, 150, "mm")] | None = None
    lag_tension_N: Annotated[float, Within(1, 6000, "N")]

    @model_validator(mode="after")
    def _consistent(self) -> OwnScrewForm:
        shaft = ("shaft_mm", "short_thread_mm", "long_thread_mm")
        if self.kind == "cortical":
            self._only("cortical", ("gliding_mm",), shaft)
        else:
            self._only("cancellous", shaft, ("gliding_mm",))
        for keys in (("core_mm", "pilot_mm", "thread_mm", "head_mm"), ("thread_mm", "gliding_mm"),
                     ("core_mm", "shaft_mm", "thread_mm"), ("short_thread_mm", "long_thread_mm")):
            self._sorted(*keys)
        if self.core_mm == self.thread_mm:
            refuse("a form without a thread", key="core_mm", value=self.core_mm,
                   expected=f"less than thread_mm = {self.thread_mm:g}")
        return self


class OwnPlateSection(OwnRow):
    """`[[own.plate_section]]`: the cross-section and the holes of a plate, for `section` of plates.

    flat: a rectangle; arc: a sector of a tube, hollow side on the bone, its width the chord over
    the outer edges; head and shaft: two rectangles.
    """

    table: ClassVar[str] = "plates"

    kind: Literal["flat", "arc", "head and shaft"]
    width_mm: Annotated[float, Within(2, 40, "mm")]
    thickness_mm: Annotated[float, Within(0.4, 8, "mm")]
    arc_deg: Annotated[float, Within(20, 180, "deg")] | None = None
    hole_mm: Annotated[float, Within(1, 20, "mm")]
    thread_mm: Annotated[float, Within(1, 12, "mm")]
    locking_thread_mm: Annotated[float, Within(1, 12, "mm")] | None = None
    pitch_mm: Annotated[float, Within(3, 60, "mm")]
    edge_mm: Annotated[float, Within(1, 40, "mm")]
    head_length_mm: Annotated[float, Within(4, 60, "mm")] | None = None
    head_width_mm: Annotated[float, Within(4, 60, "mm")] | None = None
    head_thickness_mm: Annotated[float, Within(0.4, 8, "mm")] | None = None
    row_mm: Annotated[float, Within(1, 40, "mm")] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> OwnPlateSection:
        head = ("head_length_mm", "head_width_mm", "head_thickness_mm", "row_mm")
        of_arc, of_head = self.kind == "arc", self.kind == "head and shaft"
        self._only(self.kind, (*(("arc_deg",) if of_arc else ()), *(head if of_head else ())),
                   (*(() if of_arc else ("arc_deg",)), *(() if of_head else head)))
        self._sorted("row_mm", "head_length_mm")
        if self.hole_mm >= self.width_mm:
            refuse("the hole is as wide as the plate", key="hole_mm", value=self.hole_mm,
                   expected=f"less than width_mm = {self.width_mm:g}")
        if self.arc_deg is not None:
            # Half of the tube's outer radius; beyond it the wall is no longer thin.
            most = self.width_mm / (4 * math.sin(math.radians(self.arc_deg) / 2))
            if self.thickness_mm > most:
                refuse("too thick for a sector of a tube", key="thickness_mm",
                       value=self.thickness_mm, expected=f"at most {most:.2f} mm")
        return self


class OwnMetal(OwnRow):
    """`[[own.metal]]`: an alloy, for `material` of plates, screws and wires."""

    table: ClassVar[str] = "materials"

    modulus_MPa: Annotated[float, Within(1000, 400000, "MPa")]
    poisson: Annotated[float, Within(0, 0.49)] = 0.3
    yield_strength_MPa: Annotated[float, Within(50, 3000, "MPa")]
    ultimate_strength_MPa: Annotated[float, Within(50, 3000, "MPa")]
    elongation: Annotated[float, Within(0.005, 1)]

    @model_validator(mode="after")
    def _consistent(self) -> OwnMetal:
        self._sorted("yield_strength_MPa", "ultimate_strength_MPa")
        return self

    @property
    def kind_of_row(self) -> str:
        """The kind of the row in its table."""
        return "metal"


class OwnBone(OwnRow):
    """`[[own.bone]]`: a preset of cancellous bone, for `bone` of `[section]`."""

    table: ClassVar[str] = "materials"

    modulus_joint_MPa: Annotated[float, Within(5, 5000, "MPa")]
    modulus_shaft_MPa: Annotated[float, Within(5, 5000, "MPa")]

    @property
    def kind_of_row(self) -> str:
        """The kind of the row in its table."""
        return "bone"


class OwnFill(OwnRow):
    """`[[own.fill]]`: a graft or cement, for `material` of fills and their layers.

    A graft is in contact with the walls of its void, cement is bonded to them.
    """

    table: ClassVar[str] = "grafts"

    kind: Literal["graft", "cement"]
    modulus_MPa: Annotated[float, Within(0.5, 30000, "MPa")]
    poisson: Annotated[float, Within(0, 0.49)] = 0.3
    strength_MPa: Annotated[float, Within(0.01, 500, "MPa")]
    friction: Annotated[float, Within(0, 1.5)]
    bond_strength_MPa: Annotated[float, Within(0, 100, "MPa")] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> OwnFill:
        bond = ("bond_strength_MPa",)
        self._only(self.kind, *((bond, ()) if self.kind == "cement" else ((), bond)))
        return self


class OwnInput(Checked):
    """`[own]`: rows that join the data tables for this study."""

    screw_forms: Annotated[tuple[OwnScrewForm, ...],
                           Field(alias="screw_form", max_length=MOST)] = ()
    plate_sections: Annotated[tuple[OwnPlateSection, ...],
                              Field(alias="plate_section", max_length=MOST)] = ()
    metals: Annotated[tuple[OwnMetal, ...], Field(alias="metal", max_length=MOST)] = ()
    bones: Annotated[tuple[OwnBone, ...], Field(alias="bone", max_length=MOST)] = ()
    fills: Annotated[tuple[OwnFill, ...], Field(alias="fill", max_length=MOST)] = ()

    @model_validator(mode="after")
    def _consistent(self) -> OwnInput:
        for key, rows in self._lists():
            unique(rows, key, key.replace("_", " "))
        return self

    def _lists(self) -> Iterator[tuple[str, tuple[OwnRow, ...]]]:
        yield from (("screw_form", self.screw_forms), ("plate_section", self.plate_sections),
                    ("metal", self.metals), ("bone", self.bones), ("fill", self.fills))

    def names(self) -> Mapping[str, dict[str, OwnName]]:
        """Names that carry their rows, by name, for each list."""
        return {key: {row.name: row.named() for row in rows} for key, rows in self._lists()}
