"""A fragment that would come to rest only after a large movement is not held by this model."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_study import small_study

from buttress.fe.bodies.body import FARTHEST_MM
from buttress.fe.solve.step import TOO_FAR
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.study.tables import number

TURN, MOVE = (number("anatomy", "small movements", name) for name in ("turn", "move"))


@pytest.fixture(scope="module")
def thin_plate() -> Model:
    """A plate at the apex alone: the fragment tips over it, far from where it could still come
    to rest on paper."""
    study = small_study("antiglide")
    return build_model(Bones(study).of(study.constructs[0]), study.constructs[0])


def turned(model: Model, rigid: np.ndarray) -> float:
    """Turn of the fragment, degrees."""
    [i] = model.bone.fragments
    body = model.bone.bodies[i]
    return float(np.degrees(rigid[model.problem.rigid_body == i][2] / body.length))


def test_the_bound_is_that_of_the_table(thin_plate: Model) -> None:
    p = thin_plate.problem
    for i, body in enumerate(p.bodies):
        bound = p.farthest[p.rigid_body == i]
        if i in thin_plate.bone.fragments:
            assert np.allclose(bound, [MOVE, MOVE, np.radians(TURN) * body.length])
        else:
            assert (bound == FARTHEST_MM).all()


def test_what_turns_further_is_no_answer(thin_plate: Model) -> None:
    low = thin_plate.answer(500.0)
    assert low.held
    tilt = abs(turned(thin_plate, low.rigid))
    assert 0.01 < tilt < TURN
    # The same answer, where the bound is a little narrower or wider than what it needs.
    for share, held in ((0.99, False), (1.01, True)):
        farthest = thin_plate.problem.farthest.copy()
        [i] = thin_plate.bone.fragments
        farthest[np.flatnonzero(thin_plate.problem.rigid_body == i)[2]] *= share * tilt / TURN
        solver = thin_plate.solver.variant(thin_plate.problem.with_law(farthest=farthest))
        answer = solver.answer(thin_plate.bone.load_vector(500.0), thin_plate.memory)
        assert answer.held is held
        if not held:
            assert answer.notes == (TOO_FAR,)
            assert answer.escape is not None
            assert np.sign(turned(thin_plate, answer.escape.rigid)) == np.sign(
                turned(thin_plate, low.rigid))


def test_no_held_answer_of_a_steep_fracture_is_beyond_it() -> None:
    """Near where it ends an equilibrium of small movements may ask for large ones."""
    data = small_study("antiglide")
    fracture = data.fractures[0].model_copy(
        update={"points_mm": ((-3.0, 0.0), (-21.974, -58.395))})    # 18 degrees
    study = data.model_copy(update={"fractures": (fracture,)})
    model = build_model(Bones(study).of(study.constructs[0]), study.constructs[0])
    # With friction there may be several states at one load, some of them far away.
    answers = [model.answer(float(total)) for total in np.linspace(900.0, 6900.0, 16)]
    assert answers[0].held
    assert not answers[-1].held
    assert all(abs(turned(model, a.rigid)) <= TURN for a in answers if a.held)


def test_the_readme_states_the_bounds_of_the_table() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    pressed = number("loads", "path", "farthest")
    assert (f"ends once the joint has been pressed by {pressed:g} mm, or where the middle of a "
            f"piece has moved by {MOVE:g} mm along an axis or a piece has turned by {TURN:g} "
            "degrees") in readme
    assert f"ends once any point of a piece has moved by {pressed:g} mm" in readme
