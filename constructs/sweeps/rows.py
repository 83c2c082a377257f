"""Rows of a sweep's table for its figures: by construct, at one load, with other varied keys."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.fe.status import Status
from buttress.study.activities import newtons
from buttress.study.checked import closest, did_you_mean
from buttress.study.coupled import names_in
from buttress.sweeps.store import read_meta, reading
from buttress.words import marked

LAWS = ("friction", "gap_mm", "layer_mm", "layer_MPa")
"""Keys of a fracture that do not move it."""

if TYPE_CHECKING:
    import pandas as pd


def sweep_frame(path: str | Path) -> pd.DataFrame:
    """The table of a sweep's store at ``path``: one row per case, construct and load.

    The keys that were varied come first, each in the unit that its name ends with; so do the
    columns of results. Constructs are a category in the order of the study, so that their colours
    stay the same; what is true or false is so again (SQLite keeps 1 and 0). A coupled key holds the
    number of each case; ``attrs["coupled"]`` has the expressions by key, those of the study's file
    too. The label, a column of the store, stands in ``attrs["label"]``.

    Raises InputError where there is no such store.
    """
    import pandas as pd

    with reading(Path(path)) as db:
        frame = pd.read_sql_query(
            "SELECT * FROM everything ORDER BY case_id, construct, total_load_N", db)
        meta = read_meta(db)
    frame = frame.drop(columns="label")
    frame.attrs["label"] = LABEL
    frame.attrs["coupled"] = meta["design"].get("follows", {})
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


def named(construct: str, rows: pd.DataFrame) -> str:
    """The name of a construct, marked where any of its rows breaks a rule of the trade."""
    return marked(construct, "rules_broken" in rows and bool(rows["rules_broken"].notna().any()))


def other_keys(frame: pd.DataFrame, key: str) -> list[str]:
    """Other keys of the design that vary by themselves; in the table of a store they precede the
    hash."""
    follow = frame.attrs.get("coupled", {})
    return [k for k in _varied(frame) if k != key and k not in follow]


def _varied(frame: pd.DataFrame) -> list[str]:
    columns = list(frame.columns)
    keys = columns[:columns.index("hash")] if "hash" in columns else []
    return [k for k in keys if k != "case_id" and frame[k].nunique() > 1]


def following(frame: pd.DataFrame, key: str) -> dict[str, str]:
    """Expressions of the coupled keys that move along with the varied keys, by key.

    Where the numbers of a coupled key are in the table they tell; of a key of the study's file its
    expression does: whether it refers to a part or table that is varied, or to one that is.
    """
    follow = frame.attrs.get("coupled", {})
    moved = set(_varied(frame)) | ({key} - set(follow))
    out: dict[str, str] = {}
    for _ in follow:
        for coupled, text in follow.items():
            if coupled in out or coupled == key:
                continue
            seen = [_part(name) for name in names_in(text)]
            by = {_part(k) for k in (moved - set(follow)) | set(out)}
            if (coupled in moved if coupled in frame.columns else any(s in by for s in seen)):
                out[coupled] = text
    return out


def _part(key: str) -> tuple[str, ...]:
    """What a key or a point of a part depends on: all that a fracture's turning moves, else the
    key itself."""
    parts = tuple(key.split("."))
    place = parts[0] == "fracture" and parts[-1] not in LAWS
    return parts[:2] if place else ("section",) if parts[0] == "section" else parts


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
    return frame[frame["total_load_N"] == load], f" at {newtons(load)} N"
