"""A lesson from start to end: solve, measure, word."""

from __future__ import annotations

import os
from collections.abc import Callable
from time import perf_counter
from typing import Any

import numpy as np

from buttress.fe.errors import InputError
from buttress.fe.status import Status
from buttress.lesson.check import Ask, fresh, measure, summary
from buttress.lesson.grid import Scene, scene_of
from buttress.lesson.look import Asked, Facts
from buttress.lesson.own_words import own_tour
from buttress.lesson.pack import round_states
from buttress.lesson.page import Lesson
from buttress.lesson.shipped import MESH_MM, coarse, shipped_scenes
from buttress.lesson.solve import Solved, solve_scenes
from buttress.lesson.states import moved_by
from buttress.lesson.words import Step, tour
from buttress.report.benched import counts_words, recorded, speaking
from buttress.study.study import Study
from buttress.versions import versions

TITLE = "What holds a broken tibial plateau, and why?"
CHECKS = 40
"""Random points at which a scene is solved afresh."""
FINER = 0.6
"""Element edge of the finer mesh over the lesson's."""
Say = Callable[[str], None]


def shipped_lesson(workers: int = 0, checks: int = CHECKS, seed: int = 0,
                   say: Say = lambda text: None, command: str = "buttress lesson") -> Lesson:
    """The lesson that ships: shear, then depression."""
    return make(shipped_scenes(), tour, TITLE, workers, checks, seed, say, command)


def study_lesson(study: Study, workers: int = 0, checks: int = CHECKS, seed: int = 0,
                 say: Say = lambda text: None, command: str = "buttress lesson STUDY.toml"
                 ) -> Lesson:
    """A lesson on a study of one's own, on the lesson's mesh where its own is finer.

    Raises `InputError` where nothing of it can be built.
    """
    size = max(study.mesh.size_mm, MESH_MM)
    scene = scene_of(coarse(study, size))
    return make((scene,), own_tour, scene.title, workers, checks, seed, say, command)


def make(scenes: tuple[Scene, ...], words: Callable[[Facts], tuple[Step, ...]], title: str,
         workers: int, checks: int, seed: int, say: Say, command: str) -> Lesson:
    """Solve the scenes, measure how well they are read, and put them into words by ``words``."""
    clock = perf_counter()
    workers = workers or os.cpu_count() or 1
    solved = solve_scenes(scenes, workers, say)
    _refuse_nothing(scenes, solved)
    for family in (f for families in solved for f in families):
        round_states(family)
    seconds = perf_counter() - clock
    steps = words(Facts(scenes, solved))
    accuracy, mesh = [], []
    for number, (scene, families) in enumerate(zip(scenes, solved, strict=True)):
        say(f"solving afresh at {checks} random points of '{scene.title}'")
        accuracy.append(summary(measure(scene, families, checks, seed, workers)) if checks else {})
        shown = [s.shows for s in steps if s.shows is not None and s.shows.scene == number]
        mesh.append(mesh_error(scene, families, shown) if checks else {})
    return Lesson(
        title=title, scenes=scenes, solved=solved, steps=steps, accuracy=tuple(accuracy),
        mesh=tuple(mesh), command=command, seconds=seconds, notes=_notes(scenes, solved),
        versions=versions())


def _refuse_nothing(scenes: tuple[Scene, ...], solved: tuple[tuple[Solved, ...], ...]) -> None:
    for scene, families in zip(scenes, solved, strict=True):
        if all(f.layout is None for f in families):
            reason = next(p.reason for f in families for p in f.paths.values())
            raise InputError(f"nothing of this study can be placed: {reason}",
                             value=scene.study.name, expected="a construct that can be solved")


def _notes(scenes: tuple[Scene, ...], solved: tuple[tuple[Solved, ...], ...]) -> tuple[str, ...]:
    """What the page leaves out, and why."""
    out = []
    for scene, families in zip(scenes, solved, strict=True):
        if scene.turned is None:
            out.append(f"{scene.title}: no slider for the angle of the fracture, which "
                       "needs a single straight fracture from the joint to the side.")
        gone = sum(p.status == "no place" for f in families for p in f.paths.values())
        lost = sum(p.status == Status.UNCONVERGED for f in families for p in f.paths.values())
        if gone:
            out.append(f"{scene.title}: at {gone} nodes of the sliders the hardware does not fit "
                       "on the bone.")
        if lost:
            out.append(f"{scene.title}: {lost} load paths stop where the solver did not converge.")
        out += [f"{scene.title}, bench test: {said}"
                for said in speaking(scene.study.name, recorded())]
    return (*out, *([counts_words(recorded())] if recorded() else []))


def mesh_error(scene: Scene, solved: tuple[Solved, ...], shown: list[Asked]) -> dict[str, Any]:
    """The shown points solved on a finer mesh, next to what the page says of them."""
    size = scene.study.mesh.size_mm
    finer = Scene(
        study=coarse(scene.study, FINER * size), title=scene.title, turned=scene.turned,
        families=scene.families, choices=scene.choices, base=scene.base, load_N=scene.load_N,
        load_base_N=scene.load_base_N)
    errors, shares, same, asked = [], [], 0, 0
    for point in {(a.choice, a.on, tuple(a.point.items()), a.load_N): a for a in shown}.values():
        ask = Ask(scene.family(point.choice, *point.on), point.point, point.load_N)
        coarse_, fine = fresh(scene, ask), fresh(finer, ask)
        if coarse_ is None or fine is None:
            continue
        asked += 1
        same += (coarse_.state is None) == (fine.state is None)
        if coarse_.state is None or fine.state is None:
            continue
        lay = fine.layout
        error = moved = 0.0
        for k, ring in enumerate(r[2] for r in fine.geometry.rings if r[1] == "fragment"):
            at = slice(lay.rigid(k), lay.rigid(k) + 3)
            true = moved_by(fine.state[at], ring)
            off = true - moved_by(coarse_.state[at], ring)
            error = max(error, float(np.hypot(*off.T).max()))
            moved = max(moved, float(np.hypot(*true.T).max()))
        errors.append(error)
        shares.append(error / moved if moved > 0 else 0.0)
    if not errors:
        return {"points": 0, "asked": asked, "verdict_same": same}
    return {"points": len(errors), "asked": asked, "verdict_same": same,
            "fine_mm": round(FINER * size, 2), "error_mm_max": max(errors),
            "share_max": max(shares), "share_median": float(np.median(shares))}
