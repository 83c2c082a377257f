"""Plots of sweeps and rankings: each takes a table or a result, accepts ``ax=`` and returns it.

The table is the view ``everything`` of a store, see `sweep_frame`; nothing is solved here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import LINE, SIZE, plain, wrap
from buttress.fe.errors import InputError
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.ranking.records import RankResult, quarters
from buttress.results.quantities import by_column
from buttress.study.activities import newtons
from buttress.study.checked import quoted
from buttress.sweeps.naming import axis_label, in_words
from buttress.sweeps.rows import (
    at_load,
    by_construct,
    checked,
    following,
    named,
    other_keys,
    share_known,
)
from buttress.words import IN_SOME, MARKED, counted, marked

if TYPE_CHECKING:
    import pandas as pd

FEW_LOADS, FEW_KEYS = 4, 3
LEGEND, LIST = 2.8, 6.1
"""Room right of the axes: for a name, and for the list of them, inches."""


def over_key(frame: pd.DataFrame, key: str, column: str = "subsidence_mean_mm", *,
          load: float | None = None, ax: Axes | None = None) -> Axes:
    """A figure over one key, one line per construct, with a gap where nothing is held.

    Where other keys vary too the line is the median and the band holds the middle half; where
    they do and each value has one case only, as in samples, there are points and no line. Where
    only some cases are held the line has a gap, too, and a hollow point is the median of those.
    """
    frame, words = at_load(checked(frame, key, column), load)
    ax = _axes(ax)
    numeric = frame[key].dtype.kind in "if"
    ticks = sorted(frame[key].unique())
    others = other_keys(frame, key)
    scattered = bool(others) and frame.groupby(key)["case_id"].nunique().max() == 1
    handles, names, gaps, hollow = [], [], False, False
    for i, name, rows in by_construct(frame):
        groups = rows.groupby(key)[column]
        # A line over what holds would hide what does not: all must hold.
        whole = groups.count() == groups.size()
        middle, low, high = (groups.quantile(q).where(whole) for q in (0.5, 0.25, 0.75))
        x = middle.index if numeric else [ticks.index(v) for v in middle.index]
        style = d.series(i) | ({"linestyle": ""} if scattered else {})
        handles += ax.plot(x, middle, label=plain(name), **style)
        names.append(named(name, rows) + share_known(rows, column))
        gaps = gaps or bool((groups.count() == 0).any())
        some = groups.median()[~whole].dropna()
        if len(some):
            hollow = True
            ax.plot(some.index if numeric else [ticks.index(v) for v in some.index], some,
                    **style | {"linestyle": ""}, markerfacecolor="white", markersize=9)
        if (groups.size() > 1).any():
            ax.fill_between(x, low, high, color=style["color"], alpha=0.15, linewidth=0)
    if not numeric:
        ax.set_xticks(range(len(ticks)), [
            plain(str(t).lower() if frame[key].dtype == bool else str(t)) for t in ticks])
    elif frame[key].dtype.kind == "i":
        ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel(wrap(axis_label(key), 8.0), size=SIZE)
    ax.set_ylabel(_label(column), size=SIZE)
    if _from_zero(column):
        ax.set_ylim(bottom=ax.get_ylim()[0] if frame[column].min() < 0 else 0.0)
    ax.grid(alpha=0.3)
    _legend(ax, handles, names)
    told = ["median; band: the middle half of the cases"] if ax.collections else []
    told += ["one point per case"] if scattered else []
    more = f" and {counted(len(others) - FEW_KEYS, 'other key')}" if others[FEW_KEYS:] else ""
    told += ["also varied: " + ", ".join(others[:FEW_KEYS]) + more] if others else []
    told += _along(frame, key)
    told += ["hollow: median of the cases that are held, where not all are"] if hollow else []
    told += ["no point: not held or no answer"] if gaps else []
    told += _meant(names, IN_SOME)
    name = _quantity(column)
    d.title(ax, name[:1].upper() + name[1:] + words, "; ".join(told))
    return ax


def limit_map(frame: pd.DataFrame, x: str, y: str, column: str = "step_off_mm", *,
              construct: str, limit: float, load: float | None = None, ax: Axes | None = None
              ) -> Axes:
    """A figure over two keys of a grid, the limit drawn as a line; hatched where nothing is held.

    The colours go from zero to the largest value of any construct, so that maps can be compared.
    """
    frame, at = at_load(checked(checked(frame, x, column), y, column), load)
    rows = frame[frame["construct"] == construct]
    if rows.empty:
        raise InputError("no such construct in the table", value=construct,
                         expected=quoted(frame["construct"].unique()))
    grid = rows.pivot_table(index=y, columns=x, values=column, aggfunc="mean", dropna=False)
    grid = grid.reindex(index=sorted(rows[y].unique()), columns=sorted(rows[x].unique()))
    ax = _axes(ax, right=2.2)
    values = np.ma.masked_invalid(grid.to_numpy(dtype=float))
    across, up = grid.columns.to_numpy(), grid.index.to_numpy()
    every = frame.groupby([x, y, "construct"], observed=True)[column].mean()
    mesh = ax.pcolormesh(across, up, values, shading="nearest", cmap="YlGnBu", zorder=0,
                         vmin=min(0.0, every.min()), vmax=every.max())
    ax.patch.set(hatch="///", edgecolor="#888888", facecolor="white")
    figure = ax.get_figure(root=True)
    assert figure is not None
    if values.count():
        bar = figure.colorbar(mesh, ax=ax)
        bar.set_label(_label(column), size=SIZE)
        bar.ax.tick_params(labelsize=SIZE)
    told, reach = [], f"{limit:g} {_unit(column)}".rstrip()
    if min(values.shape) > 1 and values.count() and values.min() < limit < values.max():
        told.append("line: the limit, interpolated between the cases (the middles of the cells)")
        drawn = ax.contour(across, up, values, levels=[limit], colors="#D55E00", linewidths=3)
        ax.clabel(drawn, fmt=lambda v: f"limit {reach}", fontsize=SIZE)
    ax.set_xlabel(wrap(axis_label(x), 8.0), size=SIZE)
    ax.set_ylabel(wrap(axis_label(y), 4.8), size=SIZE)
    if values.count() and not told:
        words = {True: ("never reached", "passed everywhere"),
                 False: ("not reached where it is held", "passed wherever it is held")}
        below, above = words[bool(values.count() == values.size)]
        told.append(f"the limit of {reach} is " + (below if values.max() <= limit else
                    above if values.min() >= limit else "between two cases"))
    if values.count() < values.size:
        told.append("hatched: no equilibrium or no answer")
    told += [*_along(frame, x), *_meant([named(construct, rows)], IN_SOME)]
    d.title(ax, f"{named(construct, rows)}: {_quantity(column)}{at}", "; ".join(told))
    return ax


def paired(result: RankResult, *, ax: Axes | None = None) -> Axes:
    """What each construct has of the ranking's quantity, minus what the reference has.

    Subsidence is compared over the samples where both are held.

    Thin line: 5 to 95 %; thick line: middle half; dot with bar: mean with its interval.
    """
    ax = _axes(ax, left=3.6, right=3.0)
    names, merit = [a.construct for a in result.against], result.outcomes.merit
    for i, a in enumerate(result.against):
        color = d.series(result.outcomes.constructs.index(a.construct))["color"]
        diff = a.difference
        total = a.both_held + a.only_this + a.only_reference + a.neither + a.unanswered \
            + a.refused
        words = (f"both held in {a.both_held} of {total}" if not merit.more
                 else f"known in {diff.pairs} of {total}")
        if diff.quantiles is not None and diff.mean is not None:
            low, first, middle, third, high = diff.quantiles
            ax.plot([low, high], [i, i], color=color, linewidth=1.5)
            ax.plot([first, third], [i, i], color=color, linewidth=9, alpha=0.5,
                    solid_capstyle="butt")
            ax.plot([middle], [i], "|", color=color, markersize=20, markeredgewidth=2)
            ax.plot(np.array([diff.low, diff.high], dtype=float), [i + 0.22] * 2,
                    color="black", marker="|")
            ax.plot([diff.mean], [i + 0.22], "o", color="black")
        ax.text(1.02, i, words, transform=ax.get_yaxis_transform(), size=SIZE, va="center")
    right = f"more {merit.words}" if merit.more else "subsides more"
    told = (f"right of 0: {right}; line 5 to 95 %, bar middle half, tick median; dot: mean, "
            "95 % interval")
    if any(a.difference.quantiles for a in result.against):
        ax.axvline(0.0, color="#555555", linewidth=1.0, linestyle=(0, (4, 3)))
    else:
        ax.set_xticks([])
        told = "no difference: in no two samples is a construct held together with this one"
    ax.set_yticks(range(len(names)), [wrap(result.named(n), 3.0) for n in names], size=SIZE)
    ax.set_ylim(len(names) - 0.5, -0.6)
    reference = result.named(result.reference)
    ax.set_xlabel(plain(f"{result.by_words} minus that of '{reference}' [{merit.unit}]"),
                  size=SIZE)
    at = "" if merit.more else f" at {newtons(result.outcomes.load_N)} N"
    if result.capped:
        told += f"; more than {SEARCH_LIMIT_N:.0f} N counts as {SEARCH_LIMIT_N:.0f} N"
    told = "; ".join([told, *_meant([*map(result.named, (*names, result.reference))])])
    d.title(ax, f"Paired difference to '{reference}'{at}", told)
    return ax


def over_range(result: RankResult, name: str, *, ax: Axes | None = None) -> Axes:
    """Mean rank of each construct in each quarter of an input's range, best on top."""
    known = [e.name for e in result.samples.inputs]
    if name not in known:
        raise InputError("no such input", value=name, expected=", ".join(known))
    ax = _axes(ax)
    parts, handles = quarters(result, name), []
    for i, construct in enumerate(result.outcomes.constructs):
        ranks = next(s for s in result.standings if s.construct == construct).over_range[name]
        handles += ax.plot(range(len(ranks)), ranks, label=plain(construct), **d.series(i))
    unit = next(e.unit for e in result.samples.inputs if e.name == name)
    ax.set_xticks(range(len(parts)), parts)
    ax.set_xlim(-0.4, len(parts) - 0.6)
    ax.set_ylim(len(result.outcomes.constructs) + 0.3, 0.7)
    ax.set_xlabel(name + (f" [{unit}]" if unit else ""), size=SIZE)
    ax.set_ylabel("mean rank (1 is best)", size=SIZE)
    ax.grid(alpha=0.3)
    _legend(ax, handles, [result.named(n) for n in result.outcomes.constructs])
    d.title(ax, f"Rank over {name} at {newtons(result.outcomes.load_N)} N",
            "; ".join([f"{len(result.samples.shares)} samples, a quarter of them at each place",
                       *_meant([*map(result.named, result.outcomes.constructs)])]))
    return ax


def sensitivities(result: RankResult, construct: str, quantity: str = "capacity", *,
                  ax: Axes | None = None) -> Axes:
    """Sobol indices of a construct: first order (light) and total (dark), with their intervals.

    ``quantity``: "capacity", "ahead" (of the reference), "keeps_all" (of the limits), or a
    limit by its name, as "step-off": whether it is met.
    """
    known = ("capacity", "ahead", "keeps_all", *result.limits)
    if quantity not in known:
        raise InputError("no such quantity", value=quantity, expected=", ".join(known))
    driven = next((x for x in result.driven if x.construct == construct), None)
    if driven is None:
        raise InputError("no indices of this construct", value=construct,
                         expected=", ".join(x.construct for x in result.driven)
                         or "a ranking with indices")
    found = driven.keeps[quantity] if quantity in driven.keeps else getattr(driven, quantity)
    ax = _axes(ax, left=3.8)
    names = [e.name for e in result.samples.inputs]
    ax.set_yticks(range(len(names)), [plain(n) for n in names], size=SIZE)
    ax.set_ylim(len(names) - 0.5, -0.6)
    start, end = 0.0, 1.05
    if found is None or found.first is None or found.total is None:
        words = found.note if found is not None else "this is the reference"
        ax.text(0.5, 0.5, words, size=SIZE, ha="center",
                transform=ax.transAxes)
    else:
        for shift, rows, color, words in ((-0.19, found.first, "#56B4E9", "alone (first order)"),
                                          (0.19, found.total, "#0072B2", "with others (total)")):
            value, low, high = rows.T
            ax.barh(np.arange(len(names)) + shift, value, height=0.36, color=color, label=words)
            ax.errorbar(value, np.arange(len(names)) + shift, fmt="none", ecolor="black", capsize=3,
                        xerr=np.clip([value - low, high - value], 0.0, None))
            start = min(start, float(low.min()) - 0.05)
            end = max(end, float(high.max()) + 0.05)
        ax.legend(fontsize=SIZE, frameon=False, loc="upper left", bbox_to_anchor=(1.01, 1.0))
    ax.set_xlim(max(start, -1.0), min(end, 2.0))
    for at in (0.0, 1.0):
        ax.axvline(at, color="#555555", linewidth=1.0, linestyle=(0, (4, 3)))
    ax.set_xlabel("share of the variance that an input explains [-]\nbelow 0, above 1, or larger "
                  "alone than with others: chance in a small sample", size=SIZE)
    words = {"capacity": "capacity, upper bound of limit analysis",
             "keeps_all": "whether it is held and meets all limits",
             "ahead": f"whether it is ahead of '{result.named(result.reference)}'"}
    told = words.get(quantity, f"whether the limit of {quantity} is met")
    if found is not None:
        told += f"; {found.samples} base samples"
    if found is not None and found.total is not None and not found.settled:
        told += "; so few samples do not settle it"
    told = "; ".join([told, *_meant([result.named(construct)])])
    d.title(ax, f"{result.named(construct)}: what drives it", told)
    return ax


def envelope(frame: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Share of cases whose limit load is over a load: upper and (dashed) lower bound.

    The loads of the table are marked where there are few of them. A capacity that the model does
    not limit lies at the end of the axis. Limit analysis leaves tightened screws at their force,
    so an answer may be held above it.
    """
    ax = _axes(ax)
    once, capped = frame.drop_duplicates(["case_id", "construct"]), False
    handles, names = [], []
    for i, name, rows in by_construct(once):
        style = d.series(i)
        known = rows[rows["capacity_status"].notna()]
        low, high = (np.sort(known[c].fillna(SEARCH_LIMIT_N).clip(upper=SEARCH_LIMIT_N))[::-1]
                     for c in ("capacity_lower_N", "capacity_upper_N"))
        capped = capped or bool((high >= SEARCH_LIMIT_N).any())
        # From the largest down: a load between two of them is carried by those that came before.
        share = np.arange(len(known) + 1) / max(len(known), 1)
        # Colours repeat after a few constructs, so markers distinguish them.
        handles += ax.step(np.append(high[:1], high), share, where="post", label=plain(name),
                           color=style["color"], linewidth=2.2, marker=style["marker"],
                           markevery=max(1, len(share) // 6))
        names.append(named(name, rows))
        ax.step(np.append(low[:1], low), share, where="post", color=style["color"], linewidth=1.4,
                linestyle=(0, (2, 1.5)), marker=style["marker"], markersize=4,
                markevery=max(1, len(share) // 6))
    loads = sorted(frame["total_load_N"].unique())
    for load in loads if len(loads) <= FEW_LOADS else []:
        ax.axvline(load, color="#777777", linewidth=1.0, zorder=0)
    ax.set_ylim(0.0, 1.02)
    ax.set_xlim(left=-0.01 * ax.get_xlim()[1])  # what holds nothing is drawn, too
    ax.set_xlabel("total joint force [N]", size=SIZE)
    ax.set_ylabel("share of cases with a capacity above this load [-]", size=SIZE)
    ax.grid(alpha=0.3)
    _legend(ax, handles, names)
    d.title(ax, "Capacity by limit analysis, not what is carried along the path",
            "line: with friction (upper bound); dashed: without (lower bound)"
            + ("; grey: the loads" if len(loads) <= FEW_LOADS else "")
            + (f"; {SEARCH_LIMIT_N:g} N: not limited up to there" if capped else "")
            + "".join(f"; {words}" for words in _meant(names, IN_SOME)))
    return ax


def _meant(names: Sequence[str], words: str = MARKED) -> list[str]:
    """What the mark of a construct means, where a name carries it."""
    return [words] if any(marked("", True) in name for name in names) else []


def _legend(ax: Axes, handles: Sequence[Line2D], names: Sequence[str]) -> None:
    """The names right of the axes; by hand, as matplotlib drops those that begin with _.

    Where they are long and many they are set closer, and cut where even that is not enough.
    """
    for most, gap in ((99, 0.5), (99, 0.2), (3, 0.2), (2, 0.2), (1, 0.2)):
        labels = [wrap(n, LEGEND, most=most) for n in names]
        if sum(t.count("\n") + 1 + gap for t in labels) * LINE <= LIST:
            break
    ax.legend(handles=handles, labels=labels, fontsize=SIZE, frameon=False, loc="upper left",
              bbox_to_anchor=(1.01, 1.0), labelspacing=gap)


def _along(frame: pd.DataFrame, key: str) -> list[str]:
    """What moves along with the varied keys, for the lines under a title."""
    found = following(frame, key)
    words = []
    for coupled, text in list(found.items())[:FEW_KEYS]:
        named = in_words(coupled)
        words.append(f"{coupled if named is None else named.words_of} = {text}")
    more = f" and {counted(len(found) - FEW_KEYS, 'other key')}" if len(found) > FEW_KEYS else ""
    return ["moves along: " + ", ".join(words) + more] if words else []


def _label(column: str) -> str:
    """The title of an axis: words and unit of a column, or its name where it is a key."""
    found = by_column(column)
    return axis_label(column) if found is None else found[0].label(found[1])


def _quantity(column: str) -> str:
    """The words of a column without its unit."""
    return _label(column).partition(" [")[0]


def _unit(column: str) -> str:
    """The unit of a column, empty where it has none."""
    found = by_column(column)
    return "" if found is None or found[0].unit == "-" else found[0].unit


def _from_zero(column: str) -> bool:
    """Whether an axis begins at zero, as for movements, so that little does not look like much."""
    return _unit(column) == "mm"


def _axes(ax: Axes | None, left: float = 1.2, right: float = 3.6) -> Axes:
    if ax is None:
        whole_page("sweep")
        figure = d.slide()
        return d.axes_at(figure, left, 1.2, page().wide - left - right, page().high - 2.4)
    figure_of: Any = ax.get_figure(root=True)
    d.label(figure_of)
    return ax
