"""The hash of the verification record covers what the verification cases check."""

from __future__ import annotations

from pathlib import Path

import pytest

from buttress.report import verified


def test_it_covers_the_solver_and_what_builds_and_reads_constructs() -> None:
    names = set(verified.checked_files())
    assert {"fe/solve/step.py", "fe/links/link.py", "fe/mesh/t6.py", "model/pressing.py",
            "bone/section.py", "implants/pins.py", "results/figures.py", "study/study.py",
            "data/materials.toml"} <= names
    assert not [n for n in names if n.startswith(("draw/", "report/", "cli/", "lesson/"))]
    assert not [n for n in names if "verification" in n]


def test_a_change_of_any_of_them_changes_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                            ) -> None:
    before = verified.solver_hash()
    found = verified.checked_files()
    changed = tmp_path / "capacity.py"
    changed.write_bytes(found["fe/solve/capacity.py"].read_bytes() + b"\n# another line\n")
    monkeypatch.setattr(verified, "checked_files",
                        lambda: found | {"fe/solve/capacity.py": changed})
    assert verified.solver_hash() != before
