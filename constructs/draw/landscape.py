"""The landscape of a search: what was tried, and the estimate between, for each pair of keys.

One scale of colours in all panels; colours say how large a value is and nothing else.
"""

from __future__ import annotations

import itertools

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import SIZE, plain, wrap
from buttress.fe.arrays import FloatArray
from buttress.improving.estimate import Estimate
from buttress.improving.free import shares_of
from buttress.improving.records import REFUSED, SOLVED, UNKNOWN, WORDS, Improved, known, values_of
from buttress.results.order import TIE
from buttress.words import MARKED, marked

COLOURS = "cividis"
"""Even in lightness, and the same for readers who do not tell red from green."""
FINE = 41
"""Points of the estimate along each side of a panel."""
MOST_KEYS = 4
"""Keys of which pairs are shown: the first ones of the search."""
MARK = "#D55E00"
ABOVE, BELOW = 1.4, 0.85
"""Room above the panels for words, and below them for what the marks mean, inches."""


def landscape(found: Improved, *, ax: Axes | None = None) -> Axes:
    """Values over the free keys of a search; of more than two, a panel for each pair.

    Circles are solved placements, small crosses refused ones, question marks not known. The
    background of a panel is the estimate between the solved ones with all other keys as in the
    largest found. With ``ax`` only the first panel is drawn, into it.
    """
    numbers = known(list(found.placements))
    values = values_of(list(found.placements))
    estimate = Estimate.of(shares_of(found.free, [found.placements[i].values for i in numbers]),
                           values)
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, 1.0)
    scale = Normalize(low, max(high, low + 1e-9))
    shown = min(len(found.free), MOST_KEYS)
    pairs: list[tuple[int, int | None]] = [*itertools.combinations(range(shown), 2)] or [(0, None)]
    if ax is not None:
        _panel(ax, found, pairs[0], estimate, scale)
        return ax
    whole_page("landscape")
    wide = min(3, len(pairs))
    rows = -(-len(pairs) // wide)
    figure = d.slide(max(page().high, ABOVE + 3.7 * rows + BELOW))
    high_in = figure.get_figheight()
    room, tall = (page().wide - 2.2) / wide, (high_in - ABOVE - BELOW) / rows
    first = None
    for i, pair in enumerate(pairs):
        row, column = divmod(i, wide)
        panel = d.axes_at(figure, 0.95 + column * room, BELOW + 0.75 + (rows - 1 - row) * tall,
                          room - 1.0, tall - 0.85)
        _panel(panel, found, pair, estimate, scale)
        first = first or panel
    assert first is not None
    _legend(figure, found)
    if pairs[0][1] is not None:
        bar = figure.colorbar(ScalarMappable(scale, mpl.colormaps[COLOURS]), cax=d.axes_at(
            figure, page().wide - 1.35, BELOW + 0.75, 0.2, high_in - ABOVE - BELOW - 0.85))
        bar.set_label(f"{WORDS[found.by][0]} [{WORDS[found.by][1]}]", size=SIZE)
        bar.ax.tick_params(labelsize=SIZE)
    d.headline(figure, plain(f"{found.study}: {marked(found.construct, bool(found.broken))}"))
    told = f"Educational search: {found.sentences()[1]}; start {found.shown(found.start)}" + (
        "" if found.best is None else f", largest found {found.shown(found.best)}") + (
        f", no difference: within {100 * TIE:g} %" if found.tied else "") + (
        f"; {MARKED} as the study places it" if found.broken else "")
    figure.text(0.95 / page().wide, 1.0 - 0.75 / high_in, wrap(told, page().wide - 1.2), size=SIZE,
                ha="left", va="top")
    if estimate is not None:
        figure.text(0.95 / page().wide, 1.0 - 1.15 / high_in, "Between what was solved: an estimate"
                    + (", all other keys as in the largest found" if len(found.free) > 2 else ""),
                    size=SIZE, ha="left", va="center")
    return first


def _panel(ax: Axes, found: Improved, pair: tuple[int, int | None], estimate: Estimate | None,
           scale: Normalize) -> None:
    i, j = pair
    if j is None:
        _line(ax, found, estimate)
        return
    one, other = found.free[i], found.free[j]
    best = found.best or found.start
    if estimate is not None:
        grid = np.linspace(0.0, 1.0, FINE)
        places = np.tile(found.shares[found.placements.index(best)], (FINE * FINE, 1))
        places[:, i], places[:, j] = (x.ravel() for x in np.meshgrid(grid, grid))
        ax.imshow(estimate.at(places).reshape(FINE, FINE), cmap=COLOURS, norm=scale,
                  extent=(one.low, one.high, other.low, other.high), origin="lower", aspect="auto",
                  interpolation="bilinear")
    for status, marker, size in ((REFUSED, "x", 26), (UNKNOWN, "$?$", 80)):
        x, y = _places(found, status, i, j)
        # A pale rim, so that a dark mark is seen on dark and on light colours.
        ax.scatter(x, y, marker=marker, s=size, color="white", linewidths=2.6)
        ax.scatter(x, y, marker=marker, s=size, color="black", linewidths=1.0, gid=status)
    x, y = _places(found, SOLVED, i, j)
    ax.scatter(x, y, c=values_of(list(found.placements)), cmap=COLOURS, norm=scale,
               s=60, edgecolors="white", linewidths=2.6, zorder=3)
    ax.scatter(x, y, facecolors="none", edgecolors="black", s=70, linewidths=0.9, zorder=3,
               gid=SOLVED)
    for placement, marker, size in ((found.start, "s", 190), (best, "*", 380)):
        ax.scatter([placement.values[i]], [placement.values[j]], marker=marker, s=size,
                   facecolors="none", edgecolors=MARK, linewidths=2.0, zorder=4)
    ax.set_xlim(_around(one.low, one.high))
    ax.set_ylim(_around(other.low, other.high))
    ax.set_xlabel(_short(one.key), size=SIZE)
    ax.set_ylabel(_short(other.key), size=SIZE)


def _line(ax: Axes, found: Improved, estimate: Estimate | None) -> None:
    """One free key: values along it."""
    free = found.free[0]
    if estimate is not None:
        grid = np.linspace(0.0, 1.0, 5 * FINE)[:, None]
        ax.plot(free.low + grid[:, 0] * (free.high - free.low), estimate.at(grid), color="#444444",
                linewidth=1.5)
    x = [p.values[0] for p in found.placements if p.status == SOLVED]
    ax.scatter(x, values_of(list(found.placements)), s=55, color="#0072B2", edgecolors="black",
               zorder=3, gid=SOLVED)
    for status, marker, at in ((REFUSED, "x", 0.03), (UNKNOWN, "$?$", 0.08)):
        x = [p.values[0] for p in found.placements if p.status == status]
        ax.scatter(x, [at] * len(x), marker=marker, color="black", linewidths=1.0,
                   transform=ax.get_xaxis_transform(), gid=status)
    for placement, marker, size in ((found.start, "s", 190), (found.best, "*", 380)):
        if placement is not None and placement.value is not None:
            ax.scatter([placement.values[0]], [placement.value], marker=marker, s=size,
                       facecolors="none", edgecolors=MARK, linewidths=2.0, zorder=4)
    ax.set_xlim(_around(free.low, free.high))
    ax.set_xlabel(_short(free.key), size=SIZE)
    ax.set_ylabel(f"{WORDS[found.by][0]} [{WORDS[found.by][1]}]", size=SIZE)


def _places(found: Improved, status: str, i: int, j: int) -> tuple[FloatArray, FloatArray]:
    values = np.array([[p.values[i], p.values[j]] for p in found.placements
                       if p.status == status], dtype=float).reshape(-1, 2)
    return values[:, 0], values[:, 1]


def _around(low: float, high: float) -> tuple[float, float]:
    edge = 0.04 * (high - low)
    return low - edge, high + edge


def _short(key: str) -> str:
    """The last two parts of a key: the part's name and what is changed."""
    return plain(", ".join(key.split(".")[-2:]))


def _legend(figure: Figure, found: Improved) -> None:
    """What the markers mean, below the panels."""
    def mark(marker: str, label: str, size: float, **more: object) -> Line2D:
        return Line2D([], [], marker=marker, linestyle="", markersize=size, label=label,
                      **more)  # type: ignore[arg-type]

    counts = found.counts
    open_ = {"markerfacecolor": "none", "markeredgecolor": MARK, "markeredgewidth": 2.0}
    handles = [mark("o", f"solved ({counts[SOLVED]})", 8, color="#7C7B78",
                    markeredgecolor="black"),
               mark("x", f"refused ({counts[REFUSED]})", 6, color="black"),
               mark("$?$", f"not known ({counts[UNKNOWN]})", 8, color="black"),
               mark("s", "start", 12, **open_), mark("*", "largest found", 16, **open_)]
    figure.legend(handles=handles, loc="lower left", ncols=5, frameon=False, fontsize=SIZE,
                  bbox_to_anchor=(0.8 / page().wide, 0.38 / figure.get_figheight()))
