"""The initial state and the solution of a step: memory, forces, motions and their residuals."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.links.condense import Condensed
from buttress.fe.solve.capacity import Escape
from buttress.fe.status import Status


@dataclass(frozen=True)
class Memory:
    """State left by earlier stages: slip or crushing of each link and kink of each hinge [mm].

    ``offset`` holds tightened lengths too; ``given`` only what links have given way at a bound that
    hardens, or in all directions together at one that softens.
    """

    offset: FloatArray
    kink: FloatArray
    given: FloatArray

    @staticmethod
    def none(problem: Condensed) -> Memory:
        """Nothing has slid, been crushed or turned yet."""
        return Memory(np.zeros(problem.n), np.zeros(problem.kinks.shape[1]), np.zeros(problem.n))


@dataclass(frozen=True)
class Answer:
    """Forces, motions and proof of one step. Arrays are NaN where it is not held."""

    status: Status
    method: str                  # "active set" | "active set, slip start" | ... | "Lemke"
    force: FloatArray            # (n,) N
    rigid: FloatArray            # (m,) mm
    kink: FloatArray             # (h,) mm, earlier kinks included
    slack: FloatArray            # (n,) w: slip, opening or crushing of this step, mm
    kink_step: FloatArray        # (h,) kink of this step, mm
    load: FloatArray             # (p,) factor of each load case
    residual: float              # equilibrium error relative to the total load
    complementarity: float       # distance of the forces from their projection, likewise
    rcond: float
    steps: int
    escape: Escape | None = None
    notes: tuple[str, ...] = field(default=())
    moved: Condensed | None = None
    """The problem in the moved geometry in which this was found; None: as it was built."""

    @property
    def held(self) -> bool:
        """Whether there is an equilibrium: forces and motions are numbers."""
        return self.status == Status.HELD
