"""The scenes of the lesson that ships: shear from the front and from the side, and depression."""

from __future__ import annotations

from buttress.lesson.grid import Kinds, Scene, Time, scene_of
from buttress.study.implants import Plate, Screw
from buttress.study.read import example, study_from
from buttress.study.study import Construct, Study
from buttress.study.tables import fields, number
from buttress.sweeps.vary import plain

MESH_MM = 2.5
"""Element edge of the lesson's meshes."""
MOST_N = 3000.0
"""Load up to which the sliders of the shear fractures go: four times the weight of 75 kg."""
THIN_LAG = "thin plate + lag screws"
THICK_LAG = "thick plate + lag screws"
THIN, THICK = "thin plate", "thick plate"
"""Names of the plates on the page."""
UPPER, LOWER = "upper screw", "lower screw"
"""Names on the page of the two screws across the fracture, which need not be lag screws there."""
OF_THE_STUDY = {"upper lag": UPPER, "lower lag": LOWER}
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


def with_plate(construct: Construct, name: str) -> Construct:
    """A construct whose only plate has another name."""
    return construct.model_copy(update={
        "plates": tuple(p.model_copy(update={"name": name}) for p in construct.plates),
        "screws": tuple(s.model_copy(update={"plate": name}) if s.plate else s
                        for s in construct.screws)})


def shear_study() -> Study:
    """The shipped shear fracture with the hardware that the lesson argues with.

    Everything is taken from the study medial-shear but the outline, which is the simple one: turned
    to 65 degrees, a fracture of the anatomical one comes out on the concave plateau.
    """
    data = plain(example("medial-shear"))
    data["section"]["outline"] = "simple"
    data["fracture"][0]["points_mm"] = SHEAR_PLANE
    for plate in (p for c in data["construct"] for p in c.get("plate", ())):
        plate["top_mm"] = TOP_MM
    study = study_from(data)
    given = {c.name: c for c in study.constructs}
    both, straight = given["antiglide + lag screws"], given["straight plate"]
    both = both.model_copy(update={"screws": tuple(
        s.model_copy(update={"name": OF_THE_STUDY.get(s.name, s.name)}) for s in both.screws)})
    lags = tuple(s for s in both.screws if s.plate is None)
    thick = straight.model_copy(update={
        "name": THICK_LAG, "screws": (*lags, *straight.screws),
        "note": "A thick straight plate in place of the thin one."})
    constructs = (with_plate(both.model_copy(update={"name": THIN_LAG}), THIN),
                  with_plate(thick, THICK))
    return study.model_copy(update={"constructs": constructs})


def locks(plate: Plate) -> bool:
    """Whether a plate has holes in which a head can be locked."""
    return plate.section is not None and "locking_thread" in fields("plates", plate.section)


def kinds_of(construct: Construct) -> Kinds:
    """What else each screw may be: a lag screw a position screw, threaded along its whole length
    and not tightened; a screw in a plate with threaded holes locked in its own."""
    out: dict[str, tuple[tuple[str, Screw], ...]] = {}
    for s in construct.screws:
        if s.plate is None:
            out[s.name] = (("lag", s), ("position", s.model_copy(update={
                "use": "positional", "tension_N": 0.0, "thread_mm": s.length_mm})))
        else:
            if locks(next(p for p in construct.plates if p.name == s.plate)):
                out[s.name] = (("unlocked", s), ("locked", s.model_copy(update={"locked": True})))
    return out


DEPRESSION = ("raft + impacted graft", "raft + loose chips", "raft + structural block",
              "raft + cement", "raft plate + impacted graft", "screws below + impacted graft")
SIDE_VIEW = ("front lag screws", "buttress", "thin plate", "buttress + front lag screws")


def some_of(name: str, constructs: tuple[str, ...]) -> Study:
    """A shipped study with some of its constructs."""
    study = example(name)
    given = {c.name: c for c in study.constructs}
    return study.model_copy(update={"constructs": tuple(given[n] for n in constructs)})


def fading() -> tuple[Time, ...]:
    """An hour and a thousand steps after tightening, by the shares of the data table."""
    lost, most, rubbed = (number("materials", "fading", n)
                          for n in ("lost_tension", "lost_most", "lost_friction"))
    return (Time("tight", 1.0, 1.0), Time("hour", 1.0, 1.0 - lost),
            Time("steps", 1.0 - rubbed, 1.0 - most))


def shipped_scenes(size: float = MESH_MM) -> tuple[Scene, ...]:
    """The scenes of the lesson."""
    shear = shear_study()
    return (scene_of(coarse(shear, size), "Medial shear fracture", FURTHER,
                     {c.name: kinds_of(c) for c in shear.constructs}, fading(), MOST_N),
            scene_of(coarse(some_of("posterior-shear", SIDE_VIEW), size),
                     "Posterior shear fracture, from the side", {}, times=fading(),
                     most_N=MOST_N),
            scene_of(coarse(some_of("lateral-depression", DEPRESSION), size),
                     "Depressed lateral joint surface", {}))
