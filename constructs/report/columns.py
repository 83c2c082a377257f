"""Text in columns for a terminal: one printer for all tables."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from itertools import zip_longest
from textwrap import wrap

USUAL = 100
"""Columns of text where there is no terminal that says how many it has."""
NARROWEST = 12
"""No column of text is wrapped to fewer letters than this."""
GAP = "  "
Row = Sequence[str] | str
"""Cells, of several lines where they hold line ends; or one string across all columns."""


def terminal_width() -> int:
    """How many columns the terminal has: the variable COLUMNS, else what the terminal says."""
    return shutil.get_terminal_size((USUAL, 24)).columns


def columns(head: Sequence[str], rows: Sequence[Row], align: str = "<>",
            width: int | None = None) -> list[str]:
    """The lines of a table at most ``width`` columns wide (that of the terminal, if not given).

    ``align`` has "<" or ">" for each column, the last one for all that follow. Where the table is
    too wide, columns of text ("<") are wrapped, the widest first; numbers never are: where they are
    too many for one line, the table goes on below, with its first column again. An empty ``head``
    writes none.
    """
    cells = [r for r in (head, *rows) if r and not isinstance(r, str)]
    if not cells:
        return [r for r in rows if isinstance(r, str)]
    align = align[:len(cells[0])].ljust(len(cells[0]), align[-1])
    wide = [max(len(line) for text in column for line in text.split("\n"))
            for column in zip(*cells, strict=True)]
    width = terminal_width() if width is None else width
    parts = _parts(wide, align, width)
    if len(parts) > 1:
        tables = [columns([head[i] for i in part] if head else (),
                          [r if isinstance(r, str) else [r[i] for i in part] for r in rows],
                          "".join(align[i] for i in part), width) for part in parts]
        return [line for i, table in enumerate(tables) for line in ([""] if i else []) + table]
    room = width - len(GAP) * (len(wide) - 1)
    while sum(wide) > room:
        texts = sorted((w, -i) for i, w in enumerate(wide) if align[i] == "<")
        if not texts or texts[-1][0] <= NARROWEST:
            break
        widest, i = texts[-1]
        # At once down to what fits, or to just below the next widest, which then gives way too.
        below = min(widest, texts[-2][0]) - 1 if len(texts) > 1 else 0
        wide[-i] = max(NARROWEST, widest - (sum(wide) - room), below)
    out: list[str] = []
    for row in ((head, *rows) if head else rows):
        out += [row] if isinstance(row, str) else _lines(row, wide, align)
    return out


def _parts(wide: Sequence[int], align: str, width: int) -> list[list[int]]:
    """Which columns stand next to each other: all, if they fit once text is wrapped; else the first
    and as many others as fit."""
    least = [min(w, NARROWEST) if a == "<" else w for w, a in zip(wide, align, strict=True)]
    if align.count(">") < 2 or sum(least) + len(GAP) * (len(least) - 1) <= width:
        return [[*range(len(wide))]]
    parts = [[0]]
    for i in range(1, len(wide)):
        if len(parts[-1]) > 1 and least[0] + sum(
                len(GAP) + wide[k] for k in (*parts[-1][1:], i)) > width:
            parts.append([0])
        parts[-1].append(i)
    return parts


def prose(text: str) -> list[str]:
    """Lines of a sentence, no wider than the terminal and than `USUAL`."""
    return _wrapped(text, min(USUAL, terminal_width()))


def _lines(row: Sequence[str], wide: Sequence[int], align: str) -> list[str]:
    """A row as lines, each cell wrapped to its column."""
    parts = [[part for line in text.split("\n") for part in (
        _wrapped(line, w) if len(line) > w and a == "<" else [line])]
        for text, w, a in zip(row, wide, align, strict=True)]
    return [GAP.join(f"{text:{a}{w}}" for text, w, a in zip(
        line, wide, align, strict=True)).rstrip() for line in zip_longest(*parts, fillvalue="")]


def _wrapped(line: str, width: int) -> list[str]:
    """Lines of text no wider than a column, those after the first indented by two more."""
    indent = len(line) - len(line.lstrip()) + 2
    return wrap(line, width, subsequent_indent=" " * indent, break_on_hyphens=False) or [""]
