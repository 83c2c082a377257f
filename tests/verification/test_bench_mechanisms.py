"""Claims × mechanisms: each column is solved with what it says."""

from __future__ import annotations

import pytest

from buttress.bench import run
from buttress.bench.mechanisms import SMALL, USUAL, mechanisms, run_mechanisms
from buttress.comparison.compare import compare
from buttress.report.bench import mechanism_table, totals
from buttress.study.study import Study
from buttress.sweeps.vary import varied

TEST = "depression, hardware with and without cement"


def test_each_column_is_solved_with_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Study] = []

    def once(study: Study, **options: object) -> object:
        asked.append(study)
        return known

    study = run.study_of(next(t for t in run.expectations() if t.name == TEST))
    known = compare(varied(study, {"mesh.size_mm": 4.0, "press.large_movements": "off"}),
                    pictures=False)    # whose figures are read, whatever is asked for
    monkeypatch.setattr(run, "compare", once)
    records, rows = run_mechanisms(only=[TEST])

    named = dict(zip(mechanisms(), asked, strict=True))
    hardens = {name: (s.hardening.bone_share > 0, s.hardening.metal_share > 0)
               for name, s in named.items()}
    assert hardens == {"nothing hardens": (False, False), "crushed bone": (True, False),
                       "metal": (False, True), SMALL: (True, True), USUAL: (True, True)}
    assert [n for n, s in named.items() if s.press.large_movements != "off"] == [USUAL]
    # Nothing else of a study is changed.
    assert named[USUAL] == study
    assert {r["claim"]: r["verdicts"][USUAL] for r in rows} == {
        c["name"]: c["verdict"] for c in records[0]["claims"]}
    assert sum(totals(rows)[SMALL].values()) == len(rows)
    assert f"| {SMALL} | {USUAL} |" in mechanism_table(rows)
