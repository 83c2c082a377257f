"""Contact pressure along fractures, under plates and round fills, drawn on the section."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from buttress.bone.pieces import Made
from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.page import page, whole_page
from buttress.draw.section import outcome
from buttress.draw.text import SIZE, wrap
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.results.contacts import ContactLine
from buttress.results.picture import Picture
from buttress.results.records import ContactResult, LoadResult
from buttress.study.view import View

REACH = 14.0
"""Height [mm] at which the largest 95th percentile of all lines is drawn, about."""
CUT = 22.0
"""Higher pressures are cut off at this height [mm]: peaks at corners would cover the rest."""
COLUMN = 2.3
"""Width of a column of labels, inches."""
NOISE = 1e-6
"""Pressures below this [MPa] are rounding, and said as 0."""
SIGNS = 2.6
"""Width of the list of signs next to the axes, inches."""
WORDS = {"fracture": "along a fracture", "plate": "under a plate", "graft": "on a filling's face"}


def contact_pressure(picture: Picture, load: LoadResult, *, ax: Axes | None = None) -> Axes:
    """Pressure of a construct under a load as bands that stand on the lines where bodies touch.

    Each line is labelled with its name, the share of its length in contact and its pressures.
    With ``ax``, leave room below it for the list of signs. Raises InputError where the picture and
    the result are of different loads.
    """
    if load.total_load_N != picture.load_N:
        raise InputError("picture and result are of different loads", key="load",
                         value=f"{load.total_load_N:g} N", expected=f"{picture.load_N:g} N")
    shown = [x for x in picture.contacts if x.name in load.contacts]
    per_mm = _scale([load.contacts[x.name] for x in shown])
    low, high = _corners(picture, shown, per_mm)
    slide, now = ax is None, page()
    beside = _sides(shown, per_mm, picture.view, low, high) if slide else (True, True)
    room = now.wide - 1.4 - SIGNS
    if slide:
        whole_page("contact_pressure")
    box = np.array([room, now.high - 2.25]) if ax is None else d.inches(ax)
    column = min(COLUMN, 0.3 * float(box[0]))      # small axes keep room for the bone
    names = column * sum(beside)
    scale = float(min(box[1] / (high[1] - low[1] + 4.0),
                      (box[0] - names) / (high[0] - low[0] + 10.0)))
    if ax is None:
        # No wider than what it shows; the legend is next to it, all in the middle.
        box[0] = names + (high[0] - low[0] + 10.0) * scale
        ax = d.axes_at(d.slide(), 0.95 + (room - box[0]) / 2, 1.15, *box)
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    words = "" if picture.held else ", so there is no pressure to draw"
    d.title(ax, f"{picture.marked_name}: contact pressure", outcome(picture) + words)
    rooms = (column / scale * there + 5.0 for there in beside)
    seen.frame(ax, picture.view, *seen.widened(picture.view, low, high, *rooms, below=1.0,
                                               above=3.0), scale)
    for body in picture.bodies:
        ax.add_collection(PolyCollection(
            [body.points[loop] for loop in d.outline(body.triangles)],
            facecolor=d.GRAFT if body.kind == Made.GRAFT else d.BONE, linewidth=0.0, zorder=1),
            autolim=False)
    d.draw_outline(ax, picture.bodies, colors="#555555", linewidths=0.9, zorder=2)
    d.draw_members(ax, picture.members, 0.0).set(zorder=1.5, alpha=0.45)
    for line in shown:
        _band(ax, line, per_mm)
    _labels(ax, shown, load, picture.view, (low, high), per_mm, scale, column)
    _signs(ax, shown, [load.contacts[x.name] for x in shown], per_mm, slide)
    return ax


def _corners(picture: Picture, lines: list[ContactLine], per_mm: float
             ) -> tuple[FloatArray, FloatArray]:
    """Corners of what is drawn; the shaft below every line of contact is cut off."""
    bone = np.concatenate([b.points for b in picture.bodies])
    bands = [x.places + _heights(x, per_mm) for x in lines]
    every = np.concatenate([bone, *bands])
    low, high = every.min(axis=0), every.max(axis=0)
    lowest = min((float(x.places[:, 1].min()) for x in lines), default=0.0)
    low[1] = max(low[1], min(lowest - 12.0, -60.0))
    return low, high


def _scale(results: list[ContactResult]) -> float:
    """MPa per millimetre of height: a round number for 10 mm."""
    usual = max((r.pressure_p95_MPa or 0.0 for r in results), default=0.0)
    if usual <= 0.0:
        usual = max((r.pressure_max_MPa or 0.0 for r in results), default=0.0)
    return d.round_number(usual * 10.0 / REACH, (1, 2, 5, 10)) / 10.0 if usual > 0 else 1.0


def _heights(line: ContactLine, per_mm: float) -> FloatArray:
    """From each node to the top of its band ``(k, 2)`` mm; outside of a fill, where is room."""
    height = np.clip(line.pressure / per_mm, -CUT, CUT)[:, None] * line.normals
    first = np.array([line.pairs[k][0] == line.name for k in line.pair])[:, None]
    return np.where(first, height, -height) if line.kind == "graft" else height


def _band(ax: Axes, line: ContactLine, per_mm: float) -> None:
    """The pressure of each pair of bodies as a band on their common face."""
    colour = d.KINDS[line.kind]
    tips = line.places + _heights(line, per_mm)
    for k in range(len(line.pairs)):
        mine = np.flatnonzero(line.pair == k)
        # A fill's outline is walked round: its start may lie in the middle of a face.
        gaps = np.hypot(*np.diff(line.places[mine], axis=0).T)
        apart = np.flatnonzero(gaps > 3.0 * max(float(np.median(gaps)) if gaps.size else 0.0,
                                                1e-9)) + 1
        for run in np.split(mine, apart):
            band = np.concatenate([line.places[run], tips[run][::-1]])
            ax.add_collection(PolyCollection([band], facecolor=colour, alpha=0.55, linewidth=0.0,
                                             zorder=3), autolim=False)
            ax.add_collection(LineCollection([line.places[run]], colors=colour, linewidths=2.0,
                                             zorder=3.2), autolim=False)
            ax.add_collection(LineCollection([tips[run]], colors=colour, linewidths=1.0,
                                             zorder=3.1), autolim=False)


def _anchors(lines: list[ContactLine], per_mm: float) -> FloatArray:
    """Where the label of each line points ``(n, 2)``: its largest pressure, else its middle."""
    out = []
    for line in lines:
        k = int(np.argmax(line.pressure)) if line.touching.any() else len(line.places) // 2
        out.append(line.places[k] + 0.5 * _heights(line, per_mm)[k])
    return np.array(out).reshape(-1, 2)


def _sides(lines: list[ContactLine], per_mm: float, view: View, low: FloatArray, high: FloatArray
           ) -> tuple[bool, bool]:
    """Whether labels stand on the viewer's left, and on the right."""
    left = seen.on_left(view, _anchors(lines, per_mm)[:, 0], float((low[0] + high[0]) / 2))
    return bool(left.any()), bool((~left).any())


def _labels(ax: Axes, lines: list[ContactLine], load: LoadResult, view: View,
            corners: tuple[FloatArray, FloatArray], per_mm: float, scale: float,
            column: float) -> None:
    low, high = corners
    at = _anchors(lines, per_mm)
    texts = [f"{line.name}\n{_words(load.contacts[line.name])}" for line in lines]
    colours = [d.KINDS[line.kind] for line in lines]
    left = seen.on_left(view, at[:, 0], float((low[0] + high[0]) / 2))
    columns = seen.ends(view, float(low[0] - 4.0), float(high[0] + 4.0))
    for hand, x in zip((True, False), columns, strict=True):
        mine = np.flatnonzero(left == hand)
        seen.leaders(ax, at[mine], [texts[i] for i in mine], [colours[i] for i in mine],
                     view=view, left=hand, x=x, room=column - 0.1, scale=scale,
                     span=(float(low[1]), float(high[1]) + 2.0))


def _words(result: ContactResult) -> str:
    """Share in contact and pressures of a line, in short lines."""
    if not result.contact_share:
        return "does not touch"
    most = _figure(result.pressure_p95_MPa)
    return (f"touches along {100.0 * result.contact_share:.0f} %;\n"
            f"mean {_figure(result.pressure_mean_MPa)} MPa;\n"
            + ("95 % of it bears nothing;\n" if most == "0" else f"95 % of it below {most} MPa;\n")
            + f"highest {_figure(result.pressure_max_MPa)} MPa")


def _figure(value: float | None) -> str:
    if value is None:
        return "–"
    if abs(value) < NOISE:
        return "0"
    return f"{value:.2g}" if abs(value) < 10 else f"{value:.0f}"


def _signs(ax: Axes, lines: list[ContactLine], results: list[ContactResult], per_mm: float,
           beside: bool) -> None:
    """What colours and heights mean: next to the axes, or below them on the right."""
    kinds = [k for k in WORDS if any(x.kind == k for x in lines)]
    if not kinds:
        return
    handles: list = [Patch(facecolor=d.KINDS[k], alpha=0.55, label=WORDS[k]) for k in kinds]
    cut = any((np.abs(x.pressure) > CUT * per_mm).any() for x in lines)
    height = f"10 mm of height = {10.0 * per_mm:g} MPa" + (
        f", cut off at {CUT * per_mm:g} MPa" if cut else "")
    peaked = any((r.pressure_mean_MPa or 0.0) > (r.pressure_p95_MPa or 0.0) for r in results)
    pulls = any((x.force < 0.0).any() for x in lines)
    said = ("pressure: force across the faces over their area; figures are of the whole length of "
            "a line"
            + ("; a mean above the figure of 95 %: a few points carry most of the force"
               if peaked else "")
            + ("; on the other side of a band bonded faces pull" if pulls else ""))
    if beside:
        ax.legend(handles=handles, handlelength=1.2, **d.beside(ax, aside=1.03))
        room = SIGNS - 0.3
        ax.annotate(wrap(height, room) + "\n\n" + wrap(said, room), (1.03, 1.0),
                    (0, -14 - 1.8 * SIZE * len(kinds)), xycoords="axes fraction",
                    textcoords="offset points", size=SIZE, va="top", color="#444444",
                    annotation_clip=False)
        return
    handles.append(Line2D([], [], linestyle="none", label=height))
    words = ax.legend(handles=handles, loc="upper right", fontsize=SIZE, frameon=False, ncol=4,
                      bbox_to_anchor=(1.0, -0.065), borderaxespad=0.1, handlelength=1.2,
                      columnspacing=1.2)
    words.set_zorder(7)
    ax.text(1.0, -0.165, said, size=SIZE, ha="right", va="center", color="#444444",
            transform=ax.transAxes)
