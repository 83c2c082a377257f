"""Picture of the section: one construct deformed under a load."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from buttress.bone.bone import SHAFT
from buttress.bone.pieces import Made
from buttress.draw import parts, seen
from buttress.draw import primitives as d
from buttress.draw.fields import Colours, colour_bar, colours_of
from buttress.draw.page import page
from buttress.draw.text import SIZE
from buttress.fe.arrays import FloatArray
from buttress.fe.links.link import Kind
from buttress.fe.status import Status
from buttress.implants.kinds import Hold
from buttress.results.picture import BodyPicture, MemberPicture, Picture
from buttress.results.records import NOT_LOADED
from buttress.results.stress import STRAIN_RATIO
from buttress.words import BREAKS_RULE

ESCAPE_MM = 5.0
"""How far a fragment that moves freely is drawn along its motion."""
GROUP_MM = 12.0
"""Link forces within this length of a fracture, plate or screw are drawn as one arrow."""
WALLS_MM = 6.0
"""The same across it: the two walls of a graft, the two sides of a screw."""
LONGEST_MM = 15.0
"""About the length of the longest of these arrows as drawn: longer ones cross each other."""
LEAST_MM = -60.0
"""The section is drawn at least down to here and a little further [mm]."""
SHAFT_MM = 20.0
"""Shaft that is drawn below the lowest of metal and fragments, mm; the rest is cut off."""
BAR_ASIDE = 0.4
"""From the frame to the colour bar, inches: its first number stands half to the left of it."""
SHORTEST_MM = 1.0
"""Arrows shorter than this are specks and are left out."""
APART_MM = 6.0
"""From the heads of screws to the place on a plate that its name points to, if there is such."""
ON_BONE = (Kind.CONTACT, Hold.PLATE_ON_BONE, Hold.BEARING, Hold.THREAD, Hold.HEAD_ON_BONE,
           Hold.REST, Hold.WALL, Hold.PRESS_FIT, Kind.BOND)


def escaping(picture: Picture) -> BodyPicture | None:
    """The body that moves freely, where its motion can be drawn; else None."""
    body = next((b for b in picture.bodies if b.name == picture.escapes), None)
    return body if body is not None and body.displacement.any() else None


def drawn_factor(picture: Picture, factor: float | None = None) -> float:
    """Factor on displacements: magnification where held, else the length of the free motion."""
    if picture.held:
        return d.magnification([picture]) if factor is None else factor
    if escaping(picture) is None:
        return 0.0
    return ESCAPE_MM / d.largest_motion(picture)


def unmade(picture: Picture) -> bool:
    """Whether the construct is not loaded: it cannot be tightened, or gives way in its stages."""
    return picture.status.startswith(tuple(NOT_LOADED.values()))


def outcome(picture: Picture) -> str:
    """In words how a construct answers the load of its picture, and that it breaks a rule."""
    words = _answered(picture)
    return f"{words}; {BREAKS_RULE}" if picture.breaks_rule else words


def _answered(picture: Picture) -> str:
    load = f"{picture.load_words}, in this model"
    verdict = picture.verdict_words or picture.verdict or picture.status
    if picture.held:
        return f"{load}: {verdict}"
    if unmade(picture):
        return f"in this model: {picture.status}; drawn unloaded"
    if picture.status != Status.NO_EQUILIBRIUM:
        return f"{load}: {verdict} (no answer), drawn undeformed"
    if (body := escaping(picture)) is None:
        return f"{load}: {verdict}"
    return f"{load}: {verdict}; {body.name} moves freely along the arrow"


HEADS_MM = 9.0
"""Width beyond `bounds` that heads and washers on both sides need [mm]."""


def bounds(pictures: Sequence[Picture], factor: float | None) -> tuple[FloatArray, FloatArray]:
    """Corners of the smallest rectangle that holds all bodies and members [mm]."""
    xy = []
    for picture in pictures:
        shown: list[BodyPicture | MemberPicture] = [*picture.bodies, *picture.members]
        for k in (0.0, drawn_factor(picture, factor)):
            xy += [p.points + k * p.displacement for p in shown]
    every = np.concatenate(xy)
    return every.min(axis=0), every.max(axis=0)


def grouped(picture: Picture) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Forces on bone by kind of source: places ``(n, 2)`` and vectors ``(n, 2)``, N.

    Neighbours along a source are summed, so that arrows do not depend on the mesh.
    """
    links = picture.links
    kinds = {m.name: m.kind for m in picture.members}
    kinds |= {b.name: b.kind for b in picture.bodies if b.kind == Made.GRAFT}
    out: dict[str, tuple[list, list]] = {}
    for source in dict.fromkeys(links.sources):
        mine = np.array([s == source and k.startswith(ON_BONE)
                         for s, k in zip(links.sources, links.kinds, strict=True)])
        if not mine.any():
            continue
        places, forces = links.places[mine], links.forces[mine]
        # Cells along the source's principal directions: the two walls of a graft stay apart.
        centred = places - places.mean(axis=0)
        position = centred @ np.linalg.svd(centred, full_matrices=False)[2].T
        reach = np.maximum(np.ptp(position, axis=0), 1e-9)
        count = np.maximum(1, np.round(reach / (GROUP_MM, WALLS_MM)))
        cells = np.minimum((position - position.min(axis=0)) / reach * count, count - 1).astype(int)
        cell = np.unique(cells, axis=0, return_inverse=True)[1].reshape(-1)
        tails, vectors = out.setdefault(kinds.get(source, "fracture"), ([], []))
        size = np.hypot(*forces.T)
        for i in np.unique(cell):
            at = cell == i
            if size[at].sum() > 0:
                tails.append(size[at] @ places[at] / size[at].sum())
                vectors.append(forces[at].sum(axis=0))
    return {k: (np.array(t), np.array(v)) for k, (t, v) in out.items() if t}


def draw_section(ax: Axes, picture: Picture, factor: float, shown: Colours) -> None:
    """Undeformed outline, deformed bodies in colours of a field, plates and screws."""
    factor = drawn_factor(picture, factor)
    d.draw_outline(ax, picture.bodies, colors="#8A8A8A", linewidths=0.8, zorder=1.5)
    d.draw_strain(ax, shown.of(picture), factor, shown.scale, black=shown.strain)
    d.draw_outline(ax, picture.bodies, factor, colors="black", linewidths=1.2, zorder=3)
    moved = factor if picture.held else 0.0
    d.draw_members(ax, picture.members, moved).set_zorder(3.5)
    parts.draw_details(ax, picture.members, moved, 3.6)
    parts.draw_backdrop(ax, picture)
    body = escaping(picture)
    if body is not None:
        parts.draw_escape(ax, body)


def draw_loads(ax: Axes, picture: Picture, direction_deg: float, height: float) -> None:
    """Arrows of the joint force over its two patches, each with its newtons above."""
    angle = np.radians(direction_deg)
    push = np.array([np.sin(angle), -np.cos(angle)])
    for left, right, force in picture.patches:
        if force == 0.0:
            continue
        x = np.linspace(left + 1, right - 1, 5)
        tips = np.column_stack([x, np.full(5, height)])
        d.draw_arrows(ax, tips, np.tile(9.0 * push, (5, 1)), d.KINDS["load"], tip=True)
        above = tips.mean(axis=0) - 9.0 * push
        ax.text(above[0], above[1] + 1.5, f"{force:.0f} N", size=SIZE, ha="center", va="bottom")


def deformed(picture: Picture, *, ax: Axes | None = None, direction_deg: float = 0.0,
             factor: float | None = None, top: float | None = None,
             field: str = STRAIN_RATIO, tissue: str = "core") -> Axes:
    """Deformed section of a construct under a load.

    ``direction_deg`` is that of the joint force, as in the study; ``factor`` magnifies
    displacements (default: a round number that draws the largest as about 4 mm). ``field``: what
    colours the bodies, "strain ratio" (strain over yield strain), "von Mises stress" or "least
    principal stress" [MPa]; a stress is that of the ``tissue`` of bone, "core" (cancellous) or
    "cortex", and of fills; ``top`` ends its scale. Without equilibrium the failure mechanism is
    drawn, 5 mm long. The colour bar and the list of lines lie right of the axes: leave room for
    them. Raises InputError for an unknown field or tissue.
    """
    own = ax is None
    now = page()
    if ax is None:
        ax = d.axes_at(d.slide(), 0.95, 1.15, now.wide - (1.1 if now.narrow else 6.2),
                       now.high - (0.2 if now.narrow else 2.2))
    figure_of = ax.get_figure(root=True)
    assert figure_of is not None
    d.label(figure_of)
    factor = drawn_factor(picture, factor)
    shown = colours_of([picture], field, tissue, top)
    low, high = bounds([picture], factor)
    low[1] = max(low[1], lowest(picture) - SHAFT_MM)    # the shaft below says nothing more
    view = picture.view
    names = _names(picture, factor if picture.held else 0.0, (low[0] + high[0]) / 2)
    box = d.inches(ax)
    most = min(1.75, 0.3 * float(box[0]))      # small axes keep room for the bone
    column = np.array([most if side else min(0.15, most) for side in names])   # inches of names
    margin = np.array([8.0, 8.0])
    scale = float(min(box[1] / (high[1] - low[1] + 28.0),
                      (box[0] - column.sum()) / (high[0] - low[0] + margin.sum())))
    if own and not now.narrow:
        box[0] = (high[0] - low[0] + margin.sum()) * scale + column.sum()
        # Section and list together in the middle of the slide.
        start = max(0.95, (now.wide - box[0] - 3.9) / 2 + 0.2)
        ax.set_position((start / now.wide, ax.get_position().y0, box[0] / now.wide,
                         ax.get_position().height))
    seen.frame(ax, view, *seen.widened(view, low, high, *(column / scale + margin), below=4.0,
                                       above=24.0), scale)
    draw_section(ax, picture, factor, shown)
    if not unmade(picture):
        draw_loads(ax, picture, direction_deg, high[1] + 1.5)
    handles = _forces(ax, picture, factor) if picture.held else []
    columns = seen.ends(view, low[0] - 6, high[0] + 6)
    for hand, (anchors, words, colours) in enumerate(zip(*s, strict=True) if s else ((), (), ())
                                                     for s in names):
        seen.leaders(ax, np.array(anchors), words, colours, view=view, left=hand == 0,
                     scale=scale, x=columns[hand], room=most - 0.05, span=(low[1], high[1]))
    room = figure_of.get_figwidth() * (1 - ax.get_position().x1) - 1.1
    _list_of_lines(ax, picture, factor, handles, shown)
    if picture.held:
        at = ((0.0, -1.0 / box[1], 0.5, 0.15 / box[1]) if own and now.narrow
              else (1.0 + BAR_ASIDE / box[0], 0.13, min(0.5, max(room - BAR_ASIDE, 2.0) / box[0]),
                    0.035))
        bar = ax.inset_axes(at)
        colour_bar(bar, shown, 3, f"{shown.label}\n{shown.note}")
    d.title(ax, picture.marked_name, outcome(picture))
    return ax


def _forces(ax: Axes, picture: Picture, factor: float) -> list:
    """Arrows of the forces on bone; handles for the list of lines, with their scale."""
    groups = grouped(picture)
    largest = max((float(np.hypot(*v.T).max()) for _, v in groups.values()), default=0.0)
    if largest == 0.0:
        return []
    newtons = d.round_number(largest * 10.0 / LONGEST_MM, (1, 2, 5, 10))
    words = {"fracture": "the fracture on the fragment", "graft": "a filling on bone"}
    handles = []
    nodes = np.concatenate([b.points for b in picture.bodies])
    moves = np.concatenate([b.displacement for b in picture.bodies])
    for kind, (places, vectors) in groups.items():
        long = np.hypot(*vectors.T) * 10.0 / newtons > SHORTEST_MM
        places, vectors = places[long], vectors[long]
        near = [int(np.argmin(((nodes - p) ** 2).sum(axis=1))) for p in places]
        at = places + factor * moves[near]
        # A push ends at the face that it acts on; screws act inside of bone.
        d.draw_arrows(ax, at, vectors * 10.0 / newtons, d.KINDS[kind],
                      tip=kind not in ("screw", "wire"))
        what = words.get(kind, f"a {kind} on bone")
        handles.append(Line2D([], [], color=d.KINDS[kind], marker=">", markersize=9,
                              linestyle="none", label=f"force of {what}"))
    handles.append(Line2D([], [], linestyle="none",
                          label=f"10 mm of arrow = {newtons:g} N,\nsummed over {GROUP_MM:g} mm "
                                "of its source"))
    return handles


def _list_of_lines(ax: Axes, picture: Picture, factor: float, forces: list, shown: Colours
                   ) -> None:
    unloaded = unmade(picture)
    handles: list = [Line2D([], [], color="black" if unloaded else "#8A8A8A", linewidth=1,
                            label="before loading")]
    if picture.held:
        handles.append(Line2D([], [], color="black", linewidth=1.5,
                              label=f"loaded, displacement × {factor:g}"))
    elif factor:
        handles.append(Line2D([], [], color="black", linewidth=1.5,
                              label=f"failure mechanism, moved {ESCAPE_MM:g} mm:\n"
                                    "a direction, not an amount"))
    kinds = {m.kind for m in picture.members}
    handles += [Patch(facecolor=d.METAL, edgecolor=d.KINDS[k], label=f"{k}, true width")
                for k in ("plate", "screw", "wire") if k in kinds]
    handles += parts.backdrop_handles(picture)
    bodies = shown.of(picture)
    if any(b.kind == Made.GRAFT and b.value is None for b in bodies):
        handles.append(Patch(facecolor=d.GRAFT, edgecolor="black", label="filling"))
    if any(b.value is not None and np.isnan(b.value).any() for b in bodies):
        handles.append(Patch(facecolor=d.BONE, label=shown.without))
    if not unloaded:
        handles.append(Line2D([], [], color="black", marker="v", markersize=9, linestyle="none",
                              label="joint force"))
    legend = ax.legend(handles=[*handles, *forces], handlelength=1.6,
                       **d.beside(ax, 1.9 if picture.held else 0.85))
    legend.set_zorder(7)


def lowest(picture: Picture) -> float:
    """Lowest height of metal, fragments and fillings, mm; not above `LEAST_MM`."""
    found: list[BodyPicture | MemberPicture] = [
        *(b for b in picture.bodies if b.name != SHAFT), *picture.members]
    return min([LEAST_MM, *(float(p.points[:, 1].min()) for p in found)])


def _names(picture: Picture, factor: float, middle: float) -> tuple[list[tuple], list[tuple]]:
    """Anchor, name and colour of each plate, screw and fragment: those on the viewer's left and on
    the right of the middle."""
    view = picture.view
    sides: tuple[list[tuple], list[tuple]] = ([], [])
    pieces = [b for b in picture.bodies if b.kind == Made.BONE and b.name != SHAFT]
    if len(pieces) > 1:   # a single one needs no name
        for b in pieces:
            at = b.points.mean(axis=0) + factor * b.displacement.mean(axis=0)
            sides[int(not seen.on_left(view, at[0], middle))].append((at, b.name, "black"))
    heads = np.array([m.points[0] for m in picture.members if m.kind != "plate"]).reshape(-1, 2)
    for m in picture.members:
        xy = m.points + factor * m.displacement
        at = xy[0] if m.kind != "plate" else xy[_apart(m.points, heads)]
        sides[int(not seen.on_left(view, at[0], middle))].append(
            (at, m.name, d.KINDS.get(m.kind, "#444444")))
    return sides


def _apart(plate: FloatArray, heads: FloatArray) -> int:
    """The node of a plate to which its name points: low on it, and away from the heads of screws,
    to which names point as well."""
    usual, half = int(0.85 * (len(plate) - 1)), len(plate) // 2
    clear = np.array([np.hypot(*(heads - at).T).min(initial=np.inf) for at in plate[half:]])
    far = np.flatnonzero(clear >= min(APART_MM, float(clear.max())))
    return half + int(far[np.argmin(np.abs(far + half - usual))])
