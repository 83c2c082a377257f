"""Tables of a sweep's store: columns with their units in the comments that SQLite keeps.

Columns of figures are made from the rows of `buttress.results.quantities`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from buttress import LABEL
from buttress.results import quantities
from buttress.results.figures import Level
from buttress.results.quantity import Quantity
from buttress.sweeps.naming import in_words

LAYOUT = 7
"""Number of this layout: a store of another one is refused."""
TYPES = {float: "REAL", int: "INTEGER", bool: "INTEGER", str: "TEXT"}

TABLES = """
CREATE TABLE meta (
    key TEXT PRIMARY KEY,      -- layout, versions, study, design, options, label
    value TEXT NOT NULL        -- JSON
);
CREATE TABLE capacities (      -- one row per case and construct
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    {capacities}
    PRIMARY KEY (case_id, construct)
) WITHOUT ROWID;
CREATE TABLE results (         -- one row per case, construct and load; the worst of all places
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N, total joint force
    {results}
    PRIMARY KEY (case_id, construct, total_load_N)
) WITHOUT ROWID;
CREATE TABLE fragments (       -- one row per case, construct, load and fragment, where held
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N
    fragment TEXT NOT NULL,
    {fragments}
    PRIMARY KEY (case_id, construct, total_load_N, fragment)
) WITHOUT ROWID;
CREATE TABLE edges (           -- one row per case, construct, load and fracture at the joint
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N
    edge TEXT NOT NULL,
    {edges}
    PRIMARY KEY (case_id, construct, total_load_N, edge)
) WITHOUT ROWID;
CREATE TABLE limits (          -- where asked: loads that are read off the path, one row each
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    limit_name TEXT NOT NULL,          -- a limit of the study, or a movement as in "gap of 0.5 mm"
    load_N REAL,                       -- N, at which it is first reached; empty: not reached
    kept_to_N REAL,                    -- N, up to which it is kept where that load is not known
    missing TEXT,                      -- why there is no load
    part TEXT,                         -- what reaches it
    x_mm REAL,                         -- mm, where
    y_mm REAL,                         -- mm
    PRIMARY KEY (case_id, construct, limit_name)
) WITHOUT ROWID;
CREATE TABLE bearing (         -- where asked: cells of the weight-bearing table; educational
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    activity TEXT NOT NULL,
    joint_force_low_N REAL NOT NULL,   -- N
    joint_force_high_N REAL NOT NULL,  -- N
    verdict TEXT NOT NULL,             -- never permission to load a leg
    limit_load_N REAL,                 -- N, from which on; empty: all limits are met, or not known
    not_found TEXT,                    -- what is not known
    verdict_soft_bone TEXT,            -- the same in soft bone; empty where nothing is judged there
    limit_load_soft_bone_N REAL,       -- N
    not_found_soft_bone TEXT,
    PRIMARY KEY (case_id, construct, activity)
) WITHOUT ROWID;
CREATE TABLE failures (        -- missing answers, with the reason; no equilibrium is an answer
    case_id INTEGER NOT NULL,
    construct TEXT,                    -- empty: the whole case
    total_load_N REAL,                 -- N; empty: all loads
    status TEXT NOT NULL,              -- refused | error | unconverged | worker died
    reason TEXT NOT NULL
);
CREATE INDEX failures_by_case ON failures (case_id);
CREATE TABLE timings (         -- one row per case that is done
    case_id INTEGER PRIMARY KEY,
    seconds REAL NOT NULL,             -- s, in the worker
    worker INTEGER,                    -- number of its process
    bones INTEGER,                     -- meshes made for this case
    factorisations INTEGER,            -- bodies factorised for this case
    condensed INTEGER,                 -- hardware condensed for this case
    answers INTEGER,                   -- steps solved for this case
    copied INTEGER                     -- constructs copied from a case in which they are identical
);
"""
"""All tables but `design`, whose columns are the varied keys."""


def stored() -> list[Quantity]:
    """Quantities that have a column in the store."""
    return [q for q in quantities.CATALOGUE if q.store]


def answer_columns() -> list[Quantity]:
    """Those of them that are read from an answer."""
    return [q for q in stored() if q.read is not None]


def path_columns() -> list[Quantity]:
    """Those that are read off the path of a construct."""
    return [q for q in stored() if q.path]


def _columns(rows: Iterator[Quantity], own: bool = False) -> str:
    """Lines of columns with their comments; ``own``: one value each, by the key."""
    return "\n    ".join(
        f"{name} {TYPES[q.kind]},".ljust(35) + f"-- {q.comment(of)}"
        for q in rows for name, of in ({q.key: ""} if own else q.columns(q.store)).items())


def tables() -> str:
    """The script that makes them."""
    found = stored()
    return TABLES.format(
        capacities=_columns(q for q in found if q.level is Level.CONSTRUCT),
        results=_columns(q for q in found if q.read is not None),
        fragments=_columns((q for q in found if q.level is Level.FRAGMENT), own=True),
        edges=_columns((q for q in found if q.level is Level.EDGE), own=True))


EVERYTHING = """
CREATE VIEW everything AS
    SELECT design.*, results.construct, capacity_lower_N, capacity_upper_N, capacity_status,
           rules_broken_count, rules_broken, tightening, {path}, {columns},
           {label} AS label
    FROM results
    JOIN design USING (case_id)
    LEFT JOIN capacities ON capacities.case_id = results.case_id
                        AND capacities.construct = results.construct
"""
"""The table for pandas: design, capacity, path and results of each case, construct and load, and
the label on each row."""


def everything(columns: str) -> str:
    """The statement that makes the view, with these columns of results."""
    path = ", ".join(name for q in path_columns() for name in q.columns(q.store))
    label = "'" + LABEL.replace("'", "''") + "'"
    return EVERYTHING.format(columns=columns, path=path, label=label)


def design_table(keys: tuple[str, ...], follows: Mapping[str, str] | None = None) -> str:
    """Statement that creates the table of the design; keys end in their units.

    ``follows``: expressions of coupled keys, which the comments of their columns state.
    """
    columns = "".join(f"    {quoted(key)}, ".ljust(35) + f"{_comment(key, follows or {})}\n"
                      for key in keys)
    return ("CREATE TABLE design (         -- one row per case, stored before the first is solved\n"
            f"    case_id INTEGER PRIMARY KEY,\n{columns}"
            "    hash TEXT NOT NULL         -- of all inputs of the case; empty: not valid\n)")


def _comment(key: str, follows: Mapping[str, str]) -> str:
    """Unit of a varied key and what it follows."""
    named = in_words(key)
    told = [] if named is None else [named.unit]
    if key in follows:
        told.append("follows: " + " ".join(follows[key].split()))
    return "-- " + "; ".join(told) if told else ""


def quoted(name: str) -> str:
    """A name quoted for SQL."""
    return '"' + name.replace('"', '""') + '"'
