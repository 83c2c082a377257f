"""A staged construct on the bone of `medial-shear`, on a coarse mesh, for tests."""

from __future__ import annotations

import tomllib
from typing import Any

from simple_shear import simple_shear

from buttress.comparison.stages import run_stages
from buttress.results.stages import StagedResult
from buttress.study.read import Study, study_from
from buttress.sweeps.vary import plain

PLATE, FIRST, SECOND, LAG = "antiglide plate", "shaft 1", "shaft 2", "lag"


def place(*what: str) -> dict[str, Any]:
    return {"do": "place", "what": list(what)}


def tighten(name: str, force: float) -> dict[str, Any]:
    return {"do": "tighten", "what": [name], "force_N": force}


def load(total: float) -> dict[str, Any]:
    return {"do": "load", "total_N": total}


UNLOAD: dict[str, Any] = {"do": "unload"}
BUILT = [place(LAG), tighten(LAG, 400.0), place(PLATE, FIRST), tighten(FIRST, 500.0), place(SECOND),
         tighten(SECOND, 400.0)]


CONSTRUCT = """
name = "lag screw first"
note = "The fragment is compressed before a plate that does not fit is placed over its apex."

[[plate]]
name = "antiglide plate"
section = "one-third tubular"
side = "medial"
top_mm = -25
length_mm = 70
mismatch_mm = 0.8

[[screw]]
name = "lag"
form = "HB 6.5"
side = "medial"
height_mm = -12
length_mm = 68
thread_mm = 32
use = "lag"
tension_N = 400
washer = true

[[screw]]
name = "shaft 1"
form = "HA 3.5"
plate = "antiglide plate"
hole = 3
angle_deg = -15
length_mm = "bicortical"

[[screw]]
name = "shaft 2"
form = "HA 3.5"
plate = "antiglide plate"
hole = 5
length_mm = "bicortical"
"""
USUAL = [place(LAG), {"do": "tighten", "what": [LAG]}, place(PLATE, FIRST),
         tighten(FIRST, 500.0) | {"steps": 8}, place(SECOND), tighten(SECOND, 400.0),
         tighten(FIRST, 500.0), load(1000.0), UNLOAD,
         {"do": "cycle", "total_N": 1000.0, "low_N": 100.0}]

SHORT = [place(LAG), {"do": "tighten", "what": [LAG]}, place(PLATE, FIRST), tighten(FIRST, 500.0),
         load(1000.0), UNLOAD]
"""A lag screw and a plate with one screw, loaded once: a third of the cost of the usual stages."""


def staged_data(*stages: dict[str, Any], screws: dict[str, dict[str, Any]] | None = None,
                whole: bool = False, **section: Any) -> dict[str, Any]:
    """Input of one construct with stages (the usual ones if none are given).

    Parts that no stage puts in place are left out unless ``whole``: they carry nothing, and would
    cost most of the time.
    """
    steps = [dict(s) for s in stages or USUAL]
    placed = {name for s in steps if s["do"] == "place" for name in s["what"]}
    construct = tomllib.loads(CONSTRUCT) | {"stage": steps}
    for kind in ("plate", "screw"):
        construct[kind] = [part for part in construct[kind] if whole or part["name"] in placed]
    data = plain(simple_shear())
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    data["load"] = {"total_N": [500.0, 1000.0], "medial_share": 0.65}
    data["limits"] = {}
    data["construct"] = [construct]
    data["section"] |= section
    for screw in construct["screw"]:
        screw |= (screws or {}).get(screw["name"], {})
    return data


def staged_study(*stages: dict[str, Any], **keys: Any) -> Study:
    return study_from(staged_data(*stages, **keys))


def staged(*stages: dict[str, Any], pictures: bool = False, **keys: Any) -> StagedResult:
    """The stages of one construct, run."""
    [found] = run_stages(staged_study(*stages, **keys), pictures=pictures)
    return found
