"""Chart over all constructs: which load they carry, and which limits are reached on the way."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import LINE, SIZE, wrap, wrap_all
from buttress.results.beyond import METAL, peak_not_known
from buttress.results.comparison import Comparison
from buttress.results.judged import HOW_TO_READ
from buttress.results.limits import limit_words
from buttress.results.quantity import EQUILIBRIUM
from buttress.results.records import (
    ENDED,
    HELD_BY_NOTHING,
    NOT_KNOWN,
    NOT_LOADED,
    ConstructResult,
    not_loaded,
)
from buttress.words import BREAKS_RULE

STUDY = "loads of the study"
MARKERS = {EQUILIBRIUM: "D", "step-off": "^", "depression": "v", "widening": "s",
           "bone over yield": "P", "metal over yield": "*"}
UNLIMITED = "not limited by this model"
WORDS = 2.35
"""Width of the column of capacities in words, inches."""


def bracket_words(construct: ConstructResult) -> str:
    """The capacity in words: a bracket in newtons, or that the model does not limit it."""
    low, high = construct.capacity_N
    if low is None and high is None:
        return UNLIMITED
    if high is None:
        return f"{low:.0f} N without friction; with friction {UNLIMITED}"
    if high == 0.0:
        return f"0 N: {NOT_LOADED.get(construct.status, HELD_BY_NOTHING)}"
    return f"{low or 0.0:.0f} to {high:.0f} N"


def _said(construct: ConstructResult) -> str:
    """The capacity in words and, where the peak is not known, that."""
    words = bracket_words(construct)
    if construct.ends_status != NOT_KNOWN:
        return words
    return f"{words}; {peak_not_known(construct)}"


def capacity(comparison: Comparison, *, ax: Axes | None = None) -> Axes:
    """Capacity of every construct: the bracket of limit analysis and what happens on the way.

    With ``ax``, leave room left of it for names, right of it for the numbers and below it for the
    list of marks.
    """
    constructs = comparison.constructs
    names = [c.marked_name for c in constructs]
    row = 0.62
    if ax is None:
        whole_page("capacity")
    end = _axis_end(comparison)
    handles = _marks(comparison, end)
    # Three rows of marks have their place below the axes; each one more lifts them.
    foot = wrap(" ".join([HOW_TO_READ, *([f"{BREAKS_RULE}."] if any(
        c.breaks_rule for c in constructs) else [])]), page().wide - 1.2)
    own = ax is None and page().column_mm is None     # in a paper its caption says it
    words = (foot.count("\n") + 1.5) * 1.15 * LINE if own else 0.0
    rows = (len(handles) + 1) // 2 + max(str(h.get_label()).count("\n") for h in handles)
    under = 1.85 + 1.15 * LINE * max(0, rows - 3) + words
    if ax is None:
        inside = max(page().high - under - 0.7, len(names) * 0.42)
        lines, widest = _names(names, inside)
        deep = [*lines, *(wrap(_said(c), WORDS) for c in constructs)]
        inside = max(inside, len(names) * (max(n.count("\n") + 1 for n in deep) + 0.3) * LINE)
        figure: Figure = d.slide(inside + under + 0.7)
        ax = d.axes_at(figure, widest + 0.5, under, page().wide - widest - 0.5 - 2.55, inside)
    else:
        figure = ax.get_figure(root=True)  # type: ignore[assignment]
        d.label(figure)
        lines, _ = _names(names, ax.get_position().height * figure.get_figheight())
    lanes = _lanes(comparison, end)
    for i, c in enumerate(constructs):
        _bar(ax, c, i, end, row, d.series(i)["color"], lanes)
        ax.text(1.015, i, wrap(_said(c), WORDS), size=SIZE, va="center", linespacing=1.0,
                transform=ax.get_yaxis_transform())
    for load in comparison.study.load.total_N:
        ax.axvline(load, color="#555555", linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
    ax.set_yticks(range(len(names)), lines, size=SIZE)
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set_xlim(0, end)
    ax.set_xlabel("total joint force [N]", size=SIZE)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.tick_params(axis="y", length=0, pad=12)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    d.title(ax, "Capacity by limit analysis, and loads on the path", "")
    high = figure.get_figheight()
    figure.legend(handles=handles, loc="lower center", ncols=2, fontsize=SIZE, frameon=False,
                  bbox_to_anchor=(0.5, (0.35 + words) / high), columnspacing=2.5)
    if words:
        figure.text(0.5, 0.42 / high, foot, size=SIZE, ha="center", va="bottom", linespacing=1.15)
    return ax


def _names(names: list[str], inside: float) -> tuple[list[str], float]:
    """Names wrapped so that each fits its row, and their width [in]."""
    share = inside / max(1, len(names)) - 0.3 * LINE
    for wide in (2.2, 2.8, 3.6, 4.6):
        lines, widest = wrap_all(names, np.inf, (wide,))
        if max(n.count("\n") + 1 for n in lines) * LINE <= share:
            break
    return lines, widest


def _axis_end(comparison: Comparison) -> float:
    """End of the load axis: over every load that is shown, at most the search limit. What is not
    limited adds nothing, so that it does not dwarf what is."""
    loads = list(comparison.study.load.total_N)
    for c in comparison.constructs:
        loads += [v for v in (*c.capacity_N, *_reached(c).values()) if v is not None]
    limit = max(c.search_limit_N for c in comparison.constructs)
    return 1.04 * min(max(loads), max(limit, *comparison.study.load.total_N))


def _reached(c: ConstructResult) -> dict[str, float]:
    """The load [N] at which each limit is reached, of those that are."""
    if not_loaded(c):
        return {}
    found = {EQUILIBRIUM: c.equilibrium_ends_N, "step-off": c.step_off_limit_N}
    found |= {METAL: c.first_yield_N}   # an event, where the study sets no such limit
    found |= {name: r.load_N for name, r in c.limits.items()}
    return {name: load for name, load in found.items() if load is not None}


def _lanes(comparison: Comparison, end: float) -> dict[str, float]:
    """Height in its row of the mark of each limit that is reached within the axis.

    One above the other, since several are often reached at nearly the same load.
    """
    there = [name for name in MARKERS
             if any(_reached(c).get(name, np.inf) <= end for c in comparison.constructs)]
    most = 0.17 if len(there) <= 2 else 0.25 if len(there) <= 4 else 0.33
    return dict(zip(there, np.linspace(most, -most, len(there)), strict=True))


def _size(name: str, lanes: int) -> float:
    """Size of a mark, points: a star has thin arms."""
    return (10.0 if lanes <= 2 else 9.0) * (1.45 if MARKERS[name] == "*" else 1.0)


def _bar(ax: Axes, c: ConstructResult, at: int, end: float, row: float, colour: str,
         lanes: dict[str, float]) -> None:
    low, high = c.capacity_N
    # What the check does not limit has no bar: one up to the end would look like a load.
    first = 0.0 if low is None else min(low, end)
    last = first if high is None else min(high, end)
    ax.barh(at, first, row, color=colour, alpha=0.9, zorder=2)
    ax.barh(at, max(0.0, last - first), row, left=first, facecolor="white", edgecolor=colour,
            hatch="////", linewidth=1.2, zorder=2)
    if high is None and not first:
        ax.text(0.012 * end, at, "no bar: " + UNLIMITED,
                size=SIZE, va="center", style="italic", color="#444444", zorder=1.5)
    elif high is not None and high > end:
        ax.plot(0.985 * end, at, marker=">", markersize=12, color="white",
                markeredgecolor="black", zorder=6)
    for name, load in _reached(c).items():
        if load <= end:
            ax.plot(load, at + lanes[name], marker=MARKERS[name], color="black", zorder=5,
                    markersize=_size(name, len(lanes)), markeredgecolor="white",
                    clip_on=False)


def _meaning(comparison: Comparison, name: str) -> str:
    """What a mark means, in words."""
    if name == EQUILIBRIUM:
        ended = any(c.ends_status == ENDED for c in comparison.constructs)
        return "peak load" + (", or end of the path where it has none" if ended else "")
    limit = next((c.limits[name] for c in comparison.constructs if name in c.limits), None)
    if name == METAL and limit is None:
        return "metal first yields (no limit of this study)"
    return (f"step-off reaches {comparison.study.limits.step_off_mm:g} mm" if limit is None
            else limit_words(name, limit))


def _marks(comparison: Comparison, end: float) -> list:
    """The list of marks: only of what there is."""
    brackets = [c.capacity_N for c in comparison.constructs]
    cases = comparison.study.load.cases
    several = (comparison.study.load.all_words if len(cases) <= (3 if cases[0].name else 5)
               else f"{len(cases)} from {cases[0].words} to {cases[-1].words}")
    handles: list = []
    if any(low is not None and low > 0.0 for low, _ in brackets):
        handles.append(Patch(color="#777777",
                             label="carried even without friction, nothing hardening"))
    if any(low is not None and high is not None and high > low for low, high in brackets):
        handles.append(Patch(facecolor="white", edgecolor="#777777", hatch="////",
                             label="carried with friction at its best, nothing hardening"))
    handles += [Line2D([], [], linestyle="none", marker=MARKERS[name], color="black",
                       markersize=_size(name, 9), label=_meaning(comparison, name))
                for name in _lanes(comparison, end)]
    handles.append(Line2D([], [], color="#555555", linestyle=(0, (4, 3)),
                          label=wrap(f"loads of the study: {several}", 6.0)))
    if any(high is not None and high > end for _, high in brackets):
        handles.append(Line2D([], [], linestyle="none", marker=">", color="white",
                              markeredgecolor="black", markersize=11,
                              label="goes on beyond this axis"))
    return handles
