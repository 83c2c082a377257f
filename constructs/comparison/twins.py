"""Bonded twins: each construct once more with its metal and graft stuck fast to the bone.

The difference between a construct and its twin is the effect of slip, lift-off and loosening.
"""

from __future__ import annotations

from dataclasses import dataclass

from buttress.results.records import ConstructResult, LoadResult, largest
from buttress.study.checked import LONGEST_NAME
from buttress.study.study import Study

WORDS = (
    "A bonded twin is the same construct with its metal and graft stuck fast to the bone, so the "
    "difference is the effect of slip, lift-off and loosening of hardware and graft; fractures "
    "open and slide in both, next to the metal. In a twin the forces of metal across a fracture "
    "are told as those of the fracture.")
ENDING = ", bonded"


def with_twins(study: Study) -> tuple[Study, dict[str, str]]:
    """A study with a bonded twin right after each of its constructs; twin -> its construct.

    Constructs that are bonded already, or that put nothing in, have none. Stages need links, and
    nothing is tightened in a bonded construct, so twins leave them out.
    """
    taken = {c.name.casefold() for c in study.constructs}
    found, twins = [], {}
    for construct in study.constructs:
        found.append(construct)
        if construct.model != "links" or not any(parts for _, parts in construct.parts()):
            continue
        name = _free(construct.name, taken)
        taken.add(name.casefold())
        twins[name] = construct.name
        note = f'The bonded twin of "{construct.name}": nothing slips, lifts off or loosens.'
        found.append(construct.model_copy(update={
            "name": name, "model": "bonded inclusions", "stages": (), "note": note}))
    return study.model_copy(update={"constructs": tuple(found)}), twins


def _free(name: str, taken: set[str]) -> str:
    """A name of its own for a twin, no longer than names may be."""
    for number in range(1, len(taken) + 2):
        ending = ENDING if number == 1 else f"{ENDING} {number}"
        twin = name[:LONGEST_NAME - len(ending)].rstrip() + ending
        if twin.casefold() not in taken:
            break
    return twin


@dataclass(frozen=True)
class Pair:
    """A construct, by its marked name, and its twin under one load: (with links, bonded) of each
    figure."""

    construct: str
    load: LoadResult
    subsidence_mm: tuple[float | None, float | None]
    step_off_mm: tuple[float | None, float | None]
    widening_mm: tuple[float | None, float | None]
    stiffness_N_per_mm: tuple[float | None, float | None]


def pairs(constructs: tuple[ConstructResult, ...]) -> list[Pair]:
    """Every construct that has a twin, load by load."""
    names = {c.name: c for c in constructs}
    out = []
    for twin in constructs:
        if twin.twin_of is None:
            continue
        own = names[twin.twin_of]
        for a, b in zip(own.loads, twin.loads, strict=True):
            out.append(Pair(
                construct=own.marked_name, load=a,
                subsidence_mm=(largest(f.subsidence_mean_mm for f in a.fragments.values()),
                               largest(f.subsidence_mean_mm for f in b.fragments.values())),
                step_off_mm=(largest(e.step_off_mm for e in a.edges.values()),
                             largest(e.step_off_mm for e in b.edges.values())),
                widening_mm=(a.widening_mm, b.widening_mm),
                stiffness_N_per_mm=(a.stiffness_N_per_mm, b.stiffness_N_per_mm)))
    return out
