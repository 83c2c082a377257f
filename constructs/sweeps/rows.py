"""Rows of a sweep's table for its figures: by construct, at one load, with other varied keys."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.fe.status import Status
from buttress.study.checked import closest, did_you_mean
from buttress.sweeps.store import read_meta, reading

if TYPE_CHECKING:
    import pandas as pd


def sweep_frame(path: str | Path) -> pd.DataFrame:
    """The table of a sweep's store at ``path``: one row per case, construct and load.

    The keys that were varied come first, each in the unit that its name ends with; so do the
    columns of results. Constructs are a category in the order of the study, so that their colours
    stay the same; what is true or false is so again (SQLite keeps 1 and 0). The label, a column of
    the store, stands in ``attrs["label"]``.

    Raises InputError where there is no such store.
    """
    import pandas as pd

    with reading(Path(path)) as db:
        frame = pd.read_sql_query(
            "SELECT * FROM everything ORDER BY case_id, construct, total_load_N", db)
        meta = read_meta(db)
    frame = frame.drop(columns="label")
    frame.attrs["label"] = LABEL
    # Studies of a batch have constructs of their own, in the order in which they come.
    names = ([c["name"] for c in meta["study"].get("construct", ())]
             or list(dict.fromkeys(frame["construct"])))
    for key, text in meta["design"]["vary"].items():
        if {"true", "false"} & set(re.findall(r"\w+", text.lower())):
            frame[key] = frame[key].astype(bool)
    frame["construct"] = pd.Categorical(frame["construct"], categories=names)
    return frame


def by_construct(frame: pd.DataFrame) -> Iterator[tuple[int, str, pd.DataFrame]]:
    """Rows of each construct that has any, with its number in the study."""
    column = frame["construct"]
    names = list(column.cat.categories) if hasattr(column, "cat") else list(column.unique())
    for i, name in enumerate(names):
        rows = frame[column == name]
        if len(rows):
            yield i, str(name), rows


def other_keys(frame: pd.DataFrame, key: str) -> list[str]:
    """Other keys of the design that vary; in the table of a store they precede the hash."""
    columns = list(frame.columns)
    keys = columns[:columns.index("hash")] if "hash" in columns else []
    return [k for k in keys if k not in ("case_id", key) and frame[k].nunique() > 1]


def share_known(rows: pd.DataFrame, column: str) -> str:
    """The number of rows with a value, where not all have one, for the legend."""
    count, known = len(rows), int(rows[column].count())
    if known == count:
        return ""
    # A piece without joint surface has no subsidence, however well it is held.
    hold = "status" not in rows or known == int((rows["status"] == Status.HELD).sum())
    return f" ({known} of {count} {'hold' if hold else 'have a value'})"


def checked(frame: pd.DataFrame, key: str, column: str) -> pd.DataFrame:
    """The table; raises InputError where it lacks a column."""
    for name in (key, column):
        if name not in frame.columns:
            raise InputError("no such column in the table"
                             + did_you_mean(closest(name, frame.columns)), value=name,
                             expected=", ".join(frame.columns))
    return frame


def at_load(frame: pd.DataFrame, load: float | None) -> tuple[pd.DataFrame, str]:
    """Rows of one load (by default the largest), and its description.

    Where the load itself is varied each case has its own, so all rows are kept.
    """
    if load is None and "load.total_N" in frame.columns:
        return frame, ""
    loads = sorted(frame["total_load_N"].unique())
    if load is None:
        load = loads[-1]
    elif load not in loads:
        raise InputError("no such load in the table", value=f"{load:g}",
                         expected=", ".join(f"{x:g}" for x in loads))
    return frame[frame["total_load_N"] == load], f" at {load:g} N"
