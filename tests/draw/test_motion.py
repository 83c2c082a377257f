"""The animation of two constructs: its frames, its size, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from figure_texts import clashes
from hostile import NAMES, hostile_study
from perfect import perfect
from PIL import Image
from small_study import small_study

from buttress import LABEL
from buttress.comparison.compare import compare
from buttress.draw import film as motion
from buttress.draw.film import Film, _drawn, draw_frame, film, write_film
from buttress.fe.errors import InputError
from buttress.fe.solve.path import PLATEAU
from buttress.results.comparison import Comparison
from buttress.rules.check import check
from buttress.study.loads import HardeningInput
from buttress.study.read import example, only
from buttress.study.study import Study
from buttress.sweeps.explore import Explorer
from buttress.sweeps.vary import varied

PLATE, LAG = "antiglide", "lag screws"


@pytest.fixture(scope="module")
def study() -> Study:
    # Nothing hardens: the plate lets its fragment go at about 2090 N, the screws yield at 4299 N.
    return perfect(small_study(PLATE, LAG, loads=(1800.0,)))


@pytest.fixture(scope="module")
def made(study: Study) -> Film:
    return film(study, PLATE, LAG, frames=8)


@pytest.fixture(scope="module")
def compared(study: Study) -> Comparison:
    return compare(study)


def words(made: Film, number: int) -> str:
    return "\n".join(t.get_text() for t in draw_frame(made, number).texts)


def test_both_are_pressed_equally_far_and_past_the_last_peak(made: Film, compared: Comparison
                                                             ) -> None:
    assert [s.live.construct for s in made.frames[0]] == [PLATE, LAG]
    assert (np.diff(made.pressed_mm) > 0.0).all()
    peaks = []
    for name in (PLATE, LAG):
        path = compared[name].path
        assert path is not None
        largest = max(p.load_N for p in path.points)
        peaks.append(next(p.ram_mm for p in path.points
                          if p.load_N >= (1 - PLATEAU) * largest))
    assert made.pressed_mm[-1] == pytest.approx(motion.PAST * max(peaks))
    past = [pair[1].past for pair in made.frames]
    assert past == [place > peaks[1] for place in made.pressed_mm]
    assert True in past
    assert False in past


def test_the_load_is_that_of_the_path_at_this_displacement(made: Film, compared: Comparison
                                                           ) -> None:
    for side, name in enumerate((PLATE, LAG)):
        path = compared[name].path
        assert path is not None
        at = np.array([p.ram_mm for p in path.points])
        load = np.array([p.load_N for p in path.points])
        for place, pair in zip(made.pressed_mm, made.frames, strict=True):
            shot = pair[side]
            if shot.loose:
                continue
            # Between two points the load lies between theirs, as this path only rises.
            k = int(np.clip(np.searchsorted(at, place), 1, len(at) - 1))
            low, high = sorted(load[k - 1:k + 1])
            assert low - 1e-6 * high <= shot.picture.load_N <= high * (1 + 1e-6)
            assert shot.live.result.total_load_N == shot.picture.load_N


def test_a_load_on_the_path_shows_the_state_that_compare_reports(made: Film, study: Study) -> None:
    explorer = Explorer(study)
    shot = made.frames[0][1]
    same = explorer.answer(LAG, shot.picture.load_N).picture
    for a, b in zip(shot.picture.bodies, same.bodies, strict=True):
        assert np.abs(a.displacement - b.displacement).max() < 2e-3


def test_what_gives_way_stays_so_and_moves_on_from_where_it_was(made: Film) -> None:
    loose = [pair[0].loose for pair in made.frames]
    first = loose.index(1)
    assert loose == [0] * first + list(range(1, len(loose) - first + 1))
    assert all(pair[1].loose == 0 for pair in made.frames)
    before, after = (_drawn(pair[0], made.factor).bodies[0]
                     for pair in made.frames[first - 1:first + 1])
    step = made.factor * np.hypot(*(after.displacement - before.displacement).T)
    assert step.max() == pytest.approx(motion.ESCAPE_STEP_MM)


def test_what_carries_nothing_is_loose_from_the_start() -> None:
    made = film(small_study("nothing", LAG), "nothing", LAG, frames=2)
    assert [pair[0].loose for pair in made.frames] == [1, 2]
    assert "carries nothing" in made.frames[0][0].words
    assert made.frames[1][1].picture.load_N > made.frames[0][1].picture.load_N


def test_past_the_peak_the_load_falls() -> None:
    # Threads that lose half of what they hold once they are pulled out.
    study = small_study(LAG).model_copy(update={"hardening": HardeningInput(
        bone_share=0.0, metal_share=0.0, thread_residual=0.5)})
    explorer = Explorer(study)
    way = explorer.way(LAG)
    assert way.peak_mm is not None
    assert way.ends_mm > 2.0 * way.peak_mm
    past = explorer.pressed(LAG, way.ends_mm).result.total_load_N
    assert past < 0.8 * way.largest_N
    assert explorer.pressed(LAG, way.peak_mm).result.total_load_N == pytest.approx(
        way.largest_N, rel=PLATEAU)


def test_a_frame_says_how_far_the_load_the_names_the_outcome_and_the_label(made: Film) -> None:
    for number in (0, 7):
        said = words(made, number)
        assert f"joint pressed by {made.pressed_mm[number]:.2f} mm" in said
        assert f"{made.frames[number][1].picture.load_N:.0f} N, subsides" in said
        assert PLATE in said
        assert LABEL in said
        assert f"displacement × {made.factor:g} in both" in said.replace("\n", " ")
    assert "peak" not in words(made, 0)
    assert "has given way after its peak of 2" in words(made, 7).replace("\n", " ")
    assert "past its peak of 4" in words(made, 7).replace("\n", " ")


def test_the_joint_of_a_slice_is_pressed_as_far_as_its_patch_moves() -> None:
    """The fragment "subsides 4.79 mm" stood under "joint pressed by 1.19 mm"."""
    names = "front lag screws", "buttress"
    made = film(only(varied(example("posterior-shear"), {
        "mesh.size_mm": 4.0, "mesh.coarse_mm": 8.0, "press.large_movements": "off",
        "load.medial_share": 0.4}), *names), *names, frames=3)
    load = made.frames[1][0].live.result
    moved = 0.4 * load.total_load_N / load.stiffness_N_per_mm   # of the slice, beside the shaft's
    assert made.joint_mm(1) == pytest.approx(moved, rel=0.25)
    assert f"joint pressed by {made.joint_mm(1):.2f} mm" in words(made, 1)


def test_the_mark_is_explained_where_it_is_shown() -> None:
    """A third construct of the study that breaks a rule had it explained below two that do not."""
    study = small_study(PLATE, LAG)
    screw = study.constructs[1].screws[0].model_copy(update={"length_mm": 70.0, "angle_deg": 25.0})
    bad = study.constructs[1].model_copy(update={"name": "bad", "screws": (screw,)})
    study = study.model_copy(update={"constructs": (*study.constructs, bad)})
    assert any(f.construct == "bad" and f.level == "broken" for f in check(study))
    assert film(study, PLATE, LAG, frames=1).against == ()
    made = film(study, PLATE, "bad", frames=1)
    assert made.against == ("bad",)
    assert "breaks a rule" in words(made, 0)


def test_no_text_of_a_frame_overlaps(made: Film) -> None:
    for number in (0, 7):
        assert clashes(draw_frame(made, number)) == []
    names = NAMES[3:]
    long = film(only(hostile_study(), *names), *names, frames=1)
    assert clashes(draw_frame(long, 0)) == []


def test_the_file_is_a_small_animation(made: Film, tmp_path: Path) -> None:
    path = write_film(made, tmp_path / "motion.gif")
    assert path.stat().st_size < 1_000_000
    with Image.open(path) as image:
        assert image.n_frames == 8
        assert image.size[0] >= 900
        assert image.info["loop"] == 0
        seen = []
        for number in range(8):
            image.seek(number)
            seen.append(np.asarray(image.convert("RGB")))
        assert image.info["duration"] == motion.FRAME_MS * motion.REST
    assert (seen[0][:3, :3] == 255).all()
    assert all((a != b).any() for a, b in zip(seen, seen[1:], strict=False))


def test_two_constructs_of_the_study_are_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    study = small_study("antiglide", "lag screws")
    with pytest.raises(InputError, match="two different"):
        film(study, "antiglide", "antiglide")
    def solved(*_: object) -> None:
        raise AssertionError("solved before the names were looked at")

    monkeypatch.setattr(motion, "Explorer", solved)
    for names in (("antiglid", "lag screws"), ("lag screws", "antiglid")):
        with pytest.raises(InputError, match='did you mean "antiglide"'):
            film(study, *names)
