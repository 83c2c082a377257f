"""The verification status of this version: what `buttress verify --record` has found and kept.

The record names the solver's source by a hash, so that a page can say whether the code that made
it is the code that was verified.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from buttress import __version__
from buttress.fe.errors import InputError
from buttress.words import counted

RECORD = "verified.json"


@dataclass(frozen=True)
class Record:
    """Counts of the last recorded run of the verification table, and what it ran on."""

    buttress: str
    solver: str
    cases: int
    failed: tuple[str, ...]
    statuses: dict[str, int]
    largest_share_of_tolerance: float | None
    versions: dict[str, str]
    bases: dict[str, int] = field(default_factory=dict)


BASES = ("closed form", "published", "self-consistency")
PRACTICE = "common practice"
KNOWN = {"seen": "read in its source", "memory": "from memory, to be checked in its source",
         "derived": "derived from the stated inputs"}


def counts(cases: Iterable[Mapping[str, str]]) -> tuple[dict[str, int], dict[str, int]]:
    """How many cases there are of each basis and, without those of common practice, of each status.

    ``cases``: mappings with ``basis`` and ``status``, as `verify` returns them.
    """
    found = list(cases)
    bases = Counter(c["basis"] for c in found)
    statuses = Counter(c["status"] for c in found if c["basis"] != PRACTICE)
    return ({b: bases[b] for b in (*BASES, PRACTICE) if bases[b]},
            {s: statuses[s] for s in KNOWN if statuses[s]})


def counts_words(bases: Mapping[str, int], statuses: Mapping[str, int]) -> str:
    """The counts in one sentence or two, for the terminal, the page and the README."""
    total = sum(n for b, n in bases.items() if b != PRACTICE)
    words = (f"{counted(total, 'case')}: "
             + ", ".join(f"{bases[b]} {b}" for b in BASES if b in bases)
             + "; the reference is "
             + ", ".join(f"{KNOWN[s]} in {n}" for s, n in statuses.items() if s in KNOWN) + ".")
    facts = bases.get(PRACTICE, 0)
    return words + (f" Beside them {counted(facts, 'fact')} of the trade: common practice, no "
                    "source." if facts else "")


CHECKED = ("study", "bone", "implants", "rules", "model", "results", "data")
"""Packages that the checks of whole constructs rest on, besides the solver."""


def checked_files() -> dict[str, Path]:
    """The files that the verification cases check, by their names below the package."""
    root = Path(str(files("buttress")))
    found = [p for part in ("fe", *CHECKED) for p in (root / part).rglob("*")
             if p.suffix in (".py", ".toml")]
    return {name: p for p in found
            if "verification" not in (name := p.relative_to(root).as_posix())}


def solver_hash() -> str:
    """Hash of what the cases check: the solver, and what builds constructs and reads answers."""
    digest = hashlib.sha256()
    for name, path in sorted(checked_files().items()):
        digest.update(name.encode() + b"\0" + b"\n".join(path.read_bytes().splitlines()))
    return digest.hexdigest()[:16]


def record_of(results: list[dict[str, Any]], versions: dict[str, str]) -> Record:
    """The record of a run of `buttress.verification.table.verify`."""
    bases, statuses = counts(results)
    shares = [abs(r["deviation"]) / r["tolerance"] for r in results
              if r["kind"] == "equal" and r["tolerance"] > 0]
    return Record(
        buttress=__version__, solver=solver_hash(), cases=len(results),
        failed=tuple(r["name"] for r in results if not r["passes"]), statuses=statuses,
        largest_share_of_tolerance=max(shares, default=None), versions=versions, bases=bases)


def write_record(record: Record, path: Path | None = None) -> Path:
    """Write the record where `recorded` finds it (or elsewhere).

    Raises InputError where that cannot be written.
    """
    target = path or Path(str(files("buttress").joinpath("data", RECORD)))
    try:
        target.write_text(json.dumps(asdict(record), indent=1, allow_nan=False) + "\n",
                          encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", key="--record",
                         value=str(target)) from None
    return target


def recorded(path: Path | None = None) -> Record | None:
    """The record that is shipped; None where there is none that can be read."""
    place = path or files("buttress").joinpath("data", RECORD)
    try:
        data = json.loads(place.read_text(encoding="utf-8"))
        return Record(**{**data, "failed": tuple(data["failed"])})
    except (OSError, ValueError, TypeError, KeyError):
        return None


def sentences(record: Record | None) -> list[str]:
    """In words how far this version is verified; plain text."""
    again = "Run “buttress verify” to compute the table on this machine."
    if record is None:
        return ["No verification record comes with this version. " + again]
    good = record.cases - len(record.failed)
    out = [f"{good} of {record.cases} values are reproduced within their stated tolerances."
           + (f" {counts_words(record.bases, record.statuses)}" if record.bases else "")]
    if record.failed:
        out.append("Not reproduced: " + ", ".join(record.failed) + ".")
    versions = ", ".join(f"{k} {v}" for k, v in record.versions.items())
    same = record.buttress == __version__ and record.solver == solver_hash()
    out.append(f"Recorded with {versions}, "
               + ("by the same solver code as this one." if same else
                  "before the solver code was changed: the record may no longer hold."))
    return [*out, again + " It shows whether the equations are solved correctly, not whether they "
                          "are the right ones for a patient."]
