"""The educational weight-bearing table as a picture: a matrix with words in its cells."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import LINE, SIZE, width, wrap
from buttress.fe.errors import InputError
from buttress.results.bearing import MOST_COLUMNS, Bearing, BearingRow
from buttress.results.bearing import weight_bearing as table_of
from buttress.results.comparison import Comparison
from buttress.results.judged import HOLDS, LETS_GO, ONLY_FRICTION, UNKNOWN, Cell
from buttress.results.records import CANNOT_TIGHTEN, GIVES_WAY

LOOKS = {HOLDS: ("#DEDEDE", ""), ONLY_FRICTION: ("#DEDEDE", ".."), LETS_GO: ("#F0B08A", "xxx"),
         CANNOT_TIGHTEN: ("#F0B08A", "++"), GIVES_WAY: ("#F0B08A", "++"), UNKNOWN: ("#FFFFFF", "")}
SOFT = " / soft bone"
"""How the name of the lower part of a cell ends."""
BROKEN = ("#FBEFA0", "//")
"""Grey, yellow and vermilion (Okabe and Ito), distinguished by hatch and words too.

No colour reads as permission to load: what is within all limits is grey.
"""


def weight_bearing(bearing: Bearing | Comparison, *, ax: Axes | None = None) -> Axes:
    """Which construct meets its limits under which activity, for the body mass of the table.

    Takes a comparison or the table of one. With ``ax``, leave room left of it and above it for
    names, and below it for the list of signs. Raises InputError where the study has no body mass.
    """
    if isinstance(bearing, Comparison):
        found = table_of(bearing)
        if found is None:
            raise InputError("no weight-bearing table without a body mass",
                             key="load.body_mass_kg", expected="a mass in kg")
        bearing = found
    constructs = list(bearing.constructs)
    activities = [(row, f"{row.name}\n{row.force_words} N") for row in bearing.rows]
    turned = len(constructs) > MOST_COLUMNS
    across = len(activities) if turned else len(constructs)
    down = len(constructs) if turned else len(activities)
    left, inside = 2.9, page().wide - 3.3
    cell = inside / across
    names = [bearing.named(c) for c in constructs]
    tops = ([f"{wrap(row.name, cell - 0.1)}\n{row.force_words} N" for row, _ in activities]
            if turned else [wrap(c, cell - 0.1) for c in names])
    sides = ([wrap(c, left - 0.4) for c in names] if turned
             else [words for _, words in activities])
    words = [[_words(row.cells[c], cell) for row, _ in activities] for c in constructs]
    if not turned:
        words = [list(column) for column in zip(*words, strict=True)]
    # Each row is as high as its own words ask for, so that many constructs still fit.
    deep = [max(side.count("\n") + 1, *(sum(x.count("\n") + 1.2 for x in parts)
                                        for parts in line)) + 0.6
            for side, line in zip(sides, words, strict=True)]
    over = (max(t.count("\n") for t in tops) + 1) * LINE + 0.25
    foot = wrap(" ".join(filter(None, (bearing.mark, *bearing.doubts, bearing.judged))),
                page().wide - 0.6)
    # Three lines of words and a line of signs have their place; what is more lifts the matrix.
    signs = LINE * max(0, foot.count("\n") - 2) + 1.05
    under = signs + 0.5 + 0.25 * (len(_looks(bearing)) // 2)
    if ax is None:
        whole_page("weight_bearing")
        height = max(page().high, sum(deep) * LINE + over + under + 0.85)
        figure: Figure = d.slide(height)
        ax = d.axes_at(figure, left, under, inside, height - over - under - 0.85)
    else:
        figure = ax.get_figure(root=True)  # type: ignore[assignment]
        d.label(figure)
    edges = np.concatenate([[0.0], np.cumsum(deep)]) * down / sum(deep)
    ax.set(xlim=(0, across), ylim=(down, 0))
    for i, line in enumerate(words):
        for k, parts in enumerate(line):
            row, name = ((activities[k][0], constructs[i]) if turned
                         else (activities[i][0], constructs[k]))
            _cell(ax, row, name, (k, float(edges[i]), float(edges[i + 1])), parts)
    ax.set_xticks([k + 0.5 for k in range(across)], tops, size=SIZE)
    ax.set_yticks((edges[1:] + edges[:-1]) / 2, sides, size=SIZE)
    ax.tick_params(length=0, labeltop=True, labelbottom=False)
    for spine in ax.spines.values():
        spine.set_visible(False)
    d.headline(figure, f"{bearing.title} (body mass {bearing.body_mass_kg:g} kg)")
    _signs(figure, bearing, signs, foot)
    return ax


def _words(cell: Cell, room: float) -> list[str]:
    """The words of a cell, the load on a line of its own unless both fit on one, and what has
    happened below it; then, where it is another verdict, what it would be in soft bone."""
    own = cell.own_words
    lines = [own] if width(own) <= room - 0.16 or not cell.since else [cell.verdict, cell.since]
    lines += [what for what, _, _ in cell.events]
    return ["\n".join(wrap(line, room - 0.16) for line in lines),
            *([wrap(cell.soft_words, room - 0.16)] if cell.soft_words else [])]


def _cell(ax: Axes, row: BearingRow, name: str, at: tuple[int, float, float],
          parts: list[str]) -> None:
    """One cell, ``at``: its column, upper and lower edge; where soft bone changes the verdict, its
    lower part has the look of that one."""
    cell = row.cells[name]
    verdicts = [cell.verdict, *([cell.soft.verdict] if cell.soft and cell.differs else [])]
    lines = [part.count("\n") + 1.2 for part in parts]
    room = at[2] - at[1]
    start = top = at[1] + 0.04 * room
    for verdict, part, many in zip(verdicts, parts, lines, strict=True):
        colour, hatch = LOOKS.get(verdict, BROKEN)
        tall = 0.92 * room * many / sum(lines)
        where = f"{name} / {row.name}" + (SOFT if top > start else "")
        ax.add_patch(Rectangle((at[0] + 0.02, top), 0.96, tall, facecolor=colour,
                               edgecolor="#00000030", hatch=hatch, linewidth=0, gid=where))
        ax.text(at[0] + 0.5, top + tall / 2, part, size=SIZE, ha="center", va="center",
                linespacing=1.0, bbox={"facecolor": colour, "edgecolor": "none", "pad": 1.5})
        top += tall


def _looks(bearing: Bearing) -> list[tuple[tuple[str, str], str]]:
    """Colour, hatch and meaning of what the matrix shows."""
    cells = [c for row in bearing.rows for c in row.cells.values()]
    verdicts = {c.verdict for c in cells} | {c.soft.verdict for c in cells if c.soft and c.differs}
    named = {HOLDS: HOLDS,
             ONLY_FRICTION: "within all limits, but only with friction",
             "": "over a limit, from the load given",
             LETS_GO: "fails: above the largest load of the path",
             CANNOT_TIGHTEN: CANNOT_TIGHTEN, GIVES_WAY: GIVES_WAY, UNKNOWN: "not known"}
    return [(LOOKS.get(v, BROKEN), words) for v, words in named.items()
            if (v in verdicts if v else verdicts - set(named))]


def _signs(figure: Figure, bearing: Bearing, at: float, foot: str) -> None:
    """Below the matrix: what the colours mean, what was not found, how a mass is judged."""
    handles: list[Patch | Line2D] = [
        Patch(facecolor=look[0], hatch=look[1], edgecolor="#00000030", label=words)
        for look, words in _looks(bearing)]
    if any(c.differs for row in bearing.rows for c in row.cells.values()):
        handles.append(Line2D([], [], linestyle="none", label=(
            "lower part of a cell: the verdict in soft bone, where it differs")))
    high = figure.get_figheight()
    figure.legend(handles=handles, loc="lower left", ncols=2, fontsize=SIZE, frameon=False,
                  bbox_to_anchor=(0.15 / page().wide, at / high))
    figure.text(0.3 / page().wide, 0.42 / high, foot, size=SIZE,
                va="bottom", linespacing=1.15)
