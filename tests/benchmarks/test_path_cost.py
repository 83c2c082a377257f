"""What a path costs: each construct of two studies, and with its friction lost.

    python -m pytest tests/benchmarks/test_path_cost.py --benchmark-enable -s

Seconds are of the processor. A machine that does other work makes them longer, so that each also
stands over the time of inverting the construct's own sticking problem once in the same run. In the
normal run one construct on a coarse mesh only shows that this works.
"""

from __future__ import annotations

from time import process_time

import numpy as np

from buttress.fe.solve.solver import Solver
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.results.search import Search
from buttress.study.read import example, only
from buttress.study.study import Study

STUDIES = ("medial-shear", "bicondylar")
AIM_S = {"medial-shear": 0.25, "bicondylar": 1.0}
ROUNDS = 5


def studies(enabled: bool) -> list[Study]:
    if enabled:
        return [example(name) for name in STUDIES]
    study = only("medial-shear", "lag screws")
    return [study.model_copy(update={"mesh": study.mesh.model_copy(
        update={"size_mm": 4.0, "coarse_mm": 8.0})})]


def inverted(model: Model, rounds: int) -> float:
    """Seconds of one inversion of the sticking problem, the shortest of some."""
    times = []
    for _ in range(rounds):
        start = process_time()
        Solver(model.problem)
        times.append(process_time() - start)
    return min(times)


def test_the_path_of_a_construct(benchmark) -> None:
    """Seconds and inversions of one path to the limit of load, of one with friction lost."""
    found = {}
    for study in studies(benchmark.enabled):
        with one_thread():
            bones = Bones(study)
            for construct in study.constructs:
                model = build_model(bones.of(construct), construct)
                once = inverted(model, ROUNDS if benchmark.enabled else 1)
                start = process_time()
                search = Search(model)
                pressed = process_time() - start
                start = process_time()
                assert Search(model, lost=True).points or model.slippery is None
                lost = process_time() - start
                assert search.points
                assert np.isfinite(search.known_to)
                tally = model.pressing.ram.tally
                found[study.name, construct.name] = (pressed, lost, once)
                if benchmark.enabled:
                    print(f"\n{study.name}, {construct.name}: {model.problem.n} links, "
                          f"{len(search.points)} points in {pressed:.2f} s "
                          f"(aim {AIM_S[study.name]:g}), {pressed / once:.0f} inversions, "
                          f"{tally.guesses} guesses; friction lost {lost:.2f} s", end="")
    benchmark.extra_info.update({" ".join(k): v for k, v in found.items()})
    benchmark.pedantic(lambda: None)
