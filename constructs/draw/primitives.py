"""Primitives of the pictures: slide, colours, section with its deformation, arrows, files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch
from matplotlib.tri import Triangulation

from buttress import LABEL
from buttress.bone.pieces import Made
from buttress.draw.page import LABELLED, PaperFigure, page
from buttress.draw.raster import pixels, png
from buttress.draw.text import SIZE, families, plain, wrap
from buttress.fe.arrays import FloatArray
from buttress.results.picture import BodyPicture, MemberPicture, Picture

DPI = 110
KINDS = {"load": "#000000", "fracture": "#D55E00", "plate": "#0072B2", "screw": "#00785A",
         "wire": "#A0447C", "graft": "#8A6100"}
"""Colours of sources of force: Okabe and Ito's set, which colour-blind readers distinguish, the
lighter ones darkened so that text in them is legible."""
SERIES = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
MARKERS = "osD^vP*Xp<>h8dH"
STRAINS = "YlGnBu"
METAL = "#DADADA"
BONE = "#EDE6D6"
GRAFT = "#F3C97B"
RATIO = "largest principal strain / yield strain [-]"


def slide(height: float | None = None) -> Figure:
    """An empty slide, or in `page.paper` a figure of that width, with the educational label at its
    bottom, outside of pyplot's state; ``height`` in inches, usually that of the page."""
    now = page()
    kind = Figure if now.column_mm is None else PaperFigure
    figure = kind(figsize=(now.wide, now.high if height is None else height))
    label(figure)
    return figure


def label(figure: Figure) -> None:
    """Put the educational label at the bottom of a figure, once."""
    if any(t.get_gid() == LABELLED for t in figure.texts):
        return
    if isinstance(figure, PaperFigure):    # `PaperFigure.cut` puts it below all that is drawn
        figure.text(0.5, -0.05, wrap(LABEL, figure.get_figwidth() - 0.1), size=SIZE,
                    color="#444444", ha="center", va="top", linespacing=1.15, gid=LABELLED)
        return
    figure.text(0.5, 0.1 / figure.get_figheight(), LABEL, size=SIZE, color="#444444",
                ha="center", va="bottom", gid=LABELLED)


OWN = "made here"
"""What matplotlib calls axes that no caller has given: only these give way to their title."""


def axes_at(figure: Figure, left: float, bottom: float, wide: float, high: float) -> Axes:
    """Axes at a place of a figure given in inches."""
    w, h = figure.get_size_inches()
    ax = figure.add_axes((left / w, bottom / h, wide / w, high / h), label=OWN)
    ax.tick_params(labelsize=SIZE)
    return ax


def empty(name: str, x: str, y: str, *, scale: str = "linear") -> Axes:
    """Empty axes on a labelled slide, for a plot of one's own; room for a list on the right.

    ``scale``: that of x, as matplotlib calls it.
    """
    now = page()
    ax = axes_at(slide(), 1.2, 1.2, now.wide - (1.4 if now.narrow else 5.2), now.high - 2.2)
    ax.set_xscale(scale)
    ax.set_xlabel(plain(x), size=SIZE)
    ax.set_ylabel(plain(y), size=SIZE)
    ax.grid(alpha=0.25)
    title(ax, name, "")
    return ax


def listed(ax: Axes) -> Axes:
    """The list of what is drawn, beside the axes, in the order in which it was drawn."""
    unnamed = ("_child", "_container", "_nolegend_")
    drawn: list[Any] = [*ax.lines, *ax.containers]
    handles = [h for h in drawn if not str(h.get_label()).startswith(unnamed)]
    ax.legend(handles=handles, **beside(ax))
    return ax


def beside(ax: Axes, below: float = 0.65, aside: float = 1.02) -> dict[str, Any]:
    """Where and how the list of what is drawn stands: right of the axes, or in one column of a
    paper ``below`` them by that many inches. Options of ``Axes.legend``."""
    at = (0.0, -below / float(inches(ax)[1])) if narrow(ax) else (aside, 1.0)
    return {"loc": "upper left", "bbox_to_anchor": at, "fontsize": SIZE, "frameon": False,
            "borderaxespad": 0}


def narrow(ax: Axes) -> bool:
    """Whether axes stand in one column of a paper, where lists are below them."""
    return page().narrow and isinstance(ax.get_figure(root=True), PaperFigure)


def title(ax: Axes, name: str, words: str, within: float | None = None) -> None:
    """A name in bold over the axes, and what is to be said of it below the name; in a paper both
    are the caption. Words are no wider than ``within`` [in], where that is given; where they are so
    many that the name would leave the figure, the top of axes that were made here gives way."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    if isinstance(figure, PaperFigure):
        figure.caption = plain(". ".join(x for x in (name, words) if x)).replace(r"\$", "$")
        return
    room = figure.get_figwidth() * (1.0 - ax.get_position().x0) - 0.3
    below = wrap(words, room if within is None else within, 14) if words else ""
    for size in (16, 14, 12):
        lines = wrap(name, room, size, bold=True)
        if lines.count("\n") + below.count("\n") < 2:
            break
    pad = 34 + 17 * below.count("\n") if words else 12
    place, high = ax.get_position(), figure.get_figheight()
    over = (pad + 1.3 * size * (lines.count("\n") + 1)) / 72 + 0.05 - high * (1.0 - place.y1)
    if over > 0.0 and ax.get_label() == OWN:
        ax.set_position((place.x0, place.y0, place.width, place.height - over / high))
    if words:
        ax.text(0, 0.12 / (ax.get_position().height * figure.get_figheight()) + 1,
                below, size=14, transform=ax.transAxes, va="bottom")
    # A stated place: matplotlib would lay out all tick labels to find the same one.
    ax.set_title(lines, loc="left", size=size, weight="bold", family=families(), y=1.0,
                 pad=pad)


def headline(figure: Figure, words: str) -> None:
    """A title over everything, of a figure that is more than one plot; in a paper its caption."""
    if isinstance(figure, PaperFigure):
        figure.caption = words
        return
    figure.text(0.3 / figure.get_figwidth(), 1 - 0.55 / figure.get_figheight(), words, size=16,
                weight="bold")


def inches(ax: Axes) -> FloatArray:
    """Width and height of axes, inches."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    return np.array(ax.get_position().size) * figure.get_size_inches()


def series(number: int) -> dict:
    """Colour, dash and marker of the construct of that number: the same in every picture."""
    return {"color": SERIES[number % len(SERIES)], "linestyle": DASHES[number % len(DASHES)],
            "marker": MARKERS[number % len(MARKERS)]}


def round_number(value: float, steps: Sequence[float] = (1, 2, 3, 4, 5, 6, 8, 10)) -> float:
    """The round number nearest to a positive value (by ratio)."""
    if not value > 0 or not np.isfinite(value):
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    best = min(steps, key=lambda s: abs(np.log(s * power / value)))
    return float(best * power)


def largest_motion(picture: Picture) -> float:
    """Largest displacement of anything drawn, mm."""
    moves = [p.displacement for p in picture.bodies] + [p.displacement for p in picture.members]
    return max((float(np.hypot(*m.T).max(initial=0.0)) for m in moves), default=0.0)


def magnification(pictures: Sequence[Picture], target: float = 4.0) -> float:
    """Round factor, 1 or more, that draws the largest displacement of all about ``target`` mm."""
    largest = max((largest_motion(p) for p in pictures if p.held), default=0.0)
    return max(1.0, round_number(target / largest)) if largest > 0 else 1.0


def strain_top(pictures: Sequence[Picture]) -> float:
    """Upper end of a colour scale: a round number over nearly all nodal values, at most 1."""
    values = [b.value for p in pictures for b in p.bodies if b.value is not None]
    if not values:
        return 1.0
    high = float(np.quantile(np.concatenate(values), 0.995))
    steps = [s * 10.0 ** k for k in range(-4, 1) for s in (1, 2, 5)]
    return next((s for s in steps if s >= high and s <= 1.0), 1.0)


def strain_scale(top: float) -> ScalarMappable:
    """Colours of strain over yield strain, from 0 to ``top``."""
    return ScalarMappable(Normalize(0.0, top), mpl.colormaps[STRAINS])


def outline(triangles: np.ndarray) -> list[np.ndarray]:
    """Closed boundary loops of a T6 mesh as node numbers, mid-sides included."""
    sides = np.concatenate([triangles[:, [0, 3, 1]], triangles[:, [1, 4, 2]],
                            triangles[:, [2, 5, 0]]])
    once = np.bincount(sides[:, 1])[sides[:, 1]] == 1    # a mid-side node of one triangle only
    following: dict[int, list[tuple[int, int]]] = {}
    for a, middle, b in sides[once].tolist():
        following.setdefault(a, []).append((middle, b))
    loops = []
    while following:
        start = next(iter(following))
        loop, node = [start], start
        while node in following:
            middle, after = following[node].pop()
            if not following[node]:
                del following[node]
            loop += [middle, after]
            node = after
        loops.append(np.array(loop))
    return loops


def draw_outline(ax: Axes, bodies: Sequence[BodyPicture], factor: float = 0.0, **style: object
                 ) -> LineCollection:
    """Outlines of bodies, displaced by ``factor`` times their displacement."""
    lines = []
    for body in bodies:
        xy = body.points + factor * body.displacement
        lines += [xy[loop] for loop in outline(body.triangles)]
    art = LineCollection(lines, **style)  # type: ignore[arg-type]
    ax.add_collection(art, autolim=False)
    return art


def quarters(t: np.ndarray) -> np.ndarray:
    """The four straight triangles of each element ``(m, 6)``, between all of its nodes."""
    return np.concatenate([t[:, [0, 3, 5]], t[:, [3, 1, 4]], t[:, [5, 4, 2]], t[:, [3, 4, 5]]])


def draw_strain(ax: Axes, bodies: Sequence[BodyPicture], factor: float, scale: ScalarMappable,
                black: bool = True) -> None:
    """Deformed bodies coloured by their nodal value; one flat colour where there is none (NaN).

    ``black``: elements whose corners are on average over 1 (strain over yield) are filled black.
    All of it is drawn as an image in vector files, which keeps them small.
    """
    for body in bodies:
        xy = body.points + factor * body.displacement
        corners = body.triangles[:, :3]
        known = np.zeros(1, dtype=bool) if body.value is None else np.isfinite(body.value)
        if body.value is None or not known.all():
            # Filled along its outline: one shape, not an image of triangles.
            ax.add_collection(PolyCollection([xy[loop] for loop in outline(body.triangles)],
                                             facecolor=GRAFT if body.kind == Made.GRAFT else BONE,
                                             linewidth=0.0, zorder=1), autolim=False)
        if body.value is None or not known.any():
            continue
        small = quarters(body.triangles)
        small, value = small[known[small].all(axis=1)], np.where(known, body.value, 0.0)
        smooth: dict[str, Any] = {"shading": "gouraud", "cmap": scale.cmap, "norm": scale.norm}
        ax.tripcolor(Triangulation(xy[:, 0], xy[:, 1], small), value, rasterized=True, **smooth)
        over = value[corners].mean(axis=1) > 1.0
        if black and over.any():
            ax.add_collection(PolyCollection(xy[corners[over]], facecolor="black",
                                             linewidth=0.0, rasterized=True), autolim=False)


def draw_members(ax: Axes, members: Sequence[MemberPicture], factor: float) -> PolyCollection:
    """Plates and screws in their true width: grey metal, edged in the colour of their kind."""
    bands, colours = [], []
    for m in members:
        xy = m.points + factor * m.displacement
        along = np.diff(xy, axis=0)
        across = np.column_stack([-along[:, 1], along[:, 0]])
        across /= np.maximum(np.hypot(*across.T), 1e-12)[:, None]
        # One normal a node, the mean of its segments', so that a bend has no teeth.
        normal = np.concatenate([across[:1], (across[:-1] + across[1:]) / 2, across[-1:]])
        near = np.repeat(xy, 2, axis=0)[1:-1]
        half = np.repeat(normal, 2, axis=0)[1:-1] * np.repeat(m.width, 2)[:, None] / 2
        bands.append(np.concatenate([near - half, (near + half)[::-1]]))
        colours.append(KINDS.get(m.kind, "#444444"))
    art = PolyCollection(bands, facecolors=METAL, edgecolors=colours, linewidths=1.3)
    ax.add_collection(art, autolim=False)
    return art


def draw_arrows(ax: Axes, places: FloatArray, vectors: FloatArray, colour: str,
                tip: bool = False) -> None:
    """Arrows ``(n, 2)`` in units of the axes, their tails (or tips) at the places."""
    if len(places) == 0:
        return
    ax.quiver(*places.T, *vectors.T, angles="xy", scale_units="xy", scale=1.0, color=colour,
              pivot="tip" if tip else "tail", units="inches", width=0.022, headwidth=5,
              headlength=6, headaxislength=5.5, minlength=0.1, edgecolor="white", linewidth=0.5,
              zorder=5)


def draw_arrow(ax: Axes, start: Sequence[float] | FloatArray, end: Sequence[float] | FloatArray,
               **style: Any) -> None:
    """One arrow with a line style, from start to end in units of the axes."""
    look = {"color": "black", "linestyle": "-", "linewidth": 2.2} | style
    colour, head = look.pop("color"), 8.0 + 5.0 * float(look["linewidth"])  # type: ignore[arg-type]
    # The head is a second, solid artist, since a dashed line style would break its outline; the
    # shaft ends inside of it.
    ax.add_patch(FancyArrowPatch(start, end, arrowstyle="-", shrinkA=0.0, shrinkB=0.3 * head,  # type: ignore[arg-type]
                                 color=colour, zorder=6, capstyle="butt", **look))  # type: ignore[arg-type]
    ax.add_patch(FancyArrowPatch(start, end, arrowstyle="-|>", shrinkA=0.0, shrinkB=0.0,  # type: ignore[arg-type]
                                 mutation_scale=head, color=colour, linewidth=0.0, zorder=6))


def save(figure: Figure, folder: Path, stem: str, svg: bool = False) -> list[Path]:
    """Write a figure as PNG and, where asked, as SVG, one for a paper as PDF and SVG; the same
    figure gives the same bytes."""
    ends = ("pdf", "svg") if isinstance(figure, PaperFigure) else ("png", "svg")[:1 + svg]
    out = [Path(folder) / f"{stem}.{end}" for end in ends]
    for path in out:
        write(figure, path)
    return out


def write(figure: Figure, path: Path) -> None:
    """Write a figure as PNG or SVG, by the ending of the path; one for a paper as PDF, too."""
    if isinstance(figure, PaperFigure):
        figure.savefig(path)
        return
    svg = path.suffix.lower() == ".svg"
    with mpl.rc_context({"svg.hashsalt": "buttress", "svg.fonttype": "path",
                         "text.usetex": False, "savefig.bbox": None}):
        if svg:
            figure.savefig(path, dpi=DPI, metadata={"Date": None, "Creator": None})
        else:
            path.write_bytes(png(pixels(figure, DPI), DPI))
