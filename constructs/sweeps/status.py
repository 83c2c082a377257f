"""How far a sweep is, read from its store."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from buttress.sweeps.store import read_meta, reading


@dataclass(frozen=True)
class SweepStatus:
    """How far a sweep is: counts of cases and of failures, by status."""

    study: str
    cases: int
    done: int
    results: int
    statuses: dict[str, int]
    failures: dict[str, int]
    design: dict[str, Any]
    versions: dict[str, str]
    seconds: float
    size_bytes: int
    examples: tuple[str, ...] = field(default=())


def sweep_status(path: Path) -> SweepStatus:
    """The state of a store, also while it is being written. Raises InputError."""
    with reading(path) as db:
        meta = read_meta(db)
        cases = db.execute("SELECT count(*) FROM design").fetchone()[0]
        done, seconds = db.execute("SELECT count(*), total(seconds) FROM timings").fetchone()
        statuses = dict(db.execute("SELECT status, count(*) FROM results GROUP BY status"))
        reasons = db.execute("SELECT case_id, coalesce(construct, 'all'), status, reason "
                             "FROM failures ORDER BY case_id LIMIT 5").fetchall()
        # While it is being written most of it is in the log, which stays as long as somebody reads.
        size = sum(p.stat().st_size for p in (path, Path(f"{path}-wal")) if p.exists())
    return SweepStatus(meta["study"]["name"], cases, done, sum(statuses.values()), statuses,
                       failure_counts(path), meta["design"], meta["versions"], seconds,
                       size,
                       tuple(f"case {c}, {n}: {s}: {r}" for c, n, s, r in reasons))


def failure_counts(path: Path) -> dict[str, int]:
    """Rows without an answer in a store, by status."""
    with reading(path) as db:
        return dict(db.execute("SELECT status, count(*) FROM failures GROUP BY status"))
