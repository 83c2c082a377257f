"""Pictures: what their artists hold, that no text overlaps, and the files that they become."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from figure_texts import clashes, shown_texts
from made_up import FORCES, comparison, construct, long_names, picture, usual, words
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch
from matplotlib.quiver import Quiver

from buttress import LABEL
from buttress.draw import all as figures
from buttress.draw import primitives as d
from buttress.draw.primitives import empty, listed
from buttress.draw.section import ESCAPE_MM, grouped
from buttress.results.picture import unloaded
from buttress.results.records import LimitResult


def outlines(ax) -> list[np.ndarray]:
    """Every closed line of the outlines, undeformed first."""
    return [np.array(s) for c in ax.collections if isinstance(c, LineCollection)
            for s in c.get_segments() if np.allclose(s[0], s[-1])]


def arrows(ax) -> list[tuple[np.ndarray, np.ndarray]]:
    """Start and end of each single arrow: its heads are artists of their own, left out here."""
    return [(np.array(a._posA_posB[0]), np.array(a._posA_posB[1])) for a in ax.patches
            if isinstance(a, FancyArrowPatch) and a.get_linewidth() > 0.0]


# ------------------------------------------------------------------- what cannot be tightened

def test_what_cannot_be_tightened_is_drawn_unloaded_with_the_words() -> None:
    why = "cannot be tightened: lower lag: tightened to 400 N; its thread pulls out at about 363 N"
    shot = unloaded(picture("lag screws", 500.0, held=False), why)
    before = unloaded(picture("lag screws", 500.0), "").bodies
    for ax in (figures.deformed(shot), figures.free_body(shot, "medial")):
        said = words(ax)
        assert why in said.replace("\n", " ")
        for gone in ("moves freely", "no equilibrium", "500 N", "joint force"):
            assert gone not in said.lower()
        assert arrows(ax) == []
        assert clashes(ax.get_figure(root=True)) == []
    assert all(not b.displacement.any() for b in (*shot.bodies, *before, *shot.members))
    made = comparison((replace(construct("lag screws", held=False), pictures=(shot,)),))
    said = words(figures.overview(made, 500.0))
    assert "cannot be tightened" in said
    assert "pulls out" not in said


# ------------------------------------------------------------------------------ deformed section

def test_deformed_outlines_are_the_points_and_their_magnified_displacement() -> None:
    shot = picture("lag screws", 1500.0)
    ax = figures.deformed(shot)
    factor = d.magnification([shot])
    assert factor == 8.0          # 0.5 mm becomes 4 mm
    medial = shot.bodies[0]
    loop = d.outline(medial.triangles)[0]
    found = outlines(ax)
    assert any(s.shape == medial.points[loop].shape and np.allclose(s, medial.points[loop])
               for s in found)
    moved = (medial.points + factor * medial.displacement)[loop]
    assert any(s.shape == moved.shape and np.allclose(s, moved) for s in found)
    assert "displacement × 8" in words(ax)


def test_outline_is_one_closed_loop_with_the_area_of_the_body() -> None:
    shot = picture("lag screws", 1500.0)
    loops = d.outline(shot.bodies[0].triangles)
    assert len(loops) == 1
    x, y = shot.bodies[0].points[loops[0]].T
    assert 0.5 * abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) == pytest.approx(35.0 * 40.0)


@pytest.mark.parametrize(("largest", "factor"), [(0.5, 8.0), (0.12, 30.0), (0.0004, 10_000.0),
                                                 (3.9, 1.0), (20.0, 1.0)])
def test_magnification_is_round_and_never_makes_smaller(largest: float, factor: float) -> None:
    shot = picture("x", 1500.0)
    body = shot.bodies[0]
    moved = body.displacement * largest / np.hypot(*body.displacement.T).max()
    shot = replace(shot, bodies=(replace(body, displacement=moved),), members=())
    assert d.magnification([shot]) == pytest.approx(factor)


def test_loads_stand_on_the_patches_with_their_newtons() -> None:
    ax = figures.deformed(picture("x", 1000.0), direction_deg=30.0)
    assert "650 N" in words(ax)
    assert "350 N" in words(ax)
    loads = [q for q in ax.collections if isinstance(q, Quiver)
             and np.allclose(q.get_facecolor()[0, :3], 0.0)]
    tips = [np.array(q.get_offsets()) for q in loads]
    assert [(t[:, 0].min() >= lo, t[:, 0].max() <= hi) for t, (lo, hi) in
            zip(tips, [(-31, -13), (13, 31)], strict=True)] == [(True, True)] * 2
    for q in loads:   # positive direction: the force goes distal and towards lateral
        assert np.allclose(np.arctan2(q.U, -q.V), np.radians(30.0))


def test_forces_on_bone_are_summed_by_kind_and_nothing_is_lost() -> None:
    shot = picture("x", 1500.0)
    groups = grouped(shot)
    assert set(groups) == {"fracture", "screw", "plate"}
    for kind, source in (("fracture", "shear plane"), ("screw", "upper lag"), ("plate", "plate")):
        # The head on the plate is not on bone, so its 999 N are in none of them.
        assert groups[kind][1].sum(axis=0) == pytest.approx(FORCES[source])
    assert len(groups["fracture"][0]) == 2    # two neighbours are one arrow


def test_forces_on_opposite_walls_do_not_cancel() -> None:
    shot = picture("x", 1500.0)
    x = np.linspace(-30.0, -10.0, 9)
    places = np.array([[a, y] for y in (-20.0, -32.0) for a in x])
    forces = np.array([[0.0, 50.0 if y == -20.0 else -50.0] for _, y in places])
    n = len(places)
    links = replace(shot.links, places=places, forces=forces, kinds=("contact",) * n,
                    sources=("graft",) * n)
    ((_, (tails, vectors)),) = grouped(replace(shot, links=links)).items()
    assert np.abs(vectors[:, 1]).sum() == pytest.approx(50.0 * n)
    assert all((v > 0) == (y > -26.0) for (_, y), (_, v) in zip(tails, vectors, strict=True))


def test_plates_and_screws_have_their_true_width() -> None:
    ax = figures.deformed(picture("x", 1500.0))
    bands = [p.vertices for c in ax.collections if isinstance(c, PolyCollection)
             for p in c.get_paths() if np.ptp(p.vertices[:, 0]) == pytest.approx(68.0)]
    assert [np.ptp(b[:, 1]) for b in bands] == [pytest.approx(4.5)]


def test_without_equilibrium_the_escape_is_drawn_and_said() -> None:
    shot = picture("nothing", 500.0, held=False)
    ax = figures.deformed(shot)
    assert "500 N, in this model: no equilibrium; medial moves freely along the arrow" in words(ax)
    body = shot.bodies[0]
    loop = d.outline(body.triangles)[0]
    moved = (body.points + ESCAPE_MM * body.displacement
             / np.hypot(*body.displacement[0]))[loop]
    assert any(s.shape == moved.shape and np.allclose(s, moved) for s in outlines(ax))
    ((start, end),) = arrows(ax)
    along = (end - start) / np.hypot(*(end - start))
    assert along == pytest.approx(body.displacement[0] / np.hypot(*body.displacement[0]))
    assert "strain" not in words(ax)


def test_an_unconverged_picture_says_that_it_is_no_answer() -> None:
    shot = replace(picture("x", 500.0, held=False), status="unconverged")
    still = tuple(replace(b, displacement=np.zeros_like(b.displacement)) for b in shot.bodies)
    ax = figures.deformed(replace(shot, bodies=still))
    assert "500 N, in this model: unconverged (no answer)" in words(ax)
    assert not arrows(ax)


def test_strain_over_yield_is_black_where_there_is_any() -> None:
    shot = picture("x", 1500.0)
    hot = replace(shot.bodies[0], value=np.full(len(shot.bodies[0].points), 1.5))
    ax = figures.deformed(replace(shot, bodies=(hot, shot.bodies[1])))
    black = [c for c in ax.collections if isinstance(c, PolyCollection)
             and not isinstance(c, Quiver) and np.allclose(c.get_facecolor(), [0, 0, 0, 1])]
    assert [len(c.get_paths()) for c in black] == [len(hot.triangles)]
    assert "black: over 1" in words(ax)


def test_fragments_are_named_where_there_are_several() -> None:
    shot = picture("lag screws", 1500.0)
    assert words(figures.deformed(shot)).split("\n").count("medial") == 1    # the side's name
    body = replace(shot.bodies[0], name="joint fragment",
                   points=shot.bodies[0].points + np.array([41.0, 0.0]))
    shown = words(figures.deformed(replace(shot, bodies=(*shot.bodies, body)))).split("\n")
    assert shown.count("medial") == 2
    assert "joint fragment" in shown
    assert "shaft" not in shown


# ------------------------------------------------------------------------------------ free body

def test_the_force_polygon_closes_and_its_arrows_are_those_of_the_free_body() -> None:
    shot = picture("lag screws", 1500.0)
    ax = figures.free_body(shot, "medial")
    single, chain = arrows(ax), arrows(ax.child_axes[0])
    given = shot.free_bodies[0].arrows
    assert len(single) == len(chain) == len(given)
    for (a, b), (c, e), arrow in zip(single, chain, given, strict=True):
        assert b - a == pytest.approx(e - c)                       # one scale
        assert np.cross(np.append(b - a, 0), [*arrow.force, 0])[2] == pytest.approx(0, abs=1e-9)
        assert min(np.hypot(*(a - arrow.point)), np.hypot(*(b - arrow.point))) < 1e-9
    for (_, tip), (tail, _) in zip(chain, chain[1:] + chain[:1], strict=True):
        assert tip == pytest.approx(tail, abs=1e-9)                # tip to tail, and round
    said = words(ax)
    assert "It closes: the forces balance." in said
    assert "e-13" not in said
    assert "upper lag\n125 N" in said


@pytest.mark.parametrize("verdict_words", [
    "within all limits; metal yields from 1200 N; bone is crushed from 1667 N",
    "only with friction from 1264 N (else over a limit: widening); metal yields from 1514 N; bone "
    "is crushed locally from 1533 N", 3 * "over a limit: bone over yield; bone is crushed; "])
def test_a_long_verdict_over_a_free_body_does_not_run_into_the_polygon(verdict_words: str) -> None:
    """Nor does the title leave the figure, which three lines of words pushed out at its top."""
    shot = replace(picture("lag screws", 1500.0), verdict_words=verdict_words)
    ax = figures.free_body(shot, "medial")
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    assert all(figure.bbox.y1 >= t.get_window_extent().y1 > 0 for t, _ in shown_texts(figure))
    boxes = {t.get_text(): t.get_window_extent() for t, _ in shown_texts(figure)}
    [polygon] = [b for text, b in boxes.items() if text.startswith("Force polygon")]
    [verdict] = [b for text, b in boxes.items() if "crushed" in text]
    assert not polygon.overlaps(verdict)


def test_a_polygon_that_does_not_close_says_so() -> None:
    shot = picture("x", 1500.0)
    open_ = replace(shot.free_bodies[0], error=40.0)
    ax = figures.free_body(replace(shot, free_bodies=(open_,)), "medial")
    assert "It does not close: 40 N are missing" in words(ax)


def test_a_fragment_without_equilibrium_has_no_polygon() -> None:
    ax = figures.free_body(picture("nothing", 500.0, held=False), "medial")
    assert "no set of forces" in words(ax).replace("\n", " ")
    assert not ax.child_axes


# --------------------------------------------------------------------------------------- charts

def test_capacity_bars_are_the_brackets() -> None:
    ax = figures.capacity(usual())
    bars = [(p.get_x(), p.get_width()) for p in ax.patches]
    assert bars[:2] == [(0.0, pytest.approx(1281.0)), (pytest.approx(1281.0), pytest.approx(852.0))]
    assert bars[2:4] == [(0.0, 0.0), (0.0, 0.0)]
    end = ax.get_xlim()[1]
    assert bars[4:6] == [(0.0, 4000.0), (4000.0, 0.0)]     # no bar for what is not limited
    assert end < 1.1 * 4000.0
    said = words(ax).replace("\n", " ")
    assert "1281 to 2133 N" in said
    assert "4000 N without friction; with friction not limited by this model" in said
    assert "0 N: unsupported" in said
    marks = {(line.get_marker(), float(line.get_xdata()[0])) for line in ax.lines
             if line.get_marker() not in ("None", "", None)}
    assert {("D", 2100.0), ("^", 1900.0), ("D", 0.0)} <= marks
    loads = sorted(float(line.get_xdata()[0]) for line in ax.lines if len(line.get_xdata()) == 2)
    assert loads == [500.0, 1000.0, 1500.0]


def test_every_limit_that_is_reached_has_a_mark_of_its_own_and_no_other_is_listed() -> None:
    about = {"step-off": (2.0, "mm"), "depression": (3.0, "mm"), "widening": (5.0, "mm"),
             "bone over yield": (1.0, ""), "metal over yield": (1.0, "")}
    limits = {name: LimitResult(300.0 * i + 250.0, None, "", *of)
              for i, (name, of) in enumerate(about.items())}
    every = replace(construct("all", limit=250.0), limits=limits)
    metal = replace(construct("metal", ends=None, limit=None),
                    limits={"metal over yield": limits["metal over yield"],
                            "step-off": replace(limits["step-off"], load_N=None)})
    figures.capacity(comparison((construct("none", ends=None, limit=None),)))    # no mark at all
    for made, wanted in (((every, metal), {"^", "v", "s", "P", "*", "D"}), ((metal,), {"*"})):
        ax = figures.capacity(comparison(made))
        drawn = [(x.get_marker(), float(x.get_xdata()[0])) for x in ax.lines
                 if x.get_marker() not in ("None", "", None, ">")]
        assert {m for m, _ in drawn} == wanted
        assert ("*", 1450.0) in drawn
        legend = ax.get_figure(root=True).legends[0]
        listed = {h.get_marker() for h in legend.legend_handles if hasattr(h, "get_marker")}
        assert listed - {"None", None, ">"} == wanted
        assert ("step-off reaches 2 mm" in words(ax)) == ("^" in wanted)
        assert "metal reaches yield" in words(ax)
        assert clashes(ax.get_figure(root=True)) == []


def test_a_construct_keeps_its_colour_and_differs_from_others_in_more_than_colour() -> None:
    looks = [d.series(i) for i in range(15)]
    assert len({(s["color"], str(s["linestyle"]), s["marker"]) for s in looks}) == 15
    assert len({s["marker"] for s in looks}) == 15
    bars = figures.capacity(usual()).patches
    lines = [x for x in figures.curves(usual(), "medial").lines if x.get_label()[0] != "_"]
    assert [tuple(b.get_facecolor()[:3]) for b in bars[::2]] == [
        tuple(int(x.get_color()[k:k + 2], 16) / 255 for k in (1, 3, 5)) for x in lines]


def test_overview_shows_every_construct_at_one_load_and_one_scale() -> None:
    made = usual()
    ax = figures.overview(made, 1000.0)
    cells = [a for a in ax.child_axes if any(isinstance(c, LineCollection) for c in a.collections)
             and np.ptp(a.get_xlim()) > 2]
    assert len(cells) == 3
    spans = {round(np.ptp(a.get_xlim()), 6) for a in cells}
    assert len(spans) == 1
    said = words(ax)
    assert "step-off 0.01 mm" in said
    assert "fails" in said


@pytest.mark.parametrize("count", [2, 6])
def test_overview_is_no_higher_than_its_sections_ask_for(count: int) -> None:
    made = long_names(count)
    ax = figures.overview(made, figures.overview_load(made))
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    inside = [a.get_window_extent() for a in ax.child_axes if np.ptp(a.get_xlim()) > 2]
    frame = ax.get_window_extent()
    empty = min(b.y0 for b in inside) - frame.y0
    assert 0.0 <= empty / figure.dpi < 0.6      # inches


def test_at_most_six_sections_stand_in_a_row() -> None:
    made = comparison(tuple(construct(f"c {i}") for i in range(13)))
    ax = figures.overview(made, 1000.0)
    ax.figure.draw_without_rendering()
    rows: dict[float, int] = {}
    for a in ax.child_axes:
        if np.ptp(a.get_xlim()) > 2:
            rows[round(a.get_window_extent().y0)] = rows.get(round(a.get_window_extent().y0), 0) + 1
    assert sum(rows.values()) == 13
    assert max(rows.values()) <= 6


def test_shown_pictures_are_the_largest_held_load_or_the_smallest() -> None:
    made = usual()
    assert [figures.shown_picture(c).load_N for c in made.constructs] == [1500.0, 500.0, 1500.0]
    assert figures.overview_load(made) == 1500.0


# ------------------------------------------------------------------------------ axes and files

@pytest.mark.parametrize("draw", [
    lambda ax: figures.deformed(picture("x", 1500.0), ax=ax),
    lambda ax: figures.free_body(picture("x", 1500.0), "medial", ax=ax),
    lambda ax: figures.capacity(usual(), ax=ax),
    lambda ax: figures.curves(usual(), "medial", ax=ax),
    lambda ax: figures.overview(usual(), 1000.0, ax=ax)])
def test_given_axes_are_used_and_returned_and_labelled_once(draw) -> None:
    figure = Figure(figsize=(16, 9))
    ax = figure.add_axes((0.3, 0.3, 0.35, 0.5))
    assert draw(ax) is ax
    assert draw(figure.add_axes((0.7, 0.3, 0.2, 0.5))) is not ax
    assert [t.get_text() for t in figure.texts].count(LABEL) == 1


def test_every_figure_of_a_folder_as_png_and_svg_small_and_the_same_twice(tmp_path: Path) -> None:
    """The second time two processes share them."""
    made = comparison((construct("A + B"), construct("a  b"), construct("../é")))
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
    files = figures.draw_all(made, tmp_path / "one", svg=True)
    assert len({f.name for f in files}) == len(files) == 2 * (5 + 3 * 3)
    assert all(f.parent == tmp_path / "one" and f.is_file() for f in files)
    assert {"overview.png", "overview.svg", "capacity.png", "load-subsidence.svg",
            "deformed-a-b-construct-1.png", "deformed-a-b-construct-2.png",
            "free-body-a-b-construct-1.svg"} <= {
                f.name for f in files}
    assert all(f.stat().st_size < 1_000_000 for f in files)
    (tmp_path / "png").mkdir()
    usual = figures.draw_all(comparison((construct("A + B"),)), tmp_path / "png")
    assert [f.suffix for f in usual] == [".png"] * (5 + 3)
    shared = figures.draw_all(made, tmp_path / "two", svg=True, workers=2)
    assert [f.name for f in shared] == [f.name for f in files]
    for again in shared:
        assert again.read_bytes() == (tmp_path / "one" / again.name).read_bytes(), again.name
    assert b"<dc:date>" not in (tmp_path / "one" / "capacity.svg").read_bytes()


def test_no_global_state_of_pyplot() -> None:
    code = "import sys, buttress.draw.all, buttress.report.page; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], text=True, capture_output=True, check=True)
    assert done.stdout.strip() == "False"


def test_a_plot_of_ones_own_is_labelled_and_lists_what_was_named() -> None:
    ax = empty("a $title$", "x [mm]", "y [$N]", scale="log")
    ax.plot([1, 10], [1, 2], label="named")
    ax.plot([1, 10], [2, 1])
    assert listed(ax) is ax
    said = words(ax)
    assert LABEL in said
    assert [t.get_text() for t in ax.get_legend().get_texts()] == ["named"]
    assert ax.get_xscale() == "log"
    assert clashes(ax.get_figure(root=True)) == []
