"""The tour of the shipped lesson: what each step says, from the solved states alone.

No claim is fixed: each sentence is chosen by what the states show and says the contrary where
they do. A step also says where the controls of the page are put.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from constructs.lesson.look import Asked, Facts, mm, newton, outcome, percent, upto, verdict
from constructs.lesson.shipped import LOWER, THICK_LAG, THIN_LAG, THIN_POSITION, UPPER


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


def block(facts: Facts) -> Step:
    """A block on a slope: what slides, and why."""
    asked = facts.ask(0, THIN_LAG, screws=False, plate=False)
    look = facts.look(asked)
    slope, mu = asked.point["slope"], asked.point["friction"]
    a = math.radians(slope)
    text = [f"The medial fragment is a block on a slope. The fracture runs {slope:.0f}° off the "
            f"long axis, so of every 100 N that press on the fragment {100 * math.cos(a):.0f} N "
            f"push it down along the fracture and only {100 * math.sin(a):.0f} N press it on."]
    if look.held:
        text.append(f"With friction {mu:.2f} and nothing else it is {outcome(look)}.")
    else:
        text.append(f"Friction of {mu:.2f} can resist at most {100 * mu * math.sin(a):.0f} N of "
                    f"them. That is why it slides: with no implant it is {outcome(look)}.")
    return Step("A block on a slope", tuple(text), asked)


def friction(facts: Facts) -> Step:
    """Friction: how much would be needed, by slope."""
    bare = {"screws": False, "plate": False}
    base = facts.ask(0, THIN_LAG, **bare)
    look = facts.look(base)
    slope, mu = base.point["slope"], base.point["friction"]
    text = []
    if look.need is not None:
        text.append(f"Could friction alone hold it? At {slope:.0f}° it takes "
                    f"μ ≥ {look.need:.2f}{_by_hand(look.need, slope)}.")
    elif look.held:
        text.append(f"At {slope:.0f}° friction of {mu:.2f} alone holds it.")
    else:
        beside = facts.beside(base)
        text.append(f"Could friction alone hold it at {slope:.0f}°? Not any friction: "
                    + (f"the load passes {beside:.1f} mm beside the foot of the fracture, so the "
                       "fragment would topple before it could stick." if beside > 0 else
                       "limit analysis finds no forces that would."))
    shown = facts.ask(0, THIN_LAG, **bare, slope=45.0)
    steep, flat = facts.look(shown), facts.look(facts.ask(0, THIN_LAG, **bare, slope=65.0))
    if steep.need is not None:
        text.append(f"At 45° it takes μ ≥ {steep.need:.2f}{_by_hand(steep.need, 45.0)}. Faces of "
                    f"bone give about 0.4 to 0.6 (recalled, to be checked).")
    text.append(f"At 65° the friction of {mu:.2f} "
                + ("is enough: it is held. A shear fracture is steep, and that is its trouble."
                   if flat.held else "is still not enough.")
                + " Move the slope and find where it changes.")
    return Step("Friction", tuple(text), shown)


def _by_hand(need: float, slope: float) -> str:
    """Whether a block on a slope, worked out by hand, says the same."""
    hand = 1.0 / math.tan(math.radians(slope))
    same = abs(need - hand) <= 0.05 * hand
    return (f", {'as' if same else 'while'} the block by hand says: 1/tan {slope:.0f}° = "
            f"{hand:.2f}")


def screw(facts: Facts) -> Step:
    """Screws across the fracture: lag against position, and where."""
    lag, position = (facts.ask(0, c, plate=False) for c in (THIN_LAG, THIN_POSITION))
    a, b = facts.look(position), facts.look(lag)
    text = [f"Two screws across it. Tightened (lag) they press the faces together and give "
            f"friction something to work with: {outcome(b)} at {newton(lag.load_N)}. Not tightened "
            f"and threaded all along (position): {outcome(a)}.",
            verdict(a, b,
                    "Here the lag screws do worse than the position screws: what they are "
                    "tightened to is soon used up, and their smooth shafts only bear sideways.",
                    "Here tightening pays: the same screws as lag screws let the fragment move "
                    "less.",
                    "How they are tightened makes no difference at this load.",
                    "Neither holds.")]
    ends = [facts.look(facts.ask(0, c)).end_N for c in (UPPER, LOWER)]
    most = facts.most(lag)
    size = [most if end is None else end for end in ends]
    where = ("it hardly matters which one" if abs(size[0] - size[1]) < 0.05 * max(*size, 1.0) else
             "the one near the joint carries more" if size[0] > size[1] else
             "the one near the apex carries more")
    text.append(f"Place: one lag screw alone holds {upto(ends[0], most)} near the joint and "
                f"{upto(ends[1], most)} near the apex, so {where}; both together "
                f"{upto(b.end_N, most)}.")
    return Step("A screw across: lag, position, place", tuple(text), lag)


def apex(facts: Facts) -> Step:
    """A thin plate at the apex, and nothing across the fracture."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    look = facts.look(plate)
    text = ["Now no screw crosses the fracture: a thin plate covers the apex and is screwed to the "
            "shaft below. To slide, the fragment has to push the plate away."]
    if look.held and look.carried is not None:
        by = look.carried
        text.append(f"At {newton(look.load_N)} it is {outcome(look)}. Of the load on the fragment "
                    f"the fracture face carries {percent(by.get('fracture', 0.0))} and the plate "
                    f"{percent(by.get('plate', 0.0))}: the plate pushes sideways, and that is what "
                    "presses the faces together. Follow arrow and polygon.")
    else:
        text.append(f"Even so it is {outcome(look)}.")
    more = facts.ask(0, THIN_LAG)
    both = facts.look(more)
    most = facts.most(plate)
    text.append(f"It holds {upto(look.end_N, most)}; plate and lag screws together "
                f"{upto(both.end_N, most)}.")
    return Step("A plate under the apex", tuple(text), plate)


def stiffness(facts: Facts) -> Step:
    """What the plate's stiffness does when the plate is a true buttress."""
    thin, thick = (facts.ask(0, c, screws=False, load=600.0) for c in (THIN_LAG, THICK_LAG))
    a, b = facts.look(thin), facts.look(thick)
    text = [f"The same place, a thick straight plate instead of the thin one: thin {outcome(a)}, "
            f"thick {outcome(b)} at {newton(thin.load_N)}.",
            verdict(a, b, "Here the thicker plate lets the fragment move more.",
                    "Here stiffness matters: between its first screw and the apex the plate is a "
                    "beam, and the thin one bends there.",
                    "Here stiffness makes no difference.", "Neither holds.")]
    up = [facts.look(facts.ask(0, c, screws=False, load=600.0, position=5.0))
          for c in (THIN_LAG, THICK_LAG)]
    text.append("With its first screw 5 mm closer to the apex: thin "
                + f"{outcome(up[0])}, thick {outcome(up[1])}. "
                + verdict(up[0], up[1], "The thin one is then the better.",
                          "The thick one still does better.",
                          "The difference is gone: well supported, a thin plate is a buttress.",
                          "Neither holds."))
    return Step("How stiff a plate?", tuple(text), thick)


def place(facts: Facts) -> Step:
    """What the plate's place does: moved down and up from the apex."""
    shown = facts.ask(0, THIN_LAG, screws=False, load=600.0, position=15.0)
    here = facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0))
    text = ["The same thin plate, moved along the bone with its screws."]
    for off, words in ((-10.0, "10 mm down"), (15.0, "15 mm up")):
        look = facts.look(facts.ask(0, THIN_LAG, screws=False, load=600.0, position=off))
        line = f"{words.capitalize()}: {outcome(look)}, against {mm(here.moved_mm)} in its place. "
        line += verdict(here, look, "Worse: ", "Better: ", "No change: ", "Neither holds: ")
        screws = 0.0
        if look.by_source is not None:
            screws = sum(v for k, v in look.by_source.items() if k.startswith("shaft"))
        if off < 0:
            line += ("what reaches over the apex is a longer free end above the first screw."
                     if not look.held or screws < 0.05 else "its screws hold the fragment.")
        elif look.held and abs(screws) >= 0.05:
            line += (f"its uppermost screw now crosses the fracture and carries {percent(screws)} "
                     "of the load itself. It has become a plate screwed to the fragment: no longer "
                     "a pure buttress.")
        else:
            line += "its screws still pass below the fragment, closer to the apex."
        text.append(line)
    return Step("Where along the bone?", tuple(text), shown)


def joint_side(facts: Facts) -> Step:
    """What the joint side does when only the apex is held."""
    plate = facts.ask(0, THIN_LAG, screws=False, load=600.0)
    both = facts.ask(0, THIN_LAG, load=600.0)
    a, b = facts.look(plate), facts.look(both)
    text = ["Held at its foot alone, the fragment is free to turn about it. Watch the joint line."]
    if a.held and a.gap_mm is not None and a.tilt_deg is not None:
        opens = a.gap_mm > 0.01
        text.append(f"At {newton(a.load_N)} it tilts {abs(a.tilt_deg):.2f}° and the joint line "
                    + (f"gapes {mm(a.gap_mm)}." if opens else "does not open."))
    else:
        text.append(f"With the plate alone it is {outcome(a)}.")
    if b.held and b.gap_mm is not None and b.tilt_deg is not None:
        calmer = a.held and a.tilt_deg is not None and abs(b.tilt_deg) < 0.8 * abs(a.tilt_deg)
        text.append(f"With the lag screws near the joint as well: {abs(b.tilt_deg):.2f}° and "
                    f"{mm(max(b.gap_mm, 0.0))}. "
                    + ("The plate stops the slide, the screws stop the turn." if calmer else
                       "The screws hardly change that."))
    else:
        text.append(f"With the lag screws as well it is {outcome(b)}.")
    return Step("What the joint side does", tuple(text), plate)


def raft(facts: Facts) -> Step:
    """The depressed piece: nothing, then a raft of screws."""
    raft_only = facts.ask(1, "raft + impacted graft", graft=False)
    bare = facts.look(facts.ask(1, "raft + impacted graft", screws=False, graft=False))
    look = facts.look(raft_only)
    text = [f"Another fracture: a piece of the joint surface was driven down and raised again, and "
            f"a void is left under it. With nothing put in it is {outcome(bare)}"
            + ("." if bare.held else ": there is nothing below it to press against."),
            f"Four screws side by side close under the joint, like the beams of a floor (a raft), "
            f"over the empty void: {outcome(look)} at {newton(raft_only.load_N)}; it holds "
            f"{upto(look.end_N, facts.most(raft_only))}."]
    return Step("A depressed piece: the raft", tuple(text), raft_only)


def filled(facts: Facts) -> Step:
    """What is put into the void."""
    empty = facts.look(facts.ask(1, "raft + impacted graft", graft=False))
    shown = facts.ask(1, "raft + impacted graft")
    looks = {"impacted graft": facts.look(shown), "loose chips": facts.look(
        facts.ask(1, "raft + loose chips")), "cement": facts.look(facts.ask(1, "raft + cement"))}
    text = ["The void filled, under the same raft: " + "; ".join(
        f"{name} {outcome(look)}" for name, look in looks.items()) + f". Empty: {outcome(empty)}."]
    order = [n for n, look in sorted(looks.items(), key=lambda t: t[1].moved_mm or math.inf)
             if look.held]
    if order:
        text.append(f"Least movement: {order[0]}. " + verdict(
            empty, looks["loose chips"], "Loose chips are worse than nothing.",
            "Even loose chips help.", "Loose chips do next to nothing.",
            "Neither the empty void nor loose chips hold."))
    alone = facts.look(facts.ask(1, "raft + impacted graft", screws=False))
    text.append(f"Impacted graft without any screw: {outcome(alone)}. " + verdict(
        alone, looks["impacted graft"], "The raft adds nothing to it.",
        "Raft and graft share the work.", "The raft adds nothing to it.", "Neither holds."))
    return Step("What is put into the void", tuple(text), shown)


def plated(facts: Facts) -> Step:
    """The raft through a plate."""
    free = facts.look(facts.ask(1, "raft + impacted graft", graft=False))
    shown = facts.ask(1, "raft plate + impacted graft")
    empty = facts.look(facts.ask(1, "raft plate + impacted graft", graft=False))
    both = facts.look(shown)
    text = [f"The same raft through the head of a plate. Over the empty void: {outcome(empty)}, "
            f"against {mm(free.moved_mm)} without the plate. " + verdict(
                free, empty, "The plate makes it worse.", "The plate helps the raft.",
                "The plate hardly changes what the raft does: it buttresses the wall beside, and "
                "that wall is not what fails here.", "Neither holds."),
            f"Plate, raft and impacted graft: {outcome(both)}. The load decides what is needed: "
            "move it, and switch the parts off one by one."]
    return Step("Raft, graft and plate", tuple(text), shown)
