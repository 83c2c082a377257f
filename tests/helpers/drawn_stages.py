"""Made-up stages for tests of pictures: nothing is solved, numbers are chosen."""

from __future__ import annotations

from dataclasses import replace

from made_up import picture

from buttress.results.stages import FragmentStage, ScrewStage, StagedResult, StageResult

SUNK = (0.0, -0.004, -0.007, 0.284, 0.206)
FORCES = {"upper": (None, 400.0, 92.0, 85.0, 0.0), "shaft 1": (None, None, 500.0, 433.0, 555.0)}
WORDS = ("place plate", "tighten upper to 400 N", "tighten shaft 1 to 500 N", "load to 1000 N",
         "unload")


def staged(name: str, *, held: int = 5, more: int = 0, screws: str = "") -> StagedResult:
    """Five stages (and ``more`` like the last) of which the first ``held`` were held; ``screws``
    goes before the names of the screws."""
    steps = []
    for i in range(5 + more):
        k = min(i, 4)
        good = i < held + more
        steps.append(StageResult(
            number=i + 1, do="tighten", what=(), words=WORDS[k], method="", residual=0.0,
            status="held" if good else "no equilibrium" if i == held + more else "not run",
            complementarity=0.0, total_load_N=1000.0 if k == 3 else 0.0, slip_mm=0.0,
            fragments={"medial": FragmentStage(SUNK[k], SUNK[k], 0.0, 0.0, (0.0, 0.0), {}, 0.0)},
            screws={screws + n: ScrewStage(f, None, None) for n, values in FORCES.items()
                    if (f := values[k]) is not None}))
    shots = tuple(replace(picture(name, 1500.0), construct=name) for s in steps if s.held)
    return StagedResult(name, "", "held" if held >= 5 else f"no equilibrium at stage {held + 1}",
                        tuple(steps), pictures=shots)
