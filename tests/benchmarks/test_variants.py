"""What a variant costs beside a solve from scratch, and what link responses cost.

Run with ``--benchmark-enable -s``; without it each function only proves that it runs.
"""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest

from buttress.bone.bone import build_bone
from buttress.fe.bodies.body import Column
from buttress.fe.solve.solver import Solver
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.study.read import example


@pytest.fixture(scope="module")
def model():
    study = example("medial-shear")
    return build_model(build_bone(study), next(c for c in study.constructs
                                               if c.name == "antiglide + screw"))


def test_a_further_load(benchmark, model) -> None:
    answer = benchmark(lambda: model.answer(900.0))
    assert answer.held
    print(f"\nfurther load at {model.problem.n} links")


def test_another_friction(benchmark, model) -> None:
    def run():
        softer = model.problem.with_law(friction=0.9 * model.problem.friction)
        return model.solver.variant(softer).answer(model.bone.load_vector(900.0), model.memory)

    assert benchmark(run).status in ("held", "no equilibrium")


def test_ratio_to_a_solve_from_scratch(benchmark, model) -> None:
    study = model.bone.study

    def scratch():
        return build_model(build_bone(study), model.construct).answer(900.0)

    start = perf_counter()
    model.answer(900.0)
    variant = perf_counter() - start
    start = perf_counter()
    assert benchmark.pedantic(scratch, rounds=1).held
    print(f"\nfrom scratch / variant: {(perf_counter() - start) / variant:.0f}")


def test_500_responses(benchmark, model) -> None:
    """500 unit responses of the shaft; the number of unknowns is printed."""
    study = example("medial-shear")
    shaft = study.model_copy(update={"mesh": study.mesh.model_copy(
        update={"size_mm": 0.8, "coarse_mm": 1.6} if benchmark.enabled else {})})
    bone = build_bone(shaft)
    body = bone.bodies[bone.shaft]
    count = 500 if benchmark.enabled else 20
    nodes = np.linspace(0, body.n_dof // 2 - 1, count).astype(int)

    def run():
        ids = body.register([Column.of([2 * n], [1.0]) for n in nodes])
        return body.flexibility(ids, ids)

    with one_thread():
        assert benchmark.pedantic(run, rounds=1).shape == (count, count)
    print(f"\n{count} responses on {body.n_dof} unknowns")


def test_the_sticking_inverse(benchmark, model) -> None:
    assert benchmark(lambda: Solver(model.problem)).inverse is not None
