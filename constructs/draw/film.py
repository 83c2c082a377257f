"""An animation for slides: two constructs side by side under rising load, until one fails."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.images import few_colours, image_of
from buttress.draw.page import SLIDE
from buttress.draw.parts import draw_backdrop, draw_details, draw_escape
from buttress.draw.section import bounds, draw_loads, escaping
from buttress.draw.text import LINE, SIZE, wrap
from buttress.fe.errors import InputError
from buttress.results.picture import Picture
from buttress.results.records import worst_subsidence
from buttress.study.checked import require_known
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.sweeps.explore import Explorer, Live

RISE, REST = 24, 6
"""Frames while the load rises, and frames that rest on the last of them."""
FRAME_MS = 160
DPI = 72
LARGEST_MM = 12.0
"""The largest movement of all frames is drawn about that long."""
ESCAPE_STEP_MM, ESCAPE_MOST_MM = 1.0, 6.0
"""A fragment that moves freely is drawn that much farther in each frame: only a direction."""
Say = Callable[[str], None]


@dataclass(frozen=True)
class Shot:
    """One construct in one frame. ``loose``: frames since it has no equilibrium any more, or 0;
    ``before``: the last picture in which it was held."""

    live: Live
    loose: int
    before: Picture | None

    @property
    def picture(self) -> Picture:
        return self.live.picture


@dataclass(frozen=True)
class Film:
    """All frames: total load [N] and the shots of both constructs; one magnification for all."""

    study: Study
    loads: tuple[float, ...]
    frames: tuple[tuple[Shot, Shot], ...]
    factor: float
    top: float


def film(study: AnyStudy, first: str, second: str, *, say: Say = lambda text: None,
         rise: int = RISE) -> Film:
    """Answers of two constructs as the load rises to 1.2 times the study's largest.

    ``study``: see `compare`. A construct that has failed stays so. Raises InputError where they
    are not two constructs of the study.
    """
    study = as_study(study)
    if first == second:
        raise InputError("an animation shows two constructs", key="--motion", value=first,
                         expected="two different constructs of the study")
    names = [c.name for c in study.constructs]
    for name in (first, second):
        require_known(name, names, "construct", key="--motion")
    explorer = Explorer(study)
    loads = tuple(1.2 * max(study.load.total_N) * (i + 1) / rise for i in range(rise))
    frames: list[tuple[Shot, Shot]] = []
    for load in loads:
        say(f"frame at {load:.0f} N")
        shots = []
        for side, name in enumerate((first, second)):
            before = frames[-1][side] if frames else None
            live = before.live if before and before.loose else explorer.answer(name, load)
            loose = 0 if live.picture.held else (before.loose if before else 0) + 1
            shots.append(Shot(live, loose, live.picture if not loose else
                              before.before if before else None))
        frames.append((shots[0], shots[1]))
    pictures = [s.picture for pair in frames for s in pair]
    factor = d.magnification(pictures, LARGEST_MM)
    return Film(
        study=study, loads=loads, frames=tuple(frames), factor=factor, top=d.strain_top(pictures))


def draw_frame(made: Film, number: int) -> Figure:
    """One frame as a slide: two sections, the load above them, the outcome below."""
    figure = d.slide()
    load, pair = made.loads[number], made.frames[number]
    figure.text(0.5, 0.94, f"joint force {load:.0f} N", size=22, weight="bold", ha="center")
    pictures = [s.picture for s in pair]
    low, high = bounds([s.picture for f in made.frames for s in f if s.picture.held] or pictures,
                       made.factor)
    wide, high_in = SLIDE.wide / 2 - 0.6, 5.0
    for side, shot in enumerate(pair):
        ax = d.axes_at(figure, 0.3 + side * SLIDE.wide / 2, 1.3, wide, high_in)
        ax.axis("off")
        seen.frame(ax, shot.picture.view, low - 2, high + np.array([2.0, 16.0]), cell=True)
        _section(ax, shot, made)
        middle = (side + 0.5) / 2
        name = wrap(shot.live.construct, wide, 16, most=2, bold=True)
        figure.text(middle, 0.92, name, size=16, weight="bold", ha="center", va="top")
        figure.text(middle, 0.125, wrap(_words(shot), wide, 16), size=16, ha="center",
                    color=d.KINDS["fracture"] if shot.loose else "black")
    figure.text(0.5, (0.1 + 1.6 * LINE) / SLIDE.high,
                f"{pictures[0].view.all_words}; displacement × {made.factor:g} in both; without "
                "equilibrium: direction in which the fragment moves.\nDarkest: strain of "
                f"{made.top:g} of yield or more.",
                size=SIZE, ha="center", va="bottom")
    return figure


def _section(ax: Axes, shot: Shot, made: Film) -> None:
    picture, factor = _drawn(shot, made.factor), made.factor
    d.draw_outline(ax, picture.bodies, colors="#8A8A8A", linewidths=0.8, zorder=1.5)
    d.draw_strain(ax, picture.bodies, factor, d.strain_scale(made.top))
    d.draw_outline(ax, picture.bodies, factor, colors="black", linewidths=1.5, zorder=3)
    d.draw_members(ax, picture.members, factor).set_zorder(3.5)
    draw_details(ax, picture.members, factor, 3.6)
    draw_backdrop(ax, picture)
    if (body := escaping(shot.picture)) is not None:
        draw_escape(ax, body)
    draw_loads(ax, picture, made.study.load.direction_deg, 1.5)


def _drawn(shot: Shot, factor: float) -> Picture:
    """The picture of a shot; where loose, the last that was held, moved along the mechanism."""
    if not shot.loose:
        return shot.picture
    largest = max(d.largest_motion(shot.picture), 1e-12)
    on = min(shot.loose * ESCAPE_STEP_MM, ESCAPE_MOST_MM) / largest / factor

    def moved(now: Sequence[Any], before: Sequence[Any]) -> tuple[Any, ...]:
        return tuple(replace(p, displacement=on * p.displacement + b.displacement)
                     for p, b in zip(now, before, strict=True))

    start = shot.before or shot.picture
    if shot.before is None:
        start = replace(start, bodies=_still(start.bodies), members=_still(start.members))
    return replace(start, bodies=moved(shot.picture.bodies, start.bodies))


def _still(parts: Sequence[Any]) -> tuple[Any, ...]:
    return tuple(replace(p, displacement=0.0 * p.displacement) for p in parts)


def _words(shot: Shot) -> str:
    if shot.loose:
        return f"{shot.live.result.status} at {shot.picture.load_N:.0f} N"
    sunk = worst_subsidence(shot.live.result)
    return "held" if sunk is None else f"held, subsides {sunk:.3f} mm"


def write_film(made: Film, path: Path, say: Say = lambda text: None) -> Path:
    """The animation as a GIF that runs in a loop and rests on its last frame."""
    images = [image_of(draw_frame(made, i), DPI) for i in range(len(made.frames))]
    say("writing the animation")
    flat = few_colours(images)
    times = [FRAME_MS] * (len(flat) - 1) + [FRAME_MS * REST]
    flat[0].save(path, save_all=True, append_images=flat[1:], duration=times, loop=0,
                 optimize=False)
    return path
