"""What a study may say: one frozen model a table of the TOML file, with defaults and limits.

Every dimensional key ends in its unit. x points lateral, y proximal, the origin is the middle of
the joint line; medial is at -x. `constructs.study` reads files into these models.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from constructs.checked import (
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
from constructs.schema_bone import (
    Fracture,
    Fragment,
    LimitsInput,
    LoadInput,
    MeshInput,
    SectionInput,
    Void,
)
from constructs.schema_implants import Fill, Layer, Pin, Plate, Screw, Segment, Side, Wire

__all__ = ["Construct", "Fill", "Fracture", "Fragment", "Layer", "LimitsInput", "LoadInput",
           "MeshInput", "Pin", "Plate", "Screw", "SectionInput", "Segment", "Side", "Study",
           "Void", "Wire"]

OUTLINE = {edge: "edge of the bone" for edge in ("joint", "medial", "lateral", "base")}


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
