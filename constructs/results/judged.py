"""What a construct does under a load, in the words of all tables and pictures.

One rule for a load of the study and for an activity: the load is compared with those at which
limits are reached along the path, and with the largest that the path reaches; what is within all
limits then is compared with those of the path on which friction is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from buttress.fe.status import Status
from buttress.results.bar import NOT_ON_ALL
from buttress.results.beyond import (
    METAL,
    OR_LESS,
    OVER,
    beyond_words,
    friction_needed,
    friction_not_known,
    lost_not_known,
)
from buttress.results.crushed import BONE, CRUSHED
from buttress.results.quantity import EQUILIBRIUM
from buttress.results.records import (
    NOT_KNOWN,
    NOT_LOADED,
    UNDECIDED,
    ConstructResult,
    LoadResult,
)
from buttress.results.search import not_found
from buttress.results.soft import Bears
from buttress.study.activities import carried, reached

HOLDS, LETS_GO, UNKNOWN = "within all limits", "fails", NOT_KNOWN
ONLY_FRICTION = "only with friction"
"""Verdict on what is within all limits above the load up to which it is so with friction lost."""
IN_SOFT = "in soft bone:"
METAL_YIELDS = "metal yields"
AT_ANY_LOAD = "at any load"
LEFT = "left by reduction"
NO_STATE = "how far it has moved at this load is not known"
HOW_TO_READ = (
    "How to read capacity and path together: the capacity is the largest load that forces could "
    "balance if nothing hardened, gaps were closed and screws stayed as tight as they were set; "
    "verdicts, peaks and marks are read off the path, which may carry more, since crushed bone and "
    "bent metal harden and the load stretches the screws further, or less, since friction is "
    "seldom at its best, gaps close late and the path ends where parts move farther than this "
    "model follows.")
"""How a capacity by limit analysis and what is read off the path go together."""


@dataclass(frozen=True)
class Cell:
    """One construct under one load: "within all limits", "only with friction", "over a limit: " and
    the limit reached first, "fails" (above the peak), "cannot be tightened" or "not known".

    ``load_N`` is the load at which that limit is reached (or the peak), None where none is;
    ``at_most``: that it may be less. ``doubt`` says what was not found where the verdict is not
    known. ``soft``: the same in soft bone, None where nothing is judged there. ``friction_N``: up
    to which load it is within all limits with friction lost, where the verdict rests on it;
    ``friction_limit``: the limit that is reached then, empty where it fails. ``events``: what has
    happened below the load though no limit is reached by it, each with the load [N] from which on,
    and what another mesh says of it where it says something else.
    """

    verdict: str
    load_N: float | None
    doubt: str = ""
    soft: Cell | None = None
    friction_N: float | None = None
    friction_limit: str = ""
    at_most: bool = False
    events: tuple[tuple[str, float, str], ...] = ()

    @property
    def words(self) -> str:
        """As in a cell of the table: ``over a limit: step-off from 1076 N``."""
        return "; ".join(filter(None, (self.own_words, self.event_words, self.soft_words)))

    @property
    def own_words(self) -> str:
        """The verdict and its load in the study's own bone."""
        return f"{self.verdict} {self.since}".strip()

    @property
    def soft_words(self) -> str:
        """``in soft bone: fails above 950 N``, with what has happened below the load there; empty
        where the verdict is the same."""
        if self.soft is None or not self.differs:
            return ""
        said = "; ".join(filter(None, (self.soft.own_words, self.soft.event_words)))
        return f"{IN_SOFT} {said}"

    @property
    def event_words(self) -> str:
        """``metal yields from 1100 N; bone is crushed locally from 989 N``; else empty."""
        return "; ".join(" ".join(filter(None, (what, _from(load), beside)))
                         for what, load, beside in self.events)

    @property
    def differs(self) -> bool:
        """Whether the verdict in soft bone is another one."""
        return self.soft is not None and self.soft.verdict != self.verdict

    @property
    def without_friction(self) -> str:
        """The verdict with friction lost, where this one rests on friction; else empty."""
        if self.friction_N is None:
            return ""
        return f"{OVER}{self.friction_limit}" if self.friction_limit else LETS_GO

    @property
    def since(self) -> str:
        """From which load on, or what was not found; empty where all limits are met."""
        if self.friction_N is not None:
            above = (AT_ANY_LOAD if self.friction_N < 1.0 else _from(self.friction_N)
                     if self.friction_limit else f"above {carried(self.friction_N)} N")
            return f"{above} (else {self.without_friction})"
        if self.load_N is None:
            return f"({self.doubt})" if self.doubt else ""
        if self.verdict != LETS_GO:
            return _from(self.load_N, "at most " if self.at_most else "")
        return f"above {carried(self.load_N)} N" if self.load_N > 0.0 else AT_ANY_LOAD


def _from(load: float, more: str = "") -> str:
    return f"from {more}{reached(load)} N" if load >= 1.0 else AT_ANY_LOAD


def with_verdicts(construct: ConstructResult, beyond: Bears | None = None) -> ConstructResult:
    """The construct with a verdict on each load of the study, and on each picture of one.

    ``beyond``: the loads at which limits are reached, searched farther than those of the construct,
    by which loads above the limit of its search are judged.
    """
    said = {load.total_load_N: judged(construct, load.total_load_N, beyond=beyond)
            for load in construct.loads}
    # An answer that was not found keeps no limit; one that is reached below it stays reached.
    said |= {load.total_load_N: Cell(UNKNOWN, None, events=said[load.total_load_N].events)
             for load in construct.loads
             if load.status == Status.UNCONVERGED
             and said[load.total_load_N].verdict in (HOLDS, ONLY_FRICTION)}
    return replace(
        construct,
        loads=tuple(replace(x, verdict=said[x.total_load_N].verdict,
                            verdict_words=_words(x, said[x.total_load_N]))
                    for x in construct.loads),
        pictures=tuple(replace(x, verdict=said[x.load_N].verdict,
                               verdict_words=said[x.load_N].words) for x in construct.pictures))


def _words(load: LoadResult, found: Cell) -> str:
    """A verdict in words, and that nothing is known of the state at its load where that is so."""
    unknown = load.status == Status.UNCONVERGED and found.verdict.startswith(OVER)
    return f"{found.words}; {NO_STATE}" if unknown else found.words


def judged(construct: ConstructResult, force: float, soft: Bears | None = None,
           beyond: Bears | None = None) -> Cell:
    """What a construct does under a joint force [N], from the loads at which limits are reached.

    ``soft``: those of the same construct in soft bone; ``beyond``: see `with_verdicts`.
    """
    own = judged_by(construct if beyond is None or force <= construct.search_limit_N else beyond,
                    force)
    if soft is None:
        return own
    return replace(own, soft=judged_by(soft, force))


def judged_by(found: ConstructResult | Bears, force: float) -> Cell:
    """What a construct does under a joint force [N], from its limits alone."""
    if found.status in UNDECIDED:
        return Cell(UNKNOWN, None, found.status)
    said = NOT_LOADED.get(found.status)
    return _told(found, force) if said is None else Cell(said, None)


def _told(construct: ConstructResult | Bears, force: float) -> Cell:
    """The verdict with what has happened below the load."""
    found = _judged(construct, force)
    if found.verdict == LETS_GO:
        return found
    named = found.verdict == f"{OVER}{METAL}"    # the first yield is the limit that is over
    return replace(found, events=tuple(e for e in _events(construct, force)
                                       if not (named and e[0] == METAL_YIELDS)))


def _judged(construct: ConstructResult | Bears, force: float) -> Cell:
    ends = construct.equilibrium_ends_N
    if ends is not None and force > ends:
        return Cell(LETS_GO, ends)
    if construct.left:    # movements, and the loads at limits, count from there
        return Cell(f"{OVER}{construct.left} ({LEFT})", 0.0)
    over = [(load, name) for name, r in construct.limits.items() if name != EQUILIBRIUM
            for load in (r.load_N, r.over_from_N) if load is not None and load <= force]
    if over:
        load, name = min(over)
        limit = construct.limits[name]
        return Cell(OVER + beyond_words(name, limit), load, at_most=limit.load_N is None)
    if construct.ends_status == NOT_KNOWN and force > (construct.known_to_N or 0.0):
        return Cell(UNKNOWN, None, f"above {carried(construct.known_to_N or 0.0)} N")
    lost = [name for name, r in construct.limits.items()
            if not_found(r) and force > (r.kept_to_N or 0.0)]
    if lost:
        return Cell(UNKNOWN, None, f"{lost[0]} not found")
    return _without_friction(construct, force)


def _without_friction(construct: ConstructResult | Bears, force: float) -> Cell:
    """Whether what is within all limits at a load [N] is so with friction lost, too."""
    most, limit = friction_needed(construct)
    if most is not None and (force >= most if limit else force > most):
        return Cell(ONLY_FRICTION, None, friction_N=most, friction_limit=limit)
    known = friction_not_known(construct)
    return Cell(HOLDS, None, lost_not_known(known) if known is not None and known < force else "")


def _events(construct: ConstructResult | Bears, force: float
            ) -> tuple[tuple[str, float, str], ...]:
    """What has happened to metal, bone, graft and what anchors in them below a load, the first
    first; on any mesh, where there are several."""
    found = ((METAL_YIELDS, "first_yield_N"),
             (f"{construct.first_crushing_of or BONE} {CRUSHED}", "first_crushing_N"),
             ("a screw's thread gives way", "first_thread_N"))
    out = []
    for what, key in found:
        load = getattr(construct, key)
        bar = construct.bar(key) if isinstance(construct, ConstructResult) else None
        values = [load] if bar is None else bar.values
        if load is not None and any(v is not None and v <= force for v in values):
            others = [v for v in values if v is None or (v <= force) != (load <= force)]
            or_less = OR_LESS * (what == METAL_YIELDS and construct.first_yield_at_most)
            out.append((what, load, " ".join(filter(None, [or_less.strip(), _elsewhere(others)]))))
    return tuple(sorted(out, key=lambda event: event[1]))


def _elsewhere(loads: Sequence[float | None]) -> str:
    """``(on another mesh from 892 N)``; empty without loads."""
    if not loads:
        return ""
    known = [v for v in loads if v is not None]
    return f"(on another mesh {_from(known[0])})" if known else f"({NOT_ON_ALL})"
