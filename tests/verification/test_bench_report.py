"""The committed report of the bench tests: its verdicts follow from its numbers, and fresh numbers
are the same. Agreement is not asked for."""

import json
import re
from pathlib import Path

import pytest
from command import inside

from buttress.bench.expect import Reading, expectations, verdict
from buttress.bench.run import run_test, study_of, study_text
from buttress.report.bench import counted, markdown, remarks
from buttress.rules.check import check

FOLDER = Path(__file__).parents[2] / "results" / "gallery" / "bench"
REPORT = json.loads((FOLDER / "bench.json").read_text(encoding="utf-8"))
CHEAP = ("posteromedial split, T plate", "lateral split, thread of the second screw")
WITH_STUDY = [t for t in expectations() if t.study]


def test_the_report_holds_every_claim_of_the_table_and_nothing_else():
    written = {(t["name"], c["name"]) for t in REPORT["tests"] for c in t["claims"]}
    assert written == {(t.name, c.name) for t in expectations() for c in t.claims}
    assert "not for planning treatment" in REPORT["label"]
    assert REPORT["made_by"] in (FOLDER / "bench.md").read_text(encoding="utf-8")


def test_every_verdict_follows_from_the_written_numbers_and_the_written_rule():
    claims = {c.name: c for t in expectations() for c in t.claims}
    assert {e["name"] for test in REPORT["tests"] for e in test["claims"]} == claims.keys()
    for test in REPORT["tests"]:
        for entry in test["claims"]:
            read = tuple(Reading(e["value"], e["beyond"], e["words"]) for e in entry["computed"])
            claim = claims[entry["name"]]
            assert verdict(claim, read) == (entry["verdict"], entry["arithmetic"])
            assert entry["bench"] == claim.figure
            assert len(read) == (0 if not claim.quantity else len(claim.load_N) if claim.rule in (
                "grows", "none") else len(claim.constructs))


def test_the_count_is_right_and_the_text_is_made_from_the_document():
    assert REPORT["summary"] == counted(REPORT["tests"])
    assert (FOLDER / "bench.md").read_text(encoding="utf-8") == markdown(REPORT["tests"])


def test_every_disagreement_has_a_reason_and_no_reason_is_left_over():
    names = {c.name for t in expectations() for c in t.claims}
    assert set(remarks()) <= names
    for test in REPORT["tests"]:
        for claim in test["claims"]:
            if claim["verdict"] == "disagrees":
                assert claim["remark"] == remarks()[claim["name"]]


def test_reasons_repeat_no_figure_of_the_model():
    """Those change with it. What a reason may name is in the claim, the bench's figure or the
    set-up as the table states it."""
    for test in REPORT["tests"]:
        names = " ".join(c["name"] for c in test["claims"])
        for claim in test["claims"]:
            given = {float(x) for x in re.findall(r"\d+(?:\.\d+)?", " ".join(
                [names, claim["bench"], test["test"], *test["assumptions"]]))}
            said = {float(x) for x in re.findall(r"\d+(?:\.\d+)?", claim["remark"])}
            assert said <= given, claim["name"]


def test_reasons_that_point_to_the_mechanisms_are_borne_out_there():
    """One thing more makes the claim agree, or it says nothing of it."""
    text = (FOLDER / "mechanisms.md").read_text(encoding="utf-8")
    rows = [line.split(" | ") for line in text.split("## One thing more")[1].splitlines()
            if line.startswith("| ")]
    agree = {row[1] for row in rows if row[2] == "disagrees" and any(x.strip(" |") == "agrees"
                                                                     for x in row[3:])}
    pointing = {name for name, remark in remarks().items() if "`mechanisms.md`" in remark}
    assert pointing
    assert pointing <= agree


def test_answers_of_the_report_were_proved():
    assert any(test["study"] and "held" in test["trust"]["statuses"] for test in REPORT["tests"])
    for test in REPORT["tests"]:
        if test["study"]:
            if "held" in test["trust"]["statuses"]:     # else there is nothing to prove
                assert test["trust"]["worst_residual"] < 1e-9
                assert test["trust"]["worst_balance_error"] < 1e-9
            assert "unconverged" not in test["trust"]["statuses"]


@pytest.mark.parametrize("name", CHEAP)
def test_fresh_numbers_are_those_of_the_report(name):
    [given] = [t for t in REPORT["tests"] if t["name"] == name]
    fresh = run_test(next(t for t in expectations() if t.name == name))
    for old, new in zip(given["claims"], fresh["claims"], strict=True):
        assert [e["of"] for e in old["computed"]] == [e["of"] for e in new["computed"]]
        assert [e["value"] for e in old["computed"]] == pytest.approx(
            [e["value"] for e in new["computed"]], rel=1e-3)
        assert old["verdict"] == new["verdict"]
    assert given["mesh"] == fresh["mesh"]


@pytest.mark.parametrize("test", WITH_STUDY, ids=lambda t: t.study)
def test_set_ups_are_what_the_table_says(test):
    study = study_of(test)
    bone = study.section.bone + (f" {study.section.foam_grade}" if study.section.bone == "foam"
                                 else "")
    assert bone == test.bone
    assert study.name == test.study
    assert "invented geometry" in study.scenario
    assert test.fragment in {f.name for f in study.fragments}
    named = {name for claim in test.claims for name in claim.constructs}
    assert named == {c.name for c in study.constructs}
    wanted = {load for claim in test.claims for load in claim.load_N}
    assert wanted <= set(study.load.total_N)
    whole = {"broken condyle": (0.0, 1.0), "medial plateau": (1.0,), "lateral plateau": (0.0,)}
    [wanted_share] = [share for side, share in whole.items()
                      if f"the whole load acts on the {side}" in test.assumptions] or [()]
    alone = study.load.medial_share in (0.0, 1.0)
    assert study.load.medial_share in wanted_share if alone else wanted_share == ()
    assert [f for f in check(study) if f.level == "broken"] == []
    assert max(len(line) for line in study_text(test).splitlines()) <= 130


def test_command_writes_the_report_of_one_test(tmp_path):
    out = inside("verify", "--bench", "--only", CHEAP[1], "--out", str(tmp_path / "b"), "--json")
    assert out.returncode == 0, out.stderr
    told = json.loads(out.stdout)
    assert told["tests"] == json.loads((tmp_path / "b" / "bench.json").read_text(
        encoding="utf-8"))["tests"]
    assert "disagrees" in (tmp_path / "b" / "bench.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(("words", "said"), [
    (("--bench", "--only", "posteromedial split, T plat"), "did you mean"),
    (("--only", CHEAP[0]), "needs --bench"), (("--out", "x"), "needs --bench")])
def test_command_refuses(words, said):
    out = inside("verify", *words)
    assert out.returncode == 2
    assert said in out.stderr
    assert "Traceback" not in out.stderr
    assert out.stdout == ""
