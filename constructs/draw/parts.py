"""Parts of the picture of a section: ghosts that are no part of the model, the cortex, details of
implants, and the arrow of a body that moves freely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D

from buttress.draw import primitives as d
from buttress.fe.arrays import FloatArray
from buttress.results.picture import BodyPicture, MemberPicture, Picture

GREY = "#9A9A9A"
CORTEX, GHOST, DETAILS = "cortex", "ghosts", "details"
"""What these are called among the artists (their gid)."""
LEFT = "gaps and steps left by reduction are not drawn"
HEAD_MM, WASHER_MM = 2.6, 1.0
"""Drawn heights of a head and of a washer; only their diameters are part of the model."""


def draw_backdrop(ax: Axes, picture: Picture) -> None:
    """Ghosts beside the section, dashed and grey, and the inner border of the cortex."""
    back = picture.backdrop
    for name, xy in back.ghosts:
        # The tubercle stands in front of a coronal section, the others behind it.
        ax.add_collection(LineCollection(
            [xy if name == "fibula" else np.vstack([xy, xy[:1]])], colors=GREY, linewidths=0.9,
            linestyles=[(0, (4, 2.5))], zorder=2.5 if name == "tubercle" else 0.5, gid=GHOST),
            autolim=False)
    if back.cortex:
        ax.add_collection(LineCollection(list(back.cortex), colors="#6A6A6A", linewidths=0.7,
                                         linestyles=[(0, (1, 1.2))], zorder=2.5, gid=CORTEX),
                          autolim=False)


def ghost_words(pictures: Sequence[Picture]) -> str:
    """What is said under many sections of ghosts and of what is not drawn, if any."""
    names = ", ".join(dict.fromkeys(n for p in pictures for n in p.backdrop.names))
    return (f"; {names} (dashed, grey) are no part of the model" if names else "") + (
        f"; {LEFT}" if any(p.left for p in pictures) else "")


def backdrop_handles(picture: Picture) -> list[Artist]:
    """Entries of the list of lines for what `draw_backdrop` draws, and for what is not drawn."""
    out: list[Artist] = []
    if picture.left:
        out.append(Line2D([], [], linestyle="none", label=LEFT.replace(" are", "\nare")))
    if picture.backdrop.cortex:
        out.append(Line2D([], [], color="#6A6A6A", linewidth=0.9, linestyle=(0, (1, 1.2)),
                          label="inner border of the cortex"))
    if picture.backdrop.ghosts:
        names = ", ".join(dict.fromkeys(picture.backdrop.names))
        out.append(Line2D([], [], color=GREY, linewidth=1.0, linestyle=(0, (4, 2.5)),
                          label=f"{names}:\nnot part of the model"))
    return out


def draw_details(ax: Axes, members: Sequence[MemberPicture], factor: float, zorder: float) -> None:
    """Heads, washers, threads and holes, moved with their members."""
    boxes: list[FloatArray] = []
    threads: list[FloatArray] = []
    holes: list[FloatArray] = []
    for m in members:
        xy = m.points + factor * m.displacement
        if m.details.holes is not None:
            holes += [_hole(m, xy, *row) for row in m.details.holes.tolist()]
        if m.details.head > 0.0:
            along = (xy[1] - xy[0]) / np.hypot(*(xy[1] - xy[0]))
            height = WASHER_MM if m.details.washer else 0.0
            if m.details.washer:
                boxes.append(_box(xy[0], along, m.details.washer, -WASHER_MM))
            boxes.append(_box(xy[0] - height * along, along, m.details.head, -HEAD_MM))
        if m.details.thread is not None:
            threads += _teeth(m.points, xy, *m.details.thread)
    for shapes, face, kind in ((holes, "white", "plate"), (boxes, d.METAL, "screw")):
        if shapes:
            ax.add_collection(PolyCollection(shapes, facecolors=face, edgecolors=d.KINDS[kind],
                                             linewidths=0.8, zorder=zorder, gid=DETAILS),
                              autolim=False)
    if threads:
        ax.add_collection(LineCollection(threads, colors=d.KINDS["screw"], linewidths=0.7,
                                         zorder=zorder, gid=DETAILS), autolim=False)


def _box(start: FloatArray, along: FloatArray, wide: float, high: float) -> FloatArray:
    """A rectangle across an axis, ``high`` along it from ``start``."""
    side = 0.5 * wide * np.array([-along[1], along[0]])
    return np.array([start - side, start + side, start + side + high * along,
                     start - side + high * along])


def _teeth(line: FloatArray, moved: FloatArray, start: float, end: float, pitch: float,
           wide: float) -> list[FloatArray]:
    """A line across the axis at each pitch of the thread, as wide as the thread."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(start + pitch / 2, end, pitch)
    centre = np.column_stack([np.interp(at, s, moved[:, k]) for k in (0, 1)])
    after = np.column_stack([np.interp(at + 0.1, s, moved[:, k]) for k in (0, 1)])
    before = np.column_stack([np.interp(at - 0.1, s, moved[:, k]) for k in (0, 1)])
    along = (after - before) / np.hypot(*(after - before).T)[:, None]
    side = 0.5 * wide * np.column_stack([-along[:, 1], along[:, 0]])
    return [np.array([c - n, c + n]) for c, n in zip(centre, side, strict=True)]


def _hole(m: MemberPicture, moved: FloatArray, x: float, y: float, wide: float) -> FloatArray:
    """The gap of a hole in the band of a plate."""
    k = int(np.clip(np.hypot(*(m.points - [x, y]).T).argmin(), 1, len(moved) - 2))
    along = moved[k + 1] - moved[k - 1]
    along = along / np.hypot(*along)
    return _box(moved[k] - 0.5 * wide * along, along, float(m.width[k]), wide)


def draw_escape(ax: Axes, body: BodyPicture) -> None:
    """Arrow from the middle of a body that moves freely, along its mean motion."""
    move, start = body.displacement.mean(axis=0), body.points.mean(axis=0)
    d.draw_arrow(ax, start, start + 18.0 * move / max(float(np.hypot(*move)), 1e-12),
                 color=d.KINDS["fracture"], linewidth=4.0)
