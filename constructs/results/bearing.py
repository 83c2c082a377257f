"""The educational weight-bearing table: which construct meets all limits under which activity.

It compares the joint force of an activity, or of a mass on the ground, with the loads at which
limits are reached along the path: once and for all as the load rises. "Only with friction" is what
is not within all limits, or not carried, with friction lost after tightening. Each cell is judged
in soft bone too, by the same rules, and says so where that verdict is another one. A mass on the
ground stands for a range of joint forces and is judged at its upper end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from buttress.results.comparison import Comparison
from buttress.results.judged import Cell, judged
from buttress.results.limits import kept_words
from buttress.results.search import not_found
from buttress.results.soft import SoftBone
from buttress.rules.study import TIGHTENED, left_by_reduction
from buttress.study import tables
from buttress.study.activities import STANCES, activities, activity_case, ground_cases
from buttress.study.loads import LoadInput
from buttress.words import BREAKS_RULE, marked, span

TITLE = "Educational weight-bearing table, not for planning treatment"
GROUND = ("A mass on the ground is converted by the ratio of knee force to ground force of "
          "standing on two legs (lower force) and on one leg (upper force), and judged at the "
          "upper one. ")
JUDGED = ("Peak forces were measured with instrumented knee implants, not in fractured "
          "knees. A verdict is one of this model; none is permission to load a leg.")
USUAL = "The study names no activity or mass on the ground, so the usual ones are shown. "
MOST_COLUMNS = 7
"""With more constructs than this they go down the side of picture and page."""


@dataclass(frozen=True)
class BearingRow:
    """An activity or a mass on the ground; ``force_N`` its joint force, lower and upper."""

    name: str
    force_N: tuple[float, float]
    source: str
    status: str
    cells: dict[str, Cell]

    @property
    def force_words(self) -> str:
        """The joint force in newtons: ``1920`` or ``315–381``."""
        return span(*self.force_N)


@dataclass(frozen=True)
class Bearing:
    """The table for a body mass, rows by joint force; ``doubts``: loads that were not found.

    ``against``: constructs that break a rule of the trade, which are marked where they are named.
    """

    title: str
    judged: str
    body_mass_kg: float
    rows: tuple[BearingRow, ...]
    doubts: tuple[str, ...] = ()
    against: tuple[str, ...] = ()

    def named(self, construct: str) -> str:
        """The name of a construct, marked where it breaks a rule of the trade."""
        return marked(construct, construct in self.against)

    @property
    def mark(self) -> str:
        """What the mark means, as a sentence; empty where no construct is marked."""
        return f"{BREAKS_RULE}." if self.against else ""

    @property
    def constructs(self) -> tuple[str, ...]:
        """Names of the constructs, the columns."""
        return tuple(self.rows[0].cells)


def weight_bearing(comparison: Comparison) -> Bearing | None:
    """The weight-bearing table of a comparison; None where the study gives no body mass.

    Its rows are the activities and masses of the study, or the standard ones where it names none.
    """
    load = comparison.study.load
    if load.body_mass_kg is None:
        return None
    about = asked_for(load)
    asked = load.activity is not None or load.ground_kg is not None
    soft = comparison.soft or SoftBone("")
    said = (("" if asked else USUAL) + (GROUND if not asked or load.ground_kg else "") + JUDGED,
            _fit(comparison), soft.words)
    return Bearing(
        title=TITLE, judged=" ".join(filter(None, said)), body_mass_kg=load.body_mass_kg,
        rows=tuple(BearingRow(*row, {
            c.name: judged(c, row[1][1], soft.constructs.get(c.name))
            for c in comparison.constructs}) for row in about),
        doubts=tuple(f"{c.name}: {kept_words(name, r)}." for c in comparison.constructs
                     for name, r in c.limits.items() if not_found(r)),
        against=tuple(c.name for c in comparison.constructs if c.breaks_rule))


def _fit(comparison: Comparison) -> str:
    """What reduction leaves off its place and what stages did, on top of which the verdicts come;
    else empty."""
    left = "; ".join(said for _, said in left_by_reduction(comparison.study))
    limits = comparison.study.limits
    passed = [f"{c.marked_name}: {said}; verdicts are those of loading it again after them."
              for c in comparison.stages
              for said in [c.beyond(limits.step_off_mm, limits.depression_mm)] if said]
    first = left and (f"{left[0].upper()}{left[1:]}: loads at limits count from there or, where "
                      f"screws are tightened, from {TIGHTENED}, and what is then left comes on "
                      "top.")
    return " ".join(filter(None, [first, *passed]))


def asked_for(load: LoadInput) -> list[tuple[str, tuple[float, float], str, str]]:
    """Name, joint force [N, lower and upper], source and status of each row, by rising force."""
    mass = load.body_mass_kg
    if mass is None:
        return []
    asked = load.activity is not None or load.ground_kg is not None
    usual = {tables.number("loads", "partial weight bearing", f)
             for f in tables.fields("loads", "partial weight bearing")}
    about: list[tuple[str, tuple[float, float], str, str]] = []
    for kg in set(load.ground_kg or ()) if asked else usual:
        if kg <= mass:
            low, high = ground_cases(kg)
            about.append((f"{kg:g} kg on the ground", (low.total_N, high.total_N),
                          f"{low.source}; {high.source}", low.status))
    for name in (load.activity or ()) if asked else activities():
        case = activity_case(name, mass)
        about.append((name, (case.total_N, case.total_N), case.source, case.status))
    return sorted(about, key=lambda row: (row[1][1], row[0]))


COLUMNS = ("title", "body_mass_kg", "activity", "joint_force_low_N", "joint_force_high_N",
           "construct", "verdict", "limit_load_N", "source", "status", "stances",
           "not_found", "without_friction_N", "without_friction", "events", "verdict_soft_bone",
           "limit_load_soft_bone_N", "not_found_soft_bone", "events_soft_bone")


def rows(bearing: Bearing) -> list[dict[str, Any]]:
    """One row per activity and construct, each with the title that states its purpose."""
    return [{"title": bearing.title, "body_mass_kg": bearing.body_mass_kg, "activity": row.name,
             "joint_force_low_N": row.force_N[0], "joint_force_high_N": row.force_N[1],
             "construct": name, "verdict": cell.verdict, "limit_load_N": cell.load_N,
             "source": row.source, "status": row.status, "not_found": cell.doubt or None,
             "without_friction_N": cell.friction_N,
             "without_friction": cell.without_friction or None, "events": cell.event_words or None,
             "stances": " to ".join(STANCES) if row.force_N[0] < row.force_N[1] else None,
             "verdict_soft_bone": cell.soft.verdict if cell.soft else None,
             "limit_load_soft_bone_N": cell.soft.load_N if cell.soft else None,
             "not_found_soft_bone": cell.soft.doubt or None if cell.soft else None,
             "events_soft_bone": cell.soft.event_words or None if cell.soft else None}
            for row in bearing.rows for name, cell in row.cells.items()]
