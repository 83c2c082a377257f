"""The tour of a lesson on a study of one's own: each construct in turn, from the solved states."""

from __future__ import annotations

import math

from buttress.lesson.look import Asked, Facts, Look, outcome, verdict
from buttress.lesson.words import Step

MOST_NAMED = 15
PARTS = ("screws", "plate", "graft")


def own_tour(facts: Facts) -> tuple[Step, ...]:
    """Steps for one study: the question, the constructs, what their parts do."""
    scene = facts.scenes[0]
    looks = [(facts.ask(0, i), facts.look(facts.ask(0, i))) for i in range(len(scene.choices))]
    order = sorted(range(len(looks)), key=lambda i: _rank(looks[i][1]))
    best = order[0]
    text = [" ".join(scene.study.scenario.split()) or "A study without a scenario."]
    held = sum(look.held for _, look in looks)
    text.append(f"At {looks[0][1].load_N:.0f} N {held} of {len(looks)} constructs are held."
                if held else f"At {looks[0][1].load_N:.0f} N no construct of this study is held.")
    steps = [Step("The question", tuple(text), looks[best][0])]
    for i in order[:MOST_NAMED]:
        asked, look = looks[i]
        name = scene.choices[i].name
        lines = [f"{name}: {outcome(look)}."]
        lines += _parts(facts, i, look)
        steps.append(Step(name, tuple(lines), asked))
    return tuple(steps)


def _rank(look: Look) -> tuple[bool, float]:
    return not look.held, look.moved_mm if look.moved_mm is not None else math.inf


def _parts(facts: Facts, choice: int, whole: Look) -> list[str]:
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
        out.append(f"Without its {part}: {outcome(look)}. " + verdict(
            look, whole, f"It moves more with the {part} than without.",
            f"It moves less with the {part}.",
            f"The {part} {'makes' if part != 'screws' else 'make'} no difference here.",
            "Neither is held."))
    return out
