"""The path of a construct as a test machine would print it, and what is read off it: records."""

from __future__ import annotations

from dataclasses import dataclass, field

from buttress.results.bar import Bar
from buttress.study.tables import number
from buttress.words import fixed

NOTICED_MM = number("loads", "path", "noticed")
"""Movement beyond its bound from which on what slips, opens, is crushed or gives way counts."""
LEVEL_MM = number("loads", "path", "level")
"""Way of the ram without more load from which on it is a plateau."""


@dataclass(frozen=True)
class Where:
    """What reaches a limit (a fracture, fragment, plate, screw or kind of link) and its place."""

    part: str
    place_mm: tuple[float, float] | None

    @property
    def words(self) -> str:
        """Part and place: ``plate at (−31, −40) mm``."""
        if self.place_mm is None:
            return self.part
        x, y = (fixed(v, 0) for v in self.place_mm)
        return f"{self.part} at ({x}, {y}) mm"


@dataclass(frozen=True)
class PathPoint:
    """A point: displacement of the ram [mm] (work-conjugate to the load), load [N], movements
    [mm] by name of fragment or edge; None where a fragment has no joint surface. ``moved_mm``:
    the largest of net subsidence, step-off and gap."""

    ram_mm: float
    load_N: float
    status: str
    subsidence_mm: dict[str, float | None]
    step_off_mm: dict[str, float | None]
    gap_mm: dict[str, float | None]
    moved_mm: float | None = None


@dataclass(frozen=True)
class PathEvent:
    """The first event of its kind at a source: "slip", "opening", "crushing" (also of what a screw
    presses on across its axis), "anchorage" (part of a thread or bond gives way), "hinge", "snap"
    or "peak"; "plateau", where the ram goes on without more load until something takes it up (with
    the piece that goes down most, and by how much in ``what``); and "thread", the first screw of
    which all of the thread in one piece gives way. What slips, opens, is crushed or gives way
    counts from `NOTICED_MM` on. ``what``: of crushing, what is crushed ("bone", "foam", "graft" or
    "cement")."""

    kind: str
    load_N: float
    ram_mm: float
    where: Where
    what: str = ""


@dataclass(frozen=True)
class PathResult:
    """``status``: "complete", "stopped" (at the limit of load, or where movements are larger
    than followed) or "gaps". ``events``: what loading leads to first; ``already``: what tightening
    alone had led to, under no load. ``unique``: whether other starts found no other state at the
    points tried (None: not tried); ``spread`` [N]: how far apart the loads of those states are.
    ``moves_from_mm``: displacement of the ram from which on geometry was moved; None: nowhere."""

    status: str
    stopped: str
    unique: bool | None
    spread: float
    points: tuple[PathPoint, ...]
    events: tuple[PathEvent, ...]
    gaps_mm: tuple[float, ...] = ()
    already: tuple[PathEvent, ...] = ()
    moves_from_mm: float | None = None


@dataclass(frozen=True)
class Reserve:
    """Load [N] up to which the joint has moved less than ``movement_mm``, where it moves most.

    ``which``: "subsidence" (net of the intact bone), "step-off" or "gap"; None where the joint
    does not move so far along the path. Where that is not known, it is known to have moved less up
    to ``kept_to_N``, and so far from ``over_from_N`` on, if any point of the path tells.
    """

    load_N: float | None
    movement_mm: float
    which: str | None
    where: str | None
    kept_to_N: float | None = None
    over_from_N: float | None = None


@dataclass(frozen=True)
class Work:
    """Where the work of the load has gone up to a point of the path, from the tightened state.

    ``done_Nmm``: stored and taken. ``shares`` of it: "elastic" (negative where tightened parts
    relax), "friction", "crushing" of bone and graft, "bending" of metal, "anchorage" (threads and
    bonds at their strength); they sum to 1. What hardening stores is part of what is taken.
    ``crushed``: what is crushed ("bone", "foam", "graft", "cement"), what takes most first.
    """

    load_N: float
    moved_mm: float
    done_Nmm: float
    shares: dict[str, float]
    crushed: tuple[str, ...] = ()


def lies_between(load_N: float, low_N: float, high_N: float) -> bool:
    """Whether a load that was looked for between two points of a path lies between theirs, but for
    rounding: on a plateau all three are the same."""
    rounding = 1e-6 * abs(high_N)
    return low_N - rounding <= load_N <= high_N + rounding


@dataclass(frozen=True, kw_only=True, repr=False)
class Derived:
    """What is read off a path; a load that is not reached or not known is None.

    ``load_at_N``: at 0.5, 2 and 5 mm of the mean subsidence of the fragment that subsides most, and
    of the largest step-off, also past the peak. ``stiffness_N_per_mm``: secant at
    ``stiffness_at_N`` of the force on what the section shows over how far its joint is pressed.
    ``energy_to_peak_Nmm``: work of the ram. ``reserve``: at the movement by which the study orders
    constructs, ``reserve_to_failure`` at the one that bench tests call failure.
    ``first_yield_at``: the part that yields first, and where; ``first_yield_at_most``: it has
    yielded by that load, and the one at which it did was not found. ``first_crushing_of``: what is
    crushed first (see `PathEvent`). ``first_thread_N``: the thread of a screw gives
    way along all of its length in a piece. ``work``: up to the first point that has moved so far,
    else to the last before the peak.
    """

    path: PathResult | None = None
    peak_N: float | None = None
    peak_status: str = ""
    stiffness_N_per_mm: float | None = None
    stiffness_at_N: float | None = None
    energy_to_peak_Nmm: float | None = None
    load_at_N: dict[str, dict[str, float | None]] = field(default_factory=dict)
    first_yield_N: float | None = None
    first_yield_at: Where | None = None
    first_yield_at_most: bool = False
    first_crushing_N: float | None = None
    first_crushing_of: str = ""
    first_thread_N: float | None = None
    reserve: Reserve
    reserve_to_failure: Reserve | None = None
    work: Work | None = None
    bars: tuple[Bar, ...] = ()

    def bar(self, key: str, load_N: float | None = None, fragment: str = "") -> Bar | None:
        """The error bar of a figure by its column in comparison.csv; None without one."""
        return next((b for b in self.bars if (b.key, b.load_N, b.fragment) == (
            key, load_N, fragment)), None)
