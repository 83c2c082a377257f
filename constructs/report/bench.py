"""The bench comparisons as text: lines for a terminal, Markdown and JSON for a folder."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from buttress import LABEL
from buttress.report.benched import VERDICTS
from buttress.versions import versions
from buttress.words import listed, minus

MADE_BY = "buttress verify --bench --out DIR"
HEAD = """Published bench tests next to the model. For validation only: nothing in the tool is tuned
to these figures. Direction or band of each claim was written down before it was run
(`constructs/bench/expectations.toml`); a disagreement is a result. The geometries are invented
and imitate the kind of fracture of each test (`constructs/bench/studies/`, each a study that
`buttress compare` takes)."""


MECHANISMS = """Each claim with the model as it is (both what is crushed and metal harden beyond
their strength, large movements) and in small movements with both, one or none of them hardening.
Made by `buttress verify --bench --mechanisms --out DIR`."""
ADDED = """To the model as it is one thing more is added at a time: parts that fit less than
perfectly, or anchorage that loses strength beyond its peak. Their values, those of
`compare --alternatives`, are choices or bounds; no published ones were found. So no claim counts
as agreeing because of them: the table shows on what a disagreement depends. Listed are the claims
whose verdict one of them changes."""

@cache
def remarks() -> dict[str, str]:
    """What we believe the reasons are, by the name of the claim."""
    text = files("buttress.bench").joinpath("remarks.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def document(records: list[dict[str, Any]]) -> dict[str, Any]:
    """The report as one JSON document."""
    return {"label": LABEL, "versions": versions(), "made_by": MADE_BY, "summary": counted(records),
            "tests": [{**r, "claims": [{**c, "remark": remarks().get(c["name"], "")}
                                       for c in r["claims"]]} for r in records]}


def counted(records: list[dict[str, Any]]) -> dict[str, int]:
    """How many claims agree, disagree and are not comparable."""
    found = Counter(c["verdict"] for r in records for c in r["claims"])
    return {v: found[v] for v in ("agrees", "disagrees", "not comparable")}


def summary(records: list[dict[str, Any]]) -> str:
    """One line of the count."""
    tests = len({r["source"] for r in records})
    return (f"{sum(counted(records).values())} claims of {tests} tests"
            + (f", some in two views ({len(records)} rows)" if tests < len(records) else "") + ": "
            + ", ".join(f"{n} {v}" for v, n in counted(records).items()))


def figure(entry: dict[str, Any], unit: str) -> str:
    """One computed figure in words."""
    if entry["beyond"] in ("unbounded", "nil"):
        return "fails"
    if entry["value"] is None:
        return "none"
    sign = "over " if entry["beyond"] == "over" else ""
    value = entry["value"]
    return f"{sign}{minus(f'{value:.3g}' if abs(value) < 1000 else f'{value:.0f}')} {unit}"


def figures(claim: dict[str, Any], mechanism: str = "") -> str:
    """All computed figures of a claim in words; with a mechanism those of its row."""
    computed = claim["computed"][mechanism] if mechanism else claim["computed"]
    return "; ".join(f"{e['of']} {figure(e, claim['unit'])}" for e in computed)


def table_lines(records: list[dict[str, Any]]) -> list[str]:
    """The report for a terminal."""
    lines = []
    for r in records:
        lines += ["", f"{r['source']}  [{r['status']}]  {r['name']}" + (
            f"  ({r['bone']}, study {r['study']})" if r["study"] else "")]
        for c in r["claims"]:
            lines += [f"  {c['verdict']:14} {c['name']}",
                      f"                 bench: {c['bench']}"]
            if c["computed"]:
                lines.append(f"                 model: {figures(c)}")
            lines.append(f"                 {c['arithmetic']}")
    return [*lines, "", summary(records)]


def markdown(records: list[dict[str, Any]]) -> str:
    """The report as Markdown."""
    parts = ["# Bench tests next to the model", f"> {LABEL}", HEAD, f"Made by `{MADE_BY}`.",
             f"**{summary(records)}.**"]
    for r in records:
        parts.append(f"## {r['name']}")
        facts = [f"Source: {r['source']}" + (f", doi {r['doi']}" if r["doi"] else "")
                 + f" (figures: {r['status']})", f"Test: {r['test']}"]
        if r["study"]:
            facts += [f"Study: `{r['study']}.toml`, bone: {r['bone']}, mesh: "
                      f"{r['mesh']['elements']} elements, {r['mesh']['size_mm']:g} mm at fractures",
                      "Assumed: " + "; ".join(r["assumptions"])]
        parts.append("\n".join(f"- {fact}" for fact in facts))
        rows = ["| claim | bench | model | verdict | because |", "| --- | --- | --- | --- | --- |"]
        rows += [f"| {_cell(c['name'])} | {_cell(c['bench'])} | {_cell(figures(c)) or '–'} "
                 f"| **{c['verdict']}** | {_cell(c['arithmetic'])} |" for c in r["claims"]]
        parts.append("\n".join(rows))
        cautions = dict.fromkeys(c["caution"] for c in r["claims"] if c["caution"])
        if cautions:
            parts.append("Caution, written before: " + "; ".join(cautions) + ".")
        told = [f"- *{c['name']}*: {remarks()[c['name']]}" for c in r["claims"]
                if c["name"] in remarks()]
        if told:
            parts.append("What we believe, written after:\n\n" + "\n".join(told))
    return "\n\n".join(parts) + "\n"


def mechanism_lines(found: dict[str, Any]) -> list[str]:
    """Claims × mechanisms for a terminal: what agrees with each, then the counts."""
    out = ["", "Claims and mechanisms (what hardens beyond its strength, large movements, then one "
               "thing more at a time):"]
    for row in found["claims"]:
        under: dict[str, list[str]] = {}
        for name, said in row["verdicts"].items():
            under.setdefault(said, []).append(name)
        out.append(f"  {row['test']}: {row['claim']}: " + (
            next(iter(under)) if len(under) == 1
            else "; ".join(f"{said} with {_named(names)}" for said, names in under.items())))
    return [*out, *(f"  {name}: {_counts(n)}" for name, n in totals(found).items())]


def mechanism_table(found: dict[str, Any]) -> str:
    """Claims × mechanisms as Markdown: those of the model, then what is added to it."""
    rows, usual, more = found["claims"], found["usual"], found["added"]
    own = [name for name in rows[0]["verdicts"] if name not in more]
    turned = [(row, [n for n in more if row["verdicts"][n] != row["verdicts"][usual]])
              for row in rows]
    told = [f"- *{row['claim']}* with {name}: {figures(row, name)} (bench: {row['bench']})"
            for row, names in turned for name in names]
    return "\n\n".join([
        "# Claims and mechanisms", f"> {LABEL}", MECHANISMS, _verdicts(found, rows, own),
        "## One thing more", ADDED,
        "\n".join(f"- {name}: {words}" for name, words in more.items()),
        _verdicts(found, [row for row, names in turned if names], [usual, *more]),
        *(["What the model then says:", "\n".join(told)] if told else [])]) + "\n"


def _verdicts(found: dict[str, Any], shown: list[dict[str, Any]], names: list[str]) -> str:
    """A table of verdicts by mechanism, and the counts over all claims."""
    lines = [f"| test | claim | {' | '.join(names)} |", f"| --- | --- |{' --- |' * len(names)}"]
    lines += [f"| {_cell(row['test'])} | {_cell(row['claim'])} | "
              + " | ".join(row["verdicts"][name] for name in names) + " |" for row in shown]
    counts = totals(found)
    lines.append("| | **all claims** | " + " | ".join(_counts(counts[name]) for name in names)
                 + " |")
    return "\n".join(lines)


def totals(found: dict[str, Any]) -> dict[str, Counter[str]]:
    """How many claims agree, disagree and are not comparable under each mechanism."""
    return {name: Counter(row["verdicts"][name] for row in found["claims"])
            for name in found["claims"][0]["verdicts"]}


def _named(names: list[str]) -> str:
    """Names of mechanisms in a sentence; some hold a comma."""
    return listed([f"'{name}'" for name in names])


def _counts(found: Counter[str]) -> str:
    return ", ".join(f"{found[v]} {v}" for v in VERDICTS)


def _cell(text: str) -> str:
    return text.replace("|", "/")


def write_report(records: list[dict[str, Any]], folder: Path,
                 mechanisms: dict[str, Any] | None = None) -> None:
    """`bench.md` and `bench.json` in a folder that exists; `mechanisms.md` with ``mechanisms``."""
    if mechanisms:
        (folder / "mechanisms.md").write_text(mechanism_table(mechanisms), encoding="utf-8")
    (folder / "bench.md").write_text(markdown(records), encoding="utf-8")
    text = json.dumps(document(records), indent=1, allow_nan=False, ensure_ascii=False)
    (folder / "bench.json").write_text(text + "\n", encoding="utf-8")
