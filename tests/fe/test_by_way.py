"""A tightening that is not found at once is found by way of smaller forces, and is the same."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_study import small_study

from buttress.fe.solve import solver as module
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.step import Step
from buttress.fe.status import Status
from buttress.model.model import Bones, assemble


@pytest.mark.parametrize("neighbours", [True, False])
def test_what_is_not_found_at_once_is_found_by_way_of_smaller_forces(
        neighbours: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of 52 samples of a ranking had no answer: the direct way took too many pivots."""
    study = small_study("lag screws")
    model = assemble(Bones(study).of(study.constructs[0]), study.constructs[0])
    load, aim = np.zeros(len(model.bone.loads)), model.hardware.tighten
    direct = model.solver.answer(load, model.memory, aim)
    assert direct.held
    real = module.run

    def run(step: Step, near: Answer | None = None, *more: Any) -> Answer:
        if near is None and all(step.prescribed[i] == force for i, force in aim.items()):
            return step.none(Status.UNCONVERGED, None, "lost")
        return real(step, near, *more)

    monkeypatch.setattr(module, "run", run)
    if not neighbours:
        monkeypatch.setattr(module, "follow", lambda *given: None)
        monkeypatch.setattr(module, "WAY", 0.4)
    found = model.solver.answer(load, model.memory, aim)
    assert found.held
    assert "by way of smaller forces" in found.method
    assert found.residual < 1e-9
    np.testing.assert_allclose(found.force, direct.force, atol=1e-8 * np.abs(direct.force).max())
    # Where the way is not found either, the answer stays not known.
    monkeypatch.setattr(module, "follow", lambda *given: None)
    monkeypatch.setattr(module, "RESCUES", 0)
    assert model.solver.answer(load, model.memory, aim).status == Status.UNCONVERGED
