"""Shipped studies on coarse meshes, mirrored or relabelled, for cases that must not cost much."""

from __future__ import annotations

from typing import Any

import numpy as np

from buttress.fe.mesh.bodies import Interface
from buttress.fe.mesh.t6 import Mesh
from buttress.study.read import Study, example, study_from
from buttress.sweeps.vary import plain

OTHER = {"medial": "lateral", "lateral": "medial"}


def coarse(name: str, *constructs: str, size_mm: float = 4.0, fractured: bool = True) -> Study:
    """A shipped study on a coarse mesh, with some of its constructs (all if none is named).

    It is put on the simple outline, which has a mirror image.
    """
    data = plain(example(name))
    data["section"]["outline"] = "simple"
    data["mesh"] = {"size_mm": size_mm, "coarse_mm": 2.0 * size_mm}
    if constructs:
        data["construct"] = [c for c in data["construct"] if c["name"] in constructs]
    if not fractured:
        for key in ("fracture", "fragment", "void"):
            data.pop(key, None)
        data["construct"] = [{"name": "intact"}]
    return study_from(data)


def mirrored(study: Study) -> Study:
    """The study seen in a mirror: x turned round, medial and lateral exchanged."""
    data = plain(study)
    load = data["load"]
    load["medial_share"] = 1.0 - load["medial_share"]
    load["medial_centre_mm"], load["lateral_centre_mm"] = (
        -load["lateral_centre_mm"], -load["medial_centre_mm"])
    for key in ("direction_deg", "shift_mm"):
        load[key] = -load.get(key, 0.0)
    for key in ("fracture", "void"):
        for entry in data.get(key, ()):
            entry["points_mm"] = _flipped(entry["points_mm"])
    for entry in data["fragment"]:
        [entry["inside_mm"]] = _flipped([entry["inside_mm"]])
    for construct in data["construct"]:
        for kind in ("plate", "screw", "wire"):
            for part in construct.get(kind, ()):
                if part.get("side"):
                    part["side"] = OTHER[part["side"]]
        for fill in construct.get("fill", ()):
            if fill.get("points_mm"):
                fill["points_mm"] = _flipped(fill["points_mm"])
    return study_from(data)


def _flipped(points: list[Any]) -> list[list[float]]:
    # From the other end, so that a polygon keeps its sense.
    return [[-x, y] for x, y in reversed(points)]


def mirrored_meshes(meshed: tuple[list[Mesh], list[Interface]]
                    ) -> tuple[list[Mesh], list[Interface]]:
    """Meshes and matched faces seen in a mirror, node for node."""
    meshes, faces = meshed
    flip = np.array([-1.0, 1.0])
    return ([Mesh(m.name, m.points * flip, m.triangles[:, [0, 2, 1, 5, 4, 3]],
                  {OTHER.get(name, name): edge[:, ::-1] for name, edge in m.edges.items()})
             for m in meshes],
            [Interface(
                name=f.name, body_a=f.body_a, body_b=f.body_b, nodes_a=f.nodes_a, nodes_b=f.nodes_b,
                normal=f.normal * flip, weight=f.weight, position=f.position,
                edges_a=f.edges_a[:, ::-1], edges_b=f.edges_b[:, ::-1])
             for f in faces])


def relabelled(study: Study) -> tuple[Study, dict[str, str]]:
    """The study with its fragments listed the other way round under other names: old to new."""
    data = plain(study)
    names = {f["name"]: f"piece {i}" for i, f in enumerate(data["fragment"], 1)}
    data["fragment"] = [{**f, "name": names[f["name"]]} for f in reversed(data["fragment"])]
    return study_from(data), names
