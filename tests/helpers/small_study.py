"""A small study for tests of sweeps: a coarse mesh, two or three constructs, one load."""

from __future__ import annotations

from typing import Any

from simple_shear import simple_shear

from buttress.study.read import Study, study_from
from buttress.sweeps.vary import plain


def small_study(*constructs: str, loads: tuple[float, ...] = (700.0,), **load: Any) -> Study:
    """The shipped shear fracture on a coarse mesh with some of its constructs.

    It has no body mass unless ``load`` gives one, so that nothing is solved again in soft bone.
    """
    data = plain(simple_shear())
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    wanted = constructs or ("nothing", "lag screws")
    data["construct"] = [c for c in data["construct"] if c["name"] in wanted]
    data["load"].pop("body_mass_kg", None)
    data["load"] |= {"total_N": list(loads), **load}
    return study_from(data)
