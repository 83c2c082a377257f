"""What standard error says of a screw that strips when it is tightened."""

from __future__ import annotations

from pathlib import Path

from command import inside

from buttress.study.read import example_text


def test_it_is_told_once_and_not_as_a_load_that_is_not_held(tmp_path: Path) -> None:
    head, _, rest = example_text("medial-shear").partition("[[construct]]")
    lags = next(part for part in rest.split("[[construct]]") if '"lag screws"' in part)
    text = (head.replace("[load]", "[mesh]\nsize_mm = 4\ncoarse_mm = 8\n\n[load]")
            + "[[construct]]" + lags.replace("tension_N = 400", "tension_N = 6000"))
    study = tmp_path / "stripped.toml"
    study.write_text(text, encoding="utf-8")
    done = inside("compare", str(study), "--out", str(tmp_path / "out"), "--quiet")
    assert done.returncode == 0, done.stderr
    told = [line for line in done.stderr.splitlines() if line.startswith("lag screws")]
    assert len(told) == 1
    assert "cannot be tightened" in told[0]
    assert "no equilibrium" not in told[0]
