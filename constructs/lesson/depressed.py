"""The steps of the tour on the depressed joint surface, from the solved states alone."""

from __future__ import annotations

import math

from buttress.lesson.catalogue import Words, newton, percent, words_in
from buttress.lesson.look import TIE, Facts, Look, verdict
from buttress.lesson.step import Step

ENGLISH = words_in("en")
SCENE = 2
GRAFTED = "raft + impacted graft"
PLATED = "raft plate + impacted graft"
ALONG_N = (400.0, 800.0, 1200.0, 1600.0)
"""Loads at which two constructs are compared along their curves."""
STRONG = 3.0
"""Factor on the strength of bone at which it is not crushed beside these screws."""
FILLINGS = {"fill.impacted": GRAFTED, "fill.chips": "raft + loose chips",
            "fill.block": "raft + structural block", "fill.cement": "raft + cement"}
BELOW = "screws below + impacted graft"


def raft(facts: Facts, t: Words = ENGLISH) -> Step:
    """The depressed piece: nothing, then a raft of screws, high or low."""
    raft_only = facts.ask(SCENE, GRAFTED, graft=False)
    bare = facts.look(facts.ask(SCENE, GRAFTED, screws=False, graft=False))
    look = facts.look(raft_only)
    text = [t("raft.bare" if bare.held else "raft.nothing", outcome=t.outcome(bare)),
            t("raft.four", outcome=t.outcome(look), load=newton(raft_only.load_N),
              limit=t.limit(look.limit_mm),
              end=t.upto(facts.upto(raft_only), facts.most(raft_only)))]
    if look.on_N is not None:
        text.append(t("raft.carries", own=f"{look.on_N:.0f} N",
                      share=percent(look.carried("screw"))))
    high, low, packed = ([facts.look(facts.ask(SCENE, name, graft=graft, load=n)) for n in ALONG_N]
                         for name, graft in ((GRAFTED, False), (BELOW, False), (BELOW, True)))
    text.append(t("raft.below", loads=t.listed([f"{n:.0f}" for n in ALONG_N]), low=_each(low, t),
                  high=_each(high, t)) + " " + along(high, low, "raft.below.", t)
                + _two_why(facts, high, low, t))
    text.append(t("raft.packed", packed=_each(packed, t)) + " "
                + along(low, packed, "raft.packed.", t) + _graft_why(low, packed, t))
    return Step(t("raft.title"), tuple(text), (raft_only,),
                t("raft.before", load=newton(raft_only.load_N)), "within")


def _two_why(facts: Facts, high: list[Look], low: list[Look], t: Words) -> str:
    """Why two thicker screws lower down move less at first and more later: nothing where they do
    not, or where bone that is not crushed does not turn it."""
    a, b = ([facts.look(facts.ask(SCENE, name, graft=False, load=n, strength=STRONG))
             for n in ALONG_N] for name in (GRAFTED, BELOW))
    turns = [verdict(x, y, "more", "less", "same", "same") for x, y in zip(high, low, strict=True)]
    strong = {verdict(x, y, "more", "less", "same", "same") for x, y in zip(a, b, strict=True)}
    crushed, before, not_ = (x.most_spent("bearing") for x in (low[-1], low[0], b[-1]))
    if (turns[0], turns[-1], strong) != ("less", "more", {"less"}) or crushed <= max(before, not_):
        return ""
    return " " + t("raft.below.why", times=t(f"number.{STRONG:.0f}"), low=t.moved(b[-1]),
                   high=t.moved(a[-1]), load=newton(ALONG_N[-1]))


def _graft_why(low: list[Look], packed: list[Look], t: Words) -> str:
    """Why graft over these screws helps at the largest load: nothing where it does not, or where
    it carries little or spares no bone."""
    a, b = low[-1], packed[-1]
    spared = b.most_spent("bearing") < a.most_spent("bearing")
    if b.carried("graft") < TIE or not spared or verdict(a, b, "more", "less", "", "") != "less":
        return ""
    return " " + t("raft.packed.why", share=percent(b.carried("graft")), load=newton(ALONG_N[-1]))


def _each(looks: list[Look], t: Words) -> str:
    """How far each moves; the unit stands once."""
    told = [t.moved(look) for look in looks]
    return t.listed([*(x.removesuffix(" mm") for x in told[:-1]), told[-1]])


def along(a: list[Look], b: list[Look], key: str, t: Words) -> str:
    """Whether b moves more or less than a along the loads, and where that turns."""
    found = [verdict(x, y, "more", "less", "same", "same") for x, y in zip(a, b, strict=True)]
    if len(set(found)) == 1:
        return t(f"{key}{found[0]}")
    turns = [k for k in range(1, len(found)) if found[k] != found[k - 1]]
    if len(turns) == 1 and found[-1] != "same":
        k = turns[0]
        how = f"later.{found[k]}" if found[0] == "same" else f"turns.{found[0]}"
        return t(f"{key}{how}", low=newton(ALONG_N[k - 1]), high=newton(ALONG_N[k]))
    return t("raft.depends")


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
            t("plated.bench", free=t.moved(a), plated=t.moved(b), title=t("below.title"))]
    return Step(t("plated.title"), tuple(text), (free, empty),
                t("plated.before", load=newton(free.load_N)), "less")
