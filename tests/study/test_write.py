"""A study that is written and read again is the same study."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from command import inside
from hypothesis import assume, given
from hypothesis import strategies as st
from small_study import small_study

from buttress import LABEL, example, load_study, parse_study, study_from, varied, write_study
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.read import example_names, example_text
from buttress.study.write import text_from, text_of_study
from buttress.sweeps.vary import plain

TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
VALUES = st.recursive(
    st.booleans() | st.integers(-10**12, 10**12) | TEXTS
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=12)


@given(st.dictionaries(TEXTS, VALUES, max_size=5))
def test_any_nested_dicts_are_read_as_they_were_written(data: dict) -> None:
    # Tables inside of lists of something else have no headings.
    def flat(value: object) -> bool:
        if isinstance(value, dict):
            return all(map(flat, value.values()))
        if not isinstance(value, list):
            return True
        tables = [isinstance(v, dict) for v in value]
        return all(map(flat, value)) and (all(tables) or not any(tables)) and not any(
            isinstance(v, list) and any(isinstance(w, dict) for w in v) for v in value)

    assume(flat(data))
    assert tomllib.loads(text_from(data)) == data


@pytest.mark.parametrize("name", example_names())
def test_every_shipped_study_is_equal_when_it_was_written_and_read(name: str) -> None:
    study = example(name)
    text = text_of_study(study)
    assert parse_study(text) == study
    assert text_of_study(parse_study(text)) == text


NAMES = st.text("abcdefgh äöß'\"#\\[]{}-|", min_size=1, max_size=12).map(str.strip).filter(bool)


@given(width=st.floats(60, 100), friction=st.floats(0, 1.5), count=st.integers(1, 3),
       name=NAMES, note=TEXTS, share=st.floats(0.2, 0.8), washer=st.booleans())
def test_a_study_with_other_values_is_equal_when_it_was_written_and_read(
        width: float, friction: float, count: int, name: str, note: str, share: float,
        washer: bool) -> None:
    data = plain(small_study("lag screws"))
    data["section"]["width_mm"] = width
    data["fracture"][0]["friction"] = friction
    data["load"]["medial_share"] = share
    data["construct"][0]["name"] = name
    data["construct"][0]["note"] = "".join(c for c in note if c.isprintable())
    data["construct"][0]["screw"][0] |= {"count": count, "washer": washer}
    study = study_from(data)
    assert parse_study(text_of_study(study)) == study


def test_coupled_keys_are_written_as_they_were_given(tmp_path: Path) -> None:
    text = example_text("medial-shear").replace(
        "top_mm = -27.5", 'top_mm = "{fracture.shear plane.apex.y} + 23"', 1)
    study = parse_study(text)
    again = load_study(write_study(study, tmp_path / "s.toml"))
    assert again == study
    assert again.coupled == study.coupled
    assert len(again.coupled) == 1


def test_in_full_it_has_numbers_for_what_is_derived(tmp_path: Path) -> None:
    study = varied("posterior-shear", {"limits.movement_mm": 0.7}).study
    path = write_study(study, tmp_path / "s.toml", in_full=True)
    text = path.read_text(encoding="utf-8")
    assert text.startswith(f"# {LABEL}\n")
    assert "bicortical" not in text
    assert "like" not in text
    again = load_study(path)
    assert again.constructs[3].screws[0].length_mm == pytest.approx(
        resolved(study)["construct"][3]["screw"][0]["length_mm"])
    assert resolved(again) == resolved(study)


def test_files_that_it_names_are_written_beside_it(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    rows = "x_mm,y_mm\n-38,0\n38,0\n30,-40\n14,-90\n14,-130\n-14,-130\n-14,-90\n-30,-40\n"
    (tmp_path / "a" / "outline.csv").write_text(rows)
    data = plain(small_study("nothing"))
    data["section"] = {"outline_file": "outline.csv"}
    study = study_from(data, folder=tmp_path / "a")
    (tmp_path / "b").mkdir()
    assert load_study(write_study(study, tmp_path / "b" / "s.toml")) == study
    assert (tmp_path / "b" / "outline.csv").read_text() == rows


def test_where_it_cannot_be_written_one_message_says_so(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write_study("medial-shear", tmp_path / "no" / "such" / "s.toml")


def test_the_command_prints_the_study_in_full(tmp_path: Path) -> None:
    done = inside("check", "--example", "posterior-shear", "--in-full")
    assert done.returncode == 0
    assert resolved(parse_study(done.stdout)) == resolved(example("posterior-shear"))
