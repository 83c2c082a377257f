"""Whole studies drawn at random: refused in words or answered, and what every answer keeps.

Many, with a seed, one after another (some seconds each):

    HYPOTHESIS_PROFILE=studies pytest -m deep tests/properties/test_studies.py --hypothesis-seed 1
"""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import fields
from typing import Any

import pytest
from drawn_studies import studies
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buttress.comparison.compare import compare
from buttress.fe.errors import InputError
from buttress.report.folder import document
from buttress.results.path import Derived
from buttress.results.records import ConstructResult
from buttress.rules.check import check
from buttress.study.read import study_from

COUNTED: Counter[str] = Counter()
"""How the drawn studies ended."""


def read_off(c: ConstructResult) -> dict[str, Any]:
    """All of a construct that is read off its path, and so does not depend on the listed loads."""
    found = {x.name: getattr(c, x.name) for x in fields(Derived) if x.name != "path"}
    return found | {"limits": {k: (r.load_N, r.missing) for k, r in c.limits.items()},
                    "ends": (c.ends_status, c.equilibrium_ends_N), "capacity": c.capacity_N}


def alike(one: Any, other: Any) -> bool:
    """Equal, numbers to rounding."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(alike(one[k], other[k]) for k in one)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    return bool(one == other)


def kept(data: dict[str, Any], other_load: float | None) -> str:
    """Solve a drawn study and assert what must hold; how its first construct ended.

    ``other_load``: a load [N] under which it is solved again, None to leave that out.
    """
    try:
        study = study_from(data)
        check(study)
    except InputError as error:
        return "refused" if str(error).replace("\n", "").isprintable() else "refused by noise"
    made = compare(study, pictures=False)      # what `check` lets pass is not refused
    assert "NaN" not in json.dumps(document(made), allow_nan=False)
    for c in made.constructs:
        balanced(c)
    if other_load is not None:
        load = {k: v for k, v in data["load"].items() if k not in ("ground_kg", "activity")}
        changed = study_from({**data, "load": {**load, "total_N": [other_load]}})
        for c, again in zip(made.constructs, compare(changed, pictures=False).constructs,
                            strict=True):
            assert alike(read_off(c), read_off(again)), differing(read_off(c), read_off(again))
    return made.constructs[0].status if made.constructs else "staged"


def balanced(c: ConstructResult) -> None:
    """Assert that what is held is in equilibrium and that the limits of its capacity are in order."""
    for load in c.loads:
        if load.status != "held":
            assert load.status in ("no equilibrium", "unconverged")
            assert load.stiffness_N_per_mm is None
            continue
        assert load.residual < 1e-9
        assert load.complementarity < 1e-8
        for name, fragment in load.fragments.items():
            if fragment.balance_error is not None:
                assert fragment.balance_error < 1e-7, name
    low, high = c.capacity_N
    assert low is None or high is None or low <= high * (1 + 1e-9) + 1e-9


def differing(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """What is not alike, by name."""
    return {k: (one[k], other[k]) for k in one if not alike(one[k], other[k])}


@given(studies(), st.none() | st.floats(60.0, 3000.0))
@settings(max_examples=8)
def test_a_drawn_study_is_refused_in_words_or_keeps_what_must_hold(
        data: dict[str, Any], other_load: float | None) -> None:
    ended = kept(data, other_load)
    assert ended != "refused by noise"
    COUNTED[ended] += 1


@pytest.mark.deep
@given(studies(), st.none() | st.floats(60.0, 3000.0))
@settings(suppress_health_check=list(HealthCheck))
def test_many_drawn_studies_are_refused_in_words_or_keep_what_must_hold(
        data: dict[str, Any], other_load: float | None) -> None:
    ended = kept(data, other_load)
    assert ended != "refused by noise"
    COUNTED[ended] += 1
    if COUNTED.total() % 50 == 0:
        print(dict(COUNTED), flush=True)


def test_what_is_compared_notices_a_change() -> None:
    one = {"a": (1.0, None), "b": {"c": "x"}}
    assert alike(one, {"a": (1.0 + 1e-12, None), "b": {"c": "x"}})
    for other in ({"a": (1.0 + 1e-6, None), "b": {"c": "x"}}, {"a": (1.0, 2.0), "b": {"c": "x"}},
                  {"a": (1.0, None), "b": {"c": "y"}}, {"a": (1.0, None)}):
        assert not alike(one, other)
