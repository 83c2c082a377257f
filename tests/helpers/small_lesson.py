"""A lesson of few states on a coarse mesh, for tests."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

from small_study import small_study

from buttress.lesson.build import make
from buttress.lesson.grid import Family, Scene, scene_of
from buttress.lesson.own_words import own_tour
from buttress.lesson.page import Lesson
from buttress.study.study import Study

FULL = {"slope": (20.0, 21.0), "quality": (0.8, 1.0), "position": (0.0, 1.25),
        "friction": (0.4, 0.6)}


def small_scene(study: Study | None = None) -> Scene:
    """The shear fracture with lag screws and thin plate, on a grid of few nodes."""
    scene = scene_of(study or small_study("antiglide + lag screws", loads=(400.0, 1000.0)))
    return replace(scene, families=tuple(_few(f) for f in scene.families))


def _few(family: Family) -> Family:
    axes = {a: FULL[a] if len(n) > 1 else n for a, n in family.axes.items()}
    if not (family.construct.plates and family.construct.screws):
        axes["quality"] = (1.0,)
    return replace(family, axes=axes)


@cache
def small_lesson(checks: int = 0) -> Lesson:
    """Solved in some seconds."""
    return make((small_scene(),), own_tour, "A small lesson", 1, checks, 3, lambda text: None,
                "buttress lesson small.toml")


def named_lesson(study: Study) -> Lesson:
    """A lesson of any study with its friction varied only."""
    def fixed(family: Family) -> Family:
        axes: dict[str, Any] = {a: n[:1] for a, n in family.axes.items()}
        return replace(family, axes=axes)

    scene = scene_of(study, density=0)
    scene = replace(scene, families=tuple(fixed(f) for f in scene.families))
    return make((scene,), own_tour, scene.title, 1, 0, 0, lambda text: None, "test")
