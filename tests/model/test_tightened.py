"""The tightened state: what stays under the load, what movements start from, what is not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from perfect import perfect
from small_study import small_study
from staged_study import LAG, staged_study, tighten

from buttress.bone.bone import build_bone
from buttress.fe.solve.path import Gap
from buttress.model.install import build_model
from buttress.model.model import Model, assemble
from buttress.model.order import Order
from buttress.model.pressing import Pressing
from buttress.results.reader import Reader
from buttress.study.implants import tension
from buttress.study.read import study_from
from buttress.study.stages import Stage
from buttress.sweeps.vary import plain


@pytest.fixture(scope="module")
def model() -> Model:
    data = plain(perfect(small_study("lag screws")))    # what hardens has no limit load
    data["mesh"] = {"size_mm": 6.0, "coarse_mm": 12.0}
    study = study_from(data)
    return build_model(build_bone(study), study.constructs[0])


def test_heads_keep_their_tension_until_they_are_loaded(model: Model) -> None:
    path = model.pressing.up_to(1.0)
    wanted = {s.name: tension(s) * s.count for s in model.construct.screws}
    assert sum(wanted.values()) > 100.0
    links, force = model.problem.links.links, path.points[0].answer.force
    found = dict.fromkeys(wanted, 0.0)
    for i in model.hardware.tighten:      # a head presses on both sides of its hole
        found[links[i].source] += float(force[i])
    assert found == pytest.approx(wanted, rel=1e-6)
    # Nothing pulls at them any more: it is their stretch that holds the force.
    assert path.points[0].memory.offset[list(model.hardware.tighten)] != pytest.approx(0.0)


def test_movements_and_slip_start_from_the_tightened_state(model: Model) -> None:
    point = model.pressing.up_to(1.0).points[0]
    reader = Reader(model.bone, (), {})
    answer = model.pressing.since_tightened(point)
    moved = reader.measures(model, answer)
    assert max(map(abs, moved.values())) < 1e-7
    raw = model.problem.measures(answer.load, answer.force, answer.rigid, answer.kink)
    assert max(map(abs, raw.values())) > 1e-4
    assert np.abs(answer.slack[~model.problem.opens]).max() < 1e-7
    shortened = np.abs(model.memory.offset[list(model.hardware.tighten)])
    assert shortened.min() > 1e-3


def test_a_load_beyond_a_gap_of_the_path_is_not_known(model: Model,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    """No verdict where nothing was found; limit analysis carries the load."""
    path = model.pressing.up_to(1.0)
    lost = replace(path, points=path.points[:2], gaps=(Gap(0.1, "unconverged"),), status="gaps",
                   stopped="", peak_status="not known")
    monkeypatch.setattr(Pressing, "up_to", lambda self, load: lost)
    beyond = 2.0 * lost.points[-1].load_N
    assert beyond < 0.5 * model.capacity().factor   # type: ignore[operator]
    assert model.pressing.answer(beyond).status == "unconverged"
    above = 3.0 * model.capacity(rising=True).factor   # type: ignore[operator]
    assert model.pressing.answer(above).status == "no equilibrium"


def test_each_screw_of_a_row_is_tightened_in_a_stage_and_stages_shift_the_load() -> None:
    study = staged_study(screws={LAG: {"count": 2}})
    order = Order(assemble(build_bone(study), study.constructs[0]))
    for force in (400.0, 150.0):
        assert order.forces(Stage.model_validate(tighten(LAG, force))) == {LAG: 2.0 * force}
    assert order.load(1000.0, 0.2) == pytest.approx([200.0, 800.0])
    assert order.load(1000.0) == pytest.approx(
        1000.0 * np.array([study.load.medial_share, 1.0 - study.load.medial_share]))
