"""Rules of the trade for the order of stages."""

from __future__ import annotations

from collections.abc import Iterator

from buttress.rules.screw import Note
from buttress.study.implants import tension
from buttress.study.study import Construct
from buttress.study.tables import number


def stage_notes(construct: Construct) -> Iterator[tuple[str, Note]]:
    """Findings on an order of stages, by part."""
    if not construct.stages:
        return
    screws = {s.name: s for s in construct.screws}
    tightened = {n for s in construct.stages if s.do == "tighten" for n in s.what or ()}
    for name, screw in screws.items():
        if tension(screw) > 0 and not screw.locked and name not in tightened:
            yield name, ("warning", "never tightened",
                         f"the screw has a tension of {tension(screw):g} N that no stage applies",
                         "in a construct with stages, a screw is tightened only by a stage")
    yield from _faded(construct)
    fast = {n for n, s in screws.items() if s.locked and not construct.locks_later(n)}
    later = {n for s in construct.stages if s.do == "place" for n in s.what or ()}
    locked = [n for n in fast if n not in later]
    for stage in construct.stages:
        names = stage.what or ()
        if stage.do == "tighten" and locked:
            for name in names:
                if screws[name].use == "lag":
                    yield name, ("warning", "lag after lock",
                                 "the lag screw is tightened after the head of "
                                 f"“{locked[0]}” was locked",
                                 "a plate that is locked to both pieces holds open the gap that "
                                 "the lag screw is to close (common practice, no source)")
        locked += [n for n in names if stage.do == "lock" or (stage.do == "place" and n in fast)]
        if stage.do == "release":
            locked = [n for n in locked if n not in names]


def _faded(construct: Construct) -> Iterator[tuple[str, Note]]:
    """Relax stages that together take more away than the listed ranges."""
    kept = {name: 1.0 for s in construct.stages if s.do == "relax" for name in s.what or ()}
    friction = 1.0
    for stage in construct.stages:
        if stage.do == "tighten":      # tightened anew, whatever it had lost
            kept |= dict.fromkeys(kept.keys() & set(stage.what or ()), 1.0)
        for name in stage.what or () if stage.do == "relax" else ():
            kept[name] *= 1.0 - (stage.lost_share or 0.0)
        friction *= 1.0 if stage.friction_factor is None else stage.friction_factor
    most, least = (number("materials", "fading", k) for k in ("lost_most", "friction_least"))
    for name, share in kept.items():
        if share < 1.0 - most - 1e-9:
            yield name, ("warning", "fades beyond its range",
                         f"its stages take {100 * (1 - share):.0f} % of its tension, more than "
                         f"the {100 * most:.0f} % of the listed range",
                         "what is taken away is a choice of the study; the range has its source")
    if friction < least - 1e-9:
        yield "fractures", ("warning", "fades beyond its range",
                            f"its stages leave {friction:.2g} of the friction, less than the "
                            f"{least:g} of the listed range",
                            "what is taken away is a choice of the study; the range has its source")
