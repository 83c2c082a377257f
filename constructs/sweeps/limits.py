"""Rows of the tables limits and bearing of a store: see `compare` for what they mean."""

from __future__ import annotations

from typing import Any

from buttress.model.model import Model
from buttress.results.bearing import asked_for
from buttress.results.derive import MOVED_MM, derive
from buttress.results.judged import judged_by
from buttress.results.limits import first_yield
from buttress.results.reader import Reader
from buttress.results.search import Search
from buttress.results.soft import Bears
from buttress.study.study import Study


def limit_rows(own: Bears, model: Model, reader: Reader) -> list[dict[str, Any]]:
    """The load at each limit and at stated movements of a construct in its own bone."""
    found = [{"limit_name": name, "load_N": r.load_N, "kept_to_N": r.kept_to_N,
              "missing": r.missing or None, "part": r.where.part if r.where else None,
              **dict(zip(("x_mm", "y_mm"), (r.where and r.where.place_mm) or (None, None),
                         strict=True))}
             for name, r in own.limits.items()]
    whole = derive(Search(model), reader, first_yield(reader, model),
                   model.bone.study.limits.movement_mm, whole=False, moved=MOVED_MM)
    for kind, loads in whole.load_at_N.items():
        found += [{"limit_name": f"{kind.replace('_', '-')} of {mm} mm", "load_N": load}
                  for mm, load in loads.items()]
    if whole.reserve_to_failure is not None:
        r = whole.reserve_to_failure
        found.append({"limit_name": f"joint moved {r.movement_mm:g} mm", "load_N": r.load_N,
                      "kept_to_N": r.kept_to_N, "part": r.where})
    return found


def cell_rows(own: Bears, study: Study, soft: Bears | None) -> list[dict[str, Any]]:
    """The cells of the weight-bearing table of a construct; ``soft``: the same in soft bone."""
    found = []
    for name, (low, high), *_ in asked_for(study.load):
        cell = judged_by(own, high)
        row = {"activity": name, "joint_force_low_N": low, "joint_force_high_N": high,
               "verdict": cell.verdict, "limit_load_N": cell.load_N,
               "not_found": cell.doubt or None}
        if soft is not None:
            cell = judged_by(soft, high)
            row |= {"verdict_soft_bone": cell.verdict, "limit_load_soft_bone_N": cell.load_N,
                    "not_found_soft_bone": cell.doubt or None}
        found.append(row)
    return found
