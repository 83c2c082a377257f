"""Axes that show a section: the only place that sets their direction, marks and names of sides.

Every figure of a section gets its limits from `frame` or `turn`, so that none can show a right knee
as a left one. Data stay as they are, x lateral; the axis runs to the viewer's left where the
section's `View` says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from shapely import LineString, Point

from buttress.draw.primitives import inches
from buttress.draw.text import LINE, SIZE, spread, wrap
from buttress.fe.arrays import FloatArray
from buttress.study.view import View

MARK, NAME = "side marker", "name of a side"
"""What the marker R or L and the names of sides are called among the artists (their gid)."""
CLEAR = 0.55
"""Distance that leader lines keep from the middle of a short text, in heights of a line of text."""


def turn(ax: Axes, view: View, low: Sequence[float] | FloatArray, high: Sequence[float] | FloatArray
         ) -> None:
    """Limits of axes at equal scale, the corners ``low`` and ``high`` in mm, in the direction in
    which the section is seen."""
    ax.set_xlim(ends(view, low[0], high[0]))
    ax.set_ylim(low[1], high[1])
    ax.set_aspect("equal", adjustable="datalim")


def frame(ax: Axes, view: View, low: Sequence[float] | FloatArray,
          high: Sequence[float] | FloatArray, inches_per_mm: float | None = None, *,
          cell: bool = False, foot: bool = False) -> float:
    """Show low..high centred in the box of the axes at an equal scale, as the section is seen.

    The side marker stands in the upper corner of the lateral (anterior) side, or at the ``foot``.
    Axes that are no ``cell`` of a larger figure also name their sides and what is seen; a cell
    leaves the words, ``view.all_words``, to its figure. Returns the scale [in/mm]; a given scale is
    kept and the limits follow from it. Inset axes have a place only once their figure was drawn.
    """
    ax.set_aspect("auto")      # the whole box, whatever an image has made of it
    box = inches(ax)
    a, b = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    scale = inches_per_mm or float(min(box / (b - a)))
    middle, half = (a + b) / 2, box / scale / 2
    turn(ax, view, middle - half, middle + half)
    marked_right = view.hands[1] == "lateral"
    at = 0.06 / box
    ax.text(1 - at[0] if marked_right else at[0], at[1] if foot else 1 - at[1], view.mark,
            size=SIZE, weight="bold", ha="right" if marked_right else "left",
            va="bottom" if foot else "top", transform=ax.transAxes, zorder=8, gid=MARK)
    if not cell:
        ax.set_xlabel(f"{view.sides[1]} x [mm]\n{view.words}", size=SIZE)
        ax.set_ylabel("height over the joint line y [mm]", size=SIZE)
        for name, x, hand in zip(view.hands, (0.0, 1.0), ("left", "right"), strict=True):
            ax.annotate(name, (x, 0.0), (0, -25), xycoords="axes fraction", size=SIZE,
                        textcoords="offset points", ha=hand, va="top", style="italic", gid=NAME)
    return scale


def ends(view: View, low: float, high: float) -> tuple[float, float]:
    """The x of the viewer's left end and of the right end of a stretch from low to high."""
    return (high, low) if view.mirrored else (low, high)


def on_left(view: View, x: FloatArray, middle: float) -> np.ndarray:
    """Which places x lie on the viewer's left of the middle."""
    return np.asarray(view.sign * (np.asarray(x) - middle) < 0.0)


def widened(view: View, low: FloatArray, high: FloatArray, left: float, right: float, *,
            below: float = 0.0, above: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Corners with room on the viewer's left and right, below and above, mm."""
    before, after = ends(view, left, right)
    return low - np.array([before, below]), high + np.array([after, above])


def leaders(ax: Axes, anchors: FloatArray, texts: Sequence[str], colours: Sequence[str], *,
            view: View, x: float, room: float, scale: float, left: bool,
            span: tuple[float, float], lanes: Sequence[Sequence[FloatArray]] = ()
            ) -> None:
    """Labels in a column at ``x`` with thin lines to their anchors ``(n, 2)``, never overlapping.

    ``room``: width of the column [in], ``scale``: in/mm, ``left``: the column is on the viewer's
    left of the drawing (its text ends at x). ``lanes``: places of short texts, in rows,
    that the lines pass between. Long names are wrapped, and cut where the column is
    full; labels that still do not fit are counted in its last line.
    """
    if len(texts) == 0:
        return
    space = (span[1] - span[0]) * scale / LINE
    for most in (6, 3, 2, 1):
        lines = ["\n".join(wrap(part, room, most=most) for part in t.split("\n")) for t in texts]
        heights = np.array([t.count("\n") + 1.35 for t in lines])
        if heights.sum() <= space:
            break
    else:
        fit = max(1, int((space - 1.35) // heights.max()))
        left_out = f"and {len(lines) - fit} more"
        lines, anchors = [*lines[:fit], left_out], np.asarray(anchors)[:fit]
        heights = np.append(heights[:fit], 1.35)
    wanted = np.append(anchors[:, 1], np.full(len(lines) - len(anchors), span[0]))
    centres = spread(wanted, heights * LINE / scale, *span)
    edge = x + view.sign * (0.06 if left else -0.06) / scale
    stubs = []
    for i, text in enumerate(lines):
        colour = colours[i] if i < len(anchors) else "#444444"
        ax.text(x, centres[i], text, size=SIZE, color=colour, va="center", linespacing=1.1,
                ha="right" if left else "left")
        if i < len(anchors):
            stubs.append(_past(np.array([edge, centres[i]]), np.asarray(anchors[i], dtype=float),
                               lanes, CLEAR * LINE / scale))
    ax.add_collection(LineCollection(stubs, colors="#777777", linewidths=0.8, zorder=4),
                      autolim=False)


def _past(start: FloatArray, end: FloatArray, lanes: Sequence[Sequence[FloatArray]], clear: float
          ) -> list[tuple[float, float]]:
    """The shortest line that comes within ``clear`` of no text, or least far: straight, or by way
    of a gap between two of a row or beside its ends, or of places on either
    side of it."""
    ways = [[start, end]]
    for lane in lanes:
        gaps = [(a + b) / 2 for a, b in pairwise(lane)]
        beside = [2 * lane[0] - gaps[0], 2 * lane[-1] - gaps[-1]] if gaps else []
        out = np.array([np.sign(start[0] - end[0]) * 2.0 * clear, 0.0])
        ways += [[start, *by, end] for gap in (*gaps, *beside) for by in (
            [gap], [gap + out], [gap + out, gap], [gap, gap - 0.75 * out],
            [gap + out, gap, gap - 0.75 * out])]

    def cost(way: list[FloatArray]) -> tuple[float, float]:
        line = LineString(way)
        near = [line.distance(Point(at)) / clear for lane in lanes for at in lane]
        return round(sum(max(0.0, 1.0 - far) for far in near), 3), line.length

    return [(float(x), float(y)) for x, y in min(ways, key=cost)]


def scale_bar(ax: Axes, x: float, y: float, length: float, text: str, scale: float) -> None:
    """A horizontal bar from ``x``, of a length in units of the axes (below zero: towards -x), its
    text above; ``scale`` in/unit."""
    tick = 0.05 / scale
    ax.plot([x, x, x, x + length, x + length, x + length],
            [y - tick, y + tick, y, y, y + tick, y - tick], color="black", linewidth=1.5)
    ax.text(x + length / 2, y + 1.5 * tick, text, size=SIZE, ha="center", va="bottom")
