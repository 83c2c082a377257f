"""Loads and limits in closed form: force = mass x gravity x ratio, moments of the resultant, and
the load at a limit of bonded bone, which is the limit over the figure per newton."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial

import numpy as np

from buttress.bone.bone import build_bone
from buttress.bone.field import Law
from buttress.bone.section import trabecular_strength
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.recover import resultant
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.implants.hardware import Hardware
from buttress.model.model import Model, intact_problem
from buttress.results.limits import gauges
from buttress.results.reader import Reader
from buttress.results.search import Gauge, Search
from buttress.study.activities import activity_case, ground_cases
from buttress.study.read import Study, study_from
from buttress.sweeps.vary import plain
from buttress.verification.studies import coarse

SHIFT, DIRECTION = 6.0, 12.0
FIGURES = ("depression", "widening")


def study_of(**load: float) -> Study:
    """The sheared fragment, with limits that its bonded bone reaches."""
    data = plain(coarse("medial-shear", "nothing"))
    data["load"] |= load
    data["limits"] |= {"depression_mm": 0.05, "widening_mm": 0.05}
    return study_from(data)


@cache
def loaded() -> np.ndarray:
    """Resultant of a kilonewton at the nodes: Fx, Fy [N] and the moment about the origin [N mm]."""
    bone = build_bone(study_of(shift_mm=SHIFT, direction_deg=DIRECTION))
    total = np.zeros(3)
    for factor, case in zip(bone.load_vector(1000.0), bone.loads, strict=True):
        for body, column in case:
            total += factor * resultant(body, column, np.zeros(2))
    return total


def place() -> float:
    """Where the resultant crosses the joint line, mm."""
    _, fy, moment = loaded()
    return float(moment / fy)


def lean() -> float:
    """Angle of the resultant to the shaft, degrees."""
    fx, fy, _ = loaded()
    return float(np.degrees(np.arctan2(fx, -fy)))


@cache
def bonded() -> tuple[Reader, Model, Search]:
    """The same bone with its fracture bonded, and a search that knows two loads of it."""
    study = study_of()
    bone = build_bone(study)
    reader = Reader.of(bone, {})
    problem = intact_problem(bone)
    model = Model(
        bone=bone, construct=study.constructs[0], hardware=Hardware(), solver=Solver(problem),
        tightened=None, memory=Memory.none(problem))
    return reader, model, Search(model)


def searched(name: str) -> float:
    """Load found on the path for a limit, over limit / (figure per newton)."""
    reader, model, search = bonded()
    given: Gauge = next(g for g in gauges(reader, model, model.bone.study.limits)
                        if g.name == name)
    gauge = replace(given, limit=0.5 * given.limit)    # well below the limit of the search
    found = search.reach(gauge)
    once = gauge.read(model.answer(1.0))
    assert not isinstance(found, str), found
    assert once is not None
    return found.carried_N * once.value / gauge.limit


def peak(activity: str) -> float:
    """Joint force of an activity at 75 kg, N."""
    return activity_case(activity, 75.0).total_N


def strength() -> float:
    """Compressive strength of cancellous bone, MPa, at the density of the case."""
    return float(trabecular_strength(Law.of(TIBIA).modulus(np.asarray(0.25))))


KUTZNER = "Kutzner et al., J Biomech 2010;43:2164-73 (abstract): peak knee force over body weight"
PEAKS = {"walking": 2.61, "stairs down": 3.46, "stairs up": 3.16, "one-leg stance": 2.59,
         "two-leg stance": 1.07}
TIBIA = "Morgan 2003 tibia"
HANDBOOK = ("Keaveny, Morgan and Yeh, Bone mechanics, in: Biomedical Engineering and Design "
            "Handbook, vol. 1, McGraw-Hill 2009, table 9.{}")
# Joint forces by hand with g = 9.80665 m/s2; the ranges 315-420 and 380-510 N rounded to 5 N.
CASES = register(
    *(Case(f"joint force of {name}, 75 kg", KUTZNER, "seen", f"{share:g} x 75 kg x g", "N",
           share * 75.0 * 9.80665, 1e-9, partial(peak, name), basis="published")
      for name, share in PEAKS.items()),
    Case("modulus of bone of 0.25 g/cm3, proximal tibia", HANDBOOK.format(4), "seen",
         "15490 x 0.25^1.93", "MPa", 1066.78, 1e-5,
         lambda: float(Law.of(TIBIA).modulus(np.asarray(0.25))),
         basis="published"),
    Case("strength of bone of 0.25 g/cm3, proximal tibia", HANDBOOK.format(5), "seen",
         "34.2 x 0.25^1.56", "MPa", 3.93380, 1e-5, strength, basis="published"),
    Case("15 kg on the ground, as on two legs", KUTZNER, "derived", "1.07 / 0.5 x 15 kg x g", "N",
         314.79, 2e-5, lambda: ground_cases(15.0)[0].total_N, basis="published"),
    Case("20 kg on the ground, as on one leg", KUTZNER, "derived", "2.59 x 20 kg x g", "N",
         507.98, 2e-5, lambda: ground_cases(20.0)[1].total_N, basis="published"),
    Case("resultant of shares and shift", "moments of 650 N at -22 mm, 350 N at 22 mm, moved 6 mm",
         "derived", "x on the joint line", "mm", 0.65 * -22 + 0.35 * 22 + SHIFT, 1e-9, place),
    Case("direction of the resultant", "the angle of the study", "derived", "angle to the shaft",
         "deg", DIRECTION, 1e-9, lean),
    *(Case(f"load at the limit of {name}, bonded bone", "linear: limit over the figure per newton",
           "derived", "load on the path over closed form", "-", 1.0, 1e-6, partial(searched, name),
           basis="self-consistency")
      for name in FIGURES))
