"""The geometry of a study before anything is solved: where implants lie, and what the rules say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon as Shape
from shapely import LineString, Polygon
from shapely.geometry import MultiLineString

from buttress.bone.bone import SHAFT, build_meshes
from buttress.bone.patches import patches
from buttress.bone.pieces import Made
from buttress.bone.section import Section
from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.page import page, whole_page
from buttress.draw.section import LEAST_MM
from buttress.draw.text import LINE, SIZE, width, wrap
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.t6 import Mesh
from buttress.implants.placement import plate_line, screw_axis, thread_span
from buttress.implants.sections import outer, screw_form, section_at
from buttress.results.picture import BodyPicture, MemberPicture
from buttress.rules.check import Finding
from buttress.study.checked import require_known
from buttress.study.implants import Pin, Plate, Screw
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Construct, Study
from buttress.words import counted, fixed, marked, minus

COLUMN = 1.8
"""Width of a column of names, inches."""
BESIDE_MM, NUMBER_MM = 14.0, 4.5
"""From bone and metal to the columns of names, and from a plate to the numbers of its holes."""
AROUND_MM = 8.0
"""Above and below the section together."""
CUT_MM = 10.0
"""Shaft that is drawn below the lowest of metal and fragments."""
SAID = {"broken": "(!) breaks a rule of the trade", "warning": "warning"}
TOLD = tuple(SAID)
"""Levels of findings whose message is on the picture, in words; notes are counted."""
ANGLES = ("Angles of screws in a plate are to the perpendicular on the plate at the hole, those of "
          "others to the perpendicular on the long axis; positive: the tip lies closer to the "
          "joint than on that line.")
"""What the angle of a screw or wire is measured from."""
ENDINGS = (".png", ".svg")
GAP = 0.15
"""Between two constructs side by side, inches."""


@dataclass(frozen=True)
class _Label:
    """A name with what is to be said of it, and the point [mm] that it belongs to."""

    at: tuple[float, float]
    text: str
    colour: str


@dataclass(frozen=True)
class _Placed:
    """A construct in its section, as drawn; ``holes``: where their numbers stand, by plate."""

    bodies: tuple[BodyPicture, ...]
    members: tuple[MemberPicture, ...]
    fills: tuple[FloatArray, ...]
    holes: tuple[tuple[FloatArray, ...], ...]
    tips: tuple[FloatArray, ...]
    labels: tuple[_Label, ...]
    low: FloatArray
    high: FloatArray


def placed(study: AnyStudy, construct: str, findings: Sequence[Finding] = (), *,
           ax: Axes | None = None) -> Axes:
    """A construct where the study places it, before anything is solved.

    Plates with the numbers of their holes, screws and wires with angle, length and tip, each with
    its name. ``findings``, as from `check`, mark the parts that they concern by their numbers in
    the order of the construct's broken rules and warnings. ``study``: see `compare`; without
    ``ax`` on a slide of its own.

    Raises InputError for a construct that the study has not, and where something cannot be placed.
    """
    study = as_study(study)
    require_known(construct, [c.name for c in study.constructs], "construct")
    own = next(c for c in study.constructs if c.name == construct)
    if ax is None:
        whole_page("placed")
        ax = d.axes_at(d.slide(), 0.95, 1.2, page().wide - 1.6, page().high - 2.1)
        d.title(ax, _named(own.name, findings), ANGLES)
        return _draw(ax, study, _place(study, own, build_meshes(study)[0], findings), cell=False)
    return _draw(ax, study, _place(study, own, build_meshes(study)[0], findings), cell=True)


def sheet(study: Study, findings: Sequence[Finding]) -> Figure:
    """All constructs of a study where they are placed, each with the findings on it below."""
    meshes = build_meshes(study)[0]
    columns = min(2, len(study.constructs))
    wide = (page().wide - 0.6) / columns
    cells = []
    for construct in study.constructs:
        told = "\n".join(wrap(line, wide - 0.3) for line in _told(construct.name, findings))
        drawn = _place(study, construct, meshes, findings)
        name = wrap(_named(construct.name, findings), wide - 0.3, 14, bold=True)
        high = max(_scale(drawn, wide - GAP) * _size(drawn)[1], *(
            sum(n.count("\n") + 1.35 for n in texts) * LINE + 0.35
            for texts in (_texts(side) for side in _sides(study, drawn))))
        cells.append((name, drawn, told, high))
    rows = [cells[i:i + columns] for i in range(0, len(cells), columns)]
    head = "\n".join(wrap(line, page().wide - 0.6) for line in (
        f"{study.section.view.all_words}; as placed, before anything is solved. Bars over the "
        "joint line: contact patches; dots: tips, with x, y in mm, x "
        f"{study.section.sides[1]}, y over the joint line. {ANGLES}", *_told("", findings)))
    heights = [(max(n.count("\n") + 1 for n, *_ in row) * 1.25 * LINE,
                max(high for *_, high in row),
                max(t.count("\n") + 1 for _, _, t, _ in row) * 1.25 * LINE) for row in rows]
    top = 0.75 + (head.count("\n") + 1) * 1.25 * LINE + 0.25
    figure = d.slide(top + sum(map(sum, heights)) + 0.45 * len(rows) + 0.45)
    tall = figure.get_figheight()

    def write(text: str, left: float, above: float, **style: Any) -> None:
        figure.text(left / page().wide, 1 - above / tall, text, va="top", **style)

    write(wrap(study.title or study.name, page().wide - 0.6, 16, 1, bold=True), 0.3, 0.25, size=16,
          weight="bold")
    write(head, 0.3, 0.68, size=SIZE)
    y = top
    for row, (name_high, high, told_high) in zip(rows, heights, strict=True):
        for i, (name, drawn, told, _) in enumerate(row):
            left = 0.3 + i * wide
            write(name, left, y, size=14, weight="bold")
            ax = d.axes_at(figure, left, tall - y - name_high - high, wide - GAP, high)
            _draw(ax, study, drawn, cell=True)
            write(told, left, y + name_high + high + 0.1, size=SIZE)
        y += name_high + high + told_high + 0.45
    return figure


def draw_sheet(study: Study, findings: Sequence[Finding], path: Path) -> None:
    """Write the `sheet` of a study as PNG or SVG. Raises InputError where it cannot be written."""
    ending(path)
    try:
        d.write(sheet(study, findings), path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", key="--picture",
                         value=str(path), expected="a file in a folder that can be written to"
                         ) from None


def ending(path: Path) -> None:
    """Raise InputError unless a path ends as a picture does."""
    if path.suffix.lower() not in ENDINGS:
        raise InputError("unsupported kind of picture", key="--picture", value=str(path),
                         expected="a name that ends in " + " or ".join(ENDINGS))


def _numbered(construct: str, findings: Sequence[Finding]) -> list[Finding]:
    """Findings on a construct whose message is on the picture, in their order, from 1."""
    return [f for f in findings if f.construct == construct and f.level in TOLD]


def _named(construct: str, findings: Sequence[Finding]) -> str:
    """The name of a construct, marked where it breaks a rule of the trade."""
    return marked(construct, any(f.level == "broken" for f in findings
                                 if f.construct == construct))


def _told(construct: str, findings: Sequence[Finding]) -> list[str]:
    lines = [f"[{i}] {SAID[f.level]}: {f.part}: {f.message}" if construct else
             f"{SAID[f.level]}: {f.part}: {f.message}"
             for i, f in enumerate(_numbered(construct, findings), 1)]
    notes = sum(f.construct == construct and f.level not in TOLD for f in findings)
    if notes:
        lines.append(f"{counted(notes, 'note')}: see buttress check")
    return lines


def _place(study: Study, construct: Construct, meshes: Sequence[Mesh],
           findings: Sequence[Finding]) -> _Placed:
    section = Section(study.section)
    marks: dict[str, str] = {}
    for i, finding in enumerate(_numbered(construct.name, findings), 1):
        marks[finding.part] = marks.get(finding.part, "") + f" [{i}]"
    count = len(meshes) - len(study.voids)
    bodies = tuple(BodyPicture(
        m.name if "base" not in m.edges else SHAFT, m.points, m.triangles, np.zeros_like(m.points),
        kind=Made.BONE if i < count else Made.GRAFT) for i, m in enumerate(meshes))
    members, fills, holes, tips, labels = [], [], [], [], []
    for plate in construct.plates:
        member, numbered = _plate(section, plate)
        members.append(member)
        holes.append(numbered)
        at = member.points[int(0.85 * (len(member.points) - 1))]
        labels.append(_label(at, plate.name + marks.get(plate.name, ""), _plate_words(plate),
                             d.KINDS["plate"]))
    for pin in construct.pins:
        axis = screw_axis(section, pin, construct.plates)
        start = thread_span(pin, axis.length)[0]
        bends = [start] if 0.0 < start < axis.length else []    # a wire, a thread throughout: none
        members.append(_pin(pin, axis.point([0.0, *bends, axis.length])))
        tips.append(axis.tip)
        on_plate = isinstance(pin, Screw) and pin.plate is not None
        labels.append(_label(axis.tip if on_plate else axis.head,
                             pin.name + marks.get(pin.name, ""),
                             _pin_words(pin, axis.length, axis.tip), d.KINDS[pin.what]))
    for body in bodies[:count]:
        if body.name != SHAFT:
            labels.append(_label(body.points.mean(axis=0), body.name, "", "black"))
    for fill in construct.fills:
        void = next(v for v in study.voids if v.name == fill.void)
        made = fill.material or ", ".join(layer.material for layer in fill.layers or ())
        fills.append(np.array(fill.points_mm or void.points_mm))
        labels.append(_label(fills[-1].mean(axis=0), fill.name + marks.get(fill.name, ""), made,
                             d.KINDS["graft"]))
    for line in study.fractures:
        for points in _inside(section, line.points_mm)[:1]:
            labels.append(_label(points[np.argmin(points[:, 1])], line.name, "",
                                 d.KINDS["fracture"]))
    every = np.concatenate([*(b.points for b in bodies), *(m.points for m in members)])
    deep = [LEAST_MM, *(float(m.points[:, 1].min()) for m in members),
            *(float(b.points[:, 1].min()) for b in bodies if b.name != SHAFT)]
    low, high = every.min(axis=0), every.max(axis=0)
    low[1] = max(low[1], min(deep) - CUT_MM)
    return _Placed(bodies, tuple(members), tuple(fills), tuple(holes), tuple(tips), tuple(labels),
                   low, high)


def _label(at: FloatArray, name: str, words: str, colour: str) -> _Label:
    return _Label((float(at[0]), float(at[1])), f"{name}\n{words}" if words else name, colour)


def _plate(section: Section, plate: Plate) -> tuple[MemberPicture, tuple[FloatArray, ...]]:
    """A plate as drawn, and the places of the numbers of its holes, on its outer side."""
    line = plate_line(section, plate)
    middle = (line.s[:-1] + line.s[1:]) / 2
    width = np.array([section_at(plate, float(s)).thickness for s in middle])
    holes = []
    for s in line.holes:
        point, normal, _ = line.at(s)
        holes.append(point + normal * (section_at(plate, s).thickness + NUMBER_MM))
    return MemberPicture(plate.name, "plate", line.centre, np.zeros_like(line.centre),
                         width), tuple(holes)


def _plate_words(plate: Plate) -> str:
    return _packed([plate.section or counted(len(plate.segments or ()), "segment"),
                    f"{plate.length:g} mm", minus(f"top at {plate.top_mm:.3g}")])


def _pin(pin: Pin, points: FloatArray) -> MemberPicture:
    shaft = screw_form(pin.form).shaft if isinstance(pin, Screw) else None
    wide = outer(pin)
    return MemberPicture(pin.name, pin.what, points, np.zeros_like(points),
                         np.array([shaft or wide, wide])[-(len(points) - 1):])


def _pin_words(pin: Pin, length: float, tip: FloatArray) -> str:
    many = f"{pin.count} × " if pin.count > 1 else ""
    words = [many + (pin.form if isinstance(pin, Screw) else f"{outer(pin):g} mm wire"),
             f"{length:.0f} mm", minus(f"{pin.angle_deg:g}°")]
    if isinstance(pin, Screw) and pin.hole is not None:
        words += [f"hole {pin.hole}", *(["locked"] if pin.locked else [])]
    if pin.position_in_depth_mm:
        words.append(minus(f"z {pin.position_in_depth_mm:g}"))
    return _packed([*words, f"tip {fixed(float(tip[0]), 0)}, {fixed(float(tip[1]), 0)}"])


def _packed(words: Sequence[str]) -> str:
    """Pieces of a list in lines no wider than a column, broken between the pieces."""
    lines = [words[0]]
    for word in words[1:]:
        if width(f"{lines[-1]}, {word}") <= COLUMN - 0.05:
            lines[-1] += f", {word}"
        else:
            lines.append(word)
    return "\n".join(lines)


def _inside(section: Section, points: Sequence[Sequence[float]]) -> list[FloatArray]:
    """The stretches of a line in the section."""
    cut = LineString(points).intersection(Polygon(section.outline()[0]))
    lines = cut.geoms if isinstance(cut, MultiLineString) else [cut]
    return [np.array(x.coords) for x in lines if isinstance(x, LineString) and not x.is_empty]


def _sides(study: Study, drawn: _Placed) -> tuple[list[_Label], list[_Label]]:
    """Labels on the viewer's left and on the right of the section."""
    view, middle = study.section.view, (drawn.low[0] + drawn.high[0]) / 2
    sides: tuple[list[_Label], list[_Label]] = ([], [])
    for label in drawn.labels:
        sides[int(not seen.on_left(view, np.array(label.at[0]), middle))].append(label)
    return sides


def _texts(labels: Sequence[_Label]) -> list[str]:
    return ["\n".join(wrap(part, COLUMN - 0.05) for part in label.text.split("\n"))
            for label in labels]


def _size(drawn: _Placed) -> FloatArray:
    """Width and height that a construct takes with its holes' numbers, mm."""
    return drawn.high - drawn.low + np.array([2 * BESIDE_MM, AROUND_MM])


def _scale(drawn: _Placed, inches: float) -> float:
    """Inches per mm of a construct between its two columns of names."""
    return float((inches - 2 * _column(inches)) / _size(drawn)[0])


def _column(inches: float) -> float:
    """Width of a column of names; small axes keep room for the bone."""
    return min(COLUMN, 0.3 * inches)


def _draw(ax: Axes, study: Study, drawn: _Placed, *, cell: bool) -> Axes:
    figure = ax.get_figure(root=True)
    assert figure is not None
    d.label(figure)
    view, section, box = study.section.view, Section(study.section), d.inches(ax)
    low, high = drawn.low, drawn.high
    scale = min(_scale(drawn, float(box[0])), float(box[1] / _size(drawn)[1]))
    column = _column(float(box[0]))
    room = column / scale + BESIDE_MM
    seen.frame(ax, view, *seen.widened(view, low, high, room, room, above=4.0), scale, cell=cell,
               foot=True)
    if cell:
        ax.axis("off")
    bone = [b for b in drawn.bodies if b.kind == Made.BONE]
    d.draw_strain(ax, bone, 0.0, d.strain_scale(1.0))
    for fill in drawn.fills:
        ax.add_patch(Shape(fill, facecolor=d.GRAFT, edgecolor="black", linewidth=0.8, zorder=1.5))
    d.draw_outline(ax, drawn.bodies, colors="black", linewidths=1.0, zorder=2)
    for line in study.fractures:
        for points in _inside(section, line.points_mm):
            ax.plot(*points.T, color=d.KINDS["fracture"], linewidth=2.2, zorder=2.5)
    for patch in patches(study):
        x = patch.centre + study.load.patch_width_mm / 2 * np.array([-1.0, 1.0])
        if patch.share > 0.0:
            ax.plot(x, section.joint(x) + 2.0, color=d.KINDS["load"], linewidth=4.0,
                    solid_capstyle="butt", zorder=3)
    d.draw_members(ax, drawn.members, 0.0).set_zorder(3.5)
    if drawn.tips:
        ax.plot(*np.array(drawn.tips).T, "o", color="black", markersize=4, zorder=6)
    for number, at in (x for lane in drawn.holes for x in enumerate(lane, 1)):
        ax.text(float(at[0]), float(at[1]), str(number), size=SIZE, ha="center", va="center",
                color=d.KINDS["plate"], zorder=7,
                bbox={"facecolor": "white", "linewidth": 0.0, "pad": 0.6})
    middle = (low[0] + high[0]) / 2
    columns = seen.ends(view, low[0] - BESIDE_MM, high[0] + BESIDE_MM)
    bottom = ax.get_ylim()[0] + 0.3 / scale     # above the side marker
    for hand, labels in enumerate(_sides(study, drawn)):
        seen.leaders(ax, np.array([label.at for label in labels]).reshape(-1, 2),
                     [label.text for label in labels], [label.colour for label in labels],
                     view=view, x=columns[hand], room=column - 0.05, scale=scale,
                     left=hand == 0, span=(bottom, ax.get_ylim()[1]),
                     lanes=[lane for lane in drawn.holes
                            if seen.on_left(view, lane[0][0], middle) == (hand == 0)])
    return ax

