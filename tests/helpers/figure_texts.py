"""The texts of a figure as they are drawn, and what is wrong with them."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text


def shown_texts(figure: Figure) -> list[tuple[Text, Any]]:
    """Every text that is drawn, with its box in pixels."""
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()      # places every text; no letter is painted
    renderer = canvas.get_renderer()
    found = [t for t in figure.texts if t.get_visible()]
    found += [t for g in figure.legends for t in g.get_texts()]
    waiting: list[Any] = list(figure.axes)
    seen: set[int] = set()
    while waiting:
        ax = waiting.pop()
        if id(ax) in seen or not ax.get_visible():
            continue
        seen.add(id(ax))
        waiting += ax.child_axes
        legends: list[Any] = [ax.get_legend(), *(a for a in ax.artists if hasattr(a, "get_texts"))]
        found += [t for g in legends if g is not None for t in (*g.get_texts(), g.get_title())]
        found += [c for c in ax.get_children() if isinstance(c, Text) and c.get_visible()]
        if ax.axison:
            for axis, limits in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
                low, high = sorted(limits)
                found += [axis.label, *(
                    label for label, at in zip(axis.get_ticklabels(), axis.get_ticklocs(),
                                               strict=False) if low <= at <= high)]
    return [(t, t.get_window_extent(renderer)) for t in found if t.get_text().strip()]


def clashes(figure: Figure, slack: float = 1.0) -> list[str]:
    """What is wrong with the texts of a figure: pairs that overlap, and texts beyond its edge.

    ``slack``: pixels by which boxes may touch.
    """
    texts = [(t.get_text(), box) for t, box in shown_texts(figure)]
    wrong = []
    for (a, box), (b, other) in combinations(texts, 2):
        across = min(box.x1, other.x1) - max(box.x0, other.x0)
        down = min(box.y1, other.y1) - max(box.y0, other.y0)
        if across > slack and down > slack:
            wrong.append(f"{a!r} overlaps {b!r}")
    page = figure.bbox
    for text, box in texts:
        if (box.x0 < page.x0 - slack or box.y0 < page.y0 - slack
                or box.x1 > page.x1 + slack or box.y1 > page.y1 + slack):
            wrong.append(f"{text!r} leaves the figure")
    return wrong
