"""The educational weight-bearing table: which construct meets all limits under which activity.

It compares the joint force of an activity, or of a mass on the ground, with the loads at which
limits are reached along the path: once and for all as the load rises. "Only with friction" is what
the path with friction lost after tightening does not carry. A mass on the ground stands for a range
of joint forces and is judged at its upper end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from buttress.results.comparison import Comparison
from buttress.results.limits import EQUILIBRIUM, kept_words
from buttress.results.records import (
    CANNOT_TIGHTEN,
    NOT_KNOWN,
    NOT_TIGHTENED,
    ONLY_FRICTION,
    ConstructResult,
    needs_friction,
    not_tightened,
)
from buttress.results.search import not_found
from buttress.study import tables
from buttress.study.activities import STANCES, activities, activity_case, ground_cases

TITLE = "Educational weight-bearing table, not for planning treatment"
JUDGED = ("A mass on the ground is converted by the ratio of knee force to ground force of "
          "standing on two legs (lower force) and on one leg (upper force), and judged at the "
          "upper one. Peak forces were measured with instrumented knee implants, not in fractured "
          "knees.")
USUAL = "The study names no activity or mass on the ground, so the usual ones are shown. "
HOLDS, LETS_GO, UNKNOWN = "within all limits", "fails", NOT_KNOWN
OVER = "over a limit: "
"""How the verdict begins that names the limit reached first."""
MOST_COLUMNS = 7
"""With more constructs than this they go down the side of picture and page."""


@dataclass(frozen=True)
class Cell:
    """One construct under one row: "within all limits", "only with friction", "over a limit: " and
    the limit reached first, "fails" (above the peak), "cannot be tightened" or "not known".

    ``load_N`` is the load at which that limit is reached (or the peak), None where none is;
    ``doubt`` says what was not found where the verdict is not known.
    """

    verdict: str
    load_N: float | None
    doubt: str = ""

    @property
    def words(self) -> str:
        """As in a cell of the table: ``over a limit: step-off from 1076 N``."""
        return f"{self.verdict} {self.since}".strip()

    @property
    def since(self) -> str:
        """From which load on, or what was not found; empty where all limits are met."""
        if self.load_N is None:
            return f"({self.doubt})" if self.doubt else ""
        if self.load_N <= 0.0:
            return "at any load"
        return f"{'above' if self.verdict == LETS_GO else 'from'} {self.load_N:.0f} N"


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
        """The joint force in newtons: ``1920`` or ``315-381``."""
        low, high = (f"{x:.0f}" for x in self.force_N)
        return low if low == high else f"{low}-{high}"


@dataclass(frozen=True)
class Bearing:
    """The table for a body mass, rows by joint force; ``doubts``: loads that were not found."""

    title: str
    judged: str
    body_mass_kg: float
    rows: tuple[BearingRow, ...]
    doubts: tuple[str, ...] = ()

    @property
    def constructs(self) -> tuple[str, ...]:
        """Names of the constructs, the columns."""
        return tuple(self.rows[0].cells)


def weight_bearing(comparison: Comparison) -> Bearing | None:
    """The weight-bearing table of a comparison; None where the study gives no body mass.

    Its rows are the activities and masses of the study, or the standard ones where it names none.
    """
    load = comparison.study.load
    mass = load.body_mass_kg
    if mass is None:
        return None
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
    about.sort(key=lambda row: (row[1][1], row[0]))
    return Bearing(
        title=TITLE, judged=JUDGED if asked else USUAL + JUDGED, body_mass_kg=mass,
        rows=tuple(BearingRow(*row, {c.name: judged(c, row[1][1]) for c in comparison.constructs})
                   for row in about),
        doubts=tuple(f"{c.name}: {kept_words(name, r)}." for c in comparison.constructs
                     for name, r in c.limits.items() if not_found(r)))


def judged(construct: ConstructResult, force: float) -> Cell:
    """What a construct does under a joint force [N], from the loads at which limits are reached."""
    if construct.status == NOT_TIGHTENED:
        return (Cell(CANNOT_TIGHTEN, None) if not_tightened(construct)
                else Cell(UNKNOWN, None, "tightening did not converge"))
    ends = construct.equilibrium_ends_N
    if ends is not None and force > ends:
        return Cell(LETS_GO, ends)
    reached = [(r.load_N, name) for name, r in construct.limits.items()
               if r.load_N is not None and name != EQUILIBRIUM and r.load_N <= force]
    if reached:
        load, name = min(reached)
        return Cell(f"{OVER}{name}", load)
    if construct.ends_status == NOT_KNOWN and force > (construct.known_to_N or 0.0):
        return Cell(UNKNOWN, None, f"above {construct.known_to_N or 0.0:.0f} N")
    lost = [name for name, r in construct.limits.items()
            if not_found(r) and force > (r.kept_to_N or 0.0)]
    if lost:
        return Cell(UNKNOWN, None, f"{lost[0]} not found")
    return Cell(ONLY_FRICTION if needs_friction(construct, force) else HOLDS, None)


COLUMNS = ("title", "body_mass_kg", "activity", "joint_force_low_N", "joint_force_high_N",
           "construct", "verdict", "limit_load_N", "source", "status", "stances",
           "not_found")


def rows(bearing: Bearing) -> list[dict[str, Any]]:
    """One row per activity and construct, each with the title that states its purpose."""
    return [{"title": bearing.title, "body_mass_kg": bearing.body_mass_kg, "activity": row.name,
             "joint_force_low_N": row.force_N[0], "joint_force_high_N": row.force_N[1],
             "construct": name, "verdict": cell.verdict, "limit_load_N": cell.load_N,
             "source": row.source, "status": row.status, "not_found": cell.doubt or None,
             "stances": " to ".join(STANCES) if row.force_N[0] < row.force_N[1] else None}
            for row in bearing.rows for name, cell in row.cells.items()]
