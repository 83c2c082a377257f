"""Figures of a construct to which bench claims refer.

- ``subsidence_mm``: mean subsidence of the test's fragment at a load, in the shaft's frame,
- ``stiffness_N_per_mm``: total force over the mean displacement under it, at a load,
- ``failure_load_N``: the lower of the loads at which a step-off reaches the study's limit (2 mm)
  and at which equilibrium ends,
- ``plate_yield_N``: load at which the plate's outer fibre yields, between the study's loads.
"""

from __future__ import annotations

from collections.abc import Callable

from buttress.bench.expect import Claim, Reading
from buttress.fe.status import Status
from buttress.results.records import NOT_KNOWN, ConstructResult, LoadResult


def readings(claim: Claim, constructs: dict[str, ConstructResult], fragment: str
             ) -> tuple[Reading, ...]:
    """Figures that a claim compares: one per construct, for "grows" and "none" one per load."""
    if not claim.quantity:
        return ()
    read = QUANTITIES[claim.quantity]
    if claim.rule in ("grows", "none"):
        return tuple(read(constructs[claim.of], fragment, load) for load in claim.load_N)
    load = claim.load_N[0] if claim.load_N else 0.0
    return tuple(read(constructs[name], fragment, load) for name in claim.constructs)


def subsidence(construct: ConstructResult, fragment: str, load: float) -> Reading:
    """Mean subsidence of a fragment at a load, mm."""
    found = _at(construct, load)
    if found.status == Status.NO_EQUILIBRIUM:
        return Reading(None, "unbounded", "fails")
    value = found.fragments[fragment].subsidence_mean_mm
    return Reading(value, words="" if value is not None else found.status)


def stiffness(construct: ConstructResult, fragment: str, load: float) -> Reading:
    """Total force over the mean displacement under it, N/mm."""
    del fragment
    found = _at(construct, load)
    if found.status == Status.NO_EQUILIBRIUM:
        return Reading(None, "nil", "fails")
    value = found.stiffness_N_per_mm
    return Reading(value, words="" if value is not None else f"{found.status} at {load:g} N")


def failure_load(construct: ConstructResult, fragment: str, load: float) -> Reading:
    """Load at which 2 mm of step-off or the end of equilibrium is reached, N."""
    del fragment, load
    if any(r.status == Status.UNCONVERGED for r in construct.loads):
        return Reading(None, words="the solution did not converge at one of the loads")
    if construct.ends_status == NOT_KNOWN and construct.step_off_limit_N is None:
        return Reading(None, words=f"not known above {construct.known_to_N or 0.0:.0f} N")
    reached = [x for x in (construct.step_off_limit_N, construct.equilibrium_ends_N)
               if x is not None]
    if not reached:
        return Reading(construct.search_limit_N, "over", "not reached in the search")
    return Reading(min(reached))


def plate_yield(construct: ConstructResult, fragment: str, load: float) -> Reading:
    """Load at which the outer fibre of a plate yields, N: linear between the study's loads."""
    del fragment, load
    last = (0.0, 0.0)
    for result in construct.loads:
        ratios = [m.yield_ratio for m in result.members.values() if m.kind == "plate"]
        known = [r for r in ratios if r is not None]
        if not known:
            return Reading(last[0], "over", f"does not yield before failure, above {last[0]:g} N")
        here = (result.total_load_N, max(known))
        if here[1] >= 1.0:
            share = (1.0 - last[1]) / (here[1] - last[1])
            return Reading(last[0] + share * (here[0] - last[0]))
        last = here
    return Reading(last[0], "over", f"does not yield up to {last[0]:g} N")


def _at(construct: ConstructResult, load: float) -> LoadResult:
    return next(r for r in construct.loads if r.total_load_N == load)


QUANTITIES: dict[str, Callable[[ConstructResult, str, float], Reading]] = {
    "subsidence_mm": subsidence, "stiffness_N_per_mm": stiffness,
    "failure_load_N": failure_load, "plate_yield_N": plate_yield}
