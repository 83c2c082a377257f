"""All constructs of a comparison side by side, under one load."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from buttress.draw import parts, seen
from buttress.draw import primitives as d
from buttress.draw.fields import Colours, colour_bar, colours_of
from buttress.draw.page import page
from buttress.draw.section import (
    ESCAPE_MM,
    HEADS_MM,
    SHAFT_MM,
    bounds,
    draw_section,
    escaping,
    lowest,
    unmade,
)
from buttress.draw.text import LINE, SIZE, width, wrap
from buttress.fe.arrays import FloatArray
from buttress.fe.status import Status
from buttress.results.comparison import Comparison
from buttress.results.figures import Level
from buttress.results.judged import HOLDS
from buttress.results.limits import NAMES
from buttress.results.order import NOT_RANKED, ranked
from buttress.results.picture import Picture
from buttress.results.quantities import MOVEMENT
from buttress.results.records import NOT_KNOWN, ConstructResult, LoadResult
from buttress.results.stress import STRAIN_RATIO
from buttress.words import BREAKS_RULE, fixed

NOISE_MM = 1e-6
"""Movements below this are rounding, and said as 0."""
ABOVE_IN = 2.1
"""Height of a slide that the overview leaves to its title and foot, inches."""
MOST_COLUMNS = 6
"""Sections in a row of the overview: more are not legible from the back row."""


def overview(comparison: Comparison, load: float | str, *, ax: Axes | None = None,
             field: str = STRAIN_RATIO) -> Axes:
    """Sections of all constructs under one ``load`` of the study, side by side.

    The load is given by its total joint force [N] or by its name. One colour scale and one
    magnification for all; ``field`` is what the colours show, see `deformed`. With ``ax`` the
    cells lie inside of these axes, which are then a frame only; else on a slide, higher where
    constructs are many.

    Raises InputError, with the loads that there are, for one that was not asked for, for a field
    that there is not, and where the study was compared without pictures.
    """
    shown = [(c, c.picture(load)) for c in comparison.constructs]
    pictures = [p for _, p in shown]
    factor, shades = d.magnification(pictures), colours_of(pictures, field)
    box = np.array([page().wide - 0.6, page().high - ABOVE_IN]) if ax is None else d.inches(ax)
    low, high = bounds(pictures, factor)
    low[1] = max(low[1], min(map(lowest, pictures)) - SHAFT_MM)   # as in `deformed`
    size = high - low + (HEADS_MM, 2.0)
    columns, rows, cell_high, names = _grid(shown, box[0], box[1], size)
    if ax is None:
        box[1] = max(box[1], rows * cell_high)
    text = (max(n.count("\n") + 1 for n in names) + 0.6) * LINE
    cell = box / (columns, rows)
    # Small axes keep room for the bones.
    scale = float(min(max(cell[0] - 0.15, 0.5 * cell[0]) / size[0],
                      max(cell[1] - text - 0.25, 0.3 * cell[1]) / size[1]))
    pitch = min(cell[1], text + size[1] * scale + 0.5)
    if ax is None:
        box[1] = rows * pitch      # a slide no higher than its sections ask for
        ax = d.axes_at(d.slide(float(box[1]) + ABOVE_IN), 0.3, 1.1, box[0], box[1])
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    ax.axis("off")
    above = (box[1] - rows * pitch) / 2      # what is left over lies above and below
    sections = []
    for i, name in enumerate(names):
        row, column = divmod(i, columns)
        middle, y = (column + 0.5) * cell[0], box[1] - above - row * pitch
        ax.text(middle / box[0], (y - text + 0.4 * LINE) / box[1], name, size=SIZE, ha="center",
                va="bottom",
                transform=ax.transAxes, linespacing=1.15)
        wide, tall = max(cell[0] - 0.1, 0.5 * cell[0]), size[1] * scale
        sections.append(ax.inset_axes(((middle - wide / 2) / box[0], (y - text - tall) / box[1],
                                       wide / box[0], tall / box[1])))
        sections[-1].axis("off")
    figure.draw_without_rendering()    # gives the inset axes their places
    for inner, picture in zip(sections, pictures, strict=True):
        seen.frame(inner, picture.view, low, high, scale, cell=True, foot=True)
        draw_section(inner, picture, factor, shades)
    under = comparison.study.load.words(pictures[0].load_N)
    words = [pictures[0].view.all_words, *(
        [BREAKS_RULE] if any(c.breaks_rule for c in comparison.constructs) else [])]
    d.title(ax, f"All constructs at {under} of joint force, in this model", "; ".join(words))
    _overview_foot(ax, shades, _moved_words(pictures, factor), scale, box)
    return ax


def _moved_words(pictures: Sequence[Picture], factor: float) -> str:
    """How movements are drawn, and what is drawn that is no part of the model."""
    fails = any(escaping(p) is not None and not unmade(p) for p in pictures if not p.held)
    return (f"displacement × {factor:g} in all" + (
        f"; fails: {ESCAPE_MM:g} mm along the failure mechanism" if fails else "")
        + parts.ghost_words(pictures))


def _overview_foot(ax: Axes, shown: Colours, words: str, scale: float, box: FloatArray) -> None:
    """Under the sections: length scale, how movements are drawn, colour bar."""
    low = -0.25 / box[1]
    label = shown.label if shown.strain else f"{shown.label}\n{shown.note}"
    there: dict[str, Any] = {"transform": ax.transAxes, "clip_on": False}
    long = 20.0 * scale
    ax.plot([0, long / box[0]], [low, low], color="black", linewidth=3, solid_capstyle="butt",
            **there)
    ax.text((long + 0.1) / box[0], low, "20 mm", size=SIZE, va="center", **there)
    if page().column_mm is not None:    # the words below, over the whole width
        wide = min(2.5, 0.45 * float(box[0]))
        bar = ax.inset_axes((1 - (wide + 0.2) / box[0], low - 0.08 / box[1], wide / box[0],
                             0.16 / box[1]))
        colour_bar(bar, shown, 2, label)
        below = 0.75 + label.count("\n") * LINE
        ax.text(0.0, low - below / box[1], wrap(words, box[0]), size=SIZE, va="top", **there)
        return
    bar = ax.inset_axes((1 - 2.7 / box[0], low - 0.08 / box[1], 2.5 / box[0], 0.16 / box[1]))
    colour_bar(bar, shown, 2)
    ax.text((long + 1.0) / box[0], low, wrap(words, box[0] - long - 6.3), size=SIZE, va="center",
            **there)
    ax.text(1 - 2.85 / box[0], low, label, size=SIZE, va="center", ha="right", **there)


def _grid(shown: list[tuple[ConstructResult, Picture]], wide: float, high: float,
          section: FloatArray) -> tuple[int, int, float, list[str]]:
    """Columns, rows, least height of a cell [in] and wrapped names: sections of a width and height
    [mm] as large as can be."""
    best: tuple[float, int, int, float, list[str]] = (-1.0, 1, 1, high, [])
    for columns in range(1, min(len(shown), MOST_COLUMNS) + 1):
        rows = -(-len(shown) // columns)
        cell = wide / columns
        names = [wrap(c.marked_name, cell - 0.25) + "\n" + "\n".join(
            wrap(line, cell - 0.1) for line in (*([] if ranked(c) else [NOT_RANKED]),
                                                *_result(c, p).split("\n")))
                 for c, p in shown]
        if width("step-off 0.12 mm") > cell - 0.1 and columns > 1:
            continue
        deep = (max(n.count("\n") + 1 for n in names) + 2.2) * LINE
        tall = max(high / rows, deep + 1.3)
        size = (min((tall - deep) / section[1], (cell - 0.15) / section[0])
                - 10.0 * max(0.0, tall * rows - high))
        if size > best[0] or not best[4]:
            best = (size, columns, rows, tall, names)
    return best[1:]


def _result(construct: ConstructResult, picture: Picture) -> str:
    load = next((r for r in construct.loads if r.total_load_N == picture.load_N), None)
    if load is None or load.status != Status.HELD:
        said = picture.status.split(": ")[0] if unmade(picture) else (
            picture.verdict or picture.status)
        unknown = load is not None and load.status == Status.UNCONVERGED and said != NOT_KNOWN
        return f"{said}\nmovement not known" if unknown else said
    words = _moved(load)
    if not words:
        return picture.verdict or picture.status
    return words if picture.verdict in ("", HOLDS) else f"{picture.verdict}\n{words}"


def _moved(load: LoadResult) -> str:
    """How far the joint has moved, by what constructs are ordered by; empty without a fragment."""
    places: dict[Level, dict[str, Any]] = {Level.FRAGMENT: load.fragments,
                                           Level.EDGE: load.edges}
    found = [(value, key) for level, key in MOVEMENT for place in places[level].values()
             if (value := getattr(place, key)) is not None]
    if not found:
        return ""
    most, key = max(found)
    name = "net subsidence" if key == "subsidence_net_mm" else NAMES[key]
    # Micrometres tell nothing of a construct: a hundredth of a millimetre is as far as this goes.
    return f"{name} {fixed(0.0 if abs(most) < NOISE_MM else most, 2)} mm"
