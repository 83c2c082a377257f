"""A quantity over the designs of a sweep: one row per construct, each design counted once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.ranking.certainty import paired_difference
from buttress.study.checked import require_known
from buttress.sweeps.rows import at_load, by_construct, checked

if TYPE_CHECKING:
    import pandas as pd

CASE = "case_id"


def describe(frame: pd.DataFrame, column: str, *, load: float | None = None,
             reference: str = "") -> pd.DataFrame:
    """What constructs have of a quantity over the designs of a sweep, and how they differ in each.

    A table of a sweep has one row per design, construct and load. A quantity of a construct, such
    as its capacity, stands in the rows of all loads, so that rows would count a design as often as
    it has loads. Here a design counts once: at one load, and against the same design of the
    reference.

    ``frame``: of `sweep_frame` or `SweepSummary.to_frame`. ``column``: a column with numbers.
    ``load``: total joint force [N], the largest unless given. ``reference``: the construct that
    others are compared with, the first of the study unless given.

    Returns one row per construct: ``designs`` that were solved, ``known`` of these (a construct
    that is not held has no subsidence), ``least``, ``quartile_1``, ``median``, ``quartile_3`` and
    ``largest`` in the unit of the column; ``pairs``, designs in which construct and reference are
    both known, ``median_difference`` of these (construct less reference), and ``larger_in``, the
    number of pairs in which the construct has more. No interval: designs of a grid are chosen and
    not drawn; for samples see `rank`.

    Raises InputError where the table lacks the column, the load or the reference.
    """
    import pandas as pd

    checked(frame, CASE, column)
    if not pd.api.types.is_numeric_dtype(frame[column]):
        raise InputError("a column without numbers", value=column,
                         expected="a column such as reserve_N")
    rows, _ = at_load(frame, load)
    values = {name: own.drop_duplicates(CASE).set_index(CASE)[column].astype(float)
              for _, name, own in by_construct(rows)}
    reference = reference or next(iter(values), "")
    require_known(reference, values, "construct")
    found = []
    for name, own in values.items():
        low, first, middle, third, high = own.quantile([0.0, 0.25, 0.5, 0.75, 1.0])
        both = pd.concat([own, values[reference]], axis=1, join="inner").dropna().to_numpy()
        apart = paired_difference(both[:, 0], both[:, 1])
        other = name != reference
        found.append({
            "construct": name, "designs": len(own), "known": int(own.count()), "least": low,
            "quartile_1": first, "median": middle, "quartile_3": third, "largest": high,
            "pairs": len(both) if other else None,
            "median_difference": apart.median if other else None,
            "larger_in": int((both[:, 0] > both[:, 1]).sum()) if other else None})
    table = pd.DataFrame(found).set_index("construct")
    table = table.astype({"pairs": "Int64", "larger_in": "Int64", "median_difference": float})
    table.attrs["label"] = LABEL
    return table
