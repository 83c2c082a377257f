"""The tour of a lesson on a study of one's own: each construct in turn, from the solved states."""

from __future__ import annotations

import math

from buttress.lesson.catalogue import Words, words_in
from buttress.lesson.look import Asked, Facts, Look, verdict
from buttress.lesson.step import Step

ENGLISH = words_in("en")
MOST_NAMED = 15
PARTS = ("screws", "plate", "graft")


def own_tour(facts: Facts, t: Words = ENGLISH) -> tuple[Step, ...]:
    """Steps for one study: the question, the constructs, what their parts do."""
    scene = facts.scenes[0]
    looks = [(facts.ask(0, i), facts.look(facts.ask(0, i))) for i in range(len(scene.choices))]
    order = sorted(range(len(looks)), key=lambda i: _rank(looks[i][1]))
    best, load = order[0], f"{looks[0][1].load_N:.0f} N"
    told = [" ".join(text.split()) for text in (scene.study.scenario, scene.study.question)]
    told[0] = told[0] or t("own.no.scenario")
    told = [text for text in told if text]    # a study need not ask anything
    held = sum(look.held for _, look in looks)
    count = t("own.held", load=load, held=held, all=len(looks)) if held else t(
        "own.none", load=load)
    steps = [Step(t("own.title"), (*told, count), (looks[best][0],), " ".join(told), "within")]
    for i in order[:MOST_NAMED]:
        asked, look = looks[i]
        name = scene.choices[i].name
        lines = [t("own.one", name=name, outcome=t.outcome(look)), *_parts(facts, i, look, t)]
        steps.append(Step(name, tuple(lines), (asked,), t("own.before", name=name, load=load),
                          "within"))
    return tuple(steps)


def _rank(look: Look) -> tuple[bool, float]:
    return not look.held, look.moved_mm if look.moved_mm is not None else math.inf


def _parts(facts: Facts, choice: int, whole: Look, t: Words) -> list[str]:
    """What each part does: the construct without it."""
    out = []
    for k, part in enumerate(PARTS):
        if not facts.scenes[0].choices[choice].has[k]:
            continue
        on = tuple(k != j for j in range(3))
        asked = facts.ask(0, choice)
        look = facts.look(Asked(
            scene=0, choice=choice, on=(on[0], on[1], on[2]), point=asked.point,
            load_N=asked.load_N))
        out.append(t(f"own.without.{part}", outcome=t.outcome(look)) + " " + t(verdict(
            look, whole, f"own.more.{part}", f"own.less.{part}", f"own.same.{part}", "neither")))
    return out
