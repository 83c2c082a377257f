"""The steps of the tour on the depressed joint surface, from the solved states alone."""

from __future__ import annotations

import math

from buttress.lesson.catalogue import Words, newton, percent, words_in
from buttress.lesson.look import Facts, verdict
from buttress.lesson.step import Step

ENGLISH = words_in("en")
SCENE = 2
GRAFTED = "raft + impacted graft"
PLATED = "raft plate + impacted graft"
FILLINGS = {"fill.impacted": GRAFTED, "fill.chips": "raft + loose chips",
            "fill.block": "raft + structural block", "fill.cement": "raft + cement"}
BELOW = "screws below + impacted graft"


def raft(facts: Facts, t: Words = ENGLISH) -> Step:
    """The depressed piece: nothing, then a raft of screws, high or low."""
    raft_only = facts.ask(SCENE, GRAFTED, graft=False)
    bare = facts.look(facts.ask(SCENE, GRAFTED, screws=False, graft=False))
    below = facts.look(facts.ask(SCENE, BELOW, graft=False))
    look = facts.look(raft_only)
    text = [t("raft.bare" if bare.held else "raft.nothing", outcome=t.outcome(bare)),
            t("raft.four", outcome=t.outcome(look), load=newton(raft_only.load_N),
              end=t.upto(look.end_N, facts.most(raft_only)))]
    if look.on_N is not None:
        text.append(t("raft.carries", own=f"{look.on_N:.0f} N",
                      share=percent(look.carried("screw"))))
    text.append(t("raft.below", outcome=t.outcome(below)) + " " + t(verdict(
        look, below, "raft.below.more", "raft.below.less", "raft.below.same", "neither")))
    return Step(t("raft.title"), tuple(text), (raft_only,),
                t("raft.before", load=newton(raft_only.load_N)), "within")


def filled(facts: Facts, t: Words = ENGLISH) -> Step:
    """What is put into the void."""
    empty = facts.look(facts.ask(SCENE, GRAFTED, graft=False))
    shown = facts.ask(SCENE, GRAFTED)
    looks = {key: facts.look(facts.ask(SCENE, name)) for key, name in FILLINGS.items()}
    text = [t("fill.all", load=newton(shown.load_N), empty=t.moved(empty), each="; ".join(
        t("fill.one", what=t(key), moved=t.moved(look)) for key, look in looks.items()))]
    order = [n for n, look in sorted(looks.items(), key=lambda x: x[1].moved_mm or math.inf)
             if look.held]
    if order:
        text.append(t("fill.least", what=t(order[0])) + " " + t(verdict(
            empty, looks["fill.chips"], "fill.chips.worse", "fill.chips.help", "fill.chips.none",
            "fill.chips.neither")))
    alone, both = facts.look(facts.ask(SCENE, GRAFTED, screws=False)), looks["fill.impacted"]
    text.append(t("fill.alone", outcome=t.outcome(alone)) + " " + t(
        verdict(alone, both, "fill.raft.nothing", "fill.share", "fill.raft.nothing", "neither"),
        screws=percent(both.carried("screw")), graft=percent(both.carried("graft"))))
    cement = looks["fill.cement"]
    text.append(t("fill.bench") + " " + t("bench.too" if verdict(
        empty, cement, "more", "less", "same", "neither") == "less" else "bench.not"))
    return Step(t("fill.title"), tuple(text), (shown,),
                t("fill.before", load=newton(shown.load_N)), "carries")


def plated(facts: Facts, t: Words = ENGLISH) -> Step:
    """The raft through a plate."""
    free = facts.ask(SCENE, GRAFTED, graft=False)
    empty = facts.ask(SCENE, PLATED, graft=False)
    a, b = facts.look(free), facts.look(empty)
    both, graft, none = (facts.look(facts.ask(SCENE, PLATED, plate=p, graft=g))
                         for p, g in ((True, True), (False, True), (False, False)))
    text = [t("plated.two", plated=t.outcome(b), free=t.outcome(a)) + " " + t(verdict(
                a, b, "plated.worse", "plated.helps", "plated.hardly", "neither")),
            t("plated.all", both=t.outcome(both), empty=t.outcome(b), graft=t.outcome(graft),
              none=t.outcome(none)),
            t("plated.bench") + " " + t("bench.too" if verdict(
                a, b, "more", "less", "same", "neither", 0.25) == "same" else "bench.not")]
    return Step(t("plated.title"), tuple(text), (free, empty),
                t("plated.before", load=newton(free.load_N)), "less")
