"""The verification status of this version: what `buttress verify --record` has found and kept.

The record names the solver's source by a hash, so that a page can say whether the code that made
it is the code that was verified.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from buttress import __version__
from buttress.fe.errors import InputError

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
    statuses: dict[str, int] = {}
    for r in results:
        statuses[r["status"]] = statuses.get(r["status"], 0) + 1
    shares = [abs(r["deviation"]) / r["tolerance"] for r in results
              if r["kind"] == "equal" and r["tolerance"] > 0]
    return Record(
        buttress=__version__, solver=solver_hash(), cases=len(results),
        failed=tuple(r["name"] for r in results if not r["passes"]), statuses=statuses,
        largest_share_of_tolerance=max(shares, default=None), versions=versions)


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
    kinds = {"seen": "read in their source", "derived": "derived in closed form",
             "memory": "recalled and still to be checked in their source",
             "practice": "common practice"}
    said = ", ".join(f"{n} {kinds.get(s, s)}" for s, n in record.statuses.items())
    good = record.cases - len(record.failed)
    out = [f"{good} of {record.cases} published or closed-form values are reproduced within their "
           f"stated tolerances (references: {said})."]
    if record.failed:
        out.append("Not reproduced: " + ", ".join(record.failed) + ".")
    versions = ", ".join(f"{k} {v}" for k, v in record.versions.items())
    same = record.buttress == __version__ and record.solver == solver_hash()
    out.append(f"Recorded with {versions}, "
               + ("by the same solver code as this one." if same else
                  "before the solver code was changed: the record may no longer hold."))
    return [*out, again + " It shows whether the equations are solved correctly, not whether they "
                          "are the right ones for a patient."]
