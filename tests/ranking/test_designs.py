"""A quantity over the designs of a sweep: a design counts once, however many rows it has."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from buttress import LABEL, describe
from buttress.fe.errors import InputError

LOADS = (500.0, 1000.0, 1500.0)


def made_up(designs: int = 25) -> pd.DataFrame:
    """Constructs "a" and "b" in the same designs, under three loads; "b" has 10 more in all but two
    of them, in which it has 400 less, and no subsidence in the first."""
    rows = []
    for case in range(1, designs + 1):
        for name in ("a", "b"):
            has = 1000.0 * case + (0.0 if name == "a" else -400.0 if case <= 2 else 10.0)
            rows += [{"case_id": case, "friction": case / 100, "hash": "", "construct": name,
                      "total_load_N": load, "status": "held", "capacity_upper_N": has,
                      "subsidence_mean_mm": np.nan if (case, name) == (1, "b") else load / has}
                     for load in LOADS]
    frame = pd.DataFrame(rows)
    frame["construct"] = pd.Categorical(frame["construct"], categories=["a", "b"])
    return frame.sample(frac=1.0, random_state=1)


def test_a_design_counts_once_under_three_loads() -> None:
    frame = made_up()
    assert frame["construct"].value_counts()["a"] == 75    # what counting rows would give
    table = describe(frame, "capacity_upper_N")
    assert list(table["designs"]) == [25, 25]
    assert table.loc["b", "pairs"] == 25
    assert table.loc["b", "larger_in"] == 23
    assert pd.isna(table.loc["a", "pairs"])
    assert table.attrs["label"] == LABEL


def test_differences_are_those_of_the_same_design() -> None:
    """The designs differ by thousands, the constructs in one design by ten: pairs tell them apart,
    and the medians of the constructs alone would not."""
    frame = made_up()
    table = describe(frame, "capacity_upper_N")
    assert table.loc["b", "median_difference"] == pytest.approx(10.0)
    back = describe(frame, "capacity_upper_N", reference="b")
    assert back.loc["a", "median_difference"] == pytest.approx(-10.0)
    assert back.loc["a", "larger_in"] == 2
    # By hand, with pandas alone.
    own = frame[(frame["construct"] == "b") & (frame["total_load_N"] == 500.0)]["capacity_upper_N"]
    assert table.loc["b", "median"] == own.median()
    assert table.loc["b", "quartile_1"] == own.quantile(0.25)


def test_what_is_not_known_is_counted_and_left_out_of_pairs() -> None:
    table = describe(made_up(), "subsidence_mean_mm", load=1000.0)
    assert list(table["known"]) == [25, 24]
    assert table.loc["b", "pairs"] == 24
    assert table.loc["a", "largest"] == pytest.approx(1.0)    # at 1000 N, not at the largest load


@pytest.mark.parametrize(("column", "more", "said"), [
    ("capacity_uper_N", {}, "did you mean"), ("status", {}, "a column without numbers"),
    ("capacity_upper_N", {"load": 700.0}, "no such load"),
    ("capacity_upper_N", {"reference": "c"}, "no such construct")])
def test_wrong_input_is_told(column: str, more: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        describe(made_up(), column, **more)
