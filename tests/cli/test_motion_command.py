"""The film and the gallery as a user asks for them."""

from __future__ import annotations

from pathlib import Path

from command import inside

from buttress.study.read import example_text

COARSE = example_text("medial-shear").replace(
    "total_N = [500, 1000, 1500]", "total_N = [1000]").replace(
    "[section]", "[mesh]\nsize_mm = 5\n\n[section]", 1).replace("body_mass_kg = 75 ", "# ")
HEAD, *CONSTRUCTS = COARSE.split("[[construct]]")
COARSE = HEAD + "".join(f"[[construct]]{c}" for c in CONSTRUCTS
                        if c.startswith(('\nname = "lag screws"\n', '\nname = "antiglide"\n')))


def test_a_film_beside_the_other_results(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(COARSE)
    done = inside("compare", "study.toml", "--out", "out", "--motion", "antiglide", "lag screws",
               cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    film = tmp_path / "out" / "motion.gif"
    assert film.read_bytes().startswith(b"GIF89a")
    assert film.stat().st_size < 3_000_000
    assert (tmp_path / "out" / "report.html").exists()


def test_a_film_of_what_is_not_there_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(COARSE)
    for names, word in ((("antiglid", "lag screws"), "antiglide"),
                        (("antiglide", "antiglide"), "two different")):
        done = inside("compare", "study.toml", "--out", "out", "--motion", *names, cwd=tmp_path)
        assert done.returncode == 2
        assert word in done.stderr
        assert "Traceback" not in done.stderr
        assert [p.name for p in tmp_path.iterdir()] == ["study.toml"]


def test_a_gallery_of_an_unknown_study_writes_nothing(tmp_path: Path) -> None:
    done = inside("examples", "medial-shar", "--gallery", "gallery", cwd=tmp_path)
    assert done.returncode == 2
    assert "medial-shear" in done.stderr
    assert list(tmp_path.iterdir()) == []
