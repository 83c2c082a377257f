"""The rows of a comparison: one per construct, load and fragment, units in the names of columns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from buttress.files import plain, settled
from buttress.results.limits import EQUILIBRIUM
from buttress.results.order import ranks, reserve
from buttress.results.records import (
    CANNOT_TIGHTEN,
    ConstructResult,
    LoadResult,
    largest,
    not_tightened,
)

COLUMNS = (
    "construct", "total_load_N", "load_name", "fragment", "status", "subsidence_mean_mm",
    "subsidence_max_mm", "subsidence_net_mm", "tilt_deg", "step_off_max_mm", "gap_max_mm",
    "slip_max_mm", "opening_max_mm", "widening_mm", "stiffness_N_per_mm", "capacity_lower_N",
    "capacity_upper_N", "capacity_status", "equilibrium_ends_N", "ends_status",
    "known_to_N", "rank", "reserve_N", "reserve_is", "step_off_limit_N",
    "depression_limit_N", "widening_limit_N", "bone_limit_N", "metal_limit_N", "first_limit",
    "bone_over_yield", "worst_member_yield_ratio", "stations_at_capacity", "applied_x_N",
    "applied_y_N", "balance_error", "residual", "complementarity", "method",
    "fragment_over_yield", "fragment_strain_ratio_p95", "carried_most_by", "carried_most_share",
    "medial_subsidence_mean_mm", "lateral_subsidence_mean_mm", "medial_widening_mm",
    "lateral_widening_mm", "fracture_pressure_p95_MPa", "plate_pressure_p95_MPa",
    "graft_pressure_p95_MPa", "graft_crushed_max_mm", "graft_at_strength",
    "twin_of")
ERRORS = ("balance_error", "residual", "complementarity")
"""Columns whose size is that of rounding."""
LIMIT_COLUMNS = {"depression_limit_N": "depression", "widening_limit_N": "widening",
                 "bone_limit_N": "bone over yield", "metal_limit_N": "metal over yield"}
"""Columns of the loads at which limits are reached, and the names of the limits."""


TEXTS = ("construct", "load_name", "fragment", "status", "capacity_status", "ends_status", "rank",
         "reserve_is", "first_limit", "method", "carried_most_by", "twin_of")
"""Columns of words; all others are numbers."""


def rows(constructs: Iterable[ConstructResult]) -> list[dict[str, Any]]:
    """One row per construct, load and fragment; None where a number does not exist."""
    given = tuple(constructs)
    out, places = [], ranks(given)
    for construct in given:
        for load in construct.loads:
            for name in load.fragments or ("",):
                out.append(_row(construct, load, name, places.get(construct.name)))
    return out


def _row(construct: ConstructResult, load: LoadResult, name: str, rank: str | None
         ) -> dict[str, Any]:
    fragment = load.fragments.get(name)
    row: dict[str, Any] = {
        "construct": construct.name, "fragment": name, "twin_of": construct.twin_of,
        "step_off_max_mm": largest(e.step_off_mm for e in load.edges.values()),
        "gap_max_mm": largest(e.gap_mm for e in load.edges.values()),
        "slip_max_mm": largest(f.slip_max_mm for f in load.fractures.values()),
        "opening_max_mm": largest(f.opening_max_mm for f in load.fractures.values()),
        "capacity_lower_N": construct.capacity_N[0], "capacity_upper_N": construct.capacity_N[1],
        "capacity_status": construct.capacity_status,
        "equilibrium_ends_N": construct.equilibrium_ends_N,
        "ends_status": construct.ends_status, "known_to_N": construct.known_to_N,
        "rank": rank, "reserve_N": reserve(construct).load_N,
        "reserve_is": reserve(construct).kind,
        "step_off_limit_N": construct.step_off_limit_N,
        "worst_member_yield_ratio": largest(m.yield_ratio for m in load.members.values())}
    for column, limit in LIMIT_COLUMNS.items():
        row[column] = construct.limits[limit].load_N if limit in construct.limits else None
    row["first_limit"] = _first(construct)
    if fragment is not None:
        row["applied_x_N"], row["applied_y_N"] = fragment.applied_N
        carried = fragment.carried_by or {}
        row["carried_most_by"] = max(carried, key=lambda k: carried[k], default=None)
        row["carried_most_share"] = largest(carried.values())
    row |= _extra(load, name)
    for column in COLUMNS:
        if column not in row:
            source = fragment if hasattr(fragment, column) else load
            row[column] = getattr(source, column, None)
    return {column: plain(row[column]) if column in ERRORS else settled(plain(row[column]))
            for column in COLUMNS}


def _first(construct: ConstructResult) -> str | None:
    """Name of the limit that is reached first; where none of it is held, the words why."""
    if not_tightened(construct):
        return CANNOT_TIGHTEN
    if construct.lowest_limit == EQUILIBRIUM and construct.equilibrium_ends_N == 0.0:
        return construct.first_limit.split(" (")[0]
    return construct.lowest_limit


def _extra(load: LoadResult, fragment: str) -> dict[str, Any]:
    """Figures of a row about bone, condyles, contact and grafts."""
    row: dict[str, Any] = {}
    if (bone := load.bone.get(fragment)) is not None:
        row["fragment_over_yield"] = bone.over_yield
        row["fragment_strain_ratio_p95"] = bone.strain_ratio_p95
    for side, condyle in load.condyles.items():
        row[f"{side}_subsidence_mean_mm"] = condyle.subsidence_mean_mm
        row[f"{side}_widening_mm"] = condyle.widening_mm
    for kind in ("fracture", "plate", "graft"):
        row[f"{kind}_pressure_p95_MPa"] = largest(
            c.pressure_p95_MPa for c in load.contacts.values() if c.kind == kind)
    row["graft_crushed_max_mm"] = largest(g.crushed_max_mm for g in load.grafts.values())
    row["graft_at_strength"] = largest(g.at_strength for g in load.grafts.values())
    return row
