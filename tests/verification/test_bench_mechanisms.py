"""Claims × mechanisms: each column is solved with what it says."""

from __future__ import annotations

import pytest

from buttress.bench import run
from buttress.bench.mechanisms import SMALL, USUAL, added, mechanisms, run_mechanisms
from buttress.comparison.compare import compare
from buttress.report.bench import mechanism_lines, mechanism_table, totals
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
    records, table = run_mechanisms(only=[TEST])

    # The model as it is comes first; what changes nothing is not solved again.
    columns = mechanisms()
    same = [name for name, change in columns.items() if change(study) is None]
    assert same == [USUAL]
    named = dict(zip([USUAL, *(n for n in columns if n != USUAL)], asked, strict=True))
    hardens = {name: (named[name].hardening.bone_share > 0, named[name].hardening.metal_share > 0)
               for name in columns}
    assert hardens == {"nothing hardens": (False, False), "crushed bone": (True, False),
                       "metal": (False, True),
                       **dict.fromkeys((SMALL, USUAL, *added()), (True, True))}
    assert [n for n, s in named.items() if s.press.large_movements != "off"] == [USUAL, *added()]
    # Nothing else of a study is changed.
    assert named[USUAL] == study
    assert {f.gap_mm for f in named["fracture gap"].fractures} == {0.5}
    assert named["fracture gap"].constructs == study.constructs
    assert {p.mismatch_mm for c in named["plate stands off"].constructs for p in c.plates} == {0.5}
    assert named["plate stands off"].fractures == study.fractures
    assert named["threads strip"].hardening.thread_residual < study.hardening.thread_residual

    assert {r["claim"]: r["verdicts"][USUAL] for r in table["claims"]} == {
        c["name"]: c["verdict"] for c in records[0]["claims"]}
    assert sum(totals(table)[SMALL].values()) == len(table["claims"])
    assert f"| {SMALL} | {USUAL} |" in mechanism_table(table)


def test_what_one_thing_more_changes_is_told_with_its_figures() -> None:
    """Of two claims the gap turns one; the other is in no table of what changes."""
    def row(claim: str, said: dict[str, str], value: float) -> dict[str, object]:
        shown = {name: [{"of": "T plate", "value": value * (1 + number), "beyond": "", "words": ""}]
                 for number, name in enumerate(said)}
        return {"test": "a test", "claim": claim, "bench": "0.4 mm", "unit": "mm",
                "verdicts": said, "computed": shown}

    names = (SMALL, USUAL, "fracture gap")
    table = {"usual": USUAL, "added": {"fracture gap": "faces stand apart"}, "claims": [
        row("turned", dict(zip(names, ("disagrees", "disagrees", "agrees"), strict=True)), 0.1),
        row("stays", dict.fromkeys(names, "agrees"), 0.2)]}
    own, more = mechanism_table(table).split("## One thing more")
    assert "| a test | turned | disagrees | disagrees |" in own
    assert "| a test | stays | agrees | agrees |" in own
    assert "| a test | turned | disagrees | agrees |" in more
    assert "stays" not in more
    assert "- *turned* with fracture gap: T plate 0.3 mm (bench: 0.4 mm)" in more
    assert "1 agrees, 1 disagrees, 0 not comparable | 2 agrees" in more
    [told] = [line for line in mechanism_lines(table) if ": turned: " in line]
    assert told.endswith(f"disagrees with '{SMALL}' and '{USUAL}'; agrees with 'fracture gap'")
