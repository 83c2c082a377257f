"""What the whole fracture costs: condensing over a thousand links, and answering a further load.

Run with ``--benchmark-enable -s`` on a quiet machine; without it each function only proves that it
runs, on a coarse mesh. Times are of one thread.
"""

from __future__ import annotations

from time import process_time

import numpy as np
import pytest

from buttress.bone.bone import build_bone
from buttress.fe.bodies.body import Column
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.study.read import example

FINE, ROUGH = {"size_mm": 1.3, "coarse_mm": 1.1}, {"size_mm": 3.5, "coarse_mm": 6.0}


def sized(fine: bool):
    study = example("bicondylar")
    return study.model_copy(update={"mesh": study.mesh.model_copy(
        update=FINE if fine else ROUGH)})


@pytest.fixture(scope="module")
def both(request):
    """The construct with most links, condensed; its times are printed."""
    study = sized(request.config.getoption("benchmark_enable"))
    construct = next(c for c in study.constructs if c.name == "both plates + lag screws")
    with one_thread():
        start = process_time()
        bone = build_bone(study)
        meshed = process_time()
        model = build_model(bone, construct)
        condensed = process_time()
    unknowns = sum(b.n_dof for b in model.problem.bodies)
    print(f"\n{model.problem.n} links, {unknowns} unknowns: meshed and factorised in "
          f"{meshed - start:.2f} s, condensed in {condensed - meshed:.2f} s")
    return model


def test_a_first_load(benchmark, both) -> None:
    assert benchmark.pedantic(lambda: both.answer(1000.0), rounds=1).status != "unconverged"


def test_a_further_load(benchmark, both) -> None:
    both.answer(1000.0)
    assert benchmark.pedantic(lambda: both.answer(1100.0), rounds=1).held


def test_another_strength(benchmark, both) -> None:
    near = both.answer(1000.0)

    def weaker():
        law = both.problem.with_law(lower=0.9 * both.problem.lower, upper=0.9 * both.problem.upper)
        return both.solver.variant(law).answer(both.bone.load_vector(1000.0), both.memory,
                                               near=near)

    assert benchmark.pedantic(weaker, rounds=3).status in ("held", "no equilibrium")


@pytest.mark.parametrize("count", [300, 1200])
def test_a_response(benchmark, count) -> None:
    """Cost of one unit response of the shaft, no higher at 1200 than at 300."""
    bone = build_bone(sized(benchmark.enabled))
    body = bone.bodies[bone.shaft]
    count = count if benchmark.enabled else 10
    nodes = np.linspace(0, body.n_dof // 2 - 1, count).astype(int)

    def run():
        ids = body.register([Column.of([2 * n], [1.0]) for n in nodes])
        return body.flexibility(ids, ids)

    with one_thread():
        start = process_time()
        assert benchmark.pedantic(run, rounds=1).shape == (count, count)
        spent = process_time() - start
    print(f"\n{count} responses on {body.n_dof} unknowns: {1e3 * spent / count:.2f} ms each")
