"""An animation for slides: two joints pressed side by side, to the peak and past it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from buttress.bone.patches import shown_share
from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.images import few_colours, image_of
from buttress.draw.page import SLIDE
from buttress.draw.parts import draw_backdrop, draw_details, draw_escape
from buttress.draw.section import bounds, draw_loads, escaping
from buttress.draw.text import LINE, SIZE, wrap
from buttress.fe.errors import InputError
from buttress.results.picture import Picture
from buttress.results.records import largest
from buttress.rules.check import check
from buttress.study.checked import require_known
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.sweeps.explore import LARGEST_N, LEAST_N, Explorer, Live, Way
from buttress.words import BREAKS_RULE, marked

FRAMES, REST = 24, 6
"""Frames in which the joint is pressed, and frames that rest on the last of them."""
FRAME_MS = 160
DPI = 72
LARGEST_MM = 12.0
"""The largest movement of all frames is drawn about that long."""
PAST = 1.4
"""The joint is pressed so many times as far as to the last peak."""
QUICKER = 2.0
"""Steps grow along the film with this power less one: stiff constructs give way early."""
ESCAPE_STEP_MM, ESCAPE_MOST_MM = 1.0, 6.0
"""What has given way is drawn that much farther in each frame: only a direction."""
Say = Callable[[str], None]


@dataclass(frozen=True)
class Shot:
    """One construct in one frame. ``words``: what becomes of it; ``past``: its peak is behind it;
    ``loose``: frames since it has given way, or 0, and ``before``: its last picture until then."""

    live: Live
    words: str
    past: bool = False
    loose: int = 0
    before: Picture | None = None

    @property
    def picture(self) -> Picture:
        """Its section as it is in this frame."""
        return self.live.picture


@dataclass(frozen=True)
class Film:
    """All frames: how far the ram presses [mm] and the shots of both constructs; one
    magnification for all. ``against``: those of them that break a rule of the trade.

    The ram's way is that of the whole joint force: of a slice, which takes a ``share`` of it, the
    joint moves farther (`joint_mm`)."""

    study: Study
    pressed_mm: tuple[float, ...]
    frames: tuple[tuple[Shot, Shot], ...]
    factor: float
    top: float
    against: tuple[str, ...] = ()
    share: float = 1.0

    def joint_mm(self, number: int) -> float:
        """How far the patches of contact are pressed along the load in a frame [mm]."""
        return self.pressed_mm[number] / self.share


def film(study: AnyStudy, first: str, second: str, *, say: Say = lambda text: None,
         frames: int = FRAMES) -> Film:
    """Answers of two constructs as a test machine presses on their joints, to the peak and past it.

    Both are pressed equally far in each frame: beyond where the last of them peaks, as far as
    their paths go. A construct whose path has ended because it gives way moves on in the direction
    in which it does; one that ends otherwise rests. ``study``: see `compare`. Raises InputError
    where they are not two constructs of the study.
    """
    study = as_study(study)
    if first == second:
        raise InputError("an animation shows two constructs", key="--motion", value=first,
                         expected="two different constructs of the study")
    names = [c.name for c in study.constructs]
    for name in (first, second):
        require_known(name, names, "construct", key="--motion")
    explorer = Explorer(study)
    ways = [explorer.way(name) for name in (first, second)]
    peaks = [PAST * (w.ends_mm if w.peak_mm is None else w.peak_mm) for w in ways if w.gives_way]
    goes = [w.ends_mm for w in ways if w.largest_N >= LEAST_N]
    most = min([max(peaks or goes, default=1.0), max(goes, default=1.0)])
    places = tuple(most * ((i + 1) / frames) ** QUICKER for i in range(frames))
    made: list[tuple[Shot, Shot]] = []
    for place in places:
        say(f"frame at {place:.2f} mm")
        one, other = (_shot(explorer, name, way, place, made[-1][side] if made else None)
                      for side, (name, way) in enumerate(zip((first, second), ways, strict=True)))
        made.append((one, other))
    pictures = [s.picture for pair in made for s in pair]
    return Film(study=study, pressed_mm=places, frames=tuple(made),
                factor=d.magnification(pictures, LARGEST_MM), top=d.strain_top(pictures),
                against=tuple({f.construct for f in check(study) if f.level == "broken"}
                              & {first, second}),
                share=shown_share(study))


def _shot(explorer: Explorer, name: str, way: Way, place: float, before: Shot | None) -> Shot:
    """A construct pressed by ``place`` [mm]; ``before``: its shot in the frame before."""
    if before is not None and before.loose:
        return replace(before, loose=before.loose + 1)
    ended = place > way.ends_mm * (1 + 1e-9)
    if way.largest_N >= LEAST_N and not (ended and way.gives_way):
        live = explorer.pressed(name, place)
        sunk = largest(f.subsidence_mean_mm for f in live.result.fragments.values())
        words = f"{live.result.total_load_N:.0f} N" + (
            "" if sunk is None else f", subsides {sunk:.2f} mm")
        past = way.peak_mm is not None and place > way.peak_mm
        if past or ended:
            words += f"; past its peak of {way.largest_N:.0f} N" if past else f"; {way.ends}"
        return Shot(live, words, past)
    live = (explorer.answer(name, min(1.05 * way.largest_N, LARGEST_N))
            if way.largest_N >= LEAST_N else explorer.pressed(name, place))
    words = (way.ends if way.largest_N >= LEAST_N
             else f"{live.result.status}: carries nothing")
    return Shot(live, words, True, 1, None if before is None else before.picture)


def draw_frame(made: Film, number: int) -> Figure:
    """One frame as a slide: two sections, how far they are pressed above, the load below."""
    figure = d.slide()
    pair = made.frames[number]
    figure.text(0.5, 0.94, f"joint pressed by {made.joint_mm(number):.2f} mm", size=22,
                weight="bold", ha="center")
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
        name = wrap(marked(shot.live.construct, shot.live.construct in made.against), wide, 16,
                    most=2, bold=True)
        figure.text(middle, 0.92, name, size=16, weight="bold", ha="center", va="top")
        figure.text(middle, 0.14, wrap(shot.words, wide, 16), size=16, ha="center", va="center",
                    color=d.KINDS["fracture"] if shot.loose or shot.past else "black")
    figure.text(0.5, (0.1 + 1.6 * LINE) / SLIDE.high,
                f"{pictures[0].view.all_words}; displacement × {made.factor:g} in both; N: joint "
                "force; once it has given way: direction only.\nDarkest: strain of "
                f"{made.top:g} times yield or more." + (f" {BREAKS_RULE}." if made.against else ""),
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
    if not shot.loose:
        draw_loads(ax, picture, made.study.load.direction_deg, 1.5)


def _drawn(shot: Shot, factor: float) -> Picture:
    """The picture of a shot; what has given way from its last picture on, along the mechanism."""
    if not shot.loose:
        return shot.picture
    largest = max(d.largest_motion(shot.picture), 1e-12)
    on = min(shot.loose * ESCAPE_STEP_MM, ESCAPE_MOST_MM) / largest / factor
    start = shot.before or shot.picture
    if shot.before is None:
        start = replace(start, bodies=_still(start.bodies), members=_still(start.members))
    return replace(start, bodies=tuple(
        replace(p, displacement=on * p.displacement + b.displacement)
        for p, b in zip(shot.picture.bodies, start.bodies, strict=True)))


def _still(parts: Sequence[Any]) -> tuple[Any, ...]:
    return tuple(replace(p, displacement=0.0 * p.displacement) for p in parts)


def write_film(made: Film, path: Path, say: Say = lambda text: None) -> Path:
    """The animation as a GIF that runs in a loop and rests on its last frame."""
    images = [image_of(draw_frame(made, i), DPI) for i in range(len(made.frames))]
    say("writing the animation")
    flat = few_colours(images)
    times = [FRAME_MS] * (len(flat) - 1) + [FRAME_MS * REST]
    flat[0].save(path, save_all=True, append_images=flat[1:], duration=times, loop=0,
                 optimize=False)
    return path
