"""All pictures of a comparison, as the files of a results folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePosixPath

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from buttress import LABEL
from buttress.draw import bearing as figure_bearing
from buttress.draw.captions import caption
from buttress.draw.charts import capacity
from buttress.draw.contact import contact_pressure
from buttress.draw.curves import curves
from buttress.draw.fields import colours_of
from buttress.draw.free_body import free_body
from buttress.draw.map import modulus_map
from buttress.draw.overview import overview
from buttress.draw.page import COLUMN_MM, PAGE_MM
from buttress.draw.page import paper as on_paper
from buttress.draw.primitives import magnification, save
from buttress.draw.section import deformed
from buttress.draw.stages import common_factor, screw_forces, stage_pictures
from buttress.draw.stages_overview import stages_overview
from buttress.draw.text import boxed
from buttress.draw.tornado import tornado
from buttress.files import file_names, slug
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.picture import Picture
from buttress.results.records import ConstructResult
from buttress.results.stress import STRAIN_RATIO
from buttress.study.study import Study
from buttress.workers import pool

IN_COLUMN = ("curves", "movement", "deformed", "screw forces")
"""Kinds of figures that have room in one column of a paper; the others are as wide as its page."""
FEWEST = 4
"""Figures for each process, at least: it starts in the time in which it draws two or three."""
MEANWHILE = 3
"""Figures that this process draws while others start."""


def shown_picture(construct: ConstructResult, load_N: float | None = None) -> Picture | None:
    """The picture that stands for a construct: that of a load [N] if it is held there, else of the
    largest load that is held, else of that load, without equilibrium. Without ``load_N``: of the
    largest load that is held, else of its smallest."""
    own = {p.load_N: p for p in construct.pictures}
    held = [load for load, p in own.items() if p.held]
    if load_N in own and (load_N in held or not held):
        return own[load_N]
    return own[max(held)] if held else own.get(min(own, default=0.0))


def overview_load(comparison: Comparison) -> float | None:
    """The largest load at which more than half of the constructs are held that are held at any, so
    that one weak construct does not lower it for all. Where there is none, the load at which most
    are held, the largest of these; None without pictures."""
    held: dict[float, int] = {}
    for c in comparison.constructs:
        for p in c.pictures:
            held[p.load_N] = held.get(p.load_N, 0) + p.held
    able = sum(any(p.held for p in c.pictures) for c in comparison.constructs)
    return max(held, key=lambda load: (2 * held[load] > able, load) if 2 * max(held.values()) > able
               else (held[load], load), default=None)


def boxed_names(study: Study, apart: bool = True) -> list[str]:
    """Names in quotes of which pictures show some characters as boxes, since no font has them.

    ``apart``: with the numbers that tell constructs apart in pictures of a comparison.
    """
    named = [*study.fractures, *study.fragments, *study.voids, *study.constructs,
             *(part for c in study.constructs for _, parts in c.parts() for part in parts)]
    beside = numbered([c.name for c in study.constructs]) if apart else {}
    return [f"'{name}'" + (f" (in pictures {beside[name]})" if name in beside else "")
            for name in dict.fromkeys(x.name for x in named) if boxed(name)]


def numbered(names: Sequence[str]) -> dict[str, str]:
    """What stands next to names in which pictures show boxes: ``construct 3``, as in the study."""
    return {name: f"construct {i}" for i, name in enumerate(names, 1) if boxed(name)}


def _told_apart(comparison: Comparison) -> Comparison:
    """The comparison with a number next to every name of a construct that pictures cannot show."""
    beside = numbered([c.name for c in comparison.constructs])
    new = {c.name: f"{c.name} ({beside[c.name]})" if c.name in beside else c.name
           for c in comparison.constructs}
    return comparison if not beside else replace(
        comparison, constructs=tuple(
            replace(c, name=new[c.name],
                    pictures=tuple(replace(p, construct=new[c.name]) for p in c.pictures))
            for c in comparison.constructs),
        stages=tuple(replace(s, name=new[s.name]) for s in comparison.stages),
        alternatives=None if comparison.alternatives is None else replace(
            comparison.alternatives, tried=tuple(
                replace(x, constructs={new[n]: replace(c, name=new[n])
                                       for n, c in x.constructs.items()})
                for x in comparison.alternatives.tried)))


def stems(comparison: Comparison) -> dict[tuple[str, str, str], str]:
    """File name without ending of each figure: by kind, construct and fragment ("" where none).

    Kinds are "deformed", "contact", "free body", "capacity", "weight bearing", "movement",
    "curves", "overview", "all stages", "stages", "screw forces", "tornado" and "map". Names of
    the files that the section was read from lie in the same folder and are taken.
    """
    taken = {PurePosixPath(f).stem.lower() for f in comparison.study.section.files}
    several = comparison.fragments
    out = {(kind, "", ""): slug(words, taken) for kind, words in (
        ("overview", "overview"), ("movement", "load movement"), ("capacity", "capacity"))}
    if comparison.stages:
        out["all stages", "", ""] = slug("stages", taken)
    if comparison.study.load.body_mass_kg is not None:
        out["weight bearing", "", ""] = slug("weight bearing", taken)
    for name in several:
        words = "load subsidence" if len(several) == 1 else f"load subsidence {name}"
        out["curves", "", name] = slug(words, taken)
    if comparison.study.section.map is not None:
        out["map", "", ""] = slug("map", taken)
    called = file_names([c.name for c in comparison.constructs])
    for c in comparison.constructs:
        out["deformed", c.name, ""] = slug(f"deformed {called[c.name]}", taken)
        out["contact", c.name, ""] = slug(f"contact pressure {called[c.name]}", taken)
        for name in several:
            extra = "" if len(several) == 1 else f" {name}"
            out["free body", c.name, name] = slug(f"free body {called[c.name]}{extra}", taken)
        if comparison.alternatives is not None and c.twin_of is None:
            out["tornado", c.name, ""] = slug(f"tornado {called[c.name]}", taken)
    for staged in comparison.stages:
        own = called[staged.name]
        out["stages", staged.name, ""] = slug(f"stages {own}", taken)
        if any(s.screws for s in staged.stages):
            out["screw forces", staged.name, ""] = slug(f"screw forces {own}", taken)
    return out


def planned(comparison: Comparison, field: str = STRAIN_RATIO, paper: bool = False
            ) -> Iterator[tuple[str, Callable[[], Axes]]]:
    """Every figure of a comparison: its file name, and what draws it; ``field`` colours sections,
    ``paper``: at the width of a paper's column, or of its page, instead of slides."""
    for key, stem, draw in _keyed(comparison, field):
        yield stem, partial(_for_paper, draw, key) if paper else draw


def _for_paper(draw: Callable[[], Axes], kind: str) -> Axes:
    with on_paper(COLUMN_MM if kind in IN_COLUMN else PAGE_MM):
        return draw()


def _keyed(comparison: Comparison, field: str) -> Iterator[tuple[str, str, Callable[[], Axes]]]:
    """Kind, file name and drawing of every figure."""
    names = stems(comparison)
    given = [c.name for c in comparison.constructs]
    comparison = _told_apart(comparison)
    names = {(kind, dict(zip(given, (c.name for c in comparison.constructs), strict=True)).get(
        construct, construct), part): stem for (kind, construct, part), stem in names.items()}
    most = overview_load(comparison)
    shown = {c.name: p for c in comparison.constructs
             if (p := shown_picture(c, most)) is not None}
    loads = {c.name: {r.total_load_N: r for r in c.loads} for c in comparison.constructs}
    if most is not None:
        yield "overview", names["overview", "", ""], partial(overview, comparison, most,
                                                             field=field)
    if comparison.stages:
        yield "all stages", names["all stages", "", ""], partial(
            stages_overview, comparison.stages)
    yield "movement", names["movement", "", ""], partial(curves, comparison)
    yield "capacity", names["capacity", "", ""], partial(capacity, comparison)
    table = weight_bearing(comparison)
    if table is not None:
        yield "weight bearing", names["weight bearing", "", ""], partial(
            figure_bearing.weight_bearing, table)
    for fragment in comparison.fragments:
        yield "curves", names["curves", "", fragment], partial(curves, comparison, fragment)
    if ("map", "", "") in names and shown:
        mesh = next(iter(shown.values())).bodies
        yield "map", names["map", "", ""], partial(modulus_map, comparison.study, mesh)
    top = colours_of(list(shown.values()), field).top
    for construct, picture in shown.items():
        yield "deformed", names["deformed", construct, ""], partial(
            deformed, picture, direction_deg=comparison.study.load.direction_deg, top=top,
            field=field, factor=magnification([picture]) if picture.held else None)
        if (load := loads[construct].get(picture.load_N)) is not None and picture.held:
            yield "contact", names["contact", construct, ""], partial(
                contact_pressure, picture, load)
        for fragment in comparison.fragments:
            yield "free body", names["free body", construct, fragment], partial(
                free_body, picture, fragment)
    for name in () if comparison.alternatives is None else comparison.own:
        yield "tornado", names["tornado", name, ""], partial(tornado, comparison, name)
    factor = common_factor(comparison.stages)
    for staged in comparison.stages:
        if any(staged.pictures):
            yield "stages", names["stages", staged.name, ""], partial(
                stage_pictures, staged, factor=factor)
        if ("screw forces", staged.name, "") in names:
            yield "screw forces", names["screw forces", staged.name, ""], partial(
                screw_forces, staged)


def drawn(comparison: Comparison, field: str = STRAIN_RATIO) -> Iterator[tuple[str, Axes]]:
    """Every figure of a comparison with its file name, one at a time; ``field``: see `planned`."""
    for stem, draw in planned(comparison, field):
        yield stem, draw()


def draw_all(comparison: Comparison, folder: Path, field: str = STRAIN_RATIO, svg: bool = False,
             workers: int = 1, paper: bool = False) -> list[Path]:
    """Draw every figure into a folder, as PNG and, where asked, SVG; ``field`` colours sections.

    ``workers``: processes that share the figures, this one among them; the files are the same to
    the last byte. ``paper``: figures for a paper, as PDF and SVG, and their captions in
    captions.txt.
    Returns the figures' files in reading order.
    """
    draw = partial(draw_share, comparison, folder, field, svg, paper)
    shares = min(workers, len(list(planned(comparison, field))) // FEWEST)
    if shares < 2:
        done = draw(0, 1)
    else:
        with pool(shares - 1) as others:
            sent = [others.submit(draw, i, shares) for i in range(1, shares)]
            done = draw(0, shares)
            for share in sent:
                done += share.result()
    done.sort()
    if paper:
        (folder / "captions.txt").write_text("\n\n".join([LABEL, *captions(
            comparison, [paths[0].stem for _, paths in done], field)]) + "\n", encoding="utf-8")
    return [path for _, paths in done for path in paths]


def captions(comparison: Comparison, drawn: Sequence[str], field: str = STRAIN_RATIO
             ) -> list[str]:
    """The captions of the figures of these file names, as a journal prints them."""
    most, out = overview_load(comparison), {}
    for key, stem in stems(comparison).items():
        kind, construct, _ = key
        if stem not in drawn:
            continue
        own = comparison[construct] if construct and kind != "tornado" else None
        picture = shown_picture(comparison.constructs[0] if own is None else own, most)
        out[stem] = f"{stem}: {caption(comparison, key, picture, field)}"
    return [out[stem] for stem in drawn]


def draw_share(comparison: Comparison, folder: Path, field: str, svg: bool, paper: bool,
               first: int, step: int) -> list[tuple[int, list[Path]]]:
    """Draw every ``step``-th figure from the ``first`` on, the first share those before
    `MEANWHILE` too; their numbers and files."""
    out = []
    for number, (stem, draw) in enumerate(planned(comparison, field, paper)):
        if (number if number >= MEANWHILE else 0) % step == first:
            figure = draw().get_figure(root=True)
            assert isinstance(figure, Figure)
            out.append((number, save(figure, folder, stem, svg)))
    return out
