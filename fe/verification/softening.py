"""Beyond the peak: links that lose strength, pressed by a ram, against closed forms.

A thread of stiffness k that strips at f and keeps the share r of it after a slip w carries, at the
displacement s beyond f/k, ``(f - h s)/(1 - h/k)`` with ``h = (1 - r) f/w``, and r f from the slip w
on. Next to a spring K the ram reads K s more: it has a peak at f/k where h/(1 - h/k) > K, falls,
and rises again. A bond that is pulled off leaves the spring alone, and bears compression as before
when it is pushed back.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.path import Path, press
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.stages import Staging
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, GROUND, spring
from buttress.fe.verification.twobars import guided

K, STRENGTH, KEPT, SLIP, BESIDE = 4000.0, 800.0, 0.3, 1.2, 150.0     # N/mm, N, -, mm, N/mm
FALL = (1.0 - KEPT) * STRENGTH / SLIP                                # N/mm
PULL, PUSH, BROKEN = 1000.0, 500.0, 0.05                             # N, N, mm
SOURCE = "elastic link that softens evenly, closed form"
FEW, MANY, FAR = 7, 60, 3.0


def carried(s: float) -> float:
    """Load [N] of thread and spring at a displacement [mm], by hand."""
    if s <= STRENGTH / K:
        thread = K * s
    else:
        thread = max((STRENGTH - FALL * s) / (1.0 - FALL / K), KEPT * STRENGTH)
    return thread + BESIDE * s


@cache
def stripped(steps: int) -> Path:
    """A guided bar pressed on a thread and a spring in equal steps."""
    body, links = guided("bar"), LinkList()
    end = End(body, body.translation(0, -ACROSS))
    links.add(Link("thread", "thread", end, GROUND, compliance=1.0 / K, lower=-STRENGTH,
                   upper=STRENGTH, soften=SLIP, residual=KEPT))
    spring(links, end, GROUND, BESIDE)
    problem = condense([body], links, [[(body, body.translation(0, -ACROSS))]])
    return press(Ram.of(problem, np.ones(1)), Memory.none(problem),
                 np.linspace(0.0, FAR, steps + 1)[1:].tolist())


def worst(steps: int) -> float:
    """Largest difference [N] of the path to the load by hand."""
    path = stripped(steps)
    if path.status != "complete":
        raise SolveError(f"verification problem: path {path.status}")
    return max(abs(p.load_N - carried(p.ram_mm)) for p in path.points)


def pulled_off(*loads: float) -> float:
    """Way [mm] up of a bar on a bond and a spring, after loads up [N] in turn."""
    body, links = guided("bar"), LinkList()
    end = End(body, body.translation(0, -ACROSS))
    links.add(Link("bond", "bond", end, GROUND, lower=-STRENGTH, soften=BROKEN, residual=0.0))
    number = spring(links, end, GROUND, BESIDE)
    staging = Staging(Solver(condense([body], links, [[(body, body.translation(0, ACROSS))]])))
    state = staging.start(np.ones(1, dtype=bool))
    for load in loads:
        answer, state = staging.step(state, np.array([load]))
        if not answer.held:
            raise SolveError(f"verification problem: {answer.status}")
    return -float(state.answer.force[number]) / BESIDE


CASES = register(
    Case("thread that strips, long steps", SOURCE, "derived", "largest difference in load", "N",
         0.0, 1e-3, lambda: worst(FEW)),
    Case("thread that strips, short steps", SOURCE, "derived", "largest difference in load", "N",
         0.0, 1e-3, lambda: worst(MANY)),
    Case("bond that is pulled off", SOURCE, "derived", "way under the pull", "mm",
         PULL / BESIDE, 1e-9, lambda: pulled_off(PULL)),
    Case("bond that holds", SOURCE, "derived", "way under the pull", "mm", 0.0, 1e-9,
         lambda: pulled_off(0.9 * STRENGTH)),
    Case("bond that is pulled off and pushed back", SOURCE, "derived", "way under the push", "mm",
         0.0, 1e-9, lambda: pulled_off(PULL, -PUSH)))
