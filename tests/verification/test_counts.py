"""Counts of README and record are those of the registry and of the bench report."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from buttress.bench.expect import expectations
from buttress.fe.verification import cases
from buttress.report import benched
from buttress.report.verified import counts, counts_words
from buttress.study.read import example_names
from buttress.verification import cases as whole

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
EVERY = [{"basis": c.basis, "status": c.status} for c in [*cases(), *whole()]]


def quoted(mark: str) -> str:
    """What the README quotes between two marks."""
    [found] = re.findall(rf"<!-- {mark} -->\n> (.*)\n<!-- end -->", README)
    return str(found)


def test_the_readme_has_the_counts_of_the_registry() -> None:
    assert quoted("verification counts") == counts_words(*counts(EVERY))


def test_the_counts_add_up_and_practice_is_apart() -> None:
    bases, statuses = counts(EVERY)
    assert sum(bases.values()) == len(EVERY)
    assert sum(statuses.values()) == len(EVERY) - bases["common practice"]
    assert statuses["seen"] >= 20
    assert {c["status"] for c in EVERY if c["basis"] == "common practice"} == {"practice"}
    one = [{"basis": "published", "status": "seen"}, {"basis": "common practice", "status": "practice"}]
    assert counts_words(*counts(one)) == (
        "1 case: 1 published; the reference is read in its source in 1. Beside them 1 fact of "
        "the trade: common practice, no source.")


def test_the_readme_has_the_bench_counts_of_the_record() -> None:
    assert quoted("bench counts") == benched.counts_words(benched.recorded())


def test_the_record_is_that_of_the_committed_report_and_speaks_to_shipped_studies() -> None:
    report = json.loads((ROOT / "results/gallery/bench/bench.json").read_text(encoding="utf-8"))
    assert {t.name: t.verdicts for t in benched.recorded()} == {
        t["name"]: {c["name"]: c["verdict"] for c in t["claims"]} for t in report["tests"]}
    assert benched.counts(benched.recorded()) == report["summary"]
    assert {t.name: t.speaks_to for t in benched.recorded()} == {
        t.name: t.speaks_to for t in expectations()}
    assert {s for t in expectations() for s in t.speaks_to} <= set(example_names())


@pytest.mark.parametrize("name", example_names())
def test_a_study_is_told_of_its_claims_and_no_other(name: str) -> None:
    said = benched.of_study(name)
    claims = [t for t in benched.recorded() if name in t.speaks_to]
    assert len(said) == 1 + max(len(claims), 1)
    for test in claims:
        assert any(line.startswith(test.name + " (") for line in said)
    if not claims:
        assert "None of them" in said[-1]


def test_a_record_is_written_and_its_verdicts_are_counted(tmp_path: Path) -> None:
    made = benched.record_of([{"name": "n", "source": "s", "speaks_to": ["a"], "claims": [
        {"name": "c", "verdict": "agrees"}, {"name": "d", "verdict": "disagrees"}]}])
    assert benched.counts(made) == {"agrees": 1, "disagrees": 1, "not comparable": 0}
    path = benched.write_record(made, tmp_path / "b.json")
    assert json.loads(path.read_text())[0]["verdicts"] == {"c": "agrees", "d": "disagrees"}
    assert benched.of_study("a", made)[1] == "n (s): “c” agrees; “d” disagrees."
    assert "No record" in benched.of_study("a", ())[0]
