"""The weight-bearing table on the terminal."""

from __future__ import annotations

from textwrap import wrap

from buttress.report.columns import GAP, USUAL, columns
from buttress.results.bearing import Bearing

EACH = 22
"""Columns of a construct: its name and its verdicts are wrapped to them."""


def lines(bearing: Bearing, width: int = USUAL) -> list[str]:
    """The table as text, in as many parts as the constructs need."""
    left = [(row.name, row.force_words) for row in bearing.rows]
    room = width - max(len(name) for name, _ in left) - len(GAP) - max(
        len("force N"), *(len(force) for _, force in left))
    fit = max(1, room // (len(GAP) + EACH))
    out = [*wrap(f"{bearing.title} (body mass {bearing.body_mass_kg:g} kg)", width), ""]
    names = list(bearing.constructs)
    for part in (names[i:i + fit] for i in range(0, len(names), fit)):
        head = ["\n".join(wrap(bearing.named(name), EACH, max_lines=3, placeholder="…"))
                for name in part]
        rows = [(*side, *("\n".join(wrap(row.cells[c].words, EACH, break_on_hyphens=False))
                         for c in part))
                for row, side in zip(bearing.rows, left, strict=True)]
        out += [*columns(("", "force N", *head), rows, "<><", width), ""]
    return [*out, *(x for words in (bearing.mark, *bearing.doubts, bearing.judged)
                    for x in wrap(words, width))]
