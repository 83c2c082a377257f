"""A lesson from start to end: condense, solve what is said, measure the mesh."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from buttress.fe.errors import InputError
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.lesson.catalogue import LANGUAGES, Words, words_in
from buttress.lesson.embed import Embedded, embedded_problem
from buttress.lesson.grid import Scene, scene_of
from buttress.lesson.look import Asked, Facts
from buttress.lesson.own_words import own_tour
from buttress.lesson.page import Lesson, Told, mesh_words
from buttress.lesson.shipped import MESH_MM, coarse, shipped_scenes
from buttress.lesson.step import Step
from buttress.lesson.words import tour
from buttress.report.benched import counts_words, recorded, speaking
from buttress.study.study import Study
from buttress.versions import versions

Tour = Callable[[Facts, Words], tuple[Step, ...]]
FINER = 0.6
"""Element edge of the finer mesh over the lesson's."""
Say = Callable[[str], None]


def shipped_lesson(say: Say = lambda text: None, command: str = "buttress lesson") -> Lesson:
    """The lesson that ships: shear, seen from the front and from the side, then depression."""
    return make(shipped_scenes(), tour, "", say, command)


def study_lesson(study: Study, say: Say = lambda text: None,
                 command: str = "buttress lesson STUDY.toml") -> Lesson:
    """A lesson on a study of one's own, on the lesson's mesh where its own is finer.

    Raises `InputError` where nothing of it can be built.
    """
    scene = scene_of(coarse(study, max(study.mesh.size_mm, MESH_MM)))
    return make((scene,), own_tour, scene.title, say, command)


def make(scenes: tuple[Scene, ...], words: Tour, title: str, say: Say, command: str,
         finer: bool = True) -> Lesson:
    """Condense the scenes, and put solved states into words by ``words``, in every language.

    ``title``: empty for that of the shipped lesson. ``finer``: measure what the mesh adds.
    Raises `ContradictedError` where a claim of the tour is not what the states say.
    """
    facts = Facts(scenes)
    total = sum(len(f.places) for scene in scenes for f in scene.families)
    say(f"condensing {total} problems for the page")
    found: list[tuple[tuple[Embedded, ...], ...]] = []
    with one_thread():
        for number, scene in enumerate(scenes):
            found.append(tuple(tuple(embedded_problem(facts, number, family, place)
                                     for place in family.places) for family in scene.families))
            say(f"condensed '{scene.title}'")
    _refuse_nothing(scenes, found)
    say("solving the states that the tour speaks of")
    languages = [words_in(x) for x in LANGUAGES]
    steps = [words(facts, t) for t in languages]
    mesh = []
    for number in range(len(scenes)):
        shown = [a for s in steps[0] for a in s.shows if a.scene == number]
        mesh.append(mesh_error(facts, shown) if finer else {})
    unknown = sum(any(facts.look(a).status == Status.UNCONVERGED for a in s.shows)
                  for s in steps[0])
    told = tuple(Told(
        t, title or t("title"), said,
        tuple((t.named(s.title), mesh_words(m, t)) for s, m in zip(scenes, mesh, strict=True)),
        _notes(scenes, found, t)) for t, said in zip(languages, steps, strict=True))
    bench = [f"{s.title}: {said}" for s in scenes for said in speaking(s.study.name, recorded())]
    return Lesson(
        scenes=scenes, problems=tuple(found), facts=facts, told=told, mesh=tuple(mesh),
        command=command, bench=(*bench, *([counts_words(recorded())] if recorded() else [])),
        unknown=unknown, versions=versions())


def _refuse_nothing(scenes: tuple[Scene, ...], found: list[tuple[tuple[Embedded, ...], ...]]
                    ) -> None:
    for scene, families in zip(scenes, found, strict=True):
        if all(e.data is None for f in families for e in f):
            reason = next(e.reason for f in families for e in f)
            raise InputError(f"nothing of this study can be placed: {reason}",
                             value=scene.study.name, expected="a construct that can be solved")


def _notes(scenes: tuple[Scene, ...], found: list[tuple[tuple[Embedded, ...], ...]], t: Words
           ) -> tuple[str, ...]:
    """What the page leaves out, and why."""
    out = []
    for scene, families in zip(scenes, found, strict=True):
        name = t.named(scene.title)
        if scene.turned is None:
            out.append(t("notes.no.slope", scene=name))
        gone = sum(e.data is None for f in families for e in f)
        if gone:
            out.append(t("notes.gone", scene=name, gone=gone))
        if any(c.stages for c in scene.study.constructs):
            out.append(t("notes.stages", scene=name))
    return tuple(out)


def mesh_error(facts: Facts, shown: list[Asked]) -> dict[str, Any]:
    """The shown points solved on a finer mesh, next to what the page's mesh gives."""
    if not shown:
        return {"points": 0}
    scenes = tuple(replace(s, study=coarse(s.study, FINER * s.study.mesh.size_mm))
                   for s in facts.scenes)
    finer = Facts(scenes)
    shares, errors, same, asked = [], [], 0, 0
    for point in {repr(a): a for a in shown}.values():
        ours, fine = facts.look(point), finer.look(point)
        if "no place" in (ours.status, fine.status):
            continue
        asked += 1
        same += ours.held == fine.held
        if ours.moved_mm is None or fine.moved_mm is None:
            continue
        errors.append(abs(ours.moved_mm - fine.moved_mm))
        shares.append(errors[-1] / fine.moved_mm if fine.moved_mm > 0 else 0.0)
    size = scenes[shown[0].scene].study.mesh.size_mm
    if not errors:
        return {"points": 0, "asked": asked, "verdict_same": same}
    return {"points": len(errors), "asked": asked, "verdict_same": same,
            "fine_mm": round(size, 2), "error_mm_max": max(errors), "share_max": max(shares),
            "share_median": float(np.median(shares))}
