"""Rules of the trade for voids, grafts and rafts: what is under a raised piece of joint surface."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from shapely import LineString, Polygon, box

from buttress.bone.layout import Layout, ends, fill_outline
from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.implants.placement import plate_line
from buttress.implants.sections import outer
from buttress.rules.screw import Level, Note, Placed
from buttress.study.study import Construct, Fill, Screw, Study, Wire
from buttress.study.tables import number

BLOCK = "structural block"
TOUCHES = 0.05  # mm


def void_notes(study: Study, section: Section, found: Layout, construct: Construct
               ) -> Iterator[tuple[str, Note]]:
    """What is said of voids and of what fills them: (part, note)."""
    for void in study.voids:
        above = sorted(found.above(void.name))
        fill = next((f for f in construct.fills if f.void == void.name), None)
        if fill is None:
            if above:
                yield void.name, (
                    "note", "void under a fragment", f'nothing fills the void under "{above[0]}"',
                    "over an empty void a fragment is held by its edges and by metal only; with "
                    "nothing below, it sinks as far as these give way")
            continue
        figure = Polygon(fill_outline(study, fill))
        deep = _void_depth(study, section, found.voids[void.name], above)
        front = 1.0 if fill.depth_mm is None else min(1.0, fill.depth_mm / deep)
        share = front * figure.area / found.voids[void.name].area
        block = fill.material == BLOCK
        if share < number("grafts", "in use", "full"):
            level: Level = "note" if block else "warning"
            yield fill.name, (
                level, "void partly empty",
                f'{100 * (1 - share):.0f} % of the void "{void.name}" stay empty'
                + (f": it is {deep:.0f} mm deep there, the filling {fill.depth_mm:g} mm"
                   if front < 1.0 else ""),
                "loose graft spreads into the free room as soon as it is loaded; a block leaves "
                "the bone beside it without support")
        if block:
            for note in _block(found, fill, figure):
                yield fill.name, note


def _void_depth(study: Study, section: Section, void: Polygon, above: Sequence[str]) -> float:
    """Depth of a void at its middle, mm: the bone's, or that of a less deep piece above it."""
    middle = void.representative_point()
    depths = [float(section.chord(np.array([middle.x, middle.y])))]
    depths += [f.depth_mm for f in study.fragments if f.name in above and f.depth_mm is not None]
    return min(depths)


def alone_notes(study: Study, section: Section, found: Layout, construct: Construct,
                placed: Sequence[Placed]) -> Iterator[tuple[str, Note]]:
    """Pieces that no bone, graft, screw or plate touches: (part, note)."""
    for name, piece in found.alone.items():
        lines = [LineString([p.axis.head, p.axis.tip]) for p in placed]
        lines += [LineString(plate_line(section, p).points) for p in construct.plates]
        fills = [Polygon(fill_outline(study, f)) for f in construct.fills]
        near = [x.distance(piece) - outer(p.pin) / 2
                for x, p in zip(lines, placed, strict=False)]
        near += [x.distance(piece) for x in (*lines[len(placed):], *fills)]
        if min(near, default=math.inf) > TOUCHES:
            loaded = _loaded(study, section, piece)
            yield name, (
                "broken" if loaded else "warning", "piece held by nothing",
                "no bone, graft, screw or plate touches this piece" + (
                    ", and the joint force acts on it" if loaded else ""),
                "a piece with a void all round it has nothing to stand on: without load it stays "
                "where it is and is no part of the answer, with load there is no equilibrium")


def _loaded(study: Study, section: Section, piece: Polygon) -> bool:
    line = LineString(section.shape.joint_line())
    half = study.load.patch_width_mm / 2
    return any(p.share > 0 and piece.buffer(0.01).intersection(line.intersection(
        box(p.centre - half, -1e3, p.centre + half, 1e3))).length > TOUCHES
        for p in patches(study))


def _block(found: Layout, fill: Fill, figure: Polygon) -> Iterator[Note]:
    """A block carries like a post: it must touch what it holds and what it stands on."""
    near = number("grafts", "in use", "touching")
    for border, name in zip(ends(found.voids[fill.void]), ("fragment above", "bone below"),
                            strict=True):
        gap = figure.distance(border)
        if gap > near:
            yield ("broken", "block touches both ends",
                   f"the block ends {gap:.1f} mm short of the {name}",
                   "a block carries like a post under a floor: with a gap at one end the fragment "
                   "sinks until the gap is closed")


def raft_notes(found: Layout, placed: Placed) -> Iterator[Note]:
    """What is said of a screw or wire close under the joint surface."""
    pin, axis = placed.pin, placed.axis
    inner = axis.point(np.linspace(*axis.in_bone, 41))
    zone = number("screws", "in use", "raft_zone")
    if float(found.below(inner).min()) > zone:
        return
    if isinstance(pin, Wire):
        slope = found.slope(axis.direction)
        limit = number("wires", "in use", "parallel")
        if slope > limit:
            yield ("warning", "wires parallel to the joint",
                   f"the wire runs at {slope:.0f} degrees to the joint line",
                   "a wire close under the joint surface that is not parallel to it runs out of "
                   "the fragment, or into the joint when it wanders")
    raised = _raised(found)
    row = pin.count > 1 or any(_overlap(inner, piece) > 0.0 for piece in raised.values())
    if not row or (isinstance(pin, Screw) and pin.use == "lag"):
        return
    yield from _level(placed, found.below(inner))
    yield from _under(placed, inner, raised)


def _raised(found: Layout) -> dict[str, Polygon]:
    """Joint pieces that lie on a void, by name."""
    return {n: p for void in found.voids for n, p in found.above(void).items()}


def _overlap(inner: np.ndarray, piece: Polygon) -> float:
    """Length in mm that a stretch and a piece have in common, seen from the joint."""
    left, _, right, _ = piece.bounds
    return float(min(right, inner[:, 0].max()) - max(left, inner[:, 0].min()))


def _level(placed: Placed, below: np.ndarray) -> Iterator[Note]:
    low, high = (number("screws", "in use", f"raft_{k}") for k in ("least", "most"))
    deepest, highest = float(below.max()), float(below.min())
    if deepest > high:
        yield ("warning", "raft below the joint",
               f"the raft lies {deepest:.0f} mm below the joint surface, "
               f"more than {high:g} mm",
               "a raft carries the joint surface like the beams of a floor: the further down, the "
               "more soft bone gives way between the two")
    if isinstance(placed.pin, Screw) and highest < low:
        yield ("note", "raft below the joint",
               f"the raft lies {highest:.0f} mm below the joint surface, less than {low:g} mm",
               "screws so close to the joint surface may break through it")


def _under(placed: Placed, inner: np.ndarray, raised: dict[str, Polygon]) -> Iterator[Note]:
    """Whether a raft passes through or close under the raised pieces, and on into bone."""
    if not raised:
        return
    met = {n: p for n, p in raised.items() if _overlap(inner, p) > 0.0}
    if not met:
        names = " or ".join(f'"{n}"' for n in sorted(raised))
        yield ("broken", "raft under the fragment", f"the raft passes nowhere under {names}",
               "a raft supports only what lies on it")
    beyond = number("screws", "in use", "raft_beyond")
    for name, piece in sorted(met.items()):
        left, _, right, _ = piece.bounds
        short = max(inner[:, 0].min() - (left - beyond), (right + beyond) - inner[:, 0].max())
        if short > 0.0:
            yield ("warning", "raft under the fragment",
                   f'the raft reaches less than {beyond:g} mm into the bone beyond "{name}"',
                   "a beam needs a support at both of its ends: under the fragment alone it sinks "
                   "with it")
        gap = piece.distance(LineString(inner)) - outer(placed.pin) / 2
        if gap > number("screws", "in use", "rest_gap"):
            yield ("warning", "raft under the fragment",
                   f'{gap:.1f} mm lie between the raft and the underside of "{name}"',
                   "the fragment sinks until it rests on the raft")
