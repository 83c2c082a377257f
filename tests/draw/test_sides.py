"""Which knee a picture shows: a coronal one as seen from the front, marked R or L, in words."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from figure_texts import clashes
from made_up import comparison, construct, load_result, picture, words
from map_files import npy, study_text
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from small_study import small_study

from buttress import compare
from buttress.draw import figures
from buttress.draw.film import Film, Shot, draw_frame
from buttress.draw.seen import MARK, NAME, scale_bar
from buttress.draw.stages import stage_pictures
from buttress.results.picture import Picture
from buttress.results.stages import StagedResult, StageResult
from buttress.study.read import parse_study
from buttress.study.view import View

RIGHT, LEFT = View("right"), View("left")
SAGITTAL = View("left", ("anterior", "posterior"), "medial")
DRAW = Path(figures.__file__).parent


def shot(view: View, held: bool = True) -> Picture:
    return replace(picture("lag screws", 1500.0 if held else 500.0, held=held), view=view)


def overview(view: View) -> Figure:
    made = [construct("lag screws"), construct("nothing", held=False)]
    made = [replace(c, pictures=tuple(replace(p, view=view) for p in c.pictures)) for c in made]
    return whole(figures.overview(comparison(tuple(made)), 1500.0))


def stages(view: View) -> Figure:
    steps = tuple(StageResult(
        number=i, do="tighten", what=("upper lag",), words="tighten upper lag", status="held",
        method="", residual=0.0, complementarity=0.0, total_load_N=0.0, slip_mm=0.0)
        for i in (1, 2))
    return whole(stage_pictures(StagedResult("lag first", "", "held", steps,
                                             pictures=(shot(view), shot(view)))))


def animation(view: View) -> Figure:
    live: Any = SimpleNamespace(construct="lag screws", result=load_result(1500.0),
                                picture=shot(view))
    pair = (Shot(live, "1500 N"), Shot(live, "1500 N"))
    study: Any = SimpleNamespace(load=SimpleNamespace(direction_deg=0.0))
    return draw_frame(Film(study=study, pressed_mm=(0.5,), frames=(pair,), factor=8.0, top=0.5), 0)


def mapped(view: View, folder: Path) -> Figure:
    (folder / "m.npy").write_bytes(npy(np.full((130, 90), 0.4)))
    text = study_text('[section.map]\nfile = "m.npy"\nkind = "density"\nlaw = "Morgan 2003 tibia"\n'
                      "scale_mm = 1\norigin_mm = [-45, -125]")
    study = parse_study(text.replace('side = "right"', f'side = "{view.knee}"'), "mapped",
                        folder=folder)
    return whole(figures.modulus_map(study, shot(view).bodies))


def lying(view: View) -> Figure:
    study = small_study("lag screws")
    section = study.section.model_copy(update={"side": view.knee})
    return whole(figures.placed(study.model_copy(update={"section": section}), "lag screws"))


def whole(ax: Axes) -> Figure:
    figure = ax.get_figure(root=True)
    assert isinstance(figure, Figure)
    return figure


SECTIONS: dict[str, Callable[[View, Path], Figure]] = {
    "deformed": lambda v, _: whole(figures.deformed(shot(v))),
    "free_body": lambda v, _: whole(figures.free_body(shot(v), "medial")),
    "contact_pressure": lambda v, _: whole(figures.contact_pressure(shot(v), load_result(1500.0))),
    "overview": lambda v, _: overview(v), "stage_pictures": lambda v, _: stages(v),
    "film": lambda v, _: animation(v), "modulus_map": mapped, "placed": lambda v, _: lying(v)}
CHARTS = {"capacity", "curves", "empty", "envelope", "landscape", "limit_map", "tornado", "listed",
          "over_key", "over_range", "paired", "paper", "save", "screw_forces", "stages_overview",
          "weight_bearing", "write_film"}


def sections(figure: Figure) -> list[Axes]:
    """All axes that carry a side marker."""
    figure.draw_without_rendering()
    every = [a for ax in figure.axes for a in (ax, *ax.child_axes)]
    return [a for a in every if any(t.get_gid() == MARK for t in a.texts)]


def on_screen(ax: Axes, x: float) -> float:
    return float(ax.transData.transform((x, 0.0))[0])


def test_every_figure_is_either_a_chart_or_tested_here() -> None:
    assert set(figures.__all__) == CHARTS | set(SECTIONS)


@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize("view", [RIGHT, LEFT], ids=["right", "left"])
def test_lateral_of_a_right_tibia_is_on_the_viewers_left(name: str, view: View, tmp_path: Path
                                                         ) -> None:
    figure = SECTIONS[name](view, tmp_path)
    found = sections(figure)
    assert len(found) == {"overview": 2, "stage_pictures": 2, "film": 2, "modulus_map": 2}.get(
        name, 1)
    for ax in found:
        assert (on_screen(ax, 30.0) < on_screen(ax, -30.0)) == (view.knee == "right")
        step = np.diff(ax.transData.transform([(0.0, 0.0), (10.0, 10.0)]), axis=0)[0]
        assert abs(step[0]) == pytest.approx(step[1])                # equal aspect
        assert step[1] > 0.0                                         # proximal is up
        [mark] = [t for t in ax.texts if t.get_gid() == MARK]
        assert mark.get_text() == view.knee[0].upper()
        left, right = ax.get_window_extent().intervalx
        half = mark.get_window_extent().intervalx.mean() < (left + right) / 2
        assert half == (on_screen(ax, 30.0) < on_screen(ax, -30.0))  # on the lateral side
        for text in (t for t in ax.texts if t.get_gid() == NAME):
            x = 30.0 if text.get_text() == "lateral" else -30.0
            assert ((text.get_window_extent().intervalx.mean() < (left + right) / 2)
                    == (on_screen(ax, x) < on_screen(ax, -x)))
    said = " ".join([*(t.get_text() for t in figure.texts), words(figure.axes[0])])
    assert f"{view.knee} tibia seen from the front" in said.replace("\n", " ")
    assert clashes(figure) == []
    # What no axes may do: show a section without its marker.
    drawn = [a for ax in figure.axes for a in (ax, *ax.child_axes) if a.get_aspect() == 1.0]
    assert all(a.xaxis_inverted() == (view.knee == "right") for a in drawn)


@pytest.mark.parametrize("view", [RIGHT, LEFT], ids=["right", "left"])
def test_names_stand_next_to_what_they_name_and_the_polygon_turns_with_the_bone(view: View) -> None:
    """The medial fragment is pushed by a plate on its medial side: as seen on the outer hand."""
    ax = figures.free_body(shot(view), "medial")
    whole(ax).draw_without_rendering()
    polygon = ax.child_axes[0]
    assert polygon.xaxis_inverted() == ax.xaxis_inverted() == view.mirrored
    by_name = {t.get_text().split("\n")[0]: t for t in ax.texts}
    plate, plane = (by_name[n].get_window_extent().intervalx.mean() for n in ("plate", "shear plane"))
    assert (plate > plane) == view.mirrored
    for name in ("load", "shear plane", "plate", "upper lag"):
        text = by_name[name]     # a column on the right begins at its line, one on the left ends there
        here = text.get_window_extent().intervalx.mean()
        assert (text.get_ha() == "left") == (here > on_screen(ax, -20.0)), name


@pytest.mark.parametrize("view", [RIGHT, LEFT], ids=["right", "left"])
def test_what_moves_medially_is_drawn_towards_the_medial_hand(view: View) -> None:
    ax = figures.deformed(shot(view, held=False))
    whole(ax).draw_without_rendering()
    moved = shot(view, held=False).bodies[0].displacement[0]
    arrow = next(p for p in ax.patches if getattr(p, "_posA_posB", None))
    start, end = ax.transData.transform(arrow._posA_posB)
    assert np.sign(end[0] - start[0]) == view.sign * np.sign(moved[0])
    assert view.hands == (("lateral", "medial") if view.mirrored else ("medial", "lateral"))


def test_a_sagittal_section_says_from_where_it_is_seen_and_has_anterior_on_the_left() -> None:
    ax = figures.deformed(shot(SAGITTAL))
    assert not ax.xaxis_inverted()
    assert "left tibia, medial condyle seen from the lateral side" in words(ax)
    names = sorted((t for t in ax.texts if t.get_gid() == NAME), key=lambda t: t.xy[0])
    assert [t.get_text() for t in names] == ["anterior", "posterior"]
    right = replace(SAGITTAL, knee="right")
    assert not right.mirrored
    assert "seen from the medial side, anterior on the left" in right.all_words


@pytest.mark.parametrize(("view", "turn"), [(RIGHT, "(clockwise as drawn)"),
                                            (LEFT, "(counter-clockwise as drawn)")])
def test_a_positive_tilt_is_named_as_it_is_seen(view: View, turn: str) -> None:
    """Turned by a positive angle the lateral end of a bone rises; which way round, the axes say."""
    ax = figures.deformed(shot(view))
    ax.figure.draw_without_rendering()
    corners = np.array([[0.0, 0.0], [10.0, 0.0]])
    a = np.radians(5.0)
    turned = corners @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    before, after = (np.diff(ax.transData.transform(p), axis=0)[0] for p in (corners, turned))
    counter = before[0] * after[1] - before[1] * after[0] > 0.0
    assert view.tilt_words == f"positive where the lateral end rises {turn}"
    assert ("counter" in turn) == counter
    assert turned[1, 1] > 0.0


def test_no_number_depends_on_the_knee() -> None:
    """Points, movements and forces of both knees are the same; x is lateral in both."""
    found = {}
    for knee in ("right", "left"):
        study = small_study("lag screws", loads=(400.0,))
        section = study.section.model_copy(update={"side": knee})
        found[knee] = compare(study.model_copy(update={"section": section}))
    right, left = (c.to_frame() for c in found.values())
    assert right.equals(left)
    shots = [c.constructs[0].pictures[0] for c in found.values()]
    assert [s.view.knee for s in shots] == ["right", "left"]
    for a, b in zip(shots[0].bodies, shots[1].bodies, strict=True):
        assert np.array_equal(a.points, b.points)
        assert np.array_equal(a.displacement, b.displacement)


def test_a_scale_bar_runs_away_from_its_start() -> None:
    ax = figures.empty("bar", "x", "y")
    scale_bar(ax, 10.0, 0.0, -5.0, "5 mm", 0.05)
    assert ax.lines[0].get_xdata().tolist() == [10.0, 10.0, 10.0, 5.0, 5.0, 5.0]
    assert ax.texts[-1].get_position()[0] == 7.5


def test_only_one_file_sets_the_direction_of_a_section() -> None:
    """A figure that draws bodies gets its limits from `seen`; no other file sets an aspect."""
    files = sorted(DRAW.glob("*.py"))
    assert {"seen.py", "section.py", "overview.py"} <= {path.name for path in files}
    for path in files:
        calls = {node.func.attr for node in ast.walk(ast.parse(path.read_text()))
                 if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)}
        if path.name != "seen.py":
            assert not calls & {"set_aspect", "invert_xaxis", "axis_equal"}, path.name
        # The landscape's image is over two keys, not of a section.
        if path.name != "landscape.py" and calls & {
                "draw_outline", "draw_strain", "draw_members", "imshow"}:
            assert calls & {"frame", "turn"}, path.name
