"""What the stages of all constructs did: where fragments lie and screws hold after each of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator, NullLocator

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import LINE, SIZE, width, wrap
from buttress.results.stages import StagedResult, StageResult, screw_names
from buttress.words import BREAKS_RULE

MOST_COLUMNS = 6
"""Constructs in a row: more are not legible from the back row."""
PANEL = 1.75
"""Least height of a plot, inches."""
AXIS = 0.85
"""Room left of the first plot of a row for its numbers, inches."""
WORDS = 2.6
"""Most room under a column for the words of the stages, inches."""
LOADED = "#E4E4E4"
ROOM = 1.0
"""On both sides of zero [mm or N] where no stage has left a number."""
NO_NUMBER = ((ROOM, -ROOM), (-ROOM, ROOM))


def stages_overview(stages: Sequence[StagedResult], *, ax: Axes | None = None) -> Axes:
    """Of each construct, one column: how far each fragment's joint surface lies from where it was
    at the start, and the force of each screw's head, after every stage; all on the same scales.

    ``stages``: those of a comparison. With ``ax`` the plots lie inside of these axes, which are
    then a frame only; leave room below it for the list. Raises ValueError without stages.
    """
    if not stages:
        raise ValueError("there are no constructs with stages")
    columns = min(len(stages), MOST_COLUMNS)
    rows = -(-len(stages) // columns)
    screws, pieces = screw_names(stages), _pieces(stages)
    under = min(WORDS, 0.2 + max(width(_words(s)) for c in stages for s in c.stages))
    wide = (page().wide - 0.6 if ax is None else float(d.inches(ax)[0]))
    axis = min(AXIS, 0.3 * wide)      # small axes keep room for the plots
    cell = (wide - axis) / columns
    gap = min(0.2, 0.2 * cell)
    names = [wrap(c.marked_name + ("" if c.status == "held" else f": {c.status}"), cell - gap)
             for c in stages]
    over = (max(n.count("\n") for n in names) + 1) * LINE + 0.1
    entries = _entries(pieces, screws, stages)
    widest = max((width(str(h.get_label())) for h in entries), default=0.0)
    across = max(1, int((wide + 0.3) // (widest + 0.75)))
    foot = -(-len(entries) // across) * 1.2 * LINE + 0.15
    if ax is None:
        whole_page("stages_overview")
        high = max(page().high - 1.5, rows * (over + 2 * PANEL + 0.15 + under) + foot)
        ax = d.axes_at(d.slide(high + 1.5), 0.3, 0.45 + foot, wide, high - foot)
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    ax.axis("off")
    box = d.inches(ax)
    row_high = float(box[1]) / rows
    tall = max((row_high - over - 0.15 - under) / 2, 0.1 * row_high)
    limits = _limits(stages)
    for i, construct in enumerate(stages):
        row, column = divmod(i, columns)
        top = float(box[1]) - row * row_high - over
        left = axis + column * cell
        ax.text((left + cell / 2 - gap / 2) / box[0], (top + 0.08) / box[1], names[i], size=SIZE,
                ha="center", va="bottom", transform=ax.transAxes,
                color="black" if construct.status == "held" else d.KINDS["fracture"])
        for k in range(2):
            inner = ax.inset_axes((left / box[0], (top - (k + 1) * tall - 0.15 * k) / box[1],
                                   (cell - gap) / box[0], tall / box[1]))
            _panel(inner, construct, pieces if k == 0 else screws, limits[k], k == 0, cell - gap)
            if column:
                inner.set_yticklabels([])
            else:
                inner.set_ylabel("subsidence [mm]" if k == 0 else "head force [N]", size=SIZE)
    if entries:
        ax.legend(handles=entries, ncols=across, loc="upper left", fontsize=SIZE, frameon=False,
                  bbox_to_anchor=(0.0, -0.05 / box[1]), borderaxespad=0.0, labelspacing=0.2)
    d.title(ax, "What the stages did", "how far each fragment's joint surface lies below its place "
                                       "at the start, and the force of each screw's head"
            + (f"; {BREAKS_RULE}" if any(c.breaks_rule for c in stages) else ""))
    return ax


def _words(stage: StageResult) -> str:
    """Number and words of a stage; several parts as their number, what fades without its parts."""
    names, count = ", ".join(stage.what), len(stage.what)
    if stage.do == "relax":
        loses = f"{names} {'lose' if count > 1 else 'loses'} "
        return f"{stage.number} " + stage.words.replace(loses, "tension \N{MINUS SIGN}", 1)
    parts = "screws" if stage.do in ("tighten", "lock") else "parts"
    return f"{stage.number} " + (
        stage.words.replace(names, f"{count} {parts}", 1) if count > 1 else stage.words)


def _pieces(stages: Sequence[StagedResult]) -> list[str]:
    """Names of the fragments that have a joint surface."""
    return list(dict.fromkeys(n for c in stages for s in c.stages for n, f in s.fragments.items()
                              if f.subsidence_mean_mm is not None))


def _value(construct: StagedResult, name: str, fragment: bool) -> list[tuple[int, float]]:
    """Number of each stage that was held, and where the fragment lies or how the screw holds."""
    held = [s for s in construct.stages if s.held]
    if fragment:
        return [(s.number, f.subsidence_mean_mm) for s in held
                if (f := s.fragments.get(name)) is not None and f.subsidence_mean_mm is not None]
    return [(s.number, s.screws[name].force_N) for s in held if name in s.screws]


def _limits(stages: Sequence[StagedResult]) -> list[tuple[float, float]]:
    """Lower and upper end of both scales; that of movements points down."""
    out = []
    for fragment, names in ((True, _pieces(stages)), (False, screw_names(stages))):
        every = [v for c in stages for n in names for _, v in _value(c, n, fragment)]
        low, high = min(0.0, *every, 0.0), max(0.0, *every, 0.0)
        room = 0.08 * (high - low) or ROOM
        out.append((high + room, low - room) if fragment else (low - room, high + room))
    return out


def _panel(ax: Axes, construct: StagedResult, names: list[str], limits: tuple[float, float],
           fragment: bool, wide: float) -> None:
    """One plot: a line for each fragment or screw, grey where a load acts."""
    for stage in construct.stages:
        if stage.held and stage.total_load_N:
            ax.axvspan(stage.number - 0.5, stage.number + 0.5, color=LOADED, linewidth=0, zorder=0)
    for i, name in enumerate(names):
        found = _value(construct, name, fragment)
        if found:
            ax.plot(*np.array(found).T, markersize=6, linewidth=1.8, gid=name, **_look(i, fragment))
    ax.set_xlim(0.5, len(construct.stages) + 0.5)
    ax.set_ylim(*limits)
    ax.yaxis.set_major_locator(NullLocator() if limits in NO_NUMBER else MaxNLocator(4))
    ax.axhline(0.0, color="#777777", linewidth=0.8, zorder=0.5)
    ax.tick_params(labelsize=SIZE, labelbottom=not fragment)
    step = max(1, int(np.ceil(len(construct.stages) * 1.05 * LINE / wide)))
    lines = max(1, min(3, int(wide / (1.15 * LINE * len(construct.stages)))))
    ax.set_xticks([s.number for s in construct.stages][::step], [
        wrap(_words(s), WORDS - 0.25, most=lines) for s in construct.stages][::step], size=SIZE,
        rotation=90)


def _look(number: int, fragment: bool) -> dict:
    """A fragment is black, a screw has its colour."""
    look = d.series(number)
    return look | {"color": "black", "marker": d.MARKERS[-1 - number % 4]} if fragment else look


def _entries(pieces: list[str], screws: list[str], stages: Sequence[StagedResult]) -> list:
    """The list of lines."""
    lines: list = [Line2D([], [], label=wrap(f"fragment {n}", 4.0, most=1), markersize=6,
                          linewidth=1.8, **_look(i, True)) for i, n in enumerate(pieces)]
    lines += [Line2D([], [], label=wrap(f"screw {n}", 4.0, most=1), markersize=6, linewidth=1.8,
                     **_look(i, False)) for i, n in enumerate(screws)]
    if any(s.held and s.total_load_N for c in stages for s in c.stages):
        lines.append(Patch(color=LOADED, label="a load acts"))
    return lines
