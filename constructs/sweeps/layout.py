"""Tables of a sweep's store: columns with their units in comments, which SQLite keeps."""

from __future__ import annotations

LAYOUT = 3
"""Number of this layout: stores with another number are refused."""

TABLES = """
CREATE TABLE meta (
    key TEXT PRIMARY KEY,      -- layout, versions, study, design, options, label
    value TEXT NOT NULL        -- JSON
);
CREATE TABLE capacities (      -- one row per case and construct
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    capacity_lower_N REAL,     -- N, limit load without friction; empty: not limited by this model
    capacity_upper_N REAL,     -- N, limit load with friction
    capacity_status TEXT,      -- status of the limit analysis
    links INTEGER,             -- links of the condensed problem
    warnings INTEGER,          -- warnings of the model builder
    rules_broken_count INTEGER,  -- rules of the trade that are broken
    rules_broken TEXT,         -- PART: RULE of each, separated by "; "; empty: none
    tightening TEXT,           -- held | strips: SCREW | lets go: PIECE | no equilibrium |
                               -- not converged; empty: nothing is tightened
    PRIMARY KEY (case_id, construct)
) WITHOUT ROWID;
CREATE TABLE results (         -- one row per case, construct and load; the worst fragment and edge
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N, total joint force
    status TEXT NOT NULL,              -- held | no equilibrium | unconverged
    method TEXT,                       -- solution method
    subsidence_mean_mm REAL,           -- mm, mean over a fragment's joint surface, distal positive
    subsidence_max_mm REAL,            -- mm, worst node of a joint surface
    subsidence_net_mm REAL,            -- mm, mean less that of the intact bone
    tilt_deg REAL,                     -- degrees, counter-clockwise
    step_off_mm REAL,                  -- mm, unsigned
    gap_mm REAL,                       -- mm
    widening_mm REAL,                  -- mm, increase in width of the plateau
    plate_stress_MPa REAL,             -- MPa, largest von Mises stress of any plate
    plate_yield_ratio REAL,            -- that stress over the plate's yield strength
    screw_stress_MPa REAL,             -- MPa, largest von Mises stress of any screw or wire
    screw_yield_ratio REAL,            -- that stress over its yield strength
    stations_at_capacity INTEGER,      -- screw stations with bearing or thread at capacity
    bone_over_yield REAL,              -- share of bone volume over yield strain, where requested
    residual REAL,                     -- equilibrium error relative to the load
    complementarity REAL,              -- complementarity error relative to the load
    escapes TEXT,                      -- part that moves in the failure mechanism
    PRIMARY KEY (case_id, construct, total_load_N)
) WITHOUT ROWID;
CREATE TABLE fragments (       -- one row per case, construct, load and fragment, where held
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N
    fragment TEXT NOT NULL,
    subsidence_mean_mm REAL,           -- mm
    subsidence_max_mm REAL,            -- mm
    subsidence_net_mm REAL,            -- mm
    tilt_deg REAL,                     -- degrees
    PRIMARY KEY (case_id, construct, total_load_N, fragment)
) WITHOUT ROWID;
CREATE TABLE edges (           -- one row per case, construct, load and fracture at the joint
    case_id INTEGER NOT NULL,
    construct TEXT NOT NULL,
    total_load_N REAL NOT NULL,        -- N
    edge TEXT NOT NULL,
    step_off_mm REAL,                  -- mm, unsigned
    gap_mm REAL,                       -- mm
    PRIMARY KEY (case_id, construct, total_load_N, edge)
) WITHOUT ROWID;
CREATE TABLE failures (        -- missing answers, with the reason; no equilibrium is an answer
    case_id INTEGER NOT NULL,
    construct TEXT,                    -- empty: the whole case
    total_load_N REAL,                 -- N; empty: all loads
    status TEXT NOT NULL,              -- refused | error | unconverged | worker died
    reason TEXT NOT NULL
);
CREATE INDEX failures_by_case ON failures (case_id);
CREATE TABLE timings (         -- one row per completed case
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

EVERYTHING = """
CREATE VIEW everything AS
    SELECT design.*, results.construct, capacity_lower_N, capacity_upper_N, capacity_status,
           rules_broken_count, rules_broken, tightening, {columns}
    FROM results
    JOIN design USING (case_id)
    LEFT JOIN capacities ON capacities.case_id = results.case_id
                        AND capacities.construct = results.construct
"""
"""The table for pandas: design, capacity and results of each case, construct and load."""


def design_table(keys: tuple[str, ...]) -> str:
    """Statement that creates the table of the design; keys end in their units."""
    columns = "".join(f"    {quoted(key)},\n" for key in keys)
    return ("CREATE TABLE design (         -- one row per case, stored before the first is solved\n"
            f"    case_id INTEGER PRIMARY KEY,\n{columns}"
            "    hash TEXT NOT NULL         -- of all inputs of the case; empty: not valid\n)")


def quoted(name: str) -> str:
    """A name quoted for SQL."""
    return '"' + name.replace('"', '""') + '"'
