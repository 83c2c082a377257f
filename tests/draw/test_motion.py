"""The animation of two constructs: its frames, its size, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hostile import NAMES, hostile_study
from perfect import perfect
from PIL import Image
from small_study import small_study

from buttress import LABEL
from buttress.draw import film as motion
from buttress.draw.film import Film, _drawn, draw_frame, film, write_film
from buttress.draw.text import clashes
from buttress.fe.errors import InputError
from buttress.study.read import only


@pytest.fixture(scope="module")
def made() -> Film:
    # The plate fails between 1890 and 2160 N.
    return film(perfect(small_study("antiglide", "lag screws", loads=(1800.0,))), "antiglide",
                "lag screws", rise=8)


def words(made: Film, number: int) -> str:
    return "\n".join(t.get_text() for t in draw_frame(made, number).texts)


def test_the_load_rises_and_both_answer_it(made: Film) -> None:
    assert made.loads == pytest.approx(np.arange(1, 9) * 270.0)
    assert [s.live.construct for s in made.frames[0]] == ["antiglide", "lag screws"]
    for load, pair in zip(made.loads, made.frames, strict=True):
        for shot in pair:
            if not shot.loose:
                assert shot.picture.load_N == load
                assert shot.picture.held


def test_what_lets_go_stays_loose_and_moves_on_from_where_it_was(made: Film) -> None:
    loose = [pair[0].loose for pair in made.frames]
    assert loose == [0, 0, 0, 0, 0, 0, 0, 1]
    assert all(pair[1].loose == 0 for pair in made.frames)
    before, after = (_drawn(pair[0], made.factor).bodies[0] for pair in made.frames[-2:])
    step = made.factor * np.hypot(*(after.displacement - before.displacement).T)
    assert step.max() == pytest.approx(motion.ESCAPE_STEP_MM)


def test_a_frame_says_the_load_the_names_what_becomes_of_them_and_the_label(made: Film) -> None:
    for number, load in ((0, "270 N"), (7, "2160 N")):
        said = words(made, number)
        assert f"joint force {load}" in said
        assert "antiglide" in said
        assert LABEL in said
        assert f"displacement × {made.factor:g} in both" in said.replace("\n", " ")
    assert "held, subsides" in words(made, 0)
    assert "no equilibrium at 2160 N" in words(made, 7)


def test_no_text_of_a_frame_overlaps(made: Film) -> None:
    for number in (0, 7):
        assert clashes(draw_frame(made, number)) == []
    names = NAMES[3:]
    long = film(only(hostile_study(), *names), *names, rise=1)
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
