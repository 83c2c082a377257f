"""The tour of the shipped lesson: what each step says, from the solved states alone.

No claim is fixed: each sentence is chosen by what the states show and says the contrary where
they do. A step also says where the controls of the page are put.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from buttress.lesson.look import Asked, Facts, Look, mm, newton, outcome, percent, upto, verdict
from buttress.lesson.shipped import LOWER, THICK_LAG, THIN_LAG, THIN_POSITION, UPPER
from buttress.report.glossary import glossary


@dataclass(frozen=True)
class Step:
    """A step of the tour: its title, its paragraphs, and the point that it shows."""

    title: str
    text: tuple[str, ...]
    shows: Asked | None


def tour(facts: Facts) -> tuple[Step, ...]:
    """All steps in the order of the argument."""
    return (block(facts), friction(facts), screw(facts), apex(facts), stiffness(facts),
            place(facts), joint_side(facts), raft(facts), filled(facts), plated(facts))


def meaning(word: str) -> str:
    """What a word of the glossary means to people who are not surgeons, inside a sentence."""
    text = glossary()[word].not_surgeon
    return text[0].lower() + text[1:].rstrip(".")


def block(facts: Facts) -> Step:
    """A block on a slope: what slides, and why."""
    asked = facts.ask(0, THIN_LAG, screws=False, plate=False)
    look = facts.look(asked)
    slope, mu = asked.point["slope"], asked.point["friction"]
    a = math.radians(slope)
    text = [f"The medial fragment is a block on a slope. The fracture runs {slope:.0f}° off the "
            f"long axis, so of every 100 N that press down on the fragment {100 * math.cos(a):.0f} "
            f"N push it along the fracture and only {100 * math.sin(a):.0f} N press it against the "
            "face.",
            f"Friction of {mu:.2f} means: a normal force of 100 N resists sliding with up to "
            f"{100 * mu:.0f} N."]
    if look.held:
        text.append(f"With that friction and nothing else it is {outcome(look)}.")
    else:
        text.append(f"So here it can resist at most {100 * mu * math.sin(a):.0f} N of the "
                    f"{100 * math.cos(a):.0f} N. That is why it slides: with no implant it is "
                    f"{outcome(look)}. Note the direction: to subside, it has to move sideways.")
    return Step("A block on a slope", tuple(text), asked)


def friction(facts: Facts) -> Step:
    """Friction: how much would be needed, by slope."""
    bare: dict[str, Any] = {"screws": False, "plate": False}
    base = facts.ask(0, THIN_LAG, **bare)
    look = facts.look(base)
    slope, mu = base.point["slope"], base.point["friction"]
    text = []
    if look.need is not None:
        text.append(f"Could friction alone hold it? At {slope:.0f}° to the long axis it "
                    f"takes μ ≥ {look.need:.2f}{_by_hand(look.need, slope)}.")
    elif look.held:
        text.append(f"At {slope:.0f}° to the long axis friction of {mu:.2f} alone holds it.")
    else:
        beside = facts.beside(base)
        text.append(f"Could friction alone hold it at {slope:.0f}° to the long axis? No: "
                    + (f"the load passes {beside:.1f} mm outside the foot of the fracture, "
                       "so on faces too rough to slide it would topple." if beside > 0 else
                       "limit analysis finds no forces that would."))
    shown = facts.ask(0, THIN_LAG, **bare, slope=45.0)
    steep, flat = facts.look(shown), facts.look(facts.ask(0, THIN_LAG, **bare, slope=65.0))
    if steep.need is not None:
        text.append(f"At 45° it takes μ ≥ {steep.need:.2f}{_by_hand(steep.need, 45.0)}. For "
                    "bone on bone 0.4 to 0.6 is recalled, and no source was found; a test of sawn "
                    "long bones found that it depends on the finish of the faces (Surf Technol "
                    "1985;25:377).")
    text.append(f"At 65°, much flatter, the friction of {mu:.2f} "
                + ("is enough: it is held. A shear fracture is steep, and that is its trouble."
                   if flat.held else "is still not enough.")
                + " Move the slider of the angle to find where this changes.")
    return Step("Friction", tuple(text), shown)


def _by_hand(need: float, slope: float) -> str:
    """Whether a block on a slope, computed by hand, gives the same."""
    hand = 1.0 / math.tan(math.radians(slope))
    same = abs(need - hand) <= 0.05 * hand
    return (f", {'as' if same else 'while'} the block by hand says: 1/tan {slope:.0f}° = "
            f"{hand:.2f}")


def screw(facts: Facts) -> Step:
    """Screws across the fracture: lag against position, and where."""
    lag, position = (facts.ask(0, c, plate=False) for c in (THIN_LAG, THIN_POSITION))
    a, b = facts.look(position), facts.look(lag)
    text = [f"Two screws cross the fracture. As lag screws (each {meaning('lag screw')}): "
            f"{outcome(b)} at {newton(lag.load_N)}. As position screws (each "
            f"{meaning('position screw')}): {outcome(a)}.",
            verdict(a, b,
                    "Here the lag screws do worse than the position screws: their "
                    "compression is soon used up, and their smooth shafts only bear sideways.",
                    "With the tightened screws the fragment moves less here.",
                    "How they are tightened makes no difference at this load.",
                    "Neither is held.")]
    pull = abs(b.aside("screw"))
    if b.held and b.on_N and pull > 0.05 * b.on_N:
        text[1] += (f" Lag screws carry only {percent(b.carried('screw'))} of its load, but press "
                    f"it sideways against the face with {newton(pull)}, and the face carries "
                    "the rest.")
    most = facts.most(lag)
    mu = lag.point["friction"]
    bare, rough = ([facts.look(facts.ask(0, THIN_LAG, plate=False, out=(other,), friction=rubs)
                               ).end_N for other in (LOWER, UPPER)] for rubs in (0.0, mu))
    size = [most if end is None else end for end in bare]
    where = ("it hardly matters which" if abs(size[0] - size[1]) < 0.05 * max(*size, 1.0) else
             "the one near the joint holds more" if size[0] > size[1] else
             "the one near the apex holds more")
    both = facts.look(facts.ask(0, THIN_LAG, plate=False, friction=0.0)).end_N
    text.append(f"Without friction one alone holds {upto(bare[0], most)} near the joint and "
                f"{upto(bare[1], most)} near the apex: {where}; both {upto(both, most)}. With "
                f"friction of {lag.point['friction']:.2f} "
                + (f"either alone holds {upto(None, most)}." if rough == [None, None] else
                   f"{upto(rough[0], most)} and {upto(rough[1], most)}; both "
                   f"{upto(b.end_N, most)}."))
    return Step("Screws across it", tuple(text), lag)


def apex(facts: Facts) -> Step:
    """A thin plate at the apex, and nothing across the fracture."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    look = facts.look(plate)
    text = ["Now no screw crosses the fracture: a thin plate covers the apex, the lower tip of the "
            "fragment, and is screwed to the shaft below. An antiglide plate is "
            f"{meaning('antiglide plate')}, unless it pushes the plate away."]
    if look.held and look.on_N is not None:
        text.append(f"At {newton(look.load_N)} it is {outcome(look)}. Of its load of "
                    f"{look.on_N:.0f} N the fracture face carries "
                    f"{percent(look.carried('fracture'))} and the plate "
                    f"{percent(look.carried('plate'))}. "
                    + _pressed(look) + "Follow the arrows round the polygon.")
    else:
        text.append(f"Even so it is {outcome(look)}.")
    both = facts.look(facts.ask(0, THIN_LAG))
    most = facts.most(plate)
    text.append(f"The plate alone holds {upto(look.end_N, most)}; plate and lag screws together "
                f"{upto(both.end_N, most)}.")
    return Step("A plate under the apex", tuple(text), plate)


def _pressed(look: Look) -> str:
    """Whether the plate's push sideways presses the faces together."""
    plate, face = look.aside("plate"), look.aside("fracture")
    if plate * face >= 0.0 or abs(plate) < 0.05 * (look.on_N or math.inf):
        return ""
    return (f"The plate also pushes it {abs(plate):.0f} N sideways into the face: pressed "
            "together, the faces can carry their part. ")


CLOSER_MM = 2.5
BENCH_SAME = 1.25
"""Movements within this ratio count as not different, as in the comparison with bench tests."""


def stiffness(facts: Facts) -> Step:
    """What the plate's stiffness does when the plate is a true buttress."""
    thin, thick = (facts.ask(0, c, screws=False, load=600.0) for c in (THIN_LAG, THICK_LAG))
    a, b = facts.look(thin), facts.look(thick)
    text = [f"The same place, a thick straight plate instead of the thin one, at "
            f"{newton(thin.load_N)}. Thin: {outcome(a)}; thick: {outcome(b)}.",
            verdict(a, b, "Here the thicker plate lets the fragment move more.",
                    "In this model stiffness matters here: between its first screw and the apex "
                    "the plate is a beam, and the thin one bends there.",
                    "Here stiffness makes no difference.", "Neither is held.")]
    up = [facts.look(facts.ask(0, c, screws=False, load=600.0, position=CLOSER_MM))
          for c in (THIN_LAG, THICK_LAG)]
    crossed = any(u.pushing("screw") for u in up)
    text.append(f"Both moved {CLOSER_MM:g} mm up, "
                + ("where the first screw reaches into the fragment" if crossed else
                   "the first screw closer to the apex and still below the fragment")
                + f". Thin: {outcome(up[0])}; thick: {outcome(up[1])}. "
                + verdict(up[0], up[1], "The fragment then moves less behind the thin one.",
                          "The thick one still does better.",
                          "The difference is gone: well supported, a thin plate is a buttress.",
                          "Neither is held."))
    if a.held or b.held:
        text.append(_bench_of_plates(a, b))
    return Step("How stiff a plate?", tuple(text), thick)


def _bench_of_plates(thin: Look, thick: Look) -> str:
    """What a published bench test found on thin and thick plates, beside the model's word."""
    alike = (thin.moved_mm is not None and thick.moved_mm is not None and max(
        thin.moved_mm, thick.moved_mm) <= BENCH_SAME * min(thin.moved_mm, thick.moved_mm))
    # doi 10.1186/s40634-020-0218-0; see posteromedial-thin-thick in `bench/expectations.toml`.
    return (f"A bench test found no significant difference {'either' if alike else ''}".rstrip()
            + ", in stiffness or in subsidence up to 2 mm (J Exp Orthop 2020, five synthetic bones "
              "each)" + ("." if alike else
                         "; this beam bends more freely than a plate on bone."))


def place(facts: Facts) -> Step:
    """What the plate's place does: moved down and up from the apex."""
    shown = facts.ask(0, THIN_LAG, screws=False, load=600.0, position=15.0)
    here = facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0))
    text = [f"The same thin plate at {newton(shown.load_N)}, moved along the bone with its screws. "
            f"In its place: {outcome(here)}."]
    for off, words in ((-10.0, "10 mm down"), (15.0, "15 mm up")):
        look = facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0, position=off))
        line = f"{words.capitalize()}: {outcome(look)}. "
        line += verdict(here, look, "It moves more: " if look.held else "Not held: ",
                        "It moves less: ", "No change: ", "Neither is held: ")
        crossing = look.pushing("screw")
        if off < 0:
            line += ("a longer free end reaches over the apex above the first screw"
                     + (f", and {look.goes}" if look.goes and not look.held else "") + "."
                     if not crossing else "its screws hold the fragment.")
        elif look.held and crossing:
            one = len(crossing) == 1
            line += (f"{COUNT.get(len(crossing), len(crossing))} of its screws now "
                     f"{'crosses' if one else 'cross'} the fracture and "
                     f"{'carries' if one else 'carry'} {percent(look.carried('screw'))} of the "
                     f"load, the plate itself {percent(look.carried('plate'))}. A plate screwed "
                     "to the fragment is no longer a pure buttress.")
        else:
            line += "its screws still pass below the fragment, closer to the apex."
        text.append(line)
    text.append("So this is not the plate's place alone: its screws move with it, into other bone "
                "and at other angles.")
    return Step("Where along the bone?", tuple(text), shown)


COUNT = {1: "one", 2: "two", 3: "three"}


def joint_side(facts: Facts) -> Step:
    """What the joint side does when only the apex is held."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    a, b = facts.look(plate), facts.look(facts.ask(0, THIN_LAG, load=600.0))
    alone = facts.look(facts.ask(0, THIN_LAG, plate=False, load=600.0))
    text = ["Held at its foot alone, the fragment is free to rotate about it. Watch the joint "
            "line."]
    if a.held and a.gap_mm is not None and a.tilt_deg is not None:
        opens = a.gap_mm > 0.01
        text.append(f"At {newton(a.load_N)} it tilts {abs(a.tilt_deg):.2f}° and the joint line "
                    + (f"opens by {mm(a.gap_mm)}." if opens else "does not open."))
    else:
        text.append(f"With the plate alone it is {outcome(a)}.")
    if b.held and b.gap_mm is not None and b.tilt_deg is not None:
        calmer = a.held and a.tilt_deg is not None and abs(b.tilt_deg) < 0.8 * abs(a.tilt_deg)
        text.append("With the lag screws near the joint as well (tick “screws”): "
                    f"{abs(b.tilt_deg):.2f}° and {mm(max(b.gap_mm, 0.0))}. "
                    + ("The screws stop the rotation. " if calmer else
                       "The screws hardly change that. ") + _left_to_do(b, alone))
    else:
        text.append(f"With the lag screws as well it is {outcome(b)}.")
    soft = [facts.look(facts.ask(0, THIN_LAG, plate=on, load=600.0, strength=SOFT, friction=0.0)
                       ).end_N for on in (False, True)]
    most = facts.most(plate)
    spare = [most if end is None else end for end in soft]
    if spare[1] > 1.05 * spare[0]:
        text.append(f"In weak bone ({percent(SOFT)} of the strength) and without friction the "
                    f"screws hold {upto(soft[0], most)}, with the plate {upto(soft[1], most)}: "
                    "there the plate is the reserve.")
    return Step("What the joint side does", tuple(text), plate)


SOFT = 0.5


def _left_to_do(both: Look, alone: Look) -> str:
    """What the screws leave the plate to do, and what it is like without the plate."""
    plate, screws = (abs(both.aside(k)) for k in ("plate", "screw"))
    said = f"They pull it {screws:.0f} N sideways, the plate pushes {plate:.0f} N: "
    said += ("the screws prevent sliding too, as long as they are tight: nothing loosens in this "
             "model, in bone tension fades. "
             if plate < 0.2 * screws else "the plate still helps to prevent sliding. ")
    return said + f"Without the plate: {outcome(alone)}; with it: {outcome(both)}."


def raft(facts: Facts) -> Step:
    """The depressed piece: nothing, then a raft of screws."""
    raft_only = facts.ask(1, "raft + impacted graft", graft=False)
    bare = facts.look(facts.ask(1, "raft + impacted graft", screws=False, graft=False))
    look = facts.look(raft_only)
    text = [f"Another fracture: a piece of the joint surface was driven down and raised again, and "
            f"a void is left under it. Without an implant it is {outcome(bare)}"
            + ("." if bare.held else ": there is nothing below it to press against."),
            f"Four screws side by side close under the joint, like the beams of a floor (a raft; "
            f"drawn as one here), over the empty void: {outcome(look)} at "
            f"{newton(raft_only.load_N)}; it holds {upto(look.end_N, facts.most(raft_only))}."]
    if look.on_N is not None:
        text.append(f"{look.on_N:.0f} N of the load press on the piece itself, the rest next to "
                    f"it; the raft carries {percent(look.carried('screw'))} of them.")
    return Step("A depressed piece: the raft", tuple(text), raft_only)


def filled(facts: Facts) -> Step:
    """What is put into the void."""
    empty = facts.look(facts.ask(1, "raft + impacted graft", graft=False))
    shown = facts.ask(1, "raft + impacted graft")
    looks = {"impacted graft": facts.look(shown), "loose chips": facts.look(
        facts.ask(1, "raft + loose chips")), "cement": facts.look(facts.ask(1, "raft + cement"))}
    text = [f"The void filled, under the same raft at {newton(shown.load_N)}. Bone chips, packed "
            f"(impacted graft): {outcome(looks['impacted graft'])}; loose chips: "
            f"{outcome(looks['loose chips'])}; cement: {outcome(looks['cement'])}. Empty: "
            f"{outcome(empty)}."]
    order = [n for n, look in sorted(looks.items(), key=lambda t: t[1].moved_mm or math.inf)
             if look.held]
    if order:
        text.append(f"Least movement: {order[0]}. " + verdict(
            empty, looks["loose chips"], "Loose chips are worse than nothing.",
            "Even loose chips help.", "Loose chips do next to nothing.",
            "Held neither over the empty void nor over loose chips."))
    alone = facts.look(facts.ask(1, "raft + impacted graft", screws=False))
    both = looks["impacted graft"]
    share = (f"Raft and graft share the work: {percent(both.carried('screw'))} and "
             f"{percent(both.carried('graft'))} of the load on the piece.")
    text.append(f"Impacted graft without any screw: {outcome(alone)}. " + verdict(
        alone, both, "The raft adds nothing to it.", share, "The raft adds nothing to it.",
        "Neither is held."))
    return Step("What is put into the void", tuple(text), shown)


def plated(facts: Facts) -> Step:
    """The raft through a plate."""
    name = "raft plate + impacted graft"
    free = facts.look(facts.ask(1, "raft + impacted graft", graft=False))
    shown = facts.ask(1, name)
    empty, graft, none = (facts.look(facts.ask(1, name, plate=p, graft=g))
                          for p, g in ((True, False), (False, True), (False, False)))
    both = facts.look(shown)
    text = [f"The same raft through the head of a plate. Over the empty void: {outcome(empty)}; "
            f"without the plate: {outcome(free)}. " + verdict(
                free, empty, "The plate makes it worse.", "The plate helps the raft.",
                "The plate hardly changes what the raft does: it buttresses the wall next to it, "
                "and that wall is not what fails here.", "Neither is held."),
            f"Plate, raft and impacted graft: {outcome(both)}. Switch off the graft: "
            f"{outcome(empty)}. Switch off the plate, and the raft goes too, since its screws sit "
            f"in the plate; the graft alone: {outcome(graft)}. Both off: {outcome(none)}."]
    return Step("Raft, graft and plate", tuple(text), shown)
