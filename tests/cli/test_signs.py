"""An output that cannot write every sign, as a console of an old encoding, still gets its text."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from buttress.cli.signs import PLAIN
from buttress.study.read import example_text

STUDY = example_text("posterior-shear").replace('"posterior fragment"', '"Stück – hinten"')


def _printed(encoding: str, *words: str, cwd: Path) -> str:
    done = subprocess.run([sys.executable, "-m", "buttress", *words], cwd=cwd, check=False,
                          capture_output=True, env=os.environ | {"PYTHONIOENCODING": encoding})
    assert b"Traceback" not in done.stderr, done.stderr
    assert done.returncode in (0, 1)
    return done.stdout.decode(encoding)


@pytest.mark.parametrize(("encoding", "name"), [
    ("ascii", "St?ck - hinten"), ("cp1252", "Stück – hinten"), ("cp437", "Stück - hinten"),
    ("utf-8", "Stück – hinten")])
def test_a_name_is_printed_as_far_as_the_output_can(tmp_path: Path, encoding: str,
                                                    name: str) -> None:
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    assert f'name = "{name}"' in _printed(encoding, "check", "study.toml", "--in-full",
                                          cwd=tmp_path)


def test_json_keeps_every_sign(tmp_path: Path) -> None:
    text = STUDY.replace('name = "front locked plate"', 'name = "vordere, größere Platte"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    for encoding in ("ascii", "utf-8"):
        found = json.loads(_printed(encoding, "check", "study.toml", "--json", cwd=tmp_path))
        assert "vordere, größere Platte" in {f["construct"] for f in found["findings"]}


def test_what_stands_for_a_sign_can_be_written_anywhere() -> None:
    assert all(text.isascii() and not sign.isascii() for sign, text in PLAIN.items())
