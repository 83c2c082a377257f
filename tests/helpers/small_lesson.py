"""A lesson of few problems on a coarse mesh, for tests; random points of it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from small_study import small_study

from buttress.lesson.build import make
from buttress.lesson.grid import FREE, Scene, has, scene_of
from buttress.lesson.look import Asked, Facts
from buttress.lesson.own_words import own_tour
from buttress.lesson.page import Lesson
from buttress.lesson.shipped import kinds_of
from buttress.study.study import Study

NAME = "antiglide + lag screws"


def small_scene(study: Study | None = None) -> Scene:
    """The shear fracture with lag screws and thin plate, at few places."""
    study = study or small_study(NAME, loads=(400.0, 1000.0))
    kinds = {c.name: kinds_of(c) for c in study.constructs if c.name == NAME}
    scene = scene_of(study, "", {NAME: ((30.0, 0.0), (20.0, 2.5))}, kinds)
    return replace(scene, families=tuple(
        replace(f, places=f.places[::3]) if i == scene.bare else f
        for i, f in enumerate(scene.families)))


@cache
def small_lesson() -> Lesson:
    """Made in some seconds."""
    return make((small_scene(),), own_tour, "A small lesson", lambda text: None,
                "buttress lesson small.toml", finer=False)


def random_points(facts: Facts, count: int, seed: int) -> list[Asked]:
    """Points of a lesson: any construct and place, some screws out, every slider anywhere."""
    rng, out = np.random.default_rng(seed), []
    for k in range(count):
        number = k % len(facts.scenes)
        scene = facts.scenes[number]
        choice = int(rng.integers(len(scene.choices)))
        whole, graft = scene.study.constructs[choice], bool(rng.random() < 0.7)
        gone = {s.name for s in whole.screws if rng.random() < 0.2}
        for plate in whole.plates:
            mates = {s.name for s in whole.screws if s.plate == plate.name}
            if rng.random() < 0.15 or mates <= gone:
                gone |= {plate.name, *mates}
        family = scene.families[scene.choices[choice].families.get(
            graft, scene.choices[choice].families[True])]
        slope, position = family.places[int(rng.integers(len(family.places)))]
        known, kinds = scene.choices[choice].kinds, {}
        for s in whole.screws if known else ():     # as many numbers drawn whatever kinds there are
            if (slope, position) == family.places[0] and rng.random() < 0.3:
                at = int(rng.integers(2))
                if s.name in known:
                    kinds[s.name] = known[s.name][at][0]
        free = {name: float(rng.uniform(*span)) for name, span in FREE.items()}
        out.append(Asked(
            scene=number, choice=choice, on=(True, True, graft or not has(whole)[2]),
            point={"slope": slope, "position": position, **free},
            load_N=float(rng.uniform(*scene.load_N)), out=tuple(sorted(gone)), kinds=tuple(sorted(kinds.items()))))
    return out
