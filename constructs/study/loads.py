"""The part of a study file on loads and limits: one frozen model per table of the TOML file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, Field, PrivateAttr, model_validator

from buttress.study import tables
from buttress.study.activities import (
    LoadCase,
    activities,
    activity_case,
    ground_cases,
    newtons,
    rising,
)
from buttress.study.bone import listed
from buttress.study.checked import MOST, Checked, OneOf, Text, Within, ascending, refuse

Total = Annotated[float, Within(1, 20000, "N")]
SIZES = ("total_N", "activity", "ground_kg", "case")
"""Keys of `[load]` for the size of the loads: the first, the last, or one or both others."""


def _case_name(value: str) -> str:
    if not value.strip() or len(value) > 120 or "\n" in value:
        refuse("not a valid load name", expected="1 to 120 printable characters on one line")
    return value


class CaseInput(Checked):
    """`[[load.case]]`: a named load, as the resolved study lists it for activities."""

    name: Annotated[Text, AfterValidator(_case_name)]
    total_N: Total
    source: Text = "given in the study"
    status: Literal["seen", "memory", "derived", "practice"] = "practice"


class LoadInput(Checked):
    """`[load]`: total joint force on two patches of the joint line.

    The forces are given as ``total_N``, or as a ``body_mass_kg`` with ``activity`` (peak force as a
    share of body weight), or as ``ground_kg`` (partial weight bearing on a scale; each gives two
    loads, see `buttress.study.activities`), or as named ``case``s. A body mass next to ``total_N``
    or cases only adds the weight-bearing table. ``shift_mm`` moves the resultant laterally (valgus)
    or medially (negative, varus) by changing the share of the condyles; the patches stay in place.
    A sagittal section has one patch, about ``slice_centre_mm``, with the share of its condyle.
    """

    given_N: Annotated[tuple[Total, ...], Field(min_length=1, max_length=MOST)] | None = Field(
        default=None, alias="total_N")
    body_mass_kg: Annotated[float, Within(30, 160, "kg")] | None = None
    activity: Annotated[tuple[Annotated[str, OneOf(activities, "activity")], ...],
                        Field(min_length=1, max_length=MOST)] | None = None
    ground_kg: Annotated[tuple[Annotated[float, Within(2, 100, "kg")], ...],
                         Field(min_length=1, max_length=MOST)] | None = None
    case: Annotated[tuple[CaseInput, ...], Field(min_length=1, max_length=MOST)] | None = None
    medial_share: Annotated[float, Within(0, 1)] = listed("loads.default.medial_share")
    shift_mm: Annotated[float, Within(-60, 60, "mm")] = 0.0
    direction_deg: Annotated[float, Within(-60, 60, "deg")] = 0.0
    patch_width_mm: Annotated[float, Within(2, 50, "mm")] = listed("loads.default.patch_width")
    NARROWEST: ClassVar[float] = 8.0
    """mm from the middle: usual patches are moved in no farther."""
    _room: float = PrivateAttr(default=math.inf)

    medial_centre_mm: Annotated[float, Within(-60, -1, "mm")] = Field(
        default_factory=lambda: -tables.number("loads", "default", "centre"))
    lateral_centre_mm: Annotated[float, Within(1, 60, "mm")] = listed("loads.default.centre")
    slice_centre_mm: Annotated[float, Within(-40, 40, "mm")] | None = None

    @model_validator(mode="before")
    @classmethod
    def _default(cls, data: Any) -> Any:
        if isinstance(data, dict) and not {*SIZES, "body_mass_kg"} & data.keys():
            row = "where none is given"
            return {**data, "total_N": tuple(tables.number("loads", row, f)
                                             for f in tables.fields("loads", row))}
        return data

    @model_validator(mode="after")
    def _consistent(self) -> LoadInput:
        by_mass = [k for k in ("activity", "ground_kg") if getattr(self, k) is not None]
        if self.given_N is not None:
            ascending(self.given_N, "total_N", "loads")
            if by_mass:
                refuse(f"the loads are given twice: total_N and {by_mass[0]}", key="total_N",
                       value=self.given_N, expected="total_N, or activity and ground_kg")
        if self.case is not None and (by_mass or self.given_N is not None):
            other = "total_N" if self.given_N is not None else by_mass[0]
            refuse(f"the loads are given twice: case and {other}", key="case",
                   value=[c.name for c in self.case], expected=f"cases or {other}, not both")
        self._by_mass(by_mass)
        self._shifted()
        forces = [c.total_N for c in self.case or ()]
        if len({c.name.casefold() for c in self.case or ()}) < len(forces):
            refuse("two loads have the same name", key="case",
                   value=[c.name for c in self.case or ()],
                   expected="names that differ")
        if len(set(forces)) < len(forces):
            refuse("two cases with the same load", key="case", value=forces,
                   expected="loads that differ")
        return self

    def _by_mass(self, given: list[str]) -> None:
        """Refuse inconsistent masses."""
        mass = self.body_mass_kg
        if mass is not None and not given and self.given_N is None and self.case is None:
            refuse("a body mass alone does not define a load", key="body_mass_kg", value=mass,
                   expected='also activity = ["walking"], ground_kg = [15] or total_N = [500]')
        if self.activity is not None:
            if mass is None:
                refuse("an activity needs a body mass", key="activity", value=self.activity,
                       expected="also body_mass_kg = 75, or another mass")
            if len(set(self.activity)) < len(self.activity):
                refuse("an activity is listed twice", key="activity", value=self.activity,
                       expected="each activity once")
        if self.ground_kg is not None:
            ascending(self.ground_kg, "ground_kg", "masses on the ground")
            if mass is not None and self.ground_kg[-1] > mass:
                newton = self.ground_kg[-1] / tables.number("loads", "gravity", "standard")
                refuse(f"more on the ground than the body mass (if in newtons: {newton:.0f} "
                       "kg)", key="ground_kg", value=self.ground_kg,
                       expected=f"at most body_mass_kg = {mass:g}")

    def _shifted(self) -> None:
        """Refuse a shift that takes the resultant beyond a contact patch."""
        span = self.lateral_centre - self.medial_centre
        low, high = -(1.0 - self.medial_share) * span, self.medial_share * span
        if not low - 1e-9 <= self.shift_mm <= high + 1e-9:
            refuse("the shift moves the resultant beyond a contact patch: one condyle would "
                   "lift off", key="shift_mm", value=self.shift_mm,
                   expected=f"{low:.4g} to {high:.4g} mm with this medial_share and these centres")

    @property
    def cases(self) -> tuple[LoadCase, ...]:
        """All loads in order of increasing force, with name, source and status."""
        if self.given_N is not None:
            return tuple(LoadCase("", x, "given in the study", "practice") for x in self.given_N)
        if self.case is not None:
            return rising(LoadCase(c.name, c.total_N, c.source, c.status) for c in self.case)
        found = [c for kg in self.ground_kg or () for c in ground_cases(kg)]
        if self.body_mass_kg is not None:
            found += [activity_case(a, self.body_mass_kg) for a in self.activity or ()]
        return rising(found)

    @property
    def total_N(self) -> tuple[float, ...]:
        """All loads, increasing [N]."""
        return tuple(c.total_N for c in self.cases)

    def words(self, total: float) -> str:
        """A load in words, with its name where it has one: ``1920 N (walking)``."""
        return next((c.words for c in self.cases if c.total_N == total), f"{newtons(total)} N")

    @property
    def all_words(self) -> str:
        """All loads in words: ``500, 1000 N`` or ``315 N (15 kg on ground, two-leg), ...``."""
        if self.given_N is not None:
            return ", ".join(newtons(x) for x in self.given_N) + " N"
        return ", ".join(c.words for c in self.cases)

    def name(self, total: float) -> str:
        """The name of a load, empty where it has none."""
        return next((c.name for c in self.cases if c.total_N == total), "")

    @property
    def slice_centre(self) -> float:
        """Middle x of the patch on a sagittal section [mm]."""
        if self.slice_centre_mm is not None:
            return self.slice_centre_mm
        return tables.number("loads", "slice", "centre")

    @property
    def medial_centre(self) -> float:
        """Middle x of the medial patch [mm]: as given or, where the usual place lies too near the
        edge of a narrow plateau, as far out as the patch fits."""
        usual = -tables.number("loads", "default", "centre")
        return max(usual, -self._room) if self.medial_centre_mm == usual \
            else self.medial_centre_mm

    @property
    def lateral_centre(self) -> float:
        """Middle x of the lateral patch [mm], see `medial_centre`."""
        usual = tables.number("loads", "default", "centre")
        return min(usual, self._room) if self.lateral_centre_mm == usual \
            else self.lateral_centre_mm

    def within(self, edge_mm: float) -> None:
        """Keep how far out the joint line reaches [mm], so that usual patches lie on it."""
        room = edge_mm - self.patch_width_mm / 2
        if self.NARROWEST <= room < tables.number("loads", "default", "centre"):
            self._room = room
            self._shifted()

    @property
    def shifted_share(self) -> float:
        """Share of the medial condyle after the shift of the resultant.

        The resultant of s on the medial and 1 - s on the lateral centre lies at s x_m + (1 - s)
        x_l; a lateral shift e subtracts e / (x_l - x_m) from s (equilibrium of moments).
        """
        share = self.medial_share - self.shift_mm / (self.lateral_centre - self.medial_centre)
        return min(1.0, max(0.0, share))


class HardeningInput(Checked):
    """`[hardening]`: what is carried beyond a strength.

    ``bone_share``: slope of cancellous bone, foam and graft that crush, as a share of the stiffness
    before; the default is that of "crushed bone" in data/materials.toml; 0 is crushing at a
    constant force. ``metal_share``: of the slope of the alloy between its yield and its ultimate
    strength; 0 is a plastic hinge of constant moment. Cortex and cement do not harden.
    ``thread_residual`` and ``bond_residual``: share of its strength that is left to a thread that
    has stripped, and to a bonded fill that has broken off; 1: all of it, at any slip.
    """

    bone_share: Annotated[float, Within(0, 0.5)] = listed("materials.crushed bone.slope_share")
    metal_share: Annotated[float, Within(0, 2)] = 1.0
    thread_residual: Annotated[float, Within(0, 1)] = 1.0
    bond_residual: Annotated[float, Within(0, 1)] = 1.0

    @property
    def softens(self) -> bool:
        """Whether anything loses strength beyond its peak."""
        return min(self.thread_residual, self.bond_residual) < 1.0


class PressInput(Checked):
    """`[press]`: how the joint is pressed.

    ``large_movements``: whether pieces, implants and their contacts are moved along the path, once
    one of them has moved by more than `loads.path.moved_from` (auto), from the first step (on), or
    never (off: all forces act where they did before any load). The load keeps its line.
    ``step_growth``: each step of the ram is longer than the one before by this factor; nearer to 1,
    slip and crushing are followed in more steps.
    """

    large_movements: Literal["auto", "on", "off"] = "auto"
    step_growth: Annotated[float, Within(1.02, 1.5)] = listed("loads.path.step_growth")


class LimitsInput(Checked):
    """`[limits]`: criteria of failure.

    Step-off: relative displacement of the lips of a fracture across the joint line. Depression:
    largest subsidence of any point on a fragment's joint surface. Widening: increase of the
    plateau's width. Bone: share of its volume over the yield strain. Metal: stress of an outer
    fibre over the yield stress; without it the first yield is an event on the curve and limits
    nothing, since a plate may carry far more than that. `movement_mm` is no limit: constructs are
    ordered by the load at which the largest of net subsidence, step-off and gap first reaches it.
    """

    MEANT: ClassVar[Mapping[str, str]] = dict.fromkeys(
        ("subsidence_mm", "subsidence", "sinking_mm", "depression"), "depression_mm")

    step_off_mm: Annotated[float, Within(0.05, 20, "mm")] = listed("anatomy.limits.step_off")
    depression_mm: Annotated[float, Within(0.05, 30, "mm")] = listed("anatomy.limits.depression")
    widening_mm: Annotated[float, Within(0.05, 30, "mm")] = listed("anatomy.limits.widening")
    bone_over_yield_share: Annotated[float, Within(1e-5, 0.5)] = listed(
        "anatomy.limits.bone_over_yield")
    metal_yield_ratio: Annotated[float, Within(0.05, 2)] | None = None
    movement_mm: Annotated[float, Within(0.05, 20, "mm")] = listed("anatomy.limits.movement")
