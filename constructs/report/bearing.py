"""The weight-bearing table on the terminal."""

from __future__ import annotations

from textwrap import wrap

from buttress.report.columns import GAP, USUAL, columns
from buttress.results.bearing import Bearing

LEAST = 16
"""Columns that a construct's name has at least."""


def lines(bearing: Bearing, width: int = USUAL) -> list[str]:
    """The table as text, in as many parts as the constructs need."""
    left = [(row.name, row.force_words) for row in bearing.rows]
    each = max(LEAST, *(len(c.verdict) for row in bearing.rows for c in row.cells.values()))
    room = width - max(len(name) for name, _ in left) - len(GAP) - max(
        len("force N"), *(len(force) for _, force in left))
    fit = max(1, room // (len(GAP) + each))
    out = [f"{bearing.title} (body mass {bearing.body_mass_kg:g} kg)", ""]
    names = list(bearing.constructs)
    for part in (names[i:i + fit] for i in range(0, len(names), fit)):
        head = ["\n".join(wrap(name, each, max_lines=3, placeholder="…")) for name in part]
        rows = [(*side, *(row.cells[c].verdict for c in part))
                for row, side in zip(bearing.rows, left, strict=True)]
        out += [*columns(("", "force N", *head), rows, "<><", width), ""]
    return [*out, *(x for doubt in bearing.doubts for x in wrap(doubt, width)),
            *wrap(bearing.judged, width)]
