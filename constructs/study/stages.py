"""The part of a study file on the order of steps: place, tighten, relax, lock, load, cycle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from buttress.study.checked import MOST, Checked, Text, Within, closest, did_you_mean, refuse
from buttress.study.implants import Fill, Plate, Screw, Wire, tension
from buttress.study.tables import number as listed

Do = Literal["place", "tighten", "lock", "relax", "release", "load", "unload", "cycle"]
Newtons = Annotated[float, Within(1, 20000, "N")]
Share = Annotated[float, Within(0, 1)]
LOADING = ("load", "unload", "cycle")
CYCLES = {"low_N": 0.0, "times": 50, "settle_mm": 0.001}
"""Defaults of a cycle. Practice, no source: a micrometre per cycle is below what is measurable."""
WEAR = {"wear_cycles": 20}
"""Default where friction wears. No source: a number of cycles within reach of a study."""


class Stage(Checked):
    """`[[construct.stage]]`: one step of the order in which a construct is built and loaded.

    `do`: "place" (parts are added without force in the current position of the bone), "tighten"
    (screws, to `force_N` each, else to their tension_N; from then on they keep their length),
    "lock" (heads resist both directions and rotation), "relax" (heads lose `lost_share` of the
    force that they have and are held at what is left while the pieces move; the friction of the
    fractures becomes `friction_factor` times what it is; either or both), "release" (parts are
    removed), "load" (the joint force becomes `total_N`), "unload" (the joint force becomes zero),
    "cycle" (between `total_N` and `low_N`, at most `times`, until a cycle changes the joint surface
    by `settle_mm` or less; with `friction_factor` the friction of the fractures wears to that share
    of it, evenly over the first `wear_cycles`). A part that no stage places is present from the
    start. `steps` divides tightening, relaxing, loading or unloading into equal steps. A load
    without it is pressed along the path, as the loads of a comparison are; for the others one step
    is enough unless a piece is loose, since its position depends on the path.
    """

    do: Do
    note: Text = ""
    what: Annotated[tuple[str, ...], Field(min_length=1, max_length=MOST)] | None = None
    force_N: Annotated[float, Within(1, 6000, "N")] | None = None
    lost_share: Share | None = None
    friction_factor: Share | None = None
    hours: Annotated[float, Within(0, 100000, "h")] | None = None
    total_N: Newtons | None = None
    low_N: Annotated[float, Within(0, 20000, "N")] | None = None
    medial_share: Share | None = None
    low_medial_share: Share | None = None
    steps: Annotated[int, Within(1, 100)] | None = None
    times: Annotated[int, Within(2, 2000)] | None = None
    wear_cycles: Annotated[int, Within(1, 2000)] | None = None
    settle_mm: Annotated[float, Within(1e-6, 1, "mm")] | None = None

    MEANT: ClassVar[Mapping[str, str]] = dict.fromkeys(
        ("cycles", "number_of_cycles", "count", "number", "repeats", "n"), "times")
    NEEDED: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "place": ("what",), "tighten": ("what",), "lock": ("what",), "relax": (),
        "release": ("what",), "load": ("total_N",), "unload": (), "cycle": ("total_N",)}
    ALLOWED: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "tighten": ("force_N", "steps"),
        "relax": ("what", "lost_share", "friction_factor", "hours", "steps"),
        "load": ("medial_share", "steps"), "unload": ("steps",),
        "cycle": ("low_N", "medial_share", "low_medial_share", "times", "settle_mm",
                  "friction_factor", "wear_cycles")}

    @model_validator(mode="before")
    @classmethod
    def _defaults(cls, data: Any) -> Any:
        if isinstance(data, dict) and data.get("do") == "cycle":
            worn = WEAR if data.get("friction_factor") is not None else {}
            return CYCLES | worn | data
        if isinstance(data, dict) and data.get("do") == "relax" and data.get("what"):
            return {"lost_share": listed("materials", "fading", "lost_tension")} | data
        return data

    @model_validator(mode="after")
    def _keys_fit(self) -> Stage:
        needed = self.NEEDED[self.do]
        allowed = {"do", "note", *needed, *self.ALLOWED.get(self.do, ())}
        for key in type(self).model_fields:
            given = getattr(self, key)
            if given is None and key in needed:
                refuse("missing key", key=key, expected="a list of the names of the parts"
                       if key == "what" else "the joint force in N")
            if given is not None and key not in allowed:
                refuse(f'a stage with do = "{self.do}" has no such key', key=key, value=given,
                       expected="one of " + ", ".join(sorted(allowed)))
        if self.what is not None and len(set(self.what)) < len(self.what):
            refuse("a part is named twice in one stage", key="what", value=self.what,
                   expected="each name only once")
        if self.do == "relax" and self.what is None and (
                self.lost_share is not None or self.friction_factor is None):
            refuse("nothing relaxes", key="what", value=None,
                   expected="the names of screws, or friction_factor without lost_share")
        if self.wear_cycles is not None and self.friction_factor is None:
            refuse("cycles of wear without wear", key="wear_cycles", value=self.wear_cycles,
                   expected="friction_factor as well, or no wear_cycles")
        if self.wear_cycles is not None and self.wear_cycles >= (self.times or 0):
            refuse("friction still wears in the last cycle", key="wear_cycles",
                   value=self.wear_cycles, expected=f"less than times = {self.times}")
        if self.do == "cycle" and not (self.low_N or 0.0) < (self.total_N or 0.0) \
                and self.low_medial_share in (None, self.medial_share):
            refuse("the load does not vary within a cycle", key="low_N", value=self.low_N,
                   expected=f"less than total_N = {self.total_N:g}, or another low_medial_share")
        return self

    @property
    def loads(self) -> bool:
        """Whether the step applies load rather than builds the construct."""
        return self.do in LOADING

    @property
    def alters(self) -> bool:
        """Whether the step changes what holds: parts, tension, locks or friction."""
        return not self.loads or self.friction_factor is not None


Part = Plate | Screw | Wire | Fill


def check_stages(stages: Sequence[Stage], parts: Mapping[str, Part]) -> None:
    """Refuse an impossible order: tightening a part not yet placed, placing twice, and so on.

    Raises a validation error whose key is below the construct.
    """
    later = {name for stage in stages if stage.do == "place" for name in stage.what or ()}
    there = {name for name in parts if name not in later}
    locking = {name for stage in stages if stage.do == "lock" for name in stage.what or ()}
    locked = {n for n, p in parts.items() if isinstance(p, Screw) and p.locked} - locking
    for number, stage in enumerate(stages, 1):
        key = f"stage.{number}.what"

        def no(message: str, name: str, expected: str, key: str = key) -> None:
            refuse(message, key=key, value=name, expected=expected)

        for name in stage.what or ():
            part = parts.get(name)
            if part is None:
                no("no such part in this construct" + did_you_mean(closest(name, parts)), name,
                   ", ".join(f'"{p}"' for p in parts) or "a part of the construct")
            if stage.do == "place":
                if name in there:
                    no("the part has already been placed", name, "a part that has not been placed")
                if isinstance(part, Screw) and part.plate is not None and not (
                        part.plate in there or part.plate in (stage.what or ())):
                    no("the plate of this screw has not been placed", name,
                       f'"{part.plate}" placed before the screw, or with it')
                continue
            if name not in there:
                no(f"a stage with do = \"{stage.do}\" names a part that has not been placed", name,
                   f'an earlier stage that places "{name}"')
            if stage.do == "release":
                left = [s for s in there - set(stage.what or ())
                        if getattr(parts[s], "plate", None) == name]
                if left:
                    no("screws still hold this plate", name,
                       "release of these screws before the plate, or with it: "
                       + ", ".join(f'"{s}"' for s in left))
                continue
            if not isinstance(part, Screw):
                no(f"only a screw can be {stage.do}ed", name, "the name of a screw")
            elif stage.do in ("tighten", "relax"):
                if name in locked:
                    no(f"the head of this screw is locked, so it cannot be {stage.do}ed", name,
                       f'a stage with do = "{stage.do}" before the one that locks it')
                if stage.do == "tighten" and stage.force_N is None and tension(part) == 0.0:
                    refuse("this screw has no tension_N", key=f"stage.{number}.force_N",
                           value=name, expected="force_N in the stage, or tension_N of the screw")
            elif stage.do == "lock":
                if part.plate is None:
                    no("only a screw head in a plate can be locked", name,
                       "a screw with plate and hole")
                if name in locked:
                    no("the head of this screw is already locked", name, "a screw not yet locked")
        names = set(stage.what or ())
        if stage.do == "place":
            there |= names
        elif stage.do == "release":
            there -= names
            locked -= names & locking
        elif stage.do == "lock":
            locked |= names
