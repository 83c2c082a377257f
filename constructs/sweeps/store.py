"""The store of a sweep: one SQLite file with a write-ahead log and one writer.

A case is written in one transaction, so an interruption loses at most the cases in progress.
Reading is possible at any time.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from buttress import LABEL
from buttress.fe.errors import ButtressError, InputError
from buttress.files import inert
from buttress.study.changes import changes, shown
from buttress.sweeps.design import Design
from buttress.sweeps.evaluate import Outcome
from buttress.sweeps.layout import LAYOUT, design_table, everything, quoted, tables
from buttress.words import counted

COUNTED = ("bones", "factorisations", "condensed", "answers", "copied")
CASE_TABLES = ("capacities", "results", "fragments", "edges", "limits", "bearing", "failures",
               "timings")
RETRIED = ("worker died", "error")
"""Failures whose cases are tried again in a further run."""


class Store:
    """The store, open for writing. Use as a context; created if missing, else continued.

    A design that contains all completed cases, and more, replaces the stored one. Raises InputError
    where the file is in use by another process, belongs to another study or is not a store, and
    ButtressError where it cannot be written.
    """

    def __init__(self, path: Path, about: dict[str, Any], design: Design, hashes: list[str]
                 ) -> None:
        self.path = path
        self._lock = _locked(path)
        try:
            with told(path):
                self._open(about, design, hashes)
        except BaseException:
            self._unlock()
            raise

    def _open(self, about: dict[str, Any], design: Design, hashes: list[str]) -> None:
        self._db = sqlite3.connect(self.path, isolation_level=None, timeout=30.0)
        fresh, stored, moves = False, {}, None
        try:
            # Also where a process was killed between creating the file and filling it.
            fresh = not self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
            if not fresh:
                _check_store(self._db, self.path)
                stored = read_meta(self._db)
                _check_same(stored, about, self.path)
                _check_columns(self._db, self.path)
                moves = self._moves(stored, about, hashes)
            self._db.execute("PRAGMA journal_mode=WAL")
            self._db.execute("PRAGMA synchronous=NORMAL")
            if fresh:
                self._create(about, design, hashes)
            elif moves is not None:
                self._grow(stored, about, design, hashes, moves)
        except BaseException:
            self._db.close()
            if fresh:  # an incomplete store is useless
                for end in ("", "-wal", "-shm"):
                    Path(f"{self.path}{end}").unlink(missing_ok=True)
            raise

    def _create(self, about: dict[str, Any], design: Design, hashes: list[str]) -> None:
        with self._transaction():
            for part in _statements(tables()):
                self._db.execute(part)
            for key, value in (about | {"label": LABEL}).items():
                self._db.execute("INSERT INTO meta VALUES (?, ?)", (key, json.dumps(value)))
            self._write_design(design, hashes)

    def _write_design(self, design: Design, hashes: list[str]) -> None:
        columns = ", ".join(f"results.{c}" for c in _columns_of(tables(), "results")
                            if c not in ("case_id", "construct"))
        for statement in (design_table(design.keys, design.follows), everything(columns)):
            for part in _statements(statement):
                self._db.execute(part)
        marks = ", ".join("?" * (2 + len(design.keys)))
        self._db.executemany(f"INSERT INTO design VALUES ({marks})", (
            (i, *row, h) for i, (h, row) in enumerate(
                zip(hashes, design.rows, strict=True), start=1)))

    def _moves(self, stored: dict[str, Any], about: dict[str, Any], hashes: list[str]
               ) -> dict[int, int] | None:
        """New numbers of the completed cases, by old number, where the design has changed.

        None where it is the same. Raises InputError where it lacks a completed case.
        """
        lines = differences(stored["design"], about["design"], "design")
        if not lines:
            return None
        number = {h: i for i, h in reversed(list(enumerate(hashes, start=1))) if h}
        known = self._db.execute("SELECT case_id, hash FROM design JOIN timings USING (case_id) "
                                 "WHERE hash != '' ORDER BY case_id").fetchall()
        lost = sum(h not in number for _, h in known)
        if lost:
            raise _other("of another design", lines, self.path,
                         f"a design with all {counted(len(known), 'solved case')} (this one "
                         f"leaves out {lost}), or another --out")
        return {old: number[h] for old, h in reversed(known)}

    def _grow(self, stored: dict[str, Any], about: dict[str, Any], design: Design,
              hashes: list[str], moves: dict[int, int]) -> None:
        """Adopt another design that contains all completed cases."""
        keep = {new: old for old, new in moves.items()}    # the first of identical cases
        with self._transaction():
            for table in CASE_TABLES:
                ids = self._db.execute(f"SELECT DISTINCT case_id FROM {table}").fetchall()
                self._db.executemany(f"DELETE FROM {table} WHERE case_id = ?", (
                    i for i in ids if keep.get(moves.get(i[0], 0)) != i[0]))
                # Via numbers that no case has.
                self._db.executemany(f"UPDATE {table} SET case_id = -? WHERE case_id = ?",
                                     keep.items())
                self._db.execute(f"UPDATE {table} SET case_id = -case_id")
            self._db.execute("DROP VIEW everything")
            self._db.execute("DROP TABLE design")
            self._write_design(design, hashes)
            for key, value in (("design", about["design"]), (
                    "earlier designs", [*stored.get("earlier designs", []), stored["design"]])):
                self._db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)",
                                 (key, json.dumps(value)))

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            with contextlib.suppress(sqlite3.Error):  # a full disk has already caused a rollback
                self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def done(self) -> set[int]:
        """Numbers of the cases that do not need to be solved again."""
        with told(self.path):
            rows = self._db.execute("SELECT case_id FROM timings").fetchall()
            marks = ", ".join("?" * len(RETRIED))
            again = self._db.execute(
                f"SELECT DISTINCT case_id FROM failures WHERE status IN ({marks})", RETRIED)
            return {r[0] for r in rows} - {r[0] for r in again.fetchall()}

    def write(self, outcome: Outcome) -> None:
        """Write all rows of a case, or none of them. Raises ButtressError."""
        with told(self.path), self._transaction():
            for table in CASE_TABLES:
                self._db.execute(f"DELETE FROM {table} WHERE case_id = ?", (outcome.number,))
            for table, rows in (("capacities", outcome.capacities), ("results", outcome.results),
                                ("fragments", outcome.fragments), ("edges", outcome.edges),
                                ("limits", outcome.limits), ("bearing", outcome.bearing),
                                ("failures", outcome.failures)):
                for row in rows:
                    self._insert(table, {"case_id": outcome.number, **row})
            self._insert("timings", {"case_id": outcome.number, "seconds": outcome.seconds,
                                     "worker": outcome.worker,
                                     **{c: outcome.counts.get(c, 0) for c in COUNTED}})

    def _insert(self, table: str, row: dict[str, Any]) -> None:
        marks = ", ".join("?" * len(row))
        self._db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})",
                         tuple(row.values()))

    def close(self) -> None:
        """Close the file; the write-ahead log is merged, so that one file remains."""
        try:
            with contextlib.suppress(sqlite3.Error):  # the log remains while it is read elsewhere
                self._db.execute("PRAGMA busy_timeout=500")
                self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                self._db.execute("PRAGMA journal_mode=DELETE")
        finally:
            self._db.close()
            self._unlock()

    def _unlock(self) -> None:
        with contextlib.suppress(OSError):  # removed while it is still held
            _lock_path(self.path).unlink(missing_ok=True)
        self._lock.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Context that turns an error of SQLite or the disk into one message."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if "not a database" in str(error) or "malformed" in str(error):
            raise InputError(f"not a sweep store ({error})", file=str(path),
                             expected="a file written by buttress sweep") from None
        full = "full" in str(error) or "disk I/O" in str(error)
        cure = "; stored cases are safe: free space and run the same command again" if full else ""
        raise ButtressError(f"{path}: the store cannot be written or read: {error}{cure}") from None
    except OSError as error:
        raise ButtressError(f"{path}: {error.strerror or error}") from None


def _lock_path(path: Path) -> Path:
    return Path(f"{path}.lock")


def _locked(path: Path) -> sqlite3.Connection:
    """A lock that ends with the process: an exclusive transaction on an empty file."""
    while True:
        with contextlib.ExitStack() as refused:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                lock = sqlite3.connect(_lock_path(path), isolation_level=None, timeout=0.2)
                refused.callback(lock.close)
                lock.execute("BEGIN EXCLUSIVE")
            except (OSError, sqlite3.Error) as error:
                if "locked" in str(error):
                    raise InputError("the store is in use by another process", file=str(path),
                                     expected="no other process on this store, or another "
                                              "--out") from None
                reason = getattr(error, "strerror", None) or str(error)
                raise InputError(f"the store cannot be created: {reason}", key="--out",
                                 value=str(path), expected="a writable file ending in .sqlite, or "
                                 "a writable folder") from None
            if _lock_path(path).exists():
                refused.pop_all()
                return lock
            # Its last owner removed it in the meantime.


def _statements(text: str) -> Iterator[str]:
    """Statements of a script, with comments; executescript would end the transaction."""
    statement = ""
    for line in text.strip().splitlines():
        statement += line + "\n"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    if statement.strip():
        yield statement


def _columns_of(script: str, table: str) -> list[str]:
    with contextlib.closing(sqlite3.connect(":memory:")) as db:
        for statement in _statements(script):
            db.execute(statement)
        return [r[1] for r in db.execute(f"PRAGMA table_info({quoted(table)})")]


def _check_store(db: sqlite3.Connection, path: Path) -> None:
    names = {r[0] for r in db.execute("SELECT name FROM sqlite_master")}
    if not {"meta", "design", "results"} <= names:
        raise InputError("not a sweep store", file=str(path),
                         expected="a file written by buttress sweep")
    layout = read_meta(db).get("layout")
    if layout != LAYOUT:
        raise InputError("a store written by another version", file=str(path),
                         value=f"layout {layout}", expected=f"layout {LAYOUT}")


def _check_columns(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a store that has no column for a quantity of the catalogue."""
    for table in ("capacities", "results", "fragments", "edges"):
        there = {r[1] for r in db.execute(f"PRAGMA table_info({quoted(table)})")}
        for name in _columns_of(tables(), table):
            if name not in there:
                raise InputError(f"a store written by another version: its table {table} lacks a "
                                 "column", file=str(path), value=name,
                                 expected="a store of this version, or another --out")


def read_meta(db: sqlite3.Connection) -> dict[str, Any]:
    """The table `meta`."""
    return {k: json.loads(v) for k, v in db.execute("SELECT key, value FROM meta")}


def _check_same(stored: dict[str, Any], now: dict[str, Any], path: Path) -> None:
    """Refuse a store of another version, study or options, and show the differences."""
    for part, what in (("versions", "written by other versions"), ("study", "of another study"),
                       ("options", "with other options")):
        lines = differences(stored.get(part), now.get(part), part)
        if lines:
            raise _other(what, lines, path, "the stored values, or another --out")


def _other(what: str, lines: list[str], path: Path, expected: str) -> InputError:
    shown = "\n  ".join(lines[:8] + ([f"and {len(lines) - 8} more"] if lines[8:] else []))
    return InputError(f"a store {what} (stored -> now):\n  {shown}", file=str(path),
                      expected=expected)


def differences(old: Any, new: Any, path: str) -> list[str]:
    """The differences between two nested values, one line each."""
    return [f"{key}: {shown(a)} -> {shown(b)}" for key, a, b in changes(old, new, path)]


@contextlib.contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A store opened read-only. Raises InputError where the file is not a store."""
    if not path.is_file():
        raise InputError("no such store", file=str(path),
                         expected="a file written by buttress sweep")
    with told(path), contextlib.closing(
            sqlite3.connect(f"file:{path.resolve().as_posix()}?mode=ro", uri=True)) as db:
        _check_store(db, path)
        yield db


def write_csv(path: Path, target: Path) -> int:
    """The view `everything` as CSV with units in its header; returns the number of rows.

    The file is put in place only when complete. Raises ButtressError where it cannot be written.
    """
    draft = target.with_name(f".{target.name}-{os.getpid()}")
    count = 0
    with reading(path) as db, told(target):
        try:
            with open(draft, "w", newline="", encoding="utf-8") as file:
                rows = db.execute(
                    "SELECT * FROM everything ORDER BY case_id, construct, total_load_N")
                writer = csv.writer(file)
                writer.writerow([c[0] for c in rows.description])
                for row in rows:
                    writer.writerow([inert(x) for x in row])
                    count += 1
            os.replace(draft, target)
        finally:
            draft.unlink(missing_ok=True)
    return count
