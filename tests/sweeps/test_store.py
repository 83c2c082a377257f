"""The store of a sweep: written whole, resumed, locked, refused, and safe on a full disk."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from outcomes import outcome

from buttress.fe.errors import ButtressError, InputError
from buttress.sweeps.design import Design
from buttress.sweeps.layout import LAYOUT
from buttress.sweeps.status import sweep_status
from buttress.sweeps.store import Store, differences, read_meta, reading, write_csv

KEYS = ("section.bone", "fracture.shear plane.friction")
DESIGN = Design(KEYS, ("dense,soft", "0.2:0.4:3"), "grid", None, None,
                tuple((b, f) for b in ("dense", "soft") for f in (0.2, 0.3, 0.4)))
HASHES = [f"h{i}" for i in range(6)]
ABOUT = {"layout": LAYOUT, "versions": {"buttress": "0.1.0", "numpy": "2.0"},
         "study": {"name": "s", "section": {"width_mm": 76.0},
                   "construct": [{"name": "plate", "thickness_mm": 1.0}]},
         "design": DESIGN.described(), "options": {"path": False}}


def opened(path: Path, **other: Any) -> Store:
    return Store(path, ABOUT | other, DESIGN, HASHES)


def write_all(store: Store, numbers: range) -> None:
    for number in numbers:
        store.write(outcome(number, constructs=200))


def test_the_size_of_a_store_counts_what_is_in_the_log_still(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path) as store:
        write_all(store, range(1, 4))
        now = sweep_status(path).size_bytes
        assert now > 60_000 > path.stat().st_size
    assert sweep_status(path).size_bytes == path.stat().st_size > 60_000


def test_the_design_is_there_before_any_result(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path) as store:
        assert store.done() == set()
    with reading(path) as db:
        rows = db.execute("SELECT * FROM design ORDER BY case_id").fetchall()
        assert rows[4] == (5, "soft", 0.3, "h4")
        assert read_meta(db)["design"]["vary"] == dict(zip(KEYS, DESIGN.ranges, strict=True))
    assert [p.name for p in tmp_path.iterdir()] == ["s.sqlite"]


def test_cases_are_done_once_written_and_read_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path) as store:
        store.write(outcome(1))
        store.write(outcome(4))
    with opened(path) as store:
        assert store.done() == {1, 4}
    with closing(sqlite3.connect(path)) as db:
        table = pd.read_sql_query("SELECT * FROM everything", db)
    assert len(table) == 4
    assert list(table["section.bone"].unique()) == ["dense", "soft"]
    row = table[(table.case_id == 4) & (table.construct == "construct 1")].iloc[0]
    assert row["subsidence_mean_mm"] == pytest.approx(0.4)
    assert row["fracture.shear plane.friction"] == 0.2
    assert pd.isna(row["capacity_upper_N"])


def test_columns_tell_their_units(tmp_path: Path) -> None:
    with opened(tmp_path / "s.sqlite"):
        pass
    with reading(tmp_path / "s.sqlite") as db:
        made = db.execute("SELECT sql FROM sqlite_master WHERE name = 'results'").fetchone()[0]
    told = set()
    for line in made.splitlines()[1:-2]:
        name = line.split()[0]
        unit = {"mm": "mm", "N": "N", "MPa": "MPa", "deg": "degrees"}.get(name.rsplit("_")[-1])
        if unit:
            told.add(unit)
            assert f"-- {unit}" in line, line
    assert told == {"mm", "N", "MPa", "degrees"}


def test_a_case_is_stored_whole(tmp_path: Path) -> None:
    """Every row of every table comes back with its values, under the number of its case."""
    case = outcome(4)
    case.limits += [{"construct": "construct 0", "limit_name": "step-off", "load_N": 812.5}]
    case.fail("unconverged", "why", "construct 1", 900.0)
    with opened(tmp_path / "s.sqlite") as store:
        store.write(case)
    rows = {"capacities": case.capacities, "results": case.results, "fragments": case.fragments,
            "edges": case.edges, "limits": case.limits, "failures": case.failures}
    with reading(tmp_path / "s.sqlite") as db:
        db.row_factory = sqlite3.Row
        for table, given in rows.items():
            assert given
            found = [dict(r) for r in db.execute(f"SELECT * FROM {table}")]
            assert [{k: r[k] for k in g} for r, g in zip(found, given, strict=True)] == given, table
            assert {r["case_id"] for r in found} == {4}, table


def test_a_case_written_again_replaces_its_rows(tmp_path: Path) -> None:
    with opened(tmp_path / "s.sqlite") as store:
        bad = outcome(2, constructs=1)
        bad.fail("worker died", "killed")
        store.write(bad)
        assert store.done() == set()
        store.write(outcome(2))
        assert store.done() == {2}
    with reading(tmp_path / "s.sqlite") as db:
        assert db.execute("SELECT count(*) FROM results").fetchone() == (2,)
        assert db.execute("SELECT count(*) FROM failures").fetchone() == (0,)


@pytest.mark.parametrize("status", ["refused", "unconverged"])
def test_what_would_fail_again_counts_as_done(tmp_path: Path, status: str) -> None:
    with opened(tmp_path / "s.sqlite") as store:
        bad = outcome(3)
        bad.fail(status, "because", "construct 1", 700.0)
        store.write(bad)
        assert store.done() == {3}
    with reading(tmp_path / "s.sqlite") as db:
        assert db.execute("SELECT * FROM failures").fetchall() == [
            (3, "construct 1", 700.0, status, "because")]


def test_readers_may_look_while_it_is_written(tmp_path: Path) -> None:
    with opened(tmp_path / "s.sqlite") as store:
        store.write(outcome(1))
        with reading(tmp_path / "s.sqlite") as db:
            assert db.execute("SELECT count(*) FROM timings").fetchone() == (1,)
            store.write(outcome(2))
            assert db.execute("SELECT count(*) FROM timings").fetchone() == (2,)


@pytest.mark.parametrize(("other", "told"), [
    ({"versions": {"buttress": "0.2.0", "numpy": "2.0"}},
     ["other versions", 'versions.buttress: "0.1.0" -> "0.2.0"']),
    ({"study": {"name": "s", "section": {"width_mm": 70.0},
                "construct": [{"name": "plate", "thickness_mm": 2.0}]}},
     ["another study", "section.width_mm: 76.0 -> 70.0", "plate.thickness_mm: 1.0 -> 2.0"]),
    ({"options": {"path": True}}, ["other options", "options.path: false -> true"]),
])
def test_a_store_of_something_else_is_refused_with_the_difference(
        tmp_path: Path, other: dict[str, Any], told: list[str]) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path) as store:
        store.write(outcome(1))
    before = path.read_bytes()
    with pytest.raises(InputError) as caught:
        opened(path, **other)
    assert all(t in str(caught.value) for t in told), str(caught.value)
    assert path.read_bytes() == before
    with opened(path) as store:
        assert store.done() == {1}


def test_a_store_of_another_layout_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path):
        pass
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE meta SET value = '99' WHERE key = 'layout'")
    with pytest.raises(InputError, match="layout 99"):
        opened(path)


@pytest.mark.parametrize("content", [b"this is a text and no store, not at all" * 50, b"\x00" * 5000])
def test_a_file_that_is_no_store_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "s.sqlite"
    path.write_bytes(content)
    with pytest.raises(InputError, match="not a sweep store"):
        opened(path)
    with pytest.raises(InputError, match="not a sweep store"), reading(path):
        pass
    assert path.read_bytes() == content


def test_a_file_that_a_killed_process_has_not_filled_is_taken(tmp_path: Path) -> None:
    # SQLite makes the file before the first transaction fills it.
    path = tmp_path / "s.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode=WAL")
    assert path.stat().st_size > 0
    with opened(path) as store:
        store.write(outcome(1))
    with opened(path) as store:
        assert store.done() == {1}


def test_another_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE TABLE mine (a)")
    with pytest.raises(InputError, match="not a sweep store"):
        opened(path)


def test_a_store_in_use_is_refused_also_by_another_process(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path):
        with pytest.raises(InputError, match="in use by another process"):
            opened(path)
        code = ("from pathlib import Path; import sys; from buttress.sweeps.store import _locked\n"
                "from buttress.fe.errors import InputError\n"
                "try: _locked(Path(sys.argv[1]))\n"
                "except InputError as error: print(error)\n")
        done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True,
                              text=True, check=True)
        assert "in use by another process" in done.stdout
    with opened(path):
        pass


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be created"):
        opened(tmp_path / "file" / "s.sqlite")


@pytest.fixture
def connections(monkeypatch: pytest.MonkeyPatch) -> list[sqlite3.Connection]:
    """All connections made by the test from here on."""
    made: list[sqlite3.Connection] = []
    connect = sqlite3.connect

    def recorded(*args: Any, **kwargs: Any) -> sqlite3.Connection:
        made.append(connect(*args, **kwargs))
        return made[-1]

    monkeypatch.setattr(sqlite3, "connect", recorded)
    return made


def is_closed(db: sqlite3.Connection) -> bool:
    try:
        db.execute("SELECT 1")
    except sqlite3.ProgrammingError as error:
        return "closed" in str(error)
    return False


def test_a_store_that_is_refused_leaves_nothing_open(
        tmp_path: Path, connections: list[sqlite3.Connection]) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path):
        held = len(connections)
        with pytest.raises(InputError, match="in use by another process"):
            opened(path)
        assert len(connections) > held
        assert all(is_closed(db) for db in connections[held:])
    before = len(connections)
    with pytest.raises(InputError, match="other options"):
        opened(path, options={"path": True})
    assert len(connections) >= before + 2   # the lock and the store
    path.write_bytes(b"\x00" * 5000)
    with pytest.raises(InputError, match="not a sweep store"):
        opened(path)
    assert [is_closed(db) for db in connections] == [True] * len(connections)


def test_a_full_disk_loses_nothing_that_was_stored(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path) as store:
        store.write(outcome(1))
        # SQLite takes the present size where that is more.
        store._db.execute("PRAGMA max_page_count=1")
        with pytest.raises(ButtressError, match=r"full.*free space and run the same") as told:
            write_all(store, range(2, 7))
        assert not isinstance(told.value, InputError)
    with opened(path) as store:
        kept = store.done()
        assert 1 in kept
        store.write(outcome(6, constructs=200))
    with reading(path) as db:
        found = dict(db.execute("SELECT case_id, count(*) FROM results GROUP BY case_id"))
    assert found == {n: 2 if n == 1 else 200 for n in kept | {6}}


def test_differences_name_the_place() -> None:
    assert differences({"a": [1, 2]}, {"a": [1, 2]}, "x") == []
    assert differences({"a": [1, 2], "b": 1}, {"a": [1, 3]}, "x") == ["x.a.2: 2 -> 3",
                                                                     "x.b: 1 -> nothing"]
    assert differences([1], [1, 2], "x") == ["x: [1] -> [1, 2]"]


def test_csv_has_one_row_a_case_construct_and_load(tmp_path: Path) -> None:
    with opened(tmp_path / "s.sqlite") as store:
        store.write(outcome(2))
    assert write_csv(tmp_path / "s.sqlite", tmp_path / "t.csv") == 2
    table = pd.read_csv(tmp_path / "t.csv")
    assert table["fracture.shear plane.friction"].tolist() == [0.3, 0.3]
    with pytest.raises(InputError, match="no such store"):
        write_csv(tmp_path / "none.sqlite", tmp_path / "t.csv")
