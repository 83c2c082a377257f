"""The shipped staged study on a coarse mesh, with other stages or keys for tests."""

from __future__ import annotations

from typing import Any

from buttress.comparison.stages import run_stages
from buttress.results.stages import StagedResult
from buttress.study.read import Study, example, study_from
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


def staged_data(*stages: dict[str, Any], screws: dict[str, dict[str, Any]] | None = None,
                **section: Any) -> dict[str, Any]:
    """Input of one construct with stages (those of the example's first if none are given)."""
    data = plain(example("staged-tightening"))
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    data["construct"] = data["construct"][:1]
    data["section"] |= section
    if stages:
        data["construct"][0]["stage"] = list(stages)
    for screw in data["construct"][0]["screw"]:
        screw |= (screws or {}).get(screw["name"], {})
    return data


def staged_study(*stages: dict[str, Any], **keys: Any) -> Study:
    return study_from(staged_data(*stages, **keys))


def staged(*stages: dict[str, Any], pictures: bool = False, **keys: Any) -> StagedResult:
    """The stages of one construct, run."""
    [found] = run_stages(staged_study(*stages, **keys), pictures=pictures)
    return found
