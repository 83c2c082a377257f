"""The gallery: what is committed is what the tool gives now; each picture beside its command."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hostile import NAMES, hostile_comparison
from made_up import comparison, moves
from PIL import Image
from small_study import small_study

from buttress import LABEL
from buttress.comparison.compare import compare
from buttress.fe.errors import InputError
from buttress.report import gallery
from buttress.study.read import example, example_names, only

ROOT = Path(__file__).parents[2]
GALLERY = ROOT / "results" / "gallery"
CHEAP = {"medial-shear": ("nothing", "lag screws", "antiglide"),
         "lateral-depression": ("raft",)}
"""Compared in every run; all the others with -m deep."""
TOLERANCE, SEARCH_STEP = 1e-6, 2e-3
SEARCHED = ("reserve_N", "equilibrium_ends_N", "step_off_limit_N")
"""Loads that are found along the path, within its tolerance only."""


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def assert_same_numbers(committed: list[dict[str, str]], fresh: list[dict[str, str]]) -> None:
    assert len(committed) == len(fresh) > 0
    for old, new in zip(committed, fresh, strict=True):
        assert old.keys() == new.keys()
        for key, value in old.items():
            where = f"{old['construct']}, {old['total_load_N']} N, {key}"
            try:
                number = float(value)
            except ValueError:
                assert new[key] == value, where
                continue
            # Numbers near zero are differences of larger ones, compared beside a micrometre.
            wide = SEARCH_STEP if key in SEARCHED else TOLERANCE
            assert float(new[key]) == pytest.approx(number, rel=wide, abs=wide * 1e-3), where


@pytest.mark.parametrize("name", sorted(CHEAP))
def test_committed_numbers_of_some_constructs_are_the_fresh_ones(name: str) -> None:
    committed = [r for r in table((GALLERY / name / "comparison.csv").read_text())
                 if r["construct"] in CHEAP[name]]
    made = compare(only(example(name), *CHEAP[name]), pictures=False)
    assert_same_numbers(committed, table(gallery.numbers(made)))


@pytest.mark.deep
@pytest.mark.parametrize("name", example_names())
def test_committed_numbers_are_the_fresh_ones(name: str) -> None:
    committed = table((GALLERY / name / "comparison.csv").read_text())
    assert_same_numbers(committed, table(gallery.numbers(compare(example(name), pictures=False))))


def test_the_comparison_of_numbers_finds_a_change() -> None:
    rows = [{"construct": "a", "total_load_N": "500", "tilt_deg": "0.5"}]
    assert_same_numbers(rows, [{**rows[0], "tilt_deg": "0.5000001"}])
    for other in ("0.500002", "", "held"):
        with pytest.raises((AssertionError, ValueError)):
            assert_same_numbers(rows, [{**rows[0], "tilt_deg": other}])


@pytest.mark.parametrize("name", example_names())
def test_every_shipped_study_has_its_page(name: str) -> None:
    page = (GALLERY / name / "README.md").read_text(encoding="utf-8")
    assert LABEL in page
    assert "invented scenario" in page
    shown = re.findall(r"!\[[^\]]*\]\(([^)]*)\)", page)
    # Each construct with stages has a picture of them, and there is one of all.
    staged = sum(bool(c.stages) for c in example(name).constructs)
    assert len(shown) == 4 + staged + bool(staged)
    files = {p.name for p in (GALLERY / name).iterdir()}
    assert files == {*shown, "README.md", "comparison.csv"}
    for picture in shown:
        assert f"`buttress compare --example {name}` → `{picture}`" in page
        assert (GALLERY / name / picture).stat().st_size < 200_000
    constructs = {r["construct"] for r in table((GALLERY / name / "comparison.csv").read_text())}
    assert constructs == {c.name for c in example(name).constructs}
    assert f"({name}/README.md)" in (GALLERY / "README.md").read_text(encoding="utf-8")


def test_the_index_names_the_command_and_the_words() -> None:
    index = (GALLERY / "README.md").read_text(encoding="utf-8")
    assert gallery.REMAKE in index
    for link in re.findall(r"\]\(([^)]*)\)", index):
        assert (GALLERY / link).exists(), link


def test_one_study_is_made_anew_and_the_rest_stays(tmp_path: Path,
                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    small = small_study("lag screws", "antiglide")
    monkeypatch.setattr(gallery, "example", lambda name: small)
    (tmp_path / "medial-shear").mkdir()
    (tmp_path / "medial-shear" / "old.png").write_bytes(b"old")
    (tmp_path / "other.txt").write_text("kept")
    written = gallery.write_gallery(tmp_path, ["medial-shear"])
    assert all(p.exists() for p in written)
    names = {p.name for p in (tmp_path / "medial-shear").iterdir()}
    assert {"README.md", "comparison.csv", "overview.png", "capacity.png"} <= names
    assert "old.png" not in names
    assert (tmp_path / "other.txt").read_text() == "kept"
    with Image.open(tmp_path / "medial-shear" / "overview.png") as image:
        assert image.size == (1463, 825)
        assert image.convert("RGB").getpixel((2, 2)) == (255, 255, 255)
    again = (tmp_path / "medial-shear" / "overview.png").read_bytes()
    gallery.write_gallery(tmp_path, ["medial-shear"])
    assert (tmp_path / "medial-shear" / "overview.png").read_bytes() == again


def test_names_of_a_study_stay_text_in_its_page(tmp_path: Path) -> None:
    gallery.write_study(hostile_comparison(), tmp_path)
    page = (tmp_path / "README.md").read_text(encoding="utf-8")
    outside = re.sub(r"```.*?```|`[^`]*`", "", page, flags=re.S)
    assert "<script" not in outside
    assert "<b>" not in outside
    assert NAMES[1] in page
    fields = table((tmp_path / "comparison.csv").read_text(encoding="utf-8"))
    assert not [r for r in fields if r["construct"].startswith(("=", "+", "-", "@"))]


def test_the_page_tells_of_the_construct_that_is_named_first() -> None:
    """It named one that breaks no rule, and told what carries another one that ties with it."""
    broken = replace(moves("broken", 1000.0), breaks_rule=True)
    made = comparison((broken, moves("kept", 960.0)))
    said = gallery.answer(made)
    assert said.startswith("'kept' shares the first rank: ")
    assert " Of 'kept': " in said
    assert gallery.chosen(made)[0] == "kept"


def test_the_numbers_hold_the_load_by_which_the_page_orders_constructs() -> None:
    made = comparison((moves("a", 1000.0), moves("b", 700.0)))
    rows = table(gallery.numbers(made))
    assert {(r["construct"], r["reserve_N"], r["reserve_is"]) for r in rows} == {
        ("a", "1000", "joint moved"), ("b", "700", "joint moved")}


def test_an_unknown_study_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="medial-shear"):
        gallery.write_gallery(tmp_path, ["medial-shaer"])
    assert list(tmp_path.iterdir()) == []
