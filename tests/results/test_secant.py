"""The secant stiffness of a path is that of the joint as it is read under a load."""

import pytest

from buttress.comparison.compare import compare
from buttress.study.read import example, only
from buttress.sweeps.vary import varied


@pytest.mark.parametrize(("name", "construct"), [
    ("medial-shear", "lag screws"), ("posterior-shear", "front lag screws")])
def test_it_is_that_of_the_joint_under_that_load(name: str, construct: str) -> None:
    """Of the whole plateau and of a slice, which takes a share of the force: the reading counts
    movements along the load from the shaft, the path from the clamped end."""
    study = only(varied(example(name), {"mesh.size_mm": 4.0,
                                        "press.large_movements": "off"}).study, construct)
    [c] = compare(study, pictures=False).constructs
    assert c.stiffness_at_N is not None
    [again] = compare(varied(study, {"load.total_N": c.stiffness_at_N}).study,
                      pictures=False).constructs
    assert c.stiffness_N_per_mm == pytest.approx(again.loads[0].stiffness_N_per_mm, rel=0.15)
