"""What came of the bench tests: the record that `buttress verify --bench --record` keeps.

It counts the claims that agree, disagree or cannot be compared, and tells which of them speak to a
shipped study.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from buttress.fe.errors import InputError
from buttress.words import counted

VERDICTS = ("agrees", "disagrees", "not comparable")
RECORD = "benched.json"


@dataclass(frozen=True)
class Benched:
    """One bench test: its claims with their verdicts; shipped studies to which it speaks."""

    name: str
    source: str
    speaks_to: tuple[str, ...]
    verdicts: dict[str, str]


def counts(tests: Sequence[Benched]) -> dict[str, int]:
    """How many claims agree, disagree and are not comparable."""
    found = Counter(v for t in tests for v in t.verdicts.values())
    return {v: found[v] for v in VERDICTS}


def counts_words(tests: Sequence[Benched]) -> str:
    """The counts in one sentence, for README, page and lesson."""
    said = counts(tests)
    sources = {t.source for t in tests}
    return (f"Of {counted(sum(said.values()), 'claim')} from "
            f"{counted(len(sources), 'published source')} the model agrees with {said['agrees']}, "
            f"disagrees with {said['disagrees']}, and {said['not comparable']} cannot be compared.")


def speaking(study: str, tests: Sequence[Benched]) -> list[str]:
    """The tests that speak to a shipped study, each with its claims and their verdicts."""
    return [f"{t.name} ({t.source}): "
            + "; ".join(f"“{claim}” {verdict}" for claim, verdict in t.verdicts.items()) + "."
            for t in tests if study in t.speaks_to]


def of_study(study: str, tests: Sequence[Benched] | None = None) -> list[str]:
    """All counts in a sentence, then the claims that speak to a study, or that none does."""
    found = recorded() if tests is None else tests
    if not found:
        return ["No record of bench tests comes with this version."]
    claims = speaking(study, found)
    return [counts_words(found), *(claims or [
        f"None of them is on record as speaking to the study “{study}”."])]


def record_of(records: Sequence[dict[str, Any]]) -> tuple[Benched, ...]:
    """The record of a run of all bench tests, from what `run_bench` returns."""
    return tuple(Benched(r["name"], r["source"], tuple(r["speaks_to"]),
                         {c["name"]: c["verdict"] for c in r["claims"]}) for r in records)


def write_record(tests: Sequence[Benched], path: Path | None = None) -> Path:
    """Write the record where `recorded` finds it (or elsewhere).

    Raises InputError where that cannot be written.
    """
    target = path or Path(str(files("buttress").joinpath("data", RECORD)))
    text = json.dumps([asdict(t) for t in tests], indent=1, ensure_ascii=False)
    try:
        target.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", key="--record",
                         value=str(target)) from None
    recorded.cache_clear()
    return target


@cache
def recorded() -> tuple[Benched, ...]:
    """The record that is shipped; empty where there is none that can be read."""
    try:
        rows = json.loads(files("buttress").joinpath("data", RECORD).read_text(encoding="utf-8"))
        return tuple(Benched(r["name"], r["source"], tuple(r["speaks_to"]), r["verdicts"])
                     for r in rows)
    except (OSError, ValueError, TypeError, KeyError):
        return ()
