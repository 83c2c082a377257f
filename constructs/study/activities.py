"""Total joint forces in newtons: from a body mass and an activity, or from a mass on the ground.

An activity's peak force is a share of body weight, measured in instrumented knees. Partial weight
bearing is read on a scale, as a mass on the ground under one foot; the force on the knee is larger.
It is converted by the ratio of knee force to ground force in two-leg and in one-leg stance, which
give the lower and the upper end of a range.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from buttress.study import tables

STANCES = ("two-leg stance", "one-leg stance")
"""Lower and upper end of the range for a mass on the ground."""
SAME = 1e-9
"""Forces that differ by less than this (relative) are one load with two names."""
WHOLE_N = 0.005
"""Loads this close to a whole number of newtons are that number."""


@dataclass(frozen=True)
class LoadCase:
    """A total joint force [N] with its name (empty where it has none), source and status."""

    name: str
    total_N: float
    source: str
    status: str

    @property
    def words(self) -> str:
        """The force and its name, as in ``1920 N (walking)``."""
        return f"{newtons(self.total_N)} N" + (f" ({self.name})" if self.name else "")


def newtons(value: float) -> str:
    """A force as text: as given if that is short, otherwise in whole newtons."""
    return f"{value:g}" if math.isclose(value, round(value, 1), rel_tol=1e-12) else f"{value:.0f}"


def carried(value: float) -> str:
    """A load that is still carried, or met, as text: whole newtons rounded down, so that what is
    said of all above it is true of every whole load, and what is said of it is true of it."""
    return f"{math.floor(value + WHOLE_N):.0f}"


def reached(value: float) -> str:
    """A load from which on something is so, as text: whole newtons rounded up."""
    return f"{math.ceil(value - WHOLE_N):.0f}"


def about(load: float, told: str) -> str:
    """A load found on a path, in words: ``about 529 N``, or that it is next to none."""
    return f"about {told} N" if load >= 1.0 else "less than 1 N"


def activities() -> tuple[str, ...]:
    """Names of the activities with a measured peak knee force."""
    return tables.fields("loads", "peak force")


def weight(mass_kg: float) -> float:
    """Weight [N] of a mass [kg] under standard gravity."""
    return mass_kg * tables.number("loads", "gravity", "standard")


def activity_case(activity: str, body_mass_kg: float) -> LoadCase:
    """Peak knee force of an activity: body mass x gravity x share of body weight."""
    share = tables.table_value("loads", "peak force", activity)
    return LoadCase(activity, weight(body_mass_kg) * share.value,
                    f"{share.value:g} x the weight of {body_mass_kg:g} kg; {share.source} "
                    f"({share.status})", "derived")


def knee_ratio(stance: str) -> float:
    """Ratio of knee force to ground force under that foot: 2.14 on two legs, 2.59 on one."""
    return (tables.number("loads", "peak force", stance)
            / tables.number("loads", "under one foot", stance))


def ground_cases(ground_kg: float) -> tuple[LoadCase, LoadCase]:
    """Lower and upper knee force for a mass on the ground, by the ratio of each of `STANCES`."""
    low, high = (LoadCase(
        f"{ground_kg:g} kg on ground, {stance.removesuffix(' stance')}",
        weight(ground_kg) * knee_ratio(stance),
        f"{knee_ratio(stance):g} x the weight of {ground_kg:g} kg: knee force over ground force "
        f"in {stance}; {tables.table_value('loads', 'peak force', stance).source} (seen)",
        "derived")
        for stance in STANCES)
    return low, high


def rising(cases: Iterable[LoadCase]) -> tuple[LoadCase, ...]:
    """Cases in order of force; cases of equal force are merged under both names."""
    out: list[LoadCase] = []
    for case in sorted(cases, key=lambda c: c.total_N):
        if out and math.isclose(case.total_N, out[-1].total_N, rel_tol=SAME):
            last = out.pop()
            case = LoadCase(f"{last.name} / {case.name}"[:120], last.total_N,
                            f"{last.source} / {case.source}", last.status)
        out.append(case)
    return tuple(out)
