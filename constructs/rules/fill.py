"""Rules of the trade for voids, grafts and rafts: the support of a raised joint fragment."""

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
from buttress.words import listed

BLOCK = "structural block"


def touching() -> float:
    """Distance within which an implant or a fill touches a piece, mm."""
    return number("screws", "rules", "touching")


def void_notes(study: Study, section: Section, found: Layout, construct: Construct
               ) -> Iterator[tuple[str, Note]]:
    """Findings on voids and their fillings: (part, note)."""
    for void in study.voids:
        above = sorted(found.above(void.name))
        fill = next((f for f in construct.fills if f.void == void.name), None)
        if fill is None:
            if above:
                yield void.name, (
                    "note", "void under a fragment",
                    "nothing fills the void under " + listed([f'"{n}"' for n in above]),
                    "over an empty void a fragment is supported by its edges and by metal only; "
                    "with nothing below, it subsides as far as these deform or fail")
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
                f'{100 * (1 - share):.0f} % of the void "{void.name}" remains empty'
                + (f": it is {deep:.0f} mm deep there, the filling {fill.depth_mm:g} mm"
                   if front < 1.0 else ""),
                "loose graft spreads into the free space as soon as it is loaded; a block leaves "
                "the bone next to it unsupported")
        if block:
            for note in _block(found, fill, figure):
                yield fill.name, note


def _void_depth(study: Study, section: Section, void: Polygon, above: Sequence[str]) -> float:
    """Depth of a void at its middle, mm: that of the bone, or of a shallower piece above it."""
    middle = void.representative_point()
    depths = [float(section.chord(np.array([middle.x, middle.y])))]
    depths += [f.depth_mm for f in study.fragments if f.name in above and f.depth_mm is not None]
    return min(depths)


def alone_notes(study: Study, section: Section, found: Layout, construct: Construct,
                placed: Sequence[Placed]) -> Iterator[tuple[str, Note]]:
    """Unsupported pieces, touched by no bone, graft, screw or plate: (part, note)."""
    for name, piece in found.alone.items():
        lines = [LineString([p.axis.head, p.axis.tip]) for p in placed]
        lines += [LineString(plate_line(section, p).points) for p in construct.plates]
        fills = [Polygon(fill_outline(study, f)) for f in construct.fills]
        near = [x.distance(piece) - outer(p.pin) / 2
                for x, p in zip(lines, placed, strict=False)]
        near += [x.distance(piece) for x in (*lines[len(placed):], *fills)]
        if min(near, default=math.inf) > touching():
            loaded = _loaded(study, section, piece)
            yield name, (
                "broken" if loaded else "warning", "piece held by nothing",
                "no bone, graft, screw or plate touches this piece" + (
                    ", and the joint force acts on it" if loaded else ""),
                "a piece surrounded by a void is unsupported: without load it is kept in place "
                "and is not part of the solution, with load there is no equilibrium")


def _loaded(study: Study, section: Section, piece: Polygon) -> bool:
    line = LineString(section.shape.joint_line())
    half = study.load.patch_width_mm / 2
    return any(p.share > 0 and piece.buffer(0.01).intersection(line.intersection(
        box(p.centre - half, -1e3, p.centre + half, 1e3))).length > touching()
        for p in patches(study))


def _block(found: Layout, fill: Fill, figure: Polygon) -> Iterator[Note]:
    """A block carries load like a post: it must touch the fragment above and the bone below."""
    near = number("grafts", "in use", "touching")
    for border, name in zip(ends(found.voids[fill.void]), ("fragment above", "bone below"),
                            strict=True):
        gap = figure.distance(border)
        if gap > near:
            yield ("broken", "block touches both ends",
                   f"the block ends {gap:.1f} mm short of the {name}",
                   "a block carries load like a post under a floor: with a gap at one end the "
                   "fragment subsides until the gap is closed")


def raft_notes(found: Layout, placed: Placed) -> Iterator[Note]:
    """Findings on a screw or wire close under the joint surface."""
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
                   f"the wire lies at {slope:.0f} degrees to the joint line",
                   "a wire close under the joint surface that is not parallel to it leaves "
                   "the fragment, or enters the joint if it migrates")
    raised = _raised(found)
    # What it supports is the raised pieces, without any the pieces of the joint.
    over = np.any([(inner[:, 0] >= piece.bounds[0]) & (inner[:, 0] <= piece.bounds[2])
                   for piece in (raised or found.articular).values()], axis=0)
    below = found.below(inner[over] if np.any(over) else inner)
    row = pin.count > 1 or (any(_overlap(inner, piece) > 0.0 for piece in raised.values())
                            and float(below.min()) <= zone)
    if not row or (isinstance(pin, Screw) and pin.use == "lag"):
        return
    yield from _level(placed, below)
    yield from _under(placed, inner, raised)


def _raised(found: Layout) -> dict[str, Polygon]:
    """Joint fragments above a void, by name."""
    return {n: p for void in found.voids for n, p in found.above(void).items()}


def _overlap(inner: np.ndarray, piece: Polygon) -> float:
    """Length in mm over which a segment and a piece overlap, seen from the joint."""
    left, _, right, _ = piece.bounds
    return float(min(right, inner[:, 0].max()) - max(left, inner[:, 0].min()))


def _level(placed: Placed, below: np.ndarray) -> Iterator[Note]:
    low, high = (number("screws", "in use", f"raft_{k}") for k in ("least", "most"))
    deepest, highest = float(below.max()), max(float(below.min()), 0.0)
    near = isinstance(placed.pin, Screw) and highest < low
    # One that does not follow the joint may lie too deep at one end and too high at the other.
    end, other = (" at one end", " at the other end") if deepest > high and near else ("", "")
    if deepest > high:
        yield ("warning", "raft below the joint",
               f"the raft lies {beside(deepest, high)} mm below the joint surface{end}, "
               f"more than {high:g} mm",
               "a raft supports the joint surface like the beams of a floor: the deeper it is, the "
               "more soft bone deforms between the two")
    if near:
        yield ("note", "raft below the joint",
               f"the raft lies {beside(highest, low)} mm below the joint surface{other}, less than "
               f"{low:g} mm",
               "screws this close to the joint surface may break through it")


def beside(value: float, limit: float) -> str:
    """A length in whole millimetres, finer where it would read like the limit that it breaks."""
    return next((text for digits in (0, 1, 2) if float(text := f"{value:.{digits}f}") != limit),
                f"{value:.3f}")


def _under(placed: Placed, inner: np.ndarray, raised: dict[str, Polygon]) -> Iterator[Note]:
    """Whether a raft passes through or close under the raised pieces and into the bone beyond."""
    if not raised:
        return
    met = {n: p for n, p in raised.items() if _overlap(inner, p) > 0.0}
    if not met:
        names = " or ".join(f'"{n}"' for n in sorted(raised))
        yield ("broken", "raft under the fragment", f"no part of the raft lies under {names}",
               "a raft supports only what lies above it")
    beyond = number("screws", "in use", "raft_beyond")
    for name, piece in sorted(met.items()):
        left, _, right, _ = piece.bounds
        short = max(inner[:, 0].min() - (left - beyond), (right + beyond) - inner[:, 0].max())
        if short > 0.0:
            yield ("warning", "raft under the fragment",
                   f'the raft extends less than {beyond:g} mm into the bone beyond "{name}"',
                   "a beam needs support at both ends: a raft under the fragment alone subsides "
                   "with it")
        gap = piece.distance(LineString(inner)) - outer(placed.pin) / 2
        if gap > number("screws", "in use", "rest_gap"):
            yield ("warning", "raft under the fragment",
                   f'there is a gap of {gap:.1f} mm between the raft and the underside of "{name}"',
                   "the fragment subsides until it rests on the raft")
