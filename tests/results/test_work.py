"""Where the work of the load has gone: balances and cases whose taker is known."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.comparison.compare import compare
from buttress.results.path import Work
from buttress.results.records import ConstructResult
from buttress.results.work import TAKERS, work_words
from buttress.study.read import example, study_from

MESH = {"size_mm": 4, "coarse_mm": 8}
BLOCK = {
    "name": "block", "mesh": MESH, "load": {"total_N": [800.0], "medial_share": 1.0},
    "section": {"outline": "simple"},
    "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]], "friction": 0.5}],
    "fragment": [{"name": "medial", "inside_mm": [-25, -10]}]}


def of(construct: dict, **changes: object) -> ConstructResult:
    return compare(study_from(BLOCK | {"construct": [construct]} | changes),
                   pictures=False).constructs[0]


@pytest.fixture(scope="module")
def screws() -> ConstructResult:
    study = example("medial-shear")
    one = next(c for c in study.constructs if c.name == "lag screws")
    return compare(study.model_copy(update={"constructs": (one,)}), pictures=False).constructs[0]


def test_the_shares_are_those_of_the_work_of_the_ram(screws: ConstructResult) -> None:
    work, path = screws.work, screws.path
    assert work is not None
    assert path is not None
    assert sum(work.shares.values()) == pytest.approx(1.0, abs=1e-12)
    assert set(work.shares) == {"elastic", *TAKERS}
    # Balance of energy: load over ram displacement, by trapezes between the points of the path.
    points = [p for p in path.points if p.load_N <= work.load_N]
    done = np.trapezoid([p.load_N for p in points], [p.ram_mm for p in points])
    assert work.done_Nmm == pytest.approx(done, rel=0.03)
    assert work.moved_mm >= 2.0
    assert min(work.shares[k] for k in TAKERS) >= 0.0
    # Screws across a shear plane: bone and threads give way, no plate does.
    assert work.shares["friction"] > 0.2
    assert work.shares["crushing"] > 0.05


def test_nothing_is_lost_where_nothing_gives_way() -> None:
    # Bonded across a smooth plane that is not there: an intact bone stores all.
    bonded = compare(study_from({
        "name": "level", "mesh": MESH, "load": {"total_N": [500.0], "medial_share": 0.5},
        "section": {"outline": "simple"},
        "fracture": [{"name": "cut", "points_mm": [[-60, -70], [60, -70]], "friction": 1.5}],
        "fragment": [{"name": "top", "inside_mm": [0, -20]}], "construct": [{"name": "c"}]}),
        pictures=False).constructs[0]
    assert bonded.work is not None
    assert bonded.work.shares["elastic"] > 0.9
    assert bonded.work.shares["bending"] == bonded.work.shares["anchorage"] == 0.0


def test_without_friction_none_of_it_is_lost_to_friction() -> None:
    screws = [{"name": f"s{y}", "form": "HB 6.5", "side": "medial", "height_mm": y, "angle_deg": 0,
               "length_mm": 70, "thread_mm": 32, "tension_N": 0} for y in (-10, -25)]
    smooth = [BLOCK["fracture"][0] | {"friction": 0.0}]    # type: ignore[index]
    found, rough = (of({"name": "c", "screw": screws}, **changes).work
                    for changes in ({"fracture": smooth}, {}))
    assert found is not None
    assert rough is not None
    assert abs(found.shares["friction"]) < 0.02 < rough.shares["friction"]


def test_nothing_carried_is_no_work() -> None:
    assert of({"name": "nothing"}, fracture=[
        BLOCK["fracture"][0] | {"friction": 0.0}]).work is None    # type: ignore[index]


def test_shares_in_words() -> None:
    work = Work(2000.0, 2.04, 900.0, {"elastic": 0.25, "friction": 0.6, "crushing": 0.145,
                                      "bending": 0.005, "anchorage": 0.0})
    assert work_words(work) == (
        "Up to 2000 N, where the joint has moved 2 mm, 60\u00a0% of the work is lost to friction, "
        "25\u00a0% is stored in elastic parts, 14\u00a0% crushes bone.")
