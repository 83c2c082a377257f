"""The lesson: its grid, reading between states, what is measured of that, packing, the command."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_lesson import small_lesson, small_scene
from small_study import small_study

from buttress import LABEL
from buttress.bone.section import Section
from buttress.cli import lesson as cli_lesson
from buttress.fe.errors import InputError
from buttress.lesson.biting import crossed
from buttress.lesson.check import ALLOWED_MM, ALLOWED_SHARE, Ask, draws, fresh, missed
from buttress.lesson.grid import AXES, has, parted, scene_of, slope_of, turned_line
from buttress.lesson.interpolate import cell, limit_load, read
from buttress.lesson.pack import round_states, rounded, table
from buttress.lesson.page import accuracy_words, embedded, render, write_lesson
from buttress.lesson.shipped import shipped_scenes
from buttress.lesson.solve import Job, knee_of, solve_job
from buttress.lesson.solve import Path as LoadPath
from buttress.study.read import example


@pytest.fixture(scope="module")
def lesson():
    return small_lesson(6)


# -- grid -------------------------------------------------------------------------------------

def test_a_plate_takes_its_screws_with_it() -> None:
    both = next(c for c in example("medial-shear").constructs if c.name == "antiglide + lag screws")
    assert has(both) == (True, True, False)
    assert {s.name for s in parted(both, True, False, True).screws} == {"upper lag", "lower lag"}
    assert {s.plate for s in parted(both, False, True, True).screws} == {"antiglide plate"}


def test_the_shipped_scenes_share_what_is_the_same() -> None:
    shear, depression = shipped_scenes()
    assert shear.turned == "shear plane"
    assert depression.turned is None
    for scene in (shear, depression):
        bare = {c.families[False, False, False] for c in scene.choices}
        assert len(bare) == 1
    names = {a for f in shear.families for a, nodes in f.axes.items() if len(nodes) > 1}
    assert names == set(AXES)


def test_a_fracture_is_turned_about_its_end_at_the_joint() -> None:
    study = example("medial-shear")
    line = study.fractures[0]
    assert slope_of(line) == 20.0
    apexes = [turned_line(study, line, s)[0] for s in (15.0, 20.0, 30.0)]
    for (x, y), slope in zip(apexes, (15.0, 20.0, 30.0), strict=True):
        assert np.degrees(np.arctan2(-3.0 - x, -y)) == pytest.approx(slope)
    assert apexes[0][1] < apexes[1][1] < apexes[2][1]


def test_fifteen_constructs_get_a_coarser_grid() -> None:
    study = small_study("antiglide + lag screws")
    given = study.constructs[0]
    tops = [-25.0 - 0.5 * k for k in range(15)]
    many = study.model_copy(update={"constructs": tuple(given.model_copy(update={
        "name": f"plate {k}", "plates": (given.plates[0].model_copy(update={"top_mm": top}),)})
        for k, top in enumerate(tops))})
    scene = scene_of(many)
    assert len(scene.choices) == 15
    assert sum(len(f.nodes()) for f in scene.families) < 1500


def test_a_plate_has_states_around_where_its_screws_begin_to_cross() -> None:
    """By hand: hole 3 of the thin plate reaches the apex some 2.5 mm up, hole 4 another 11."""
    shear = shipped_scenes()[0]
    places = shear.families[shear.family(0, screws=False)].axes["position"]
    line = np.array(shear.study.fractures[0].points_mm)
    counts = [crossed(Section(shear.study.section), shear.study.constructs[0], line, p)
              for p in places]
    assert counts == sorted(counts)
    assert set(counts) == {0, 1, 2}
    for more in (1, 2):
        k = counts.index(more)
        assert places[k] - places[k - 1] < 3.0
    assert tuple(p for p in places if 2.0 < p < 4.0) == (2.5, 3.25)


# -- reading between --------------------------------------------------------------------------

def test_weights_of_a_cell() -> None:
    axes = {"slope": (10.0, 20.0), "quality": (1.0,), "position": (-5.0, 0.0, 5.0),
            "friction": (0.0, 1.0)}
    found = cell(axes, {"slope": 12.5, "quality": 3.0, "position": 0.0, "friction": 2.0})
    assert dict(found) == pytest.approx({(0, 0, 1, 1): 0.75, (1, 0, 1, 1): 0.25})


def test_a_node_is_read_as_it_was_solved(lesson) -> None:
    solved = lesson.solved[0][-1]
    index, path = next((i, p) for i, p in solved.paths.items() if p.states)
    seen = read(solved, solved.family.point(index), path.loads[-1])
    assert seen is not None
    assert seen.held
    assert not seen.mixed
    assert seen.state == pytest.approx(path.states[-1])


def test_nothing_is_read_between_held_and_not_held(lesson) -> None:
    solved = next(f for f in lesson.solved[0] if len(f.paths) > 1 and any(
        p.states for p in f.paths.values()))
    paths = dict(solved.paths)
    index = (0, 0, 0, 0)
    paths[index] = replace(paths[index], loads=[], states=[], end_N=10.0)
    broken = replace(solved, paths=paths)
    inner = {a: 0.5 * (n[0] + n[-1]) for a, n in solved.family.axes.items()}
    seen = read(broken, inner, 300.0)
    assert seen is not None
    assert seen.mixed
    other = paths[seen.corner]
    if seen.held:
        assert seen.state == pytest.approx(other.at(300.0))
    else:
        assert seen.corner == index


def test_a_knee_is_where_it_starts_to_give_way() -> None:
    assert knee_of([100.0, 500.0, 1000.0], [0.1, 0.5, 1.0]) is None
    assert knee_of([100.0, 500.0, 900.0, 1000.0], [0.1, 0.5, 0.9, 2.0]) == 900.0
    assert knee_of([100.0, 500.0, 900.0], [0.001, 0.005, 0.02]) is None    # too small to matter


def test_nothing_is_read_between_holding_and_giving_way(lesson) -> None:
    solved = next(f for f in lesson.solved[0] if len(f.paths) > 1 and any(
        p.states for p in f.paths.values()))
    index = (0, 0, 0, 0)
    paths = {**solved.paths, index: replace(solved.paths[index], knee_N=200.0)}
    inner = {a: 0.5 * (n[0] + n[-1]) for a, n in solved.family.axes.items()}
    assert read(replace(solved, paths=paths), inner, 190.0).mixed is False   # type: ignore[union-attr]
    seen = read(replace(solved, paths=paths), inner, 210.0)
    assert seen is not None
    assert seen.mixed
    assert seen.state == pytest.approx(paths[seen.corner].at(210.0))


def test_limit_loads_between_nodes() -> None:
    low, high = LoadPath(end_N=400.0), LoadPath(end_N=900.0)
    assert limit_load([(low, 0.5), (high, 0.5)], 0.5) == pytest.approx(600.0)
    assert limit_load([(LoadPath(end_N=None), 1.0)], 0.5) is None
    leaning = [(LoadPath(end_N=0.0, need=1.0), 0.5), (LoadPath(end_N=None, need=0.6), 0.5)]
    assert limit_load(leaning, 0.81) is None
    assert limit_load(leaning, 0.79) == 0.0


def test_reading_between_states_is_near_a_fresh_solve(lesson) -> None:
    """Every movement at random points is within 5 % or 0.02 mm, whichever is larger."""
    found = lesson.accuracy[0]
    assert found["read"] >= 4
    assert found["within"] == found["read"], found["worst"]
    assert found["verdict_right"] == found["points"]


def test_a_wrong_state_is_seen_by_the_measurement(lesson) -> None:
    scene, solved = lesson.scenes[0], lesson.solved[0]
    ask = next(a for a in draws(scene, 30, 5) if (s := read(solved[a.family], a.point, a.load_N))
               and s.held and not s.mixed)
    true = fresh(scene, ask)
    assert true is not None
    miss = missed(solved[ask.family], ask, true)
    assert miss is not None
    assert miss.good
    assert true.state is not None
    seen = read(solved[ask.family], ask.point, ask.load_N)
    assert seen is not None
    # Off by what is allowed and a little less or more, of the state that the page reads.
    for off, good in ((0.9, True), (1.1, False)):
        moved = missed(solved[ask.family], ask, replace(true, state=seen.state))
        assert moved is not None
        assert moved.error_mm == pytest.approx(0.0, abs=1e-12)
        allowed = max(ALLOWED_MM, ALLOWED_SHARE * moved.moved_mm)
        state = np.array(seen.state)
        state[true.layout.sunk(0)] += off * allowed
        assert missed(solved[ask.family], ask, replace(true, state=state)).good is good


def test_forces_read_between_states_close(lesson) -> None:
    scene, solved = lesson.scenes[0], lesson.solved[0]
    for ask in draws(scene, 12, 9):
        seen = read(solved[ask.family], ask.point, ask.load_N)
        if seen is None or seen.state is None:
            continue
        lay = solved[ask.family].layout
        total = sum(seen.state[lay.force(0, j):lay.force(0, j) + 3]
                    for j in range(len(lay.sources)))
        assert np.abs(total[:2]).max() < 1e-3 * ask.load_N
        assert abs(total[2]) < 1e-3 * ask.load_N * 76.0


def test_hardware_that_does_not_fit_is_not_read_between() -> None:
    scene = small_scene()
    assert fresh(scene, Ask(len(scene.families) - 1, {**scene.base, "position": -60.0}, 300.0)
                 ) is None


@pytest.mark.parametrize("choice", [0, 3], ids=["thin plate", "upper lag screw"])
def test_a_path_ends_where_the_solver_does(choice: int) -> None:
    """Also where a tightened screw pulls harder than limit analysis allows it to."""
    scene = shipped_scenes(4.0)[0]
    number = scene.family(choice, screws=choice > 0)
    index = next(i for i in scene.families[number].nodes()
                 if scene.families[number].point(i) == {**scene.base, "friction": 0.8}
                 or scene.families[number].point(i) == scene.base)
    path = solve_job(scene, Job(((number, index),)))[number].paths[index]
    at = scene.families[number].point(index)
    assert fresh(scene, Ask(number, at, path.loads[-1])).state is not None   # type: ignore[union-attr]
    if path.end_N is None:
        assert path.loads[-1] == scene.load_N[1]
    else:
        assert path.loads[-1] <= path.end_N <= 1.06 * path.loads[-1]
        beyond = fresh(scene, Ask(number, at, 1.08 * path.end_N))
        assert beyond is not None
        assert beyond.state is None


# -- the page ---------------------------------------------------------------------------------

def test_columns_are_rounded_finely() -> None:
    rows = np.random.default_rng(2).normal(size=(40, 3)) * [1.0, 1e-6, 1e5]
    rows[:, 0] = 7.0
    back = rounded(rows)
    assert np.abs(back - rows).max(axis=0) == pytest.approx(np.ptp(rows, axis=0) / 131070, rel=0.1)
    packed = table(rows)
    whole = np.frombuffer(base64.b64decode(packed["bytes"]), "<u2").reshape(rows.shape)
    assert np.array(packed["low"]) + whole * np.array(packed["step"]) == pytest.approx(
        back, rel=1e-6, abs=1e-9)


def test_rounding_twice_changes_nothing(lesson) -> None:
    solved = lesson.solved[0][-1]
    before = [s.copy() for p in solved.paths.values() for s in p.states]
    round_states(solved)
    after = [s for p in solved.paths.values() for s in p.states]
    assert np.array(after) == pytest.approx(np.array(before), rel=1e-9, abs=1e-12)


def test_no_text_can_end_the_script() -> None:
    text = embedded({"a": "</script><script>alert(1)</script>&amp;<!--"})
    assert "<" not in text
    assert json.loads(text)["a"].startswith("</script>")


def test_the_page_is_whole_and_small(lesson, tmp_path: Path) -> None:
    size = write_lesson(lesson, tmp_path / "lesson.html")
    text = (tmp_path / "lesson.html").read_text(encoding="utf-8")
    assert size == len(text.encode()) < 8_000_000
    assert LABEL.split(".")[0] in text
    assert "What this cannot tell you" in text
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", text)
    assert "measured" not in accuracy_words(lesson.accuracy[0])
    assert accuracy_words({}) in render(replace(lesson, accuracy=({},), mesh=({},)))


def test_wrong_input_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file").write_text("x")
    with pytest.raises(InputError, match="not empty"):
        cli_lesson.lesson(example="medial-shear", out=tmp_path / "full")
    with pytest.raises(InputError, match="no such example"):
        cli_lesson.lesson(example="medial-sheer", out=tmp_path / "new")
    assert not (tmp_path / "new").exists()
