"""A joint fragment over a filled void, on a coarse mesh."""

from __future__ import annotations

from typing import Any

from buttress.study.read import Study, study_from

MESH = {"size_mm": 3.0, "coarse_mm": 6.0}
RAFT = {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -6, "length_mm": 70,
        "count": 4}
GRAFT = {"name": "graft", "void": "hole", "material": "impacted graft"}


def depressed(fill: dict[str, Any], loads: tuple[float, ...] = (800.0,), **changes: Any) -> Study:
    """A joint fragment over a filled void, on a coarse mesh."""
    return study_from({
        "name": "depressed", "mesh": MESH,
        "section": {"outline": "simple"},
        "fracture": [{"name": "inner", "points_mm": [[13, 0], [12, -9]]},
                     {"name": "outer", "points_mm": [[27, 0], [28, -9]]}],
        "void": [{"name": "hole", "points_mm": [[12, -9], [15, -20], [25, -20], [28, -9]]}],
        "fragment": [{"name": "piece", "inside_mm": [20, -4]}], "load": {"total_N": list(loads)},
        "construct": [{"name": "c", "screw": [RAFT], "fill": [fill]}]} | changes)
