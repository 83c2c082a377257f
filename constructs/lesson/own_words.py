"""The tour of a lesson on a study of one's own: each construct in turn, from the solved states."""

from __future__ import annotations

import math

from buttress.lesson.catalogue import Words, words_in
from buttress.lesson.look import Asked, Facts, Look, verdict
from buttress.lesson.step import Step
from buttress.study.study import Construct

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
    held, over = (sum(found) for found in zip(*((x.within, x.over) for _, x in looks), strict=True))
    limit = t.limit(scene.study.limits.step_off_mm)
    count = t("own.held", load=load, held=held, all=len(looks), limit=limit) if held else t(
        "own.none", load=load) if not over else ""
    if over:
        beyond = t("own.over", over=over, load=load, limit=limit)
        count = f"{count} {beyond}".strip()
    steps = [Step(t("own.title"), (*told, count), (looks[best][0],), " ".join(told), "within")]
    for i in order[:MOST_NAMED]:
        asked, look = looks[i]
        choice = scene.choices[i]
        name = choice.marked
        lines = [t("own.one", name=name, outcome=t.outcome(look)), *_parts(facts, i, look, t),
                 *(t("own.breaks", rule=rule) for rule in choice.broken),
                 *(t("own.doubtful", rule=rule) for rule in choice.doubtful)]
        steps.append(Step(name, tuple(lines), (asked,), t("own.before", name=name, load=load),
                          "within"))
    return tuple(steps)


def _rank(look: Look) -> tuple[bool, float]:
    return not look.held, look.moved_mm if look.moved_mm is not None else math.inf


def pins_of(construct: Construct) -> str:
    """What is switched with the screws that stand outside of plates, as a key of the catalogue."""
    screws = any(s.plate is None for s in construct.screws)
    return "pins" if screws and construct.wires else "screws" if screws else "wires"


def _parts(facts: Facts, choice: int, whole: Look, t: Words) -> list[str]:
    """What each part does: the construct without it."""
    out = []
    for k, part in enumerate(PARTS):
        here = facts.scenes[0].study.constructs[choice]
        if not facts.scenes[0].choices[choice].has[k]:
            continue
        if part == "screws":    # or wires, or both
            part = pins_of(here)
        on = tuple(k != j for j in range(3))
        asked = facts.ask(0, choice)
        look = facts.look(Asked(
            scene=0, choice=choice, on=(on[0], on[1], on[2]), point=asked.point,
            load_N=asked.load_N))
        out.append(t(f"own.without.{part}", outcome=t.outcome(look)) + " " + t(verdict(
            look, whole, f"own.more.{part}", f"own.less.{part}", f"own.same.{part}", "neither")))
    return out
