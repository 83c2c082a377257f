"""The steps of the tour on what time does to screws, and on screws alone against a plate alone.

What fades is varied one thing at a time, and what a bench test compared is compared: two lag screws
alone with a plate alone, by the load that ends such a test.
"""

from __future__ import annotations

import math
from typing import Any

from buttress.bone.patches import patches
from buttress.lesson.catalogue import Words, newton, percent, words_in
from buttress.lesson.look import TIE, Asked, Facts, Look, verdict
from buttress.lesson.shipped import THICK_LAG, THIN, THIN_LAG, fading
from buttress.lesson.step import Step, claim
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.report.benched import recorded

ENGLISH = words_in("en")
FADED_N, LATE_N = 3000.0, 2000.0
SOFT = 0.5
BENCH_SAME = 1.25
"""Movements within this ratio count as not different, as in the comparison with bench tests."""
LATER = 1.05
"""How much later a plate must fail to fail later, as in the comparison with bench tests."""
SIDE_CLAIM = "the buttress fails later than two lag screws, side view"


def faded(facts: Facts, key: str, strength: float = 1.0, plate: bool = True) -> Asked:
    """The thin plate and the lag screws after a time."""
    share = next(x for x in fading() if x.key == key)
    mu = facts.scenes[0].base["friction"]
    return facts.ask(0, THIN_LAG, load=FADED_N, friction=mu * share.friction,
                     tension=share.tension, strength=strength, plate=plate)


def rests_on(facts: Facts, scene: int, name: str, load: float, plate: bool = True
             ) -> dict[str, Look]:
    """A construct under a load with less of one thing at a time: of nothing, of tension, of
    friction (as after a thousand steps), of the strength of bone."""
    steps, mu = fading()[-1], facts.scenes[scene].base["friction"]
    less: dict[str, dict[str, Any]] = {"nothing": {}, "tension": {"tension": steps.tension},
            "friction": {"friction": mu * steps.friction}, "bone": {"strength": SOFT}}
    return {key: facts.look(facts.ask(scene, name, plate=plate, load=load, **values))
            for key, values in less.items()}


def counts(looks: dict[str, Look], t: Words) -> str:
    """Which of the things that were varied matter, and which hardly do."""
    whole = looks["nothing"].moved_mm or math.inf
    grows = {key: math.inf if look.moved_mm is None else look.moved_mm / whole
             for key, look in looks.items() if key != "nothing"}
    order = sorted(grows, key=lambda key: -grows[key])
    much, little = ([t(f"fades.{key}") for key in order if (grows[key] > BENCH_SAME) is large]
                    for large in (True, False))
    if not much:
        return t("fades.none.counts")
    return t("fades.counts" if little else "fades.all.count", much=t.listed(much),
             little=t.listed(little) if little else "")


def fades(facts: Facts, t: Words = ENGLISH) -> Step:
    """Lag screws alone and with the plate, when tension and friction have faded."""
    alone, both = (rests_on(facts, 0, THIN_LAG, FADED_N, plate) for plate in (False, True))
    last = [facts.look(faded(facts, "steps", SOFT, plate)) for plate in (False, True)]
    steps = fading()[-1]
    text = [t("fades.what", tension=percent(steps.tension), friction=percent(steps.friction),
              soft=percent(SOFT)),
            t("fades.one", load=newton(FADED_N), **told(alone | {"all": last[0]}, t),
              both=t.moved(_farthest([*both.values(), last[1]]))) + " "
            + (_why(alone, t) or counts(alone, t)),
            t(verdict(last[0], last[1], "fades.plate.more", "fades.plate.less", "fades.plate.same",
                      "neither"), **{k: percent(both[k].carried("plate"))
                                     for k in ("friction", "bone")})]
    later = facts.look(faded(facts, "steps", plate=False))
    claim(verdict(alone["nothing"], later, "more", "less", "same", "neither") != "less",
          t("fades.claim"))
    text.append(_alone(facts, t))
    return Step(t("fades.title"), tuple(text), (
        faded(facts, "steps", plate=False), faded(facts, "steps")),
        t("fades.before", load=newton(FADED_N)), "less")


def _why(alone: dict[str, Look], t: Words) -> str:
    """Why friction and bone count for screws alone and tension does not: nothing where the forces
    in the states do not say so."""
    whole, loose, rubbed, weak = (alone[k] for k in ("nothing", "tension", "friction", "bone"))
    pulls = [abs(x.aside("screw")) for x in (whole, loose, weak)]
    faces = [x.carried("fracture") for x in (whole, rubbed, weak)]
    grows = [(x.moved_mm or math.inf) / (whole.moved_mm or math.inf) for x in (loose, rubbed, weak)]
    if not (all(x.held for x in alone.values()) and pulls[1] > 0.8 * pulls[0] > pulls[2]
            and grows[0] <= BENCH_SAME < min(grows[1:])
            and max(faces[1:]) < faces[0] - TIE and weak.most_spent("thread") == 1.0
            and min(x.most_spent("bearing") for x in (rubbed, weak)) > whole.most_spent("bearing")):
        return ""
    told_N = {k: newton(v) for k, v in zip(("pull", "loose", "most"), pulls, strict=True)}
    shares = {k: percent(v) for k, v in zip(("face", "rubbed", "weak"), faces, strict=True)}
    return t("fades.why", **told_N, **shares)


def _farthest(looks: list[Look]) -> Look:
    """The state that moves most, or one that is not held."""
    return max(looks, key=lambda x: math.inf if x.moved_mm is None else x.moved_mm)


def told(looks: dict[str, Look], t: Words) -> dict[str, str]:
    """How far each moves."""
    return {key: t.moved(look) for key, look in looks.items()}


def _alone(facts: Facts, t: Words) -> str:
    """A plate alone against two lag screws alone, by the load that ends a bench test."""
    screws, thick, thin = (facts.ask(0, THIN_LAG, plate=False), facts.ask(
        0, THICK_LAG, screws=False), facts.ask(0, THIN_LAG, screws=False))
    ends = [facts.fails(x) for x in (screws, thick, thin)]
    said = t("fades.bench", **{
        k: t.at(end, SEARCH_LIMIT_N)
        for k, end in zip(("screws", "thick", "thin"), ends, strict=True)})
    later = [fails_later(plate, ends[0]) for plate in ends[1:]]
    if all(later):
        return said + " " + t("bench.too")
    if not later[0]:
        return said + " " + t("fades.bench.thin" if later[1] else "bench.not")
    bends = ("hinge.plate", THIN) in facts.look(thin).goes
    return said + " " + t("fades.bench.bends" if bends else "fades.bench.thick")


def fails_later(plate: float | None, screws: float | None) -> bool:
    """Whether a plate fails later than screws; where neither fails, it does not."""
    if plate is None or screws is None:
        return plate is None and screws is not None
    return plate >= LATER * screws


def from_the_side(facts: Facts, t: Words = ENGLISH) -> Step:
    """Posterior shear, from the side: screws from the front, or a posterior plate."""
    front, back = facts.ask(1, "front lag screws"), facts.ask(1, "buttress")
    a, b = facts.look(front), facts.look(back)
    both, thin = (facts.look(facts.ask(1, n))
                  for n in ("buttress + front lag screws", "thin plate"))
    text = [t("side.view") + _loads(facts, front, a, t),
            t("side.two", load=newton(front.load_N), front=t.outcome(a), back=t.outcome(b)) + " "
            + t(verdict(a, b, "side.plate.more", "side.plate.less", "side.same", "neither")) + " "
            + t("side.more", thin=t.moved(thin), both=t.moved(both))]
    looks = rests_on(facts, 1, "front lag screws", LATE_N)
    text.append(t("side.late", load=newton(LATE_N), **told(looks, t), back=t.moved(facts.look(
        facts.ask(1, "buttress", load=LATE_N)))) + " " + counts(looks, t))
    text.append(_side_bench(facts, t))
    return Step(t("side.title"), tuple(text), (front, back),
                t("side.before", load=newton(front.load_N)), "less")


def _loads(facts: Facts, asked: Asked, look: Look, t: Words) -> str:
    """How the load on the joint, that on the condyle and that on the piece belong together."""
    if look.on_N is None:
        return ""
    condyle = sum(p.share for p in patches(facts.scenes[asked.scene].study)) * asked.load_N
    claim(look.on_N <= condyle <= asked.load_N, t("side.loads", load=newton(asked.load_N),
          condyle=newton(condyle), on=newton(look.on_N)))
    return " " + t("side.loads", load=newton(asked.load_N), condyle=newton(condyle),
                   on=newton(look.on_N))


def _side_bench(facts: Facts, t: Words) -> str:
    """Plate alone and screws alone by the load that ends a bench test, rough and smooth."""
    rough, smooth = ([facts.fails(facts.ask(1, name, friction=mu)) for name in (
        "front lag screws", "buttress")] for mu in (facts.scenes[1].base["friction"], 0.0))
    at = [t.at(end, SEARCH_LIMIT_N) for end in (*rough, *smooth)]
    out = [t("side.bench", front=at[0], back=at[1]) + " "
           + t("bench.too" if fails_later(rough[1], rough[0]) else "bench.not")]
    if not fails_later(rough[1], rough[0]):
        if not fails_later(smooth[0], smooth[1]):
            out.append(t("side.smooth", front=at[2], back=at[3]))
        if any(x.verdicts.get(SIDE_CLAIM) == "agrees" for x in recorded()):
            out.append(t("side.foot", title=t("below.title")))
    return " ".join(out)
