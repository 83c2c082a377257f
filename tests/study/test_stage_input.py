"""Orders that cannot be: refused with their key; the rules of an order."""

from __future__ import annotations

import pytest
from staged_study import (
    FIRST,
    LAG,
    PLATE,
    SECOND,
    UNLOAD,
    load,
    place,
    staged_data,
    staged_study,
    tighten,
)

from buttress.comparison.stages import run_stages
from buttress.fe.errors import InputError
from buttress.study.read import study_from

WRONG = {
    "not placed": ([tighten(LAG, 100.0), place(LAG)], "stage.1.what", "not been placed"),
    "no such part": ([place("lagg")], "stage.1.what", 'did you mean "lag"?'),
    "placed twice": ([place(LAG), place(LAG)], "stage.2.what", "already been placed"),
    "screw before its plate": ([place(FIRST), place(PLATE)], "stage.1.what", "has not been placed"),
    "tightened plate": ([{"do": "tighten", "what": [PLATE], "force_N": 10.0}], "stage.1.what",
                        "only a screw can be tightened"),
    "no force": ([{"do": "tighten", "what": [FIRST]}], "stage.1.force_N", "has no tension_N"),
    "locked on bone": ([{"do": "lock", "what": [LAG]}], "stage.1.what", "only a screw head in a plate"),
    "tightened when locked": ([{"do": "lock", "what": [FIRST]}, tighten(FIRST, 100.0)],
                              "stage.2.what", "cannot be tightened"),
    "locked twice": ([{"do": "lock", "what": [FIRST]}, {"do": "lock", "what": [FIRST]}],
                     "stage.2.what", "already locked"),
    "released under screws": ([{"do": "release", "what": [PLATE]}], "stage.1.what",
                              "screws still hold"),
    "released twice": ([{"do": "release", "what": [LAG]}, {"do": "release", "what": [LAG]}],
                       "stage.2.what", "not been placed"),
    "load without size": ([{"do": "load"}], "stage.1.total_N", "missing key"),
    "unload with size": ([UNLOAD | {"total_N": 100.0}], "stage.1.total_N", "no such key"),
    "unknown step": ([{"do": "tigten", "what": [LAG]}], "stage.1.do", "did you mean \"tighten\"?"),
    "cycle of nothing": ([{"do": "cycle", "total_N": 500.0, "low_N": 500.0}], "stage.1.low_N",
                         "does not vary"),
    "negative load": ([load(-500.0)], "stage.1.total_N", "sign"),
    "named twice": ([place(LAG, LAG)], "stage.1.what", "twice"),
    "wear without a factor": ([{"do": "cycle", "total_N": 500.0, "wear_cycles": 5}],
                              "stage.1.wear_cycles", "without wear"),
    "wear without an end": ([{"do": "cycle", "total_N": 500.0, "times": 10,
                              "friction_factor": 0.5, "wear_cycles": 10}],
                            "stage.1.wear_cycles", "still wears"),
    "number of cycles": ([{"do": "cycle", "total_N": 500.0, "cycles": 10}], "stage.1.cycles",
                         'did you mean "times"?'),
    "one cycle": ([{"do": "cycle", "total_N": 500.0, "times": 1}], "stage.1.times", "2 to 2000"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_order_is_refused_with_its_key(name: str) -> None:
    stages, key, words = WRONG[name]
    with pytest.raises(InputError) as caught:
        staged_study(*stages, whole=True)
    assert key in caught.value.key, str(caught.value)
    assert words in str(caught.value)


def test_bonded_metal_has_no_stages() -> None:
    data = staged_data()
    data["construct"][0]["model"] = "bonded inclusions"
    with pytest.raises(InputError, match="stages need links"):
        study_from(data)


def test_a_study_without_stages_is_refused_by_the_runner() -> None:
    data = staged_data()
    del data["construct"][0]["stage"]
    with pytest.raises(InputError, match="no construct of this study has stages"):
        run_stages(study_from(data))


def test_rules_of_an_order() -> None:
    from buttress.rules.check import check

    lock_first = [place(PLATE, SECOND), {"do": "lock", "what": [SECOND]}, place(LAG),
                  tighten(LAG, 300.0)]
    found = {f.rule for f in check(staged_study(*lock_first, whole=True))}
    assert "lag after lock" in found
    assert "never tightened" not in found
    assert "never tightened" in {f.rule for f in check(staged_study(load(500.0), whole=True))}
    assert not {"lag after lock", "never tightened"} & {f.rule for f in check(staged_study())}


def test_the_shipped_orders_take_the_same_steps() -> None:
    from buttress.comparison.stages import same_steps
    from buttress.study.read import example

    above, below, turns = example("staged-tightening").constructs
    assert same_steps(above, below)
    assert not same_steps(above, turns)
