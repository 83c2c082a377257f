"""What deserves a look in a study as a whole, before anything is solved: pieces and mesh."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapely import LineString

from buttress.bone.layout import Layout
from buttress.bone.patches import patches
from buttress.fe.mesh.sizing import GROWTH
from buttress.rules.screw import Note
from buttress.study.study import Study
from buttress.study.tables import number

EACH = math.sqrt(3.0) / 4.0
"""Area of an equilateral triangle over its edge squared."""
MANY = 25_000
"""Elements from where on a bone takes about a minute to factorise, measured on one core."""


def left_by_reduction(study: Study) -> list[tuple[str, str]]:
    """What reduction leaves off its place, in words: (part, words)."""
    most = study.limits.step_off_mm
    out = [(f.name, f"reduction leaves '{f.name}' {abs(f.step_mm):g} mm too "
            f"{'low' if f.step_mm > 0 else 'high'}" + (
                "" if abs(f.step_mm) < most else
                f", by itself no less than the limit of step-off, {most:g} mm"))
           for f in study.fragments if f.step_mm]
    return out + [(f.name, f"reduction leaves the faces of '{f.name}' {f.gap_mm:g} mm apart")
                  for f in study.fractures if f.gap_mm]


def limit_left(study: Study) -> str:
    """The limit that what reduction leaves is by itself no less than; empty where it is less."""
    over = any(abs(f.step_mm) >= study.limits.step_off_mm for f in study.fragments)
    return "step-off" if over else ""


COUNTED = "movements, step-off and limits count from"
TIGHTENED = "the tightened state"


def study_notes(study: Study, found: Layout) -> Iterator[tuple[str, Note]]:
    """Findings on the study itself: (part, note)."""
    named = {f.name for f in study.fragments}
    thin = number("anatomy", "sliver", "thickness")
    for name, piece in found.pieces.items():
        if name not in named:
            x, y = piece.representative_point().coords[0]
            sliver = piece.buffer(-thin / 2).is_empty
            yield name, (
                "warning" if sliver else "note", "piece without a name",
                f"the fractures leave {'a sliver' if sliver else 'a piece'} of {piece.area:.0f} "
                f"mm² around [{x:.1f}, {y:.1f}] that no [[fragment]] names",
                "a piece that nobody meant, as where two lines just miss each other, moves as a "
                "fragment of its own and is reported as one; name it, or join the lines")
    for part, said in left_by_reduction(study):
        yield part, ("warning", "left by reduction", f"{said}; {COUNTED} there or, where "
                     f"screws are tightened, from {TIGHTENED}",
                     "a joint with a step or a gap before any load has less of its limit left than "
                     "the figures say: add what tightening has not closed")
    for patch in () if study.section.sagittal else patches(study):
        if patch.centre != getattr(study.load, patch.key):
            yield "load", (
                "note", "patches moved in", f"the {patch.name} contact patch lies "
                f"{abs(patch.centre):.3g} mm from the middle, not the usual "
                f"{abs(getattr(study.load, patch.key)):g} mm",
                "on a plateau this narrow the usual patch would reach beyond its edge; "
                f"{patch.key} in [load] places it")
    count = elements(study, found)
    if count > MANY:
        yield "mesh", (
            "warning", "fine mesh", f"size_mm = {study.mesh.size_mm:g} and coarse_mm = "
            f"{study.mesh.coarse_mm:g} make about {count:,.0f} elements: minutes for the bone and "
            "for each construct",
            "time and memory rise faster than the number of elements, which rises fourfold with "
            "half the size; differences between constructs seldom need more than the usual mesh")


def elements(study: Study, found: Layout) -> float:
    """About how many elements the bone will have, without implants: from areas and lines."""
    fine, coarse = study.mesh.size_mm, study.mesh.coarse_mm
    area = found.bone.area - sum(v.area for v in found.voids.values())
    lines = [LineString(f.points_mm).intersection(found.bone).length for f in study.fractures]
    lines += [v.length for v in found.voids.values()]
    # On both sides of a line the size grows from fine to coarse.
    beside = 2.0 / (EACH * GROWTH) * max(0.0, 1.0 / fine - 1.0 / coarse)
    return area / (EACH * coarse**2) + sum(lines) * beside
