"""Tornado: the load by which a construct is ordered, with each alternative of the model."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.markers import CARETRIGHTBASE
from matplotlib.ticker import MaxNLocator

from buttress.draw import primitives as d
from buttress.draw.page import page, whole_page
from buttress.draw.text import LINE, SIZE, width, wrap_all
from buttress.results.comparison import Comparison
from buttress.results.order import AT_LEAST, reserve
from buttress.results.spread import Alternative
from buttress.study.checked import require_known
from buttress.words import BREAKS_RULE

BELOW, ABOVE, MESH = "#0072B2", "#E69F00", "#777777"
MESHES = "finer meshes (error bar)"
NOT_BUILT = "cannot be built"


def rows(comparison: Comparison, construct: str) -> list[Alternative]:
    """The alternatives of a construct, those of one choice together, the widest choice first."""
    if comparison.alternatives is None:
        return []
    own = reserve(comparison[construct]).load_N

    def swing(group: str) -> float:
        assert comparison.alternatives is not None
        return max(abs(reserve(x.constructs[construct]).load_N - own) if construct in x.constructs
                   else 0.0 for x in comparison.alternatives.tried if x.group == group)

    return sorted(comparison.alternatives.tried, key=lambda x: (-swing(x.group), x.group))


def tornado(comparison: Comparison, construct: str, *, ax: Axes | None = None) -> Axes:
    """The load by which a construct is ordered, as in the study and with each alternative [N].

    Alternatives of one choice stand together, the choice that matters most on top; an arrow and a
    bar without colour mark what is only known from below. With ``ax``, leave room for names left
    and loads right of it.

    Raises InputError, with the closest name, for a construct that the study has not or that was not
    solved with alternatives.
    """
    solved = () if comparison.alternatives is None else comparison.own
    require_known(construct, solved, "construct with alternatives")
    c, tried = comparison[construct], rows(comparison, construct)
    own = reserve(c)
    bar = c.bar("reserve_N")
    names = [x.name for x in tried] + ([MESHES] if bar is not None else [])
    high = max(page().high, (len(names) + 1) * 1.15 * LINE + 2.2)
    if ax is None:
        whole_page("tornado")
        lines, widest = wrap_all(names, high, (3.4,))
        widest = max(widest, width(MESHES))
        ax = d.axes_at(d.slide(high), widest + 0.5, 1.1, page().wide - widest - 2.6, high - 2.0)
    else:
        lines, _ = wrap_all(names, high, (3.4,))
        d.label(ax.get_figure(root=True))  # type: ignore[arg-type]
    seen = [own.load_N]
    for i, x in enumerate(tried):
        if construct not in x.constructs:
            _beside(ax, i, NOT_BUILT)
            continue
        found = reserve(x.constructs[construct])
        seen.append(found.load_N)
        colour = BELOW if found.load_N < own.load_N else ABOVE
        ax.barh(i, found.load_N - own.load_N, 0.62, left=own.load_N, zorder=2, gid=x.name,
                facecolor="none" if found.kind == AT_LEAST else colour, edgecolor=colour,
                linestyle="--" if found.kind == AT_LEAST else "-")
        if found.kind == AT_LEAST:    # from the load on to the right, where 0 N meets the name
            ax.plot(found.load_N, i, marker=CARETRIGHTBASE, markersize=12, color="black", zorder=4,
                    clip_on=False)
        _beside(ax, i, f"{found.text} N")
    if bar is not None and bar.low is not None:
        top = bar.low if bar.high is None else bar.high
        ax.barh(len(tried), top - bar.low, 0.62, left=bar.low, color=MESH, zorder=2, gid=MESHES)
        ax.plot([bar.low, top], [len(tried)] * 2, marker="|", markersize=13, color=MESH, zorder=3)
        _beside(ax, len(tried), f"{bar.low:.0f} to {top:.0f} N" if bar.high is not None
                else f"≥ {bar.low:.0f} N")
    ax.axvline(own.load_N, color="black", linewidth=1.4, zorder=3)
    ax.set_xlim(0.0, 1.05 * max(*seen, 1.0))
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set_yticks(range(len(names)), lines, size=SIZE)
    ax.tick_params(axis="y", length=0)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.set_xlabel(f"joint force at {c.reserve.movement_mm:g} mm of movement, or at the peak [N]; "
                  f"line: as in the study, {own.text} N", size=SIZE)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.grid(axis="x", alpha=0.25)
    d.title(ax, f"{c.marked_name}: with each alternative of the model",
            BREAKS_RULE if c.breaks_rule else "")
    return ax


def _beside(ax: Axes, row: int, words: str) -> None:
    ax.text(1.015, row, words, size=SIZE, va="center", transform=ax.get_yaxis_transform())
