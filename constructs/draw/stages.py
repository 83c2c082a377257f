"""Pictures of stages: the fragment after each stage, and forces of the screws along the stages."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from buttress.bone.pieces import Made
from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.page import page
from buttress.draw.parts import draw_backdrop, draw_details, draw_escape, ghost_words
from buttress.draw.section import HEADS_MM, bounds, drawn_factor, escaping
from buttress.draw.text import LINE, SIZE, width, wrap
from buttress.fe.arrays import FloatArray
from buttress.fe.status import Status
from buttress.results.picture import Picture
from buttress.results.stages import NOT_RUN, StagedResult, StageResult, screw_names
from buttress.words import BREAKS_RULE

FRAGMENT = "#F6C6A0"
"""Fill of the fragments, light enough for screws to be seen in them."""
MOST_COLUMNS = 6
LEAST_HIGH = 2.1
"""Inches of the section in a cell; where stages are many, the slide grows."""
BELOW = 8.0
"""Bone shown below the lowest fragment or implant, mm."""
ONE, MOST = "the fragment", " of the fragment that has sunk most"


def common_factor(constructs: Sequence[StagedResult]) -> float:
    """One magnification for all stages of all constructs."""
    return d.magnification([p for c in constructs for p in c.pictures if p is not None])


def stage_pictures(construct: StagedResult, *, ax: Axes | None = None,
                   factor: float | None = None) -> Axes:
    """The section after each stage of a construct: small multiples at one magnification.

    ``factor`` magnifies displacements, which count from the start (default: a round number that
    draws the largest as about 4 mm). With ``ax`` the cells lie inside of these axes, which are
    then a frame only; else on a slide, higher where stages are many.
    """
    factor = common_factor([construct]) if factor is None else factor
    shots = [p for p in construct.pictures if p is not None]
    figure: Figure
    if ax is None:
        columns, rows, text = _grid(construct, page().wide - 0.6)
        high = max(page().high, rows * (text + LEAST_HIGH) + 1.9)
        figure = d.slide(high)
        ax = d.axes_at(figure, 0.3, 1.0, page().wide - 0.6, high - 1.9)
    else:
        figure = ax.get_figure(root=True)  # type: ignore[assignment]
        d.label(figure)
        columns, rows, text = _grid(construct, d.inches(ax)[0])
    ax.axis("off")
    stopped = len(_run(construct)) < len(construct.stages)
    said = (f"{_fragments(construct)} after each stage" if construct.status == Status.HELD else
            construct.status + ("; later stages are not run" if stopped else ""))
    d.title(ax, construct.marked_name, "; ".join([
        said, *(p.view.all_words for p in shots[:1]),
        *([BREAKS_RULE] if construct.breaks_rule else [])]))
    if not shots:
        ax.text(0.5, 0.5, "no pictures of the stages", size=SIZE, ha="center")
        return ax
    low, high_xy = _window(shots, factor)
    box = d.inches(ax)
    cell = box / (columns, rows)
    size = high_xy - low
    # Small axes keep room for the bones.
    scale = float(min(max(cell[0] - 0.1, 0.5 * cell[0]) / size[0],
                      max(cell[1] - text - 0.1, 0.3 * cell[1]) / size[1]))
    cells = []
    for i, stage in enumerate(_run(construct)):
        row, column = divmod(i, columns)
        middle, y = (column + 0.5) * cell[0], box[1] - row * cell[1]
        ax.text(middle / box[0], (y - text + 0.3 * LINE) / box[1], _words(stage, cell[0]),
                size=SIZE, ha="center", va="bottom", linespacing=1.1, transform=ax.transAxes,
                color="black" if stage.held else d.KINDS["fracture"])
        wide, tall = max(cell[0] - 0.05, 0.5 * cell[0]), size[1] * scale
        cells.append(ax.inset_axes(((middle - wide / 2) / box[0], (y - text - tall) / box[1],
                                    wide / box[0], tall / box[1])))
        cells[-1].axis("off")
    figure.draw_without_rendering()    # gives the inset axes their places
    for inner, shot, stage in zip(cells, shots, construct.stages, strict=False):
        seen.frame(inner, shot.view, low, high_xy, scale, cell=True)
        draw_stage(inner, shot, stage, shots[0], factor)
    several = _fragments(construct) != ONE
    _foot(ax, factor, scale, box, (MOST if several else "") + ghost_words(shots))
    return ax


def _run(construct: StagedResult) -> list[StageResult]:
    """The stages that were run; the last of them may have no equilibrium."""
    return [s for s in construct.stages if s.status != NOT_RUN]


def draw_stage(ax: Axes, picture: Picture, stage: StageResult, first: Picture, factor: float
               ) -> None:
    """One stage: the start in grey, the bodies as they lie, what is placed, the load."""
    names = set(first_fragments(first, stage))
    factor = drawn_factor(picture, factor)
    for body in picture.bodies:
        xy = body.points + factor * body.displacement
        colour = d.GRAFT if body.kind == Made.GRAFT else FRAGMENT if body.name in names else d.BONE
        ax.add_collection(PolyCollection([xy[loop] for loop in d.outline(body.triangles)],
                                         facecolor=colour, edgecolor="black", linewidth=1.0,
                                         zorder=1), autolim=False)
    d.draw_outline(ax, first.bodies, colors="#777777", linewidths=0.8, linestyles=(0, (4, 2)),
                   zorder=3)
    moved = factor if picture.held else 0.0
    d.draw_members(ax, picture.members, moved).set_zorder(3.5)
    draw_details(ax, picture.members, moved, 3.6)
    draw_backdrop(ax, picture)
    runaway = escaping(picture)
    if runaway is not None:
        draw_escape(ax, runaway)
    top = max(float(b.points[:, 1].max()) for b in first.bodies)
    for left, right, force in picture.patches:
        if force > 0.0 and picture.held:
            x = 0.5 * (left + right)
            d.draw_arrow(ax, (x, top + 13.0), (x, top + 1.5), linewidth=1.6)


def first_fragments(first: Picture, stage: StageResult) -> list[str]:
    """Names of the bodies that are fragments; all but the last body of bone where unknown."""
    return list(stage.fragments) or [b.name for b in first.bodies if b.name != "shaft"]


def _window(shots: Sequence[Picture], factor: float) -> tuple[FloatArray, FloatArray]:
    """Corners of what is shown: all of the width, down to the lowest fragment or implant."""
    low, high = bounds(shots, factor)
    lowest = [float(m.points[:, 1].min()) for p in shots for m in p.members]
    pieces = [b for b in shots[0].bodies if b.points[:, 1].min() > low[1] + 1.0]
    lowest += [float(b.points[:, 1].min()) for b in pieces]
    low[1] = max(low[1] - 1.0, min(lowest, default=low[1]) - BELOW)
    beside = 0.5 * HEADS_MM
    return low - np.array([beside, 0.0]), high + np.array([beside, 13.5])


def _fragments(construct: StagedResult) -> str:
    """What the pictures show the places of, in words."""
    count = max((len(s.fragments) for s in construct.stages), default=1)
    return ONE if count <= 1 else "the fragments"


def _words(stage: StageResult, wide: float) -> str:
    """Number and words of a stage, and where the fragment that has sunk most lies."""
    worst = stage.worst
    lies = stage.status
    if stage.held and worst is not None and worst.subsidence_mean_mm is not None:
        sunk = round(worst.subsidence_mean_mm, 3) + 0.0
        lies = f"{'up' if sunk < 0 else 'down'} {abs(sunk):.3f} mm" if sunk else "0.000 mm"
    return wrap(f"{stage.number} {stage.words}", wide - 0.1) + "\n" + wrap(lies, wide - 0.1)


def _grid(construct: StagedResult, wide: float) -> tuple[int, int, float]:
    """Columns, rows, and height of the words of a cell [in]."""
    stages = _run(construct)
    count = len(stages)
    best = (-1.0, 1, count, LINE)
    # Even rows: of 10 stages five and five, not six and four.
    for columns in sorted({-(-count // rows) for rows in range(1, count + 1)}):
        narrow = columns > 1 and width("down 0.123 mm") > wide / columns - 0.1
        if columns > MOST_COLUMNS or narrow:
            break
        rows = -(-count // columns)
        deep = max(_words(s, wide / columns).count("\n") + 1 for s in stages)
        text = (deep + 0.6) * LINE
        # A section is about as wide as high; a cell is never lower than LEAST_HIGH.
        high = max((page().high - 1.9) / rows - text, LEAST_HIGH)
        over = max(0.0, rows * (high + text) + 1.9 - page().high)
        best = max(best, (min(high, wide / columns) - 0.2 * over, columns, rows, text))
    return best[1:]


def _foot(ax: Axes, factor: float, scale: float, box: FloatArray, ghosts: str) -> None:
    """Under the cells: length scale, magnification, what the colours mean."""
    y, long = -0.3 / box[1], 20.0 * scale
    ax.plot([0, long / box[0]], [y, y], color="black", linewidth=3, solid_capstyle="butt",
            transform=ax.transAxes, clip_on=False)
    words = (f"20 mm; displacement × {factor:g} from the start (dashed); fragments in colour; "
             f"up, down: mean movement of the joint surface{ghosts}")
    lines = wrap(words, box[0] - long - 0.2)
    ax.text((long + 0.1) / box[0], y + 0.5 * LINE / box[1], lines, size=SIZE, va="top",
            transform=ax.transAxes)


def screw_forces(construct: StagedResult, *, ax: Axes | None = None) -> Axes:
    """Force of each screw's head after each stage: what tightening the next one, and the load,
    leave of it. The list of stages is to the right of the axes."""
    now = page()
    if ax is None:
        ax = d.axes_at(d.slide(), 1.1, 1.2, now.wide - (1.3 if now.narrow else 5.1), now.high - 2.4)
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    room = now.wide - 2.0 if d.narrow(ax) else max(
        1.5, figure.get_figwidth() * (1 - ax.get_position().x1) - 0.4)
    held = [s for s in construct.stages if s.held]
    names = screw_names((construct,))
    for i, name in enumerate(names):
        at = [s.number for s in held if name in s.screws]
        ax.plot(at, [s.screws[name].force_N for s in held if name in s.screws],
                label=wrap(name, room - 0.6, most=2),
                markersize=9, linewidth=2.0, **d.series(i))
    count = len(construct.stages)
    ax.set_xticks(range(1, count + 1, 1 + count // 30))
    ax.set_xlabel("stage", size=SIZE)
    ax.set_xlim(0.5, count + 0.5)
    ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
    ax.set_ylabel("force of a screw's head [N]", size=SIZE)
    ax.grid(axis="y", color="#DDDDDD")
    ax.set_axisbelow(True)
    told = [wrap(f"{s.number} {s.words}" + ("" if s.held else f": {s.status}"), room, most=2)
            for s in construct.stages]
    lines = list(ax.lines)
    if d.narrow(ax):
        lines += [Line2D([], [], linestyle="none", label=text) for text in told]
    else:
        listed = [line for text in told for line in text.split("\n")]
        fit = int(d.inches(ax)[1] / LINE - 1.6 * len(names)) - 1
        if len(listed) > fit:
            listed = [*listed[:max(fit - 1, 1)], "and so on"]
        ax.text(1.02, 0.0, "\n".join(listed), size=SIZE, transform=ax.transAxes, va="bottom",
                linespacing=1.15)
    if lines:
        ax.legend(handles=lines, **d.beside(ax))
    d.title(ax, construct.marked_name, "force of each screw's head after each stage" + (
        f"; {BREAKS_RULE}" if construct.breaks_rule else ""))
    return ax
