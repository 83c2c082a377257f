"""The path with friction lost after tightening, against limit analysis without friction."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from small_study import small_study

from buttress.comparison.compare import compare
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.capacity import friction_lost
from buttress.study.loads import HardeningInput, PressInput

STUDY = small_study("nothing", "lag screws", "antiglide")


def models(share: float = 0.0) -> dict:
    """Models by construct; ``share``: what crushed bone and metal harden by. Movements are small,
    as in limit analysis."""
    bones = Bones(STUDY.model_copy(update={
        "hardening": HardeningInput(bone_share=share, metal_share=share),
        "press": PressInput(large_movements="off")}))
    return {c.name: build_model(bones.of(c), c) for c in STUDY.constructs}


def test_what_is_carried_without_friction_is_the_limit_load_of_perfect_plasticity() -> None:
    """Nothing is tightened and no link hardens: the peak is that of the linear program (the
    theorems of limit analysis hold without friction; Drucker, Prager, Greenberg 1952, memory)."""
    model = models()["antiglide"]
    (found, known), limit = model.without_friction(), model.capacity(frictionless=True).factor
    assert known
    assert found == pytest.approx(limit, rel=0.01)
    assert found < 0.7 * model.pressing.whole.peak_N


def test_what_hardens_carries_more() -> None:
    perfect, hardens = (models(share)["antiglide"].without_friction()[0] for share in (0.0, 0.05))
    assert hardens > 1.02 * perfect


def test_tightened_screws_stretch_and_carry_more_than_limit_analysis_says() -> None:
    """Limit analysis leaves them at their force."""
    model = models()["lag screws"]
    found = model.without_friction()[0]
    assert model.capacity(frictionless=True).factor < found < model.pressing.whole.peak_N
    assert models()["nothing"].without_friction() == (0.0, True)


@pytest.mark.parametrize(("carried", "known", "lost"), [
    (900.0, True, 900.0), (900.0, False, 1200.0), (1500.0, False, 1500.0)])
def test_what_a_path_has_carried_counts_although_more_is_not_known(
        carried: float, known: bool, lost: float) -> None:
    """Limit analysis says 1200 N without friction, where the path has gaps near its top."""
    model: Any = SimpleNamespace(
        without_friction=lambda most: (carried, known), stands=False,
        capacity=lambda **kind: SimpleNamespace(factor=1200.0 if kind else 2000.0))
    assert friction_lost(model, []) == (lost, {})


def test_a_body_mass_changes_no_load_that_is_carried_without_friction() -> None:
    """A mass says which loads are asked for; what friction carries is judged the same way."""
    found = []
    for mass in (75.0, None):
        load = STUDY.load.model_copy(update={"body_mass_kg": mass})
        study = STUDY.model_copy(update={"load": load, "constructs": STUDY.constructs[1:2]})
        (result,) = compare(study, pictures=False).constructs
        assert result.without_friction_N > 1.1 * result.capacity_N[0]
        found.append(result.without_friction_N)
    assert found[0] == pytest.approx(found[1], rel=1e-9)
