"""The scenes of the lesson that ships: the shear fracture and the depressed joint surface."""

from __future__ import annotations

from buttress.lesson.grid import Scene, scene_of
from buttress.study.read import example, study_from
from buttress.study.study import Study
from buttress.sweeps.vary import plain

MESH_MM = 2.5
"""Element edge of the lesson's meshes."""
THIN_LAG, THIN_POSITION = "thin plate + lag screws", "thin plate + position screws"
THICK_LAG = "thick plate + lag screws"
UPPER, LOWER = "upper lag", "lower lag"
"""Names of the two lag screws of the study."""
SHEAR_PLANE, TOP_MM = [[-3.0, 0.0], [-24.0, -57.7]], -25.0
"""The fracture and the upper end of the plates on the simple outline [mm]."""
FURTHER: dict[str, tuple[tuple[float, float], ...]] = {
    THIN_LAG: ((15.0, 0.0), (30.0, 0.0), (20.0, -10.0), (20.0, 2.5), (20.0, 15.0)),
    THICK_LAG: ((20.0, 2.5),)}
"""Slopes [degrees] and moves of the plate [mm] besides the study's own."""


def coarse(study: Study, size: float = MESH_MM) -> Study:
    """A study on the lesson's mesh."""
    mesh = study.mesh.model_copy(update={"size_mm": size, "coarse_mm": 2.0 * size})
    return study.model_copy(update={"mesh": mesh})


def shear_study() -> Study:
    """The shipped shear fracture with the hardware that the lesson argues with.

    Everything is taken from the study medial-shear but the outline, which is the simple one: turned
    to 65 degrees, a fracture of the anatomical one comes out on the concave plateau. The position
    screws are its lag screws, threaded along their whole length and not tightened.
    """
    data = plain(example("medial-shear"))
    data["section"]["outline"] = "simple"
    data["fracture"][0]["points_mm"] = SHEAR_PLANE
    for plate in (p for c in data["construct"] for p in c.get("plate", ())):
        plate["top_mm"] = TOP_MM
    study = study_from(data)
    given = {c.name: c for c in study.constructs}
    both, straight = given["antiglide + lag screws"], given["straight plate"]
    lags = tuple(s for s in both.screws if s.plate is None)
    position = tuple(s.model_copy(update={"use": "positional", "tension_N": 0.0,
                                          "thread_mm": s.length_mm}) for s in lags)
    in_plate = tuple(s for s in both.screws if s.plate is not None)
    constructs = (
        both.model_copy(update={"name": THIN_LAG}),
        both.model_copy(update={"name": THIN_POSITION, "screws": (*position, *in_plate),
                                "note": "The screws across the fracture are threaded along their "
                                        "whole length and not tightened: they hold apart what "
                                        "they hold together."}),
        straight.model_copy(update={"name": THICK_LAG, "screws": (*lags, *straight.screws),
                                    "note": "A thick straight plate in place of the thin one."}))
    return study.model_copy(update={"constructs": constructs})


DEPRESSION = ("raft plate + impacted graft", "raft + impacted graft", "raft + loose chips",
              "raft + cement")


def depression_study() -> Study:
    """The shipped depressed joint surface with some of its constructs."""
    study = example("lateral-depression")
    given = {c.name: c for c in study.constructs}
    return study.model_copy(update={"constructs": tuple(given[n] for n in DEPRESSION)})


def shipped_scenes(size: float = MESH_MM) -> tuple[Scene, Scene]:
    """Both scenes of the lesson."""
    return (scene_of(coarse(shear_study(), size), "Medial shear fracture", FURTHER),
            scene_of(coarse(depression_study(), size), "Depressed lateral joint surface", {}))
