"""The path with friction lost after tightening, against limit analysis without friction."""

from __future__ import annotations

from typing import Any

import pytest
from small_study import small_study

from buttress.comparison.compare import compare
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.ram import Ram
from buttress.model.install import build_model
from buttress.model.model import Bones, Model, intact_measures
from buttress.results.capacity import friction_lost
from buttress.results.limits import find_limit, gauges
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.search import Search
from buttress.results.verdict import verdict
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
    lost = Search(model, lost=True)
    found, limit = lost.ends, model.capacity(frictionless=True).factor
    assert found is not None
    assert found == pytest.approx(limit, rel=0.01)
    assert found < 0.7 * model.pressing.whole.peak_N


def test_what_hardens_carries_more() -> None:
    perfect, hardens = (Search(models(share)["antiglide"], lost=True).known_to
                        for share in (0.0, 0.05))
    assert hardens > 1.02 * perfect


def test_tightened_screws_stretch_and_carry_more_than_limit_analysis_says() -> None:
    """Limit analysis leaves them at their force."""
    model = models()["lag screws"]
    found = Search(model, lost=True).known_to
    assert model.capacity(frictionless=True).factor < found < model.pressing.whole.peak_N
    assert Search(models()["nothing"], lost=True).ends == 0.0


def test_a_path_that_is_not_known_to_its_end_is_not_taken_for_one_that_ends(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """From 0.2 mm on no step is found without friction: what is carried up to there is known, not
    that friction is needed above it."""
    model = models()["antiglide"]
    whole = friction_lost(model, [])
    assert whole[0] is not None
    assert whole[1] is None
    model, stuck = models()["antiglide"], Ram.step

    def step(self: Ram, memory: Memory, *, place: float | None = None, **more: Any) -> Any:
        far = place is not None and place > 0.2
        return None if far else stuck(self, memory, place=place, **more)

    monkeypatch.setattr(Ram, "step", step)
    carries, known_to, _ = friction_lost(model, [])
    assert carries is None
    assert known_to is not None
    assert 0.0 < known_to < whole[0]


def test_a_body_mass_changes_no_load_that_is_carried_without_friction() -> None:
    """A mass says which loads are asked for; what friction carries is judged the same way."""
    found = []
    for mass in (75.0, None):
        load = STUDY.load.model_copy(update={"body_mass_kg": mass})
        study = STUDY.model_copy(update={"load": load, "constructs": STUDY.constructs[1:2]})
        (result,) = compare(study, pictures=False).constructs
        lost = result.limits_without_friction["step-off"].load_N
        assert lost is not None
        assert lost > 1.1 * result.capacity_N[0]
        # Once a limit is reached, what is carried beyond it is not asked.
        assert result.without_friction_N is None
        found.append(lost)
    assert found[0] == pytest.approx(found[1], rel=1e-9)


def test_with_friction_lost_it_is_pressed_no_farther_than_to_the_first_limit() -> None:
    """The limit is reached where pressing to the end says, too."""
    def model() -> Model:
        bones = Bones(STUDY)
        return build_model(bones.of(STUDY.constructs[1]), STUDY.constructs[1])

    short, whole = model(), model()
    found = gauges(Reader.of(short.bone, intact_subsidence(short.bone, intact_measures(short.bone))), short, STUDY.limits)
    least, _, limits = friction_lost(short, found)
    search = Search(whole, lost=True)
    for gauge in gauges(Reader.of(whole.bone, intact_subsidence(whole.bone, intact_measures(whole.bone))), whole, STUDY.limits):
        if limits[gauge.name].load_N is not None:
            assert limits[gauge.name].load_N == pytest.approx(
                find_limit(search, gauge).load_N, rel=1e-9)
    reached = [r.load_N for r in limits.values() if r.load_N is not None]
    assert reached
    assert least is None
    assert short.slippery is not None
    assert max(p.load_N for p in short.slippery.up_to(0.0).points) < 1.6 * min(reached)
    assert search.known_to > 1.8 * min(reached)


def test_of_a_loose_piece_without_load_nothing_is_said_of_friction() -> None:
    """Nothing is mobilised there, and yet "it carries nothing without friction" was told."""
    study = small_study("nothing", loads=(300.0,))
    study = study.model_copy(update={
        "load": study.load.model_copy(update={"medial_share": 0.0}),
        "press": PressInput(large_movements="off")})
    found = compare(study, pictures=False)["nothing"]
    assert found.loads[0].fragments["medial"].applied_N == (0.0, 0.0)
    assert found.capacity_N == (None, None)
    assert (found.without_friction_N, found.limits_without_friction) == (None, {})
    assert found.loads[0].verdict == "within all limits"
    said = verdict(found, (found,))
    assert "no load acts on 'medial'" in said
    assert "friction" not in said
