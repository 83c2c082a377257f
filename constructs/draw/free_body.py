"""The free body of a fragment: every force where it acts, and the polygon that they close."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.path import Path as Outline

from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.page import page, whole_page
from buttress.draw.parts import draw_escape
from buttress.draw.section import escaping, outcome, unmade
from buttress.draw.text import LINE, SIZE, wrap
from buttress.fe.arrays import FloatArray
from buttress.fe.status import Status
from buttress.results.picture import Arrow, FreeBody, Picture
from buttress.study.checked import require_known
from buttress.study.view import View

COLUMN = 1.7
"""Width of a column of names, inches."""


def looks(arrows: tuple[Arrow, ...]) -> list[dict]:
    """Colour by kind of source, dash by its number within the kind."""
    seen: dict[str, int] = {}
    out = []
    for arrow in arrows:
        number = seen[arrow.kind] = seen.get(arrow.kind, -1) + 1
        out.append({"color": d.KINDS.get(arrow.kind, "#444444"),
                    "linestyle": d.DASHES[number % len(d.DASHES)]})
    return out


def closing(body: FreeBody) -> str:
    """In words how well the polygon closes."""
    total = sum(float(np.hypot(*a.force)) for a in body.arrows if a.kind == "load")
    largest = max((float(np.hypot(*a.force)) for a in body.arrows), default=0.0)
    if body.error <= 1e-6 * max(total, largest):
        return "It closes: the forces balance."
    of = f"{total:.0f} N of load" if total > 0 else f"a largest force of {largest:.0f} N"
    return f"It does not close: {body.error:.2g} N are missing, relative to {of}."


def free_body(picture: Picture, fragment: str, *, ax: Axes | None = None) -> Axes:
    """Free body of a fragment in ``ax``, and right of it the closed force polygon.

    Arrows end or begin where each source acts; one whose force passes beside it also turns the
    fragment, and its couple is stated with its newtons. Both parts use one scale, which is stated.
    Without equilibrium there are no forces to draw: the picture says so.
    With ``ax``, leave as much room right of it as it is wide; its ``child_axes[0]`` is the polygon.

    Raises InputError, with the closest name, for a fragment that the picture has not.
    """
    require_known(fragment, picture.fragments, "fragment")
    if ax is None:
        whole_page("free_body")
        ax = d.axes_at(d.slide(), 0.95, 1.15, (page().wide - 1.2) / 1.83, page().high - 2.2)
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    d.title(ax, f"{picture.marked_name}: free body of {fragment}", outcome(picture),
            within=d.inches(ax)[0])
    view = picture.view
    body = next((f for f in picture.free_bodies if f.fragment == fragment), None)
    piece = next(b for b in picture.bodies if b.name == fragment)
    low, high = piece.points.min(axis=0), piece.points.max(axis=0)
    d.draw_strain(ax, [replace(piece, value=None)], 0.0, d.strain_scale(1.0))
    d.draw_outline(ax, [piece], colors="black", linewidths=1.5, zorder=2)
    if body is None or not body.arrows:
        seen.frame(ax, view, low - 8, high + 8)
        if (gone := escaping(picture)) is not None:
            draw_escape(ax, gone)
        words = ("No equilibrium: no set of forces within the strength of the links closes."
                 if picture.status == Status.NO_EQUILIBRIUM else
                 "No forces on this fragment." if picture.held else
                 f"It {picture.status}. No load was applied, so there are no forces to draw."
                 if unmade(picture) else
                 f"No answer ({picture.status}), so no forces to draw.")
        ax.text(1.08, 0.5, wrap(words, 4.0), size=SIZE, va="center", transform=ax.transAxes)
        return ax
    style = looks(body.arrows)
    force = np.array([a.force for a in body.arrows])
    point = np.array([a.point for a in body.arrows])
    size = d.inches(ax)
    newtons = _newtons(force, low, high)
    ends = _ends(point, force * 10.0 / newtons, piece.points, d.outline(piece.triangles))
    every = np.concatenate([[low, high], *ends])
    lowest, highest = every.min(axis=0) - 2, every.max(axis=0) + 2
    tails = np.array([_outer(e, point[i]) for i, e in enumerate(ends)])
    left = seen.on_left(view, tails[:, 0], (low[0] + high[0]) / 2)
    room = min(COLUMN, 0.3 * float(size[0]))      # small axes keep room for the fragment
    column = np.array([room if left.any() else 0.05, room if not left.all() else 0.05])
    scale = float(min((size[0] - column.sum() - min(0.2, 0.1 * size[0])) / (highest[0] - lowest[0]),
                      size[1] / (highest[1] - lowest[1])))
    seen.frame(ax, view, *seen.widened(view, lowest, highest, *(column / scale)), scale)
    for (start, end), look in zip(ends, style, strict=True):
        d.draw_arrow(ax, start, end, **look)
    ax.plot(*point.T, linestyle="none", marker="o", markersize=4, color="black", zorder=7)
    names = [f"{a.source}\n{np.hypot(*a.force):.0f} N{_turning(a, view)}" for a in body.arrows]
    colours = [s["color"] for s in style]
    columns = seen.ends(view, lowest[0], highest[0])
    for hand, x in zip((True, False), columns, strict=True):
        mine = np.flatnonzero(left == hand)
        seen.leaders(ax, tails[mine], [names[i] for i in mine], [colours[i] for i in mine],
                     view=view, left=hand, x=x, room=room, scale=scale,
                     span=tuple(np.sort(ax.get_ylim()) + np.array([1.0, -1.0 - LINE / scale])))
    _polygon(ax, body, view, style, newtons, scale, size)
    return ax


def _turning(arrow: Arrow, view: View) -> str:
    """The couple of a source in N m, with its sense as drawn; empty without one."""
    if not arrow.couple_Nmm:
        return ""
    way = "counter-clockwise" if arrow.couple_Nmm * view.sign > 0.0 else "clockwise"
    return f" and a couple of {abs(arrow.couple_Nmm) / 1000.0:.2g} N m, {way}"


def _newtons(force: FloatArray, low: FloatArray, high: FloatArray) -> float:
    """Round number of newtons for 10 mm of arrow: the longest is 0.7 of the fragment."""
    longest = float(np.hypot(*force.T).max())
    return d.round_number(longest * 10.0 / (0.7 * float((high - low).max())),
                          (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10))


def _ends(point: FloatArray, vector: FloatArray, nodes: FloatArray, loops: list[np.ndarray]
          ) -> list[FloatArray]:
    """Start and end of each arrow: it ends at its point unless only the other way it is outside."""
    shapes = [Outline(nodes[loop]) for loop in loops]
    out = []
    for p, v in zip(point, vector, strict=True):
        before, after = (any(s.contains_point(q) for s in shapes) for q in (p - v, p + v))
        out.append(np.array([p, p + v] if before and not after else [p - v, p]))
    return out


def _outer(ends: FloatArray, point: FloatArray) -> FloatArray:
    """Where a label points to: a third from the end of the arrow that is off its point."""
    far = ends[0] if np.allclose(ends[1], point) else ends[1]
    return far + 0.15 * (point - far)


def _polygon(ax: Axes, body: FreeBody, view: View, style: list[dict], newtons: float,
             scale: float, size: FloatArray) -> None:
    """Forces tip to tail, in the order of the list, at the same scale."""
    other = ax.inset_axes((1.03, 0.0, 0.8, 1.0))
    other.set_title("Force polygon: the same arrows, tip to tail", size=SIZE, loc="left")
    other.set_xticks([])
    other.set_yticks([])
    step = np.array([a.force for a in body.arrows]) * 10.0 / newtons
    corner = np.concatenate([[[0.0, 0.0]], np.cumsum(step, axis=0)])
    low, high = corner.min(axis=0), corner.max(axis=0)
    wide = 0.8 * size[0]
    # Names stand on both sides of the polygon; the scale bar and the words lie below it.
    half = np.array([wide, size[1]]) / scale / 2
    column = min(COLUMN, 0.3 * wide)
    room = 2 * half - np.minimum([2 * column + 0.5, 1.7], 0.8 * 2 * half * scale) / scale
    ratio = float(min(1.0, *(room / np.maximum(high - low, 1e-9))))
    corner, low, high = corner * ratio, low * ratio, high * ratio
    middle = (low + high) / 2 - np.array([0.0, 0.45 / scale])
    seen.turn(other, view, middle - half, middle + half)
    for i, look in enumerate(style):
        d.draw_arrow(other, corner[i], corner[i + 1], **look)
    other.plot(0, 0, marker="o", markersize=7, color="black", zorder=7)
    mids = (corner[:-1] + corner[1:]) / 2
    left = seen.on_left(view, mids[:, 0], (low[0] + high[0]) / 2 - view.sign * 1e-9)
    gap = 0.25 / scale
    columns = seen.ends(view, low[0] - gap, high[0] + gap)
    for hand, x in zip((True, False), columns, strict=True):
        mine = np.flatnonzero(left == hand)
        seen.leaders(other, mids[mine], [body.arrows[i].source for i in mine],
                     [style[i]["color"] for i in mine], view=view, left=hand, x=x, room=column,
                     scale=scale, span=(middle[1] - half[1] + 1.1 / scale,
                                        middle[1] + half[1] - 1))
    bar = d.round_number(1.2 / scale * newtons / 10.0 / ratio, (1, 2, 5, 10))
    start = seen.ends(view, middle[0] - half[0], middle[0] + half[0])[0]
    seen.scale_bar(other, start + view.sign * 0.15 / scale, middle[1] - half[1] + 0.62 / scale,
                   view.sign * bar * 10.0 / newtons * ratio, f"{bar:g} N", scale)
    turns = " A couple turns the fragment without a force." if any(
        a.couple_Nmm for a in body.arrows) else ""
    same = "" if f"{ratio:.2g}" == "1" else f" Drawn {ratio:.2g} times as large as on the left."
    other.text(0.02, 0.015, wrap(closing(body) + turns + same, wide - 0.3), size=SIZE, va="bottom",
               transform=other.transAxes)
