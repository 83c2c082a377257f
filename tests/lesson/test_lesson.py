"""The lesson: what it holds, what is read off its states, how it is packed, the command."""

from __future__ import annotations

import base64
import json
import re
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command import inside
from simple_shear import simple_shear
from small_lesson import random_points, small_lesson, small_scene
from small_study import small_study

from buttress import LABEL
from buttress.lesson.build import mesh_error
from buttress.lesson.embed import embedded_problem
from buttress.lesson.grid import has, parted, scene_of, slope_of, turned_line, without
from buttress.lesson.look import Facts
from buttress.lesson.own_words import own_tour
from buttress.lesson.page import embedded, mesh_words, render, write_lesson
from buttress.lesson.problem import STRENGTHS, packed
from buttress.lesson.reading import rows_of
from buttress.lesson.shipped import UPPER, fading, shipped_scenes
from buttress.lesson.states import Reading, layout_of
from buttress.study.read import example
from buttress.study.tables import number


@pytest.fixture(scope="module")
def lesson():
    return small_lesson()


# -- what it holds ----------------------------------------------------------------------------

def test_a_plate_takes_its_screws_with_it() -> None:
    both = next(c for c in example("medial-shear").constructs if c.name == "antiglide + lag screws")
    assert has(both) == (True, True, False)
    assert {s.name for s in parted(both, True, False, True).screws} == {"upper lag", "lower lag"}
    assert {s.plate for s in parted(both, False, True, True).screws} == {"antiglide plate"}
    assert without(both, ("antiglide plate",)) == parted(both, True, False, True)
    assert {s.name for s in without(both, ("upper lag",)).screws} == {
        s.name for s in both.screws} - {"upper lag"}


def test_the_shipped_scenes_hold_what_the_tour_shows() -> None:
    shear, side, depression = shipped_scenes()
    assert shear.turned == "shear plane"
    assert depression.turned is None
    assert shear.bare is not None
    assert not shear.families[shear.bare].construct.screws
    assert {s for s, _ in shear.families[shear.bare].places} >= {20.0, 45.0, 65.0}
    assert all(len(c.families) == 2 for c in depression.choices)
    fills = {f.material for c in depression.study.constructs for f in c.fills}
    assert len(fills) == 4          # with the empty void the fifth
    assert {p.side for c in side.study.constructs for p in c.plates} == {"posterior"}
    assert {s.side for c in side.study.constructs for s in c.screws if s.plate is None} == {"anterior"}


def test_every_kind_of_a_screw_is_in_the_problem_and_one_at_a_time_in_place(lesson) -> None:
    data = lesson.problems[0][0][0].data
    kinds = {p["name"]: p["kinds"] for p in data["parts"] if "kinds" in p}
    assert kinds["upper lag"] == ["lag", "position"]
    assert "shaft 1" not in kinds        # in plain holes no head can be locked
    assert sorted(data["base"]) == sorted(p["body"] for p in data["parts"]
                                          if p.get("variant") == "position")
    scene = shipped_scenes()[0]
    scene = replace(scene, study=scene.study.model_copy(
        update={"constructs": scene.study.constructs[1:]}), choices=scene.choices[1:])
    plain = scene.of_kinds(0, {})
    assert plain == scene.study.constructs[0]
    fast = scene.of_kinds(0, {"shaft 1": "locked", UPPER: "position"})
    assert [s.name for s in fast.screws] == [s.name for s in plain.screws]
    by = {s.name: s for s in fast.screws}
    assert by["shaft 1"].locked
    assert not by["shaft 2"].locked
    assert (by[UPPER].tension_N, by[UPPER].thread_mm) == (0.0, by[UPPER].length_mm)


def test_time_takes_the_shares_of_the_data_table() -> None:
    tight, hour, steps = fading()
    assert (tight.friction, tight.tension) == (1.0, 1.0)
    assert 1.0 > hour.tension > steps.tension > 0.0
    assert steps.tension == pytest.approx(1.0 - number("materials", "fading", "lost_most"))
    assert steps.friction == pytest.approx(1.0 - number("materials", "fading", "lost_friction"))


def test_a_fracture_is_turned_about_its_end_at_the_joint() -> None:
    study = simple_shear()
    line = study.fractures[0]
    assert slope_of(line) == 20.0
    apexes = [turned_line(study, line, s)[0] for s in (15.0, 20.0, 30.0)]
    for (x, y), slope in zip(apexes, (15.0, 20.0, 30.0), strict=True):
        assert np.degrees(np.arctan2(-3.0 - x, -y)) == pytest.approx(slope)
    assert apexes[0][1] < apexes[1][1] < apexes[2][1]


def test_many_constructs_are_built_at_their_own_place_only() -> None:
    study = small_study("antiglide + lag screws")
    given = study.constructs[0]
    tops = [-25.0 - 0.5 * k for k in range(15)]
    many = study.model_copy(update={"constructs": tuple(given.model_copy(update={
        "name": f"plate {k}", "plates": (given.plates[0].model_copy(update={"top_mm": top}),)})
        for k, top in enumerate(tops))})
    scene = scene_of(many)
    assert len(scene.choices) == 15
    assert all(len(scene.families[c.families[True]].places) == 1 for c in scene.choices)
    assert len(scene_of(study).families[0].places) > 3


def test_hardware_that_does_not_fit_is_left_out() -> None:
    scene = small_scene()
    facts = Facts((scene,))
    found = embedded_problem(facts, 0, scene.families[0], (20.0, -60.0))
    assert found.data is None
    assert found.reason
    assert facts.look(facts.ask(0, position=-60.0)).status == "no place"


def test_the_step_called_the_question_asks_the_question_of_the_study() -> None:
    study = small_study("nothing", loads=(400.0,))
    for scenario, question in (("A fall.", "What holds it?"), ("A fall.", ""), ("", "")):
        given = study.model_copy(update={"scenario": scenario, "question": question})
        first = own_tour(Facts((small_scene(given),)))[0]
        told = [scenario or "A study without a scenario.", *([question] if question else [])]
        assert list(first.text[:-1]) == told
        assert first.before == " ".join(told)


# -- what is read off a state -----------------------------------------------------------------

def test_rows_read_what_the_reader_of_results_reads(lesson) -> None:
    held = 0
    for asked in random_points(lesson.facts, 6, 2):
        model = lesson.facts.built(asked)[1]
        answer = model.answer(asked.load_N)
        if not answer.held:
            continue
        held += 1
        lay = layout_of(model)
        r = rows_of(model, lay, model.bone.load_vector(1.0))

        def read(a, load, r=r):
            x = np.concatenate([a.force, [load], a.rigid, a.kink])
            return r.rows @ x, r.frame @ x

        (value, frame) = read(answer, asked.load_N)
        if model.tightened is not None:
            before, still = read(model.tightened, 0.0)
            value, frame = value - r.moves * before, frame - still
        value = value - r.moves * (r.seen @ frame)
        for k in range(len(lay.edges)):
            value[lay.edge(k)] = abs(value[lay.edge(k)])
        true = Reading(model, lay).state(answer)
        assert value == pytest.approx(true, rel=1e-8, abs=1e-8)
        total = sum(true[lay.force(0, j):lay.force(0, j) + 3] for j in range(len(lay.sources)))
        assert np.abs(total).max() < 1e-6 * asked.load_N * 76.0
    assert held > 1


def test_bounds_follow_the_strength_of_bone(lesson) -> None:
    """The lines that the page reads bounds from are the bounds, at any factor of its range."""
    facts = lesson.facts
    data = lesson.problems[0][0][1].data
    frame = facts.built(facts.ask(0, slope=30.0))[0]
    at, start = 0, {}
    for name, size in data["sizes"].items():
        start[name] = at, size
        at += size
    values = unpacked(data["bytes"], at)
    first, size = start["bounds"]
    lines = values[first:first + size].reshape(6, -1)[:, :-1]
    for s in (STRENGTHS[0], 0.77, 1.0, STRENGTHS[1]):
        with np.errstate(invalid="ignore"):
            low, one, two = (np.where(lines[k + 1] == 0, lines[k], lines[k] + s * lines[k + 1])
                             for k in (0, 2, 4))
        lower, upper = frame.bounds(s)
        assert low == pytest.approx(lower, rel=1e-7)
        assert np.minimum(one, two) == pytest.approx(upper, rel=1e-7)
    assert (frame.bounds(0.5)[1] < frame.bounds(1.0)[1]).any()


def unpacked(text: str, count: int) -> np.ndarray:
    """Numbers as the page reads them: the highest bytes of each, the others zero."""
    raw = np.frombuffer(zlib.decompress(base64.b64decode(text), -15), np.uint8).reshape(-1, count)
    whole = np.zeros((8, count), np.uint8)
    whole[8 - len(raw):] = raw
    return np.ascontiguousarray(whole.T).view("<f8").ravel()


def test_numbers_are_packed_to_27_bits_of_their_fraction() -> None:
    rng = np.random.default_rng(2)
    values = rng.normal(size=101) * 10.0 ** rng.integers(-30, 30, 101)
    found = unpacked(packed(values), 101)
    assert found == pytest.approx(values, rel=2.0 ** -27, abs=0.0)
    assert (found != values).any()
    plain = np.array([0.0, -0.0, 1.0, -2.5, np.inf, -np.inf, 1.0 - 2.0 ** -50])
    assert (unpacked(packed(plain), 7) == [*plain[:6], 1.0]).all()


def test_the_mesh_is_measured(lesson) -> None:
    found = mesh_error(lesson.facts, [lesson.facts.ask(0, load=500.0)])
    assert found["points"] == 1
    assert 0.0 < found["share_max"] < 0.2
    assert "On a mesh of 2.4 mm" in mesh_words(found)


# -- the page ---------------------------------------------------------------------------------

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
    assert mesh_words({}) in render(lesson)


def test_wrong_input_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file").write_text("x")
    for name, folder, said in (("medial-shear", "full", "not empty"),
                               ("medial-sheer", "new", "no such example")):
        done = inside("lesson", "--example", name, "--out", str(tmp_path / folder))
        assert (done.returncode, done.stdout) == (2, "")
        assert said in done.stderr
    assert not (tmp_path / "new").exists()
