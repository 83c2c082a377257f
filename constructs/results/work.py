"""What takes the work of the load: elastic parts, friction, crushing, bending, anchorage."""

from __future__ import annotations

import numpy as np

from buttress.fe.links.link import Kind, Link
from buttress.implants.kinds import Hold
from buttress.results.crushed import BONE, medium
from buttress.results.limits import moved_joint
from buttress.results.path import Work
from buttress.results.reader import Reader
from buttress.results.search import Search
from buttress.words import listed

TAKERS = ("friction", "crushing", "bending", "anchorage")
ANCHORAGE = {Hold.THREAD, Hold.PRESS_FIT, Hold.BONDED_PLATE, Kind.BOND, Kind.BOND_SHEAR}
WORDS = {"elastic": "is stored in elastic parts", "friction": "is lost to friction",
         "crushing": "crushes {}", "bending": "bends metal permanently",
         "anchorage": "goes into threads and bonds at their strength"}
LEAST = 0.01
"""Shares below this are not told."""


def work_to(search: Search, reader: Reader, movement_mm: float) -> Work | None:
    """Where the work has gone when the joint has first moved by ``movement_mm``, or at the peak.

    None where nothing is carried.
    """
    if search.known_to <= 0.0 or len(search.points) < 2:
        return None
    model = search.model
    gauge = moved_joint(reader, model, movement_mm)
    taken, at_links = dict.fromkeys(TAKERS, 0.0), dict[int, float]()
    moved = 0.0
    for number, point in enumerate(search.points[1:search.peak + 1], 1):
        ram = search.path.ram_of(number)
        links, hinges = ram.taken(point.state)
        for i, (link, energy) in enumerate(zip(ram.plain.links.links, links, strict=True)):
            taken[_taker(link)] += float(energy)
            if energy > 0.0 and _taker(link) == "crushing":
                at_links[i] = at_links.get(i, 0.0) + float(energy)
        taken["bending"] += float(hinges.sum())
        read = gauge.read(model.pressing.since_tightened(point))
        moved = np.nan if read is None else read.value
        if moved >= movement_mm:
            break
    elastic = ram.energy(point.state) - search.path.ram.energy(search.points[0].state)
    done = elastic + sum(taken.values())
    if not done > 0.0:
        return None
    crushed: dict[str, float] = {}
    for i, energy in at_links.items():
        what = medium(model, ram.plain.links.links[i])
        crushed[what] = crushed.get(what, 0.0) + energy
    return Work(point.load_N, float(moved), done,
                {name: value / done for name, value in ({"elastic": elastic} | taken).items()},
                tuple(x for x in sorted(crushed, key=lambda x: -crushed[x])
                      if crushed[x] >= LEAST * done))


def _taker(link: Link) -> str:
    if link.friction > 0.0:
        return "friction"
    return "anchorage" if link.kind in ANCHORAGE else "crushing"


def work_words(work: Work) -> str:
    """The shares in one sentence, the largest first."""
    told = sorted(((v, k) for k, v in work.shares.items() if abs(v) >= LEAST), reverse=True)
    words = WORDS | {"crushing": WORDS["crushing"].format(listed(work.crushed or (BONE,)))}
    return (f"Up to {work.load_N:.0f} N, where the joint has moved {work.moved_mm:.2g} mm, "
            + ", ".join(f"{100 * v:.0f}\N{NO-BREAK SPACE}% of the work {words[k]}" if i == 0 else
                        f"{100 * v:.0f}\N{NO-BREAK SPACE}% {words[k]}"
                        for i, (v, k) in enumerate(told)) + ".")
