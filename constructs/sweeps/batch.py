"""Many studies into one store, each a case of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from buttress.fe.errors import InputError
from buttress.study.case import Case
from buttress.study.read import AnyStudy, as_study
from buttress.sweeps.design import Design
from buttress.sweeps.evaluate import Options
from buttress.sweeps.keys import planned
from buttress.sweeps.sweep import STORE, STORES, Plan, Say, SweepSummary, run_plan
from buttress.sweeps.vary import plain

KEY = "study"
"""The column of the store that tells studies apart."""


@dataclass(frozen=True)
class Studies(Design):
    """A design whose cases are studies; ``inputs``: each of them, for the store."""

    inputs: dict[str, Any] = field(default_factory=dict)

    def described(self) -> dict[str, Any]:
        """For the store, with the studies themselves."""
        return super().described() | {"studies": self.inputs}


def batch(studies: Sequence[AnyStudy], *, out: Path, workers: int | None = None,
          cluster: str = "", options: Options | None = None, say: Say = lambda text: None
          ) -> SweepSummary:
    """Solve all constructs of many studies into one store; the same call resumes where it stopped.

    ``studies``: each as `compare` takes it; with the same ``out`` (a store, or its folder), further
    studies are added to those that are stored. ``workers``, ``cluster``, ``options``, ``say``: see
    `sweep`. A study whose worker dies is told of and the others are kept.

    Returns a `SweepSummary`; in its table the column ``study`` has the name of each. Raises
    InputError where a study is wrong or two have one name.
    """
    options = options or Options()
    given = [as_study(study) for study in studies]
    names = [study.name for study in given]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError("two studies of one name", key="name", value=twice,
                         expected="a name of its own for each study of a batch")
    if not given:
        raise InputError("no studies", key="FILES", expected="study files, or names of shipped "
                                                            "studies")
    cases = tuple(planned(i, Case(study, {}), options.described())
                  for i, study in enumerate(given, 1))
    design = Studies((KEY,), (", ".join(names),), "batch", None, None,
                     tuple((name,) for name in names),
                     inputs={s.name: plain(s) for s in given})
    plan = Plan(study=None, design=design, options=options, cases=cases, refused={},
                hashes=tuple(c.hash for c in cases))
    path = out if out.suffix in STORES else out / STORE
    return run_plan(plan, path, workers=workers, cluster=cluster, say=say)
