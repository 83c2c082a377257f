"""The contents of a study file: one frozen model per table, with defaults and limits.

Every dimensional key ends in its unit. y points proximally, the origin is the middle of the joint
line; x points laterally (medial is at -x), in a sagittal section posteriorly (anterior is at -x).
`buttress.study.read` reads files into these models.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PrivateAttr, model_validator

from buttress.study.bone import (
    SIDES,
    Fracture,
    Fragment,
    MeshInput,
    SectionInput,
    Side,
    Void,
)
from buttress.study.checked import (
    MOST,
    Checked,
    Name,
    Slug,
    Text,
    closest,
    did_you_mean,
    refuse,
    unique,
)
from buttress.study.implants import Fill, Layer, Pin, Plate, Screw, Segment, Wire
from buttress.study.loads import HardeningInput, LimitsInput, LoadInput, PressInput
from buttress.study.own import OwnInput
from buttress.study.paths import Address
from buttress.study.stages import Stage, check_stages

__all__ = ["Construct", "Fill", "Fracture", "Fragment", "HardeningInput", "Layer",
           "LimitsInput", "LoadInput", "MeshInput", "Pin", "Plate", "Screw", "SectionInput",
           "Segment", "Side", "Stage", "Study", "Void", "Wire"]

OUTLINE = {plane: dict.fromkeys(("joint", *sides, "base"), "side of the bone")
           for plane, sides in SIDES.items()}
"""Names of the border of a section, by its plane."""


class Construct(Checked):
    """`[[construct]]`: implants and grafts that are used together; may be empty.

    `model`: "links" (default: implants may slip, lift off and fail) or "bonded inclusions" (a
    cross-check: the same metal and graft fully bonded to the bone).
    """

    BEFORE: ClassVar[Mapping[str, str]] = {
        "like": "name of a construct", "shared": "list of: name of a shared part",
        "remove": "list of: name of a part"}

    name: Name
    note: Text = ""
    model: Literal["links", "bonded inclusions"] = "links"
    plates: Annotated[tuple[Plate, ...], Field(alias="plate", max_length=MOST)] = ()
    screws: Annotated[tuple[Screw, ...], Field(alias="screw", max_length=MOST)] = ()
    wires: Annotated[tuple[Wire, ...], Field(alias="wire", max_length=MOST)] = ()
    fills: Annotated[tuple[Fill, ...], Field(alias="fill", max_length=MOST)] = ()
    stages: Annotated[tuple[Stage, ...], Field(alias="stage", max_length=MOST)] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Construct:
        taken: dict[str, str] = {}
        for kind, parts in self.parts():
            taken = unique(parts, kind, kind, taken)
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
                refuse("the plate has no hole with this number", key=f"screw.{screw.name}.hole",
                       value=screw.hole, expected=f'1 to {count}, the holes of "{screw.plate}"'
                       if count else f'holes_mm in plate "{screw.plate}", which has no holes')
        if self.stages and self.model != "links":
            refuse("stages need links, which can slip and be tightened", key="model",
                   value=self.model, expected='"links"')
        check_stages(self.stages, {p.name: p for _, parts in self.parts() for p in parts})
        return self

    def locks_later(self, screw: str) -> bool:
        """Whether a stage locks the head of this screw: until then it is in frictional contact."""
        return any(s.do == "lock" and screw in (s.what or ()) for s in self.stages)

    def parts(self) -> tuple[tuple[str, tuple[Plate | Screw | Wire | Fill, ...]], ...]:
        """All implants and fills: (key of the list, its entries)."""
        return (("plate", self.plates), ("screw", self.screws), ("wire", self.wires),
                ("fill", self.fills))

    @property
    def pins(self) -> tuple[Screw | Wire, ...]:
        """Screws, then wires."""
        return (*self.screws, *self.wires)


class Study(Checked):
    """A fracture, the constructs to compare and the loads. Immutable."""

    BEFORE: ClassVar[Mapping[str, str]] = {
        "shared": "[[shared.plate]], [[shared.screw]], [[shared.wire]], [[shared.fill]]"}

    name: Slug
    title: Text = ""
    question: Text = ""
    scenario: Text = ""
    own: OwnInput | None = None
    section: SectionInput = Field(default_factory=SectionInput)
    mesh: MeshInput = Field(default_factory=MeshInput)
    fractures: Annotated[tuple[Fracture, ...], Field(alias="fracture",
                                                        max_length=MOST)] = ()
    fragments: Annotated[tuple[Fragment, ...], Field(alias="fragment",
                                                        max_length=MOST)] = ()
    voids: Annotated[tuple[Void, ...], Field(alias="void", max_length=MOST)] = ()
    load: LoadInput = Field(default_factory=LoadInput)
    hardening: HardeningInput = Field(default_factory=HardeningInput)
    press: PressInput = Field(default_factory=PressInput)
    limits: LimitsInput = Field(default_factory=LimitsInput)
    constructs: Annotated[tuple[Construct, ...],
                          Field(alias="construct", min_length=1, max_length=MOST)]

    _coupled: dict[Address, str] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _consistent(self) -> Study:
        # Forces on a fragment are listed by the name of their source, faces by that of their line.
        border = OUTLINE[self.section.plane]
        lines = unique(self.fractures, "fracture", "fracture", border)
        lines = unique(self.voids, "void", "void", lines)
        lines = {name: kind for name, kind in lines.items() if name not in border}
        pieces = unique(self.fragments, "fragment", "fragment", {"shaft": "clamped piece"})
        unique(self.voids, "void", "void", pieces)
        unique(self.constructs, "construct", "construct")
        for construct in self.constructs:
            for kind, parts in construct.parts():
                unique(parts, f"construct.{construct.name}.{kind}", kind, lines)
            unique(construct.fills, f"construct.{construct.name}.fill", "fill", border | pieces)
            self._fills(construct)
            self._sides(construct)
        if self.load.slice_centre_mm is not None and not self.section.sagittal:
            refuse("slice_centre_mm belongs to a sagittal section", key="load.slice_centre_mm",
                   value=self.load.slice_centre_mm,
                   expected="medial_centre_mm and lateral_centre_mm in the coronal plane")
        if not self.section.sagittal:
            from buttress.study.shapes import Flared  # needs much time to import

            line = (self.section.drawn or Flared(self.section)).joint_line()
            self.load.within(float(min(-line[0, 0], line[-1, 0])))
        most = self.section.most_depth
        key = "slice_mm" if self.section.sagittal else "depth_mm"
        for fragment in self.fragments:
            if fragment.depth_mm is not None and fragment.depth_mm > most:
                refuse("the fragment is deeper than the bone",
                       key=f"fragment.{fragment.name}.depth_mm", value=fragment.depth_mm,
                       expected=f"at most section.{key} = {most:g}")
        if self.fragments and not (self.fractures or self.voids):
            refuse("a fragment needs a fracture or a void that separates it from the bone",
                   key="fragment", expected="a [[fracture]] or a [[void]]")
        return self

    def _sides(self, construct: Construct) -> None:
        """Refuse implants on a side that does not exist in the plane of the section."""
        sides = self.section.sides
        for kind, parts in construct.parts():
            for part in parts:
                side = getattr(part, "side", None)
                if side is not None and side not in sides:
                    refuse(f"a {self.section.plane} section has no {side} side",
                           key=f"construct.{construct.name}.{kind}.{part.name}.side", value=side,
                           expected=f'"{sides[0]}" or "{sides[1]}"')

    def _fills(self, construct: Construct) -> None:
        """Refuse fills of an unknown void, and two fills of the same void."""
        voids = [v.name for v in self.voids]
        filled: set[str] = set()
        for fill in construct.fills:
            key = f"construct.{construct.name}.fill.{fill.name}.void"
            if fill.void not in voids:
                refuse("no such void" + did_you_mean(closest(fill.void, voids)), key=key,
                       value=fill.void,
                       expected=", ".join(f'"{v}"' for v in voids) or "a [[void]]")
            if fill.void in filled:
                refuse("the void is filled twice in this construct", key=key, value=fill.void,
                       expected="one fill per void; layers for two materials")
            filled.add(fill.void)

    def remember(self, coupled: dict[Address, str]) -> None:
        """Keep the expressions of coupled keys, which this study has the numbers of."""
        self._coupled = dict(coupled)

    @property
    def coupled(self) -> Mapping[Address, str]:
        """Expressions of coupled keys by address; a sweep evaluates them anew for each case."""
        return self._coupled

    def __repr__(self) -> str:
        """One line; ``model_dump()`` has all of it."""
        names = ", ".join(repr(c.name) for c in self.constructs)
        return f"Study(name={self.name!r}, constructs=({names}))"

    __str__ = __repr__

    @property
    def folder(self) -> Path | None:
        """Folder of the study file and of the files it names; None if it has none."""
        return self.section.folder

