"""Solve the bench set-ups and compare the figures with the expectations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.resources import files
from time import process_time
from typing import Any

from buttress.bench.expect import BenchTest, Claim, expectations, verdict
from buttress.bench.readings import readings
from buttress.comparison.compare import compare
from buttress.results.comparison import Comparison
from buttress.results.records import ConstructResult
from buttress.study.checked import require_known
from buttress.study.read import Study, parse_study

Say = Callable[[str], None]


def bench_names() -> tuple[str, ...]:
    """Names of the bench tests, in the order of the table."""
    return tuple(t.name for t in expectations())


def study_text(test: BenchTest) -> str:
    """TOML text of the study that imitates a test."""
    folder = files("buttress.bench").joinpath("studies")
    return folder.joinpath(f"{test.study}.toml").read_text(encoding="utf-8")


def study_of(test: BenchTest) -> Study:
    """The study that imitates a test."""
    return parse_study(study_text(test), f"{test.study}.toml")


def chosen(only: Sequence[str] = ()) -> list[BenchTest]:
    """The bench tests of some names, all without them.

    Raises InputError, with the closest name, for a test that there is not.
    """
    for name in only:
        require_known(name, bench_names(), "bench test", key="--only")
    return [test for test in expectations() if not only or test.name in only]


def run_bench(say: Say = lambda text: None, only: Sequence[str] = ()) -> list[dict[str, Any]]:
    """Published bench tests next to the model: what agrees, disagrees, or cannot be compared.

    ``say``: called with a line of progress per test. ``only``: names of tests, all without them.

    Returns one dict per test with its ``name``, ``source`` and ``claims``, each with its figures
    and verdict. Raises InputError, with the closest name, for a test that there is not.
    """
    return [run_test(test, say) for test in chosen(only)]


def run_test(test: BenchTest, say: Say = lambda text: None, study: Study | None = None
             ) -> dict[str, Any]:
    """One bench test: its study, or another in its place, solved, each claim judged."""
    found: dict[str, ConstructResult] = {}
    extra: dict[str, Any] = {}
    if test.study:
        start = process_time()
        comparison = compare(study or study_of(test), pictures=False)
        say(f"{test.name}: {process_time() - start:.1f} s of CPU")
        found = {c.name: c for c in comparison.constructs}
        extra = _how(comparison)
    return {"name": test.name, "source": test.source, "doi": test.doi, "status": test.status,
            "test": test.test, "bone": test.bone, "study": test.study,
            "speaks_to": list(test.speaks_to),
            "assumptions": list(test.assumptions), **extra,
            "claims": [_judged(claim, found, test.fragment) for claim in test.claims]}


def _how(comparison: Comparison) -> dict[str, Any]:
    """Mesh, residuals and the limits of each construct: the basis of the figures."""
    return {
        "mesh": {"size_mm": comparison.study.mesh.size_mm,
                 "elements": sum(b["elements"] for b in comparison.mesh.values())},
        "trust": {k: comparison.trust[k] for k in ("worst_residual", "worst_balance_error",
                                                   "statuses")},
        "constructs": [{"name": c.name, "capacity_N": list(c.capacity_N),
                        "equilibrium_ends_N": c.equilibrium_ends_N,
                        "ends_status": c.ends_status, "known_to_N": c.known_to_N,
                        "step_off_limit_N": c.step_off_limit_N, "first_limit": c.first_limit}
                       for c in comparison.constructs]}


def _judged(claim: Claim, found: dict[str, ConstructResult], fragment: str) -> dict[str, Any]:
    read = readings(claim, found, fragment) if found else ()
    judged, words = verdict(claim, read)
    labels = [f"{load:g} N" for load in claim.load_N] if claim.rule in ("grows", "none") \
        else list(claim.constructs)
    return {"name": claim.name, "bench": claim.figure, "quantity": claim.quantity,
            "unit": claim.unit, "load_N": list(claim.load_N), "rule": claim.rule,
            "computed": [{"of": label, "value": r.value, "beyond": r.beyond, "words": r.words}
                         for label, r in zip(labels, read, strict=False)],
            "verdict": judged, "arithmetic": words, "caution": claim.caution}
