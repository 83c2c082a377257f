"""The tour of the shipped lesson: what each step says, from the solved states alone.

Each sentence is chosen by what the states show, and says the contrary where they do; one without
an alternative is a `claim`, and no page is made where the states contradict it. The words are in
the catalogue; `depressed.py` has the steps of the depressed joint surface.
"""

from __future__ import annotations

import math
from typing import Any

from buttress.lesson.catalogue import Words, newton, percent, words_in
from buttress.lesson.depressed import filled, plated, raft
from buttress.lesson.look import TIE, Asked, Facts, Look, verdict
from buttress.lesson.shipped import LOWER, THICK_LAG, THIN_LAG, UPPER
from buttress.lesson.step import Step
from buttress.lesson.time_words import BENCH_SAME, SOFT, fades, fails_later, from_the_side
from buttress.model.pressing import SEARCH_LIMIT_N

ENGLISH = words_in("en")
POSITION = {UPPER: "position", LOWER: "position"}
LOCKED = {f"shaft {k}": "locked" for k in (1, 2, 3)}
CLOSER_MM = 2.5


def tour(facts: Facts, t: Words = ENGLISH) -> tuple[Step, ...]:
    """All steps in the order of the argument."""
    return tuple(step(facts, t) for step in (
        block, friction, screw, apex, stiffness, place, locked, joint_side, left_out, fades,
        from_the_side, raft, filled, plated))


def block(facts: Facts, t: Words = ENGLISH) -> Step:
    """A block on a slope: what slides, and why."""
    asked = facts.ask(0, THIN_LAG, screws=False, plate=False)
    look = facts.look(asked)
    slope, mu = asked.point["slope"], asked.point["friction"]
    a = math.radians(slope)
    along, across = f"{100 * math.cos(a):.0f}", f"{100 * math.sin(a):.0f}"
    text = [t("block.slope", slope=f"{slope:.0f}", along=along, across=across),
            t("block.friction", mu=t.fixed(mu, 2), rub=f"{100 * mu:.0f}")]
    if look.held:
        text.append(t("block.holds", outcome=t.outcome(look)))
    else:
        text.append(t("block.slides", most=f"{100 * mu * math.sin(a):.0f}", along=along,
                      outcome=t.outcome(look)))
    if look.need is None and not look.held and facts.beside(asked) > 0:
        text.append(t("block.topples", slope=f"{slope:.0f}", hand=t.fixed(1.0 / math.tan(a), 2),
                      beside=t.fixed(facts.beside(asked), 1)))
    return Step(t("block.title"), tuple(text), (asked,),
                t("block.before", load=newton(asked.load_N)), "way")


def friction(facts: Facts, t: Words = ENGLISH) -> Step:
    """Friction: how much would be needed, by slope."""
    bare: dict[str, Any] = {"screws": False, "plate": False}
    base = facts.ask(0, THIN_LAG, **bare)
    look = facts.look(base)
    at, mu = f"{base.point['slope']:.0f}", t.fixed(base.point["friction"], 2)
    if look.need is not None:
        text = [t("friction.need", slope=at, need=t.fixed(look.need, 2),
                  hand=_by_hand(look.need, base.point["slope"], t))]
    elif look.held:
        text = [t("friction.holds", slope=at, mu=mu)]
    else:
        text = [t("friction.topples" if facts.beside(base) > 0 else "friction.no", slope=at)]
    shown = facts.ask(0, THIN_LAG, **bare, slope=45.0)
    there, flat = facts.look(shown), facts.look(facts.ask(0, THIN_LAG, **bare, slope=65.0))
    if there.need is not None:
        text.append(t("friction.there", slope="45", need=t.fixed(there.need, 2),
                      hand=_by_hand(there.need, 45.0, t)))
    text.append(t("friction.flat.held" if flat.within else "friction.flat.not", slope="65", mu=mu))
    return Step(t("friction.title"), tuple(text), (shown,),
                t("friction.before", slope="45", mu=mu, load=newton(shown.load_N)), "within",
                tries=t("friction.tries"))


def _by_hand(need: float, slope: float, t: Words) -> str:
    """Whether a block on a slope, computed by hand, gives the same."""
    hand = 1.0 / math.tan(math.radians(slope))
    same = abs(need - hand) <= 0.05 * hand
    return t("by.hand" if same else "not.by.hand", slope=f"{slope:.0f}", hand=t.fixed(hand, 2))


def screw(facts: Facts, t: Words = ENGLISH) -> Step:
    """Screws across the fracture: lag against position, and where."""
    lag = facts.ask(0, THIN_LAG, plate=False)
    position = facts.ask(0, THIN_LAG, plate=False, kinds=POSITION)
    a, b = facts.look(position), facts.look(lag)
    text = [t("screw.two", load=newton(lag.load_N), lag=t.outcome(b), position=t.outcome(a)),
            t(verdict(a, b, "screw.worse", "screw.less", "screw.same", "neither"))]
    pull = abs(b.aside("screw"))
    if b.held and b.on_N and pull > 0.05 * b.on_N:
        text[1] += " " + t("screw.presses", carried=percent(b.carried("screw")), pull=newton(pull))
    most, mu = facts.most(lag), lag.point["friction"]
    limit = t.limit(b.limit_mm)
    bare, rough = ([facts.upto(facts.ask(0, THIN_LAG, plate=False, out=(other,), friction=rubs))
                    for other in (LOWER, UPPER)] for rubs in (0.0, mu))
    size = [most if end is None else end for end in bare]
    where = ("screw.any" if abs(size[0] - size[1]) < 0.05 * max(*size, 1.0) else
             "screw.upper" if size[0] > size[1] else "screw.lower")
    both = facts.upto(facts.ask(0, THIN_LAG, plate=False, friction=0.0))
    if bare == [None, None] and rough == [None, None]:
        text.append(t("screw.either", more=t.upto(None, most), mu=t.fixed(mu, 2), limit=limit))
    else:
        text.append(t("screw.alone", upper=t.upto(bare[0], most), lower=t.upto(bare[1], most),
                      where=t(where), both=t.upto(both, most), limit=limit))
        text.append(t("screw.rough.either", more=t.upto(None, most), mu=t.fixed(mu, 2))
                    if rough == [None, None] else
                    t("screw.rough", mu=t.fixed(mu, 2), upper=t.upto(rough[0], most),
                      lower=t.upto(rough[1], most), both=t.upto(facts.upto(lag), most)))
    return Step(t("screw.title"), tuple(text), (lag, position),
                t("screw.before", load=newton(lag.load_N)), "less")


def apex(facts: Facts, t: Words = ENGLISH) -> Step:
    """A thin plate at the apex, and nothing across the fracture."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    look, most = facts.look(plate), facts.most(plate)
    text = [t("apex.plate")]
    if look.held and look.on_N is not None:
        aside, face = look.aside("plate"), look.aside("fracture")
        pressed = aside * face < 0.0 and abs(aside) >= 0.05 * look.on_N
        text.append(t("apex.carried", load=newton(look.load_N), outcome=t.outcome(look),
                      own=f"{look.on_N:.0f} N", face=percent(look.carried("fracture")),
                      plate=percent(look.carried("plate"))))
        if pressed:
            text.append(t("apex.pressed", aside=f"{abs(aside):.0f} N"))
    else:
        text.append(t("apex.even.so", outcome=t.outcome(look)))
    both = facts.ask(0, THIN_LAG)
    text.append(t("apex.ends", plate=t.upto(facts.upto(plate), most), limit=t.limit(look.limit_mm),
                  both=t.upto(facts.upto(both), most)))
    if look.end_N is not None and look.end_N <= most:
        text[-1] += " " + t("apex.peak", peak=newton(look.end_N))
    return Step(t("apex.title"), tuple(text), (plate,),
                t("apex.before", load=newton(plate.load_N)),
                "push" if look.pushing("plate") else "within",
                tries=t("apex.tries") if look.held else "")


def stiffness(facts: Facts, t: Words = ENGLISH) -> Step:
    """What the plate's stiffness does when the plate is a true buttress."""
    thin, thick = (facts.ask(0, c, screws=False, load=600.0) for c in (THIN_LAG, THICK_LAG))
    a, b = facts.look(thin), facts.look(thick)
    text = [t("stiff.two", load=newton(thin.load_N), thin=t.outcome(a), thick=t.outcome(b)),
            t(verdict(a, b, "stiff.more", "stiff.less", "stiff.same", "neither"))]
    up = [facts.look(facts.ask(0, c, screws=False, load=600.0, position=CLOSER_MM))
          for c in (THIN_LAG, THICK_LAG)]
    crossed = any(u.pushing("screw") for u in up)
    text.append(t("stiff.up", by=t.short(CLOSER_MM), thin=t.outcome(up[0]),
                  thick=t.outcome(up[1]), where=t("stiff.into" if crossed else "stiff.below"))
                + " " + t(verdict(up[0], up[1], "stiff.up.thin", "stiff.up.thick",
                                  "stiff.up.same", "neither")))
    if a.held or b.held:
        alike = _alike(a, b)
        # doi 10.1186/s40634-020-0218-0; posteromedial-thin-thick in `bench/expectations.toml`.
        text.append(t("stiff.bench.too" if alike else "stiff.bench"))
    return Step(t("stiff.title"), tuple(text), (thin, thick),
                t("stiff.before", load=newton(thin.load_N)), "less")


def place(facts: Facts, t: Words = ENGLISH) -> Step:
    """What the plate's place does: moved down and up from the apex."""
    shown = facts.ask(0, THIN_LAG, screws=False, load=600.0, position=15.0)
    here = facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0))
    text = [t("place.same", load=newton(shown.load_N), outcome=t.outcome(here))]
    for off, words in ((-10.0, "place.ten"), (15.0, "place.fifteen")):
        there = facts.ask(0, THIN_LAG, screws=False, load=600.0, position=off)
        look = facts.look(there)
        line = [t(words, outcome=t.outcome(look)),
                t(verdict(here, look, "place.more" if look.held else "place.not", "place.less",
                          "place.no.change", "neither"))]
        crossing = look.pushing("screw")
        if off < 0:
            line.append(t("place.holds.it") if crossing else t(
                "place.free.end.goes", goes=t.goes(look)) if look.goes and not look.held else t(
                "place.free.end"))
        elif look.held and crossing:
            line.append(t("place.crosses" if len(crossing) == 1 else "place.cross",
                          n=_number(len(crossing), t), screws=percent(look.carried("screw")),
                          plate=percent(look.carried("plate"))))
        else:
            line.append(t("place.pass.below"))
        if facts.meet(there):
            line.append(t("place.meet"))
        text.append(" ".join(line))
    text.append(t("place.not.alone"))
    return Step(t("place.title"), tuple(text), (shown,),
                t("place.before", load=newton(shown.load_N)), "within")


def _number(n: int, t: Words) -> str:
    return t(f"number.{n}") if n <= 3 else str(n)


def locked(facts: Facts, t: Words = ENGLISH) -> Step:
    """What a locked head changes: the thick plate alone, its heads free or locked."""
    free = facts.ask(0, THICK_LAG, screws=False, load=600.0)
    fast = facts.ask(0, THICK_LAG, screws=False, load=600.0, kinds=LOCKED)
    a, b = facts.look(free), facts.look(fast)
    both = [facts.look(facts.ask(0, THICK_LAG, load=600.0, kinds=k)) for k in ({}, LOCKED)]
    text = [t("locked.what"),
            t("locked.two", load=newton(free.load_N), free=t.moved(a), locked=t.moved(b)) + " "
            + t(verdict(a, b, "locked.more", "locked.less", "locked.same", "neither")) + " "
            + t("locked.lag", free=t.moved(both[0]), locked=t.moved(both[1])),
            *_what_locking_does(facts, free, fast, t),
            t("locked.bench") + " " + _locked_bench(facts, a, b, t) + " " + t("locked.bench.raft")]
    return Step(t("locked.title"), tuple(text), (free, fast),
                t("locked.before", load=newton(free.load_N)), "less")


def _what_locking_does(facts: Facts, free: Asked, fast: Asked, t: Words) -> list[str]:
    """What locked heads change at the plate, and in the end."""
    a, b = facts.look(free), facts.look(fast)
    out = []
    if a.held and b.held:
        shares = a.carried("plate"), b.carried("plate")
        alike = all(abs(getattr(a, part)("plate") - getattr(b, part)("plate")) <= TIE * size
                    for part, size in (("carried", 1.0), ("aside", a.on_N or 0.0)))
        out.append(t("locked.pressed", share=percent(shares[0]),
                     aside=newton(abs(a.aside("plate")))) if alike else
                   t("locked.carried", free=percent(shares[0]), locked=percent(shares[1])))
    ends = [facts.fails(x) for x in (free, fast)]
    gone = [{name for _, name in x.goes if name in LOCKED} for x in (a, b)]
    out.append(t("locked.fails", limit=t.limit(a.limit_mm), **{
        k: t.at(end, SEARCH_LIMIT_N) for k, end in zip(("free", "locked"), ends, strict=True)}))
    if gone[0] and not gone[1]:
        out[-1] += " " + t("locked.end")
        if (b.moved_mm or 0.0) > (1.0 - TIE) * (a.moved_mm or 0.0) and not fails_later(*ends[::-1]):
            out[-1] += " " + t("locked.end.so")
    return out


def _alike(a: Look, b: Look) -> bool:
    """Whether two movements differ by less than a bench test would tell."""
    return (a.moved_mm is not None and b.moved_mm is not None
            and max(a.moved_mm, b.moved_mm) <= BENCH_SAME * min(a.moved_mm, b.moved_mm))


def _locked_bench(facts: Facts, a: Look, b: Look, t: Words) -> str:
    """Whether locked against unlocked and thin against thick differ as little as on the bench."""
    if not _alike(a, b):
        return t("bench.not")
    thin, thick = (facts.look(facts.ask(0, c, screws=False, load=600.0))
                   for c in (THIN_LAG, THICK_LAG))
    if _alike(thin, thick):
        return t("bench.too")
    return t("locked.bench.half", title=t("stiff.title"))


def joint_side(facts: Facts, t: Words = ENGLISH) -> Step:
    """What the joint side does when only the apex is held."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    a, b = facts.look(plate), facts.look(facts.ask(0, THIN_LAG, load=600.0))
    text = [t("joint.free")]
    if a.held and a.gap_mm is not None and a.tilt_deg is not None:
        text.append(t("joint.opens" if a.gap_mm > 0.01 else "joint.shut", load=newton(a.load_N),
                      tilt=t.fixed(abs(a.tilt_deg), 2), gap=t.mm(a.gap_mm)))
    else:
        text.append(t("joint.plate.alone", outcome=t.outcome(a)))
    if b.held and b.gap_mm is not None and b.tilt_deg is not None:
        calmer = a.held and a.tilt_deg is not None and abs(b.tilt_deg) < 0.8 * abs(a.tilt_deg)
        text.append(t("joint.both", tilt=t.fixed(abs(b.tilt_deg), 2), gap=t.mm(max(b.gap_mm, 0.0)))
                    + " " + t("joint.stops" if calmer else "joint.hardly"))
        pushed, pulled = (abs(b.aside(k)) for k in ("plate", "screw"))
        loose = facts.look(facts.ask(0, THIN_LAG, load=600.0, tension=0.0))
        text.append(t("joint.pull", screws=f"{pulled:.0f} N", plate=f"{pushed:.0f} N") + " "
                    + t("joint.screws.too" if pushed < 0.2 * pulled else "joint.plate.helps")
                    + " " + t("joint.loose", loose=t.moved(loose), tight=t.moved(b)))
    else:
        text.append(t("joint.lag.as.well", outcome=t.outcome(b)))
    soft = [facts.upto(facts.ask(0, THIN_LAG, plate=on, load=600.0, strength=SOFT, friction=0.0))
            for on in (False, True)]
    most = facts.most(plate)
    spare = [most if end is None else end for end in soft]
    if spare[1] > 1.05 * spare[0]:
        text.append(t("joint.reserve", soft=percent(SOFT), screws=t.upto(soft[0], most),
                      plate=t.upto(soft[1], most), limit=t.limit(a.limit_mm)))
    return Step(t("joint.title"), tuple(text), (plate,),
                t("joint.before", load=newton(plate.load_N)), "within", tries=t("joint.tries"))


def _worst(looks: dict[str, Look]) -> list[str]:
    """Parts by how much the fragment moves without them, the worst first."""
    return sorted(looks, key=lambda n: (looks[n].held, -(looks[n].moved_mm or 0.0)))


def left_out(facts: Facts, t: Words = ENGLISH) -> Step:
    """Which screw is worst to leave out, of the plate's and of those across the fracture."""
    whole = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    full = facts.look(whole)
    looks = {n: facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0, out=(n,)))
             for n in ("shaft 1", "shaft 2", "shaft 3")}
    order = _worst(looks)
    text = [t("out.plate", load=newton(whole.load_N), outcome=t.outcome(full)) + " " + t(
        "out.each", each="; ".join(t("out.one", name=t.named(n), moved=t.moved(looks[n]))
                                   for n in order))]
    others = [n for n in looks if n != order[0]]
    alike = all(verdict(looks[order[0]], looks[n], "", "", "same", "neither") in (
        "same", "neither") for n in others)
    text.append(t("out.alike") if alike else t("out.worst", name=t.named(order[0])) + " " + t(
        "out.first" if order[0] == "shaft 1" else "out.other"))
    both = facts.look(facts.ask(0, THIN_LAG, load=600.0))
    tight = {n: facts.look(facts.ask(0, THIN_LAG, load=600.0, out=(n,)))
             for n in (UPPER, LOWER, *looks)}
    worst = _worst(tight)[0]
    text.append(t("out.lags", moved=t.moved(both), name=t.named(worst), most=t.moved(tight[worst]))
                + " " + t("out.lags.little" if verdict(both, tight[worst], "", "", "same", "same",
                                                       BENCH_SAME - 1.0) == "same"
                          else "out.lags.worst", name=t.named(worst)))
    asks = () if alike or verdict(looks[order[1]], looks[order[0]], "more", "", "", "") != "more" \
        else tuple(t.named(n) for n in order)
    return Step(t("out.title"), tuple(text), (whole,), t("out.before", load=newton(whole.load_N)),
                "which", asks, tries=t("out.tries"))
