"""What deserves a look in a study as a whole, before anything is solved: pieces and mesh."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapely import LineString

from buttress.bone.layout import Layout
from buttress.fe.mesh.sizing import GROWTH
from buttress.rules.screw import Note
from buttress.study.study import Study
from buttress.study.tables import number

EACH = math.sqrt(3.0) / 4.0
"""Area of an equilateral triangle over its edge squared."""
MANY = 25_000
"""Elements from where on a bone takes about a minute to factorise, measured on one core."""


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
