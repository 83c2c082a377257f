"""Estimate of the discretisation error of a result from three meshes."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from buttress.fe.errors import SolveError


@dataclass(frozen=True)
class Extrapolation:
    """Observed order, extrapolated value, and relative error band of the fine mesh (GCI)."""

    order: float
    value: float
    gci: float


def extrapolate(coarse: float, medium: float, fine: float, *, ratio: float = 2.0,
                safety: float = 1.25) -> Extrapolation:
    """Richardson extrapolation and Roache's grid convergence index from three meshes.

    ``coarse``, ``medium`` and ``fine`` are one figure, in any unit, on each of them; ``ratio`` is
    the refinement between neighbours. After Roache, J Fluids Eng 1994 (memory); the ``safety``
    factor 1.25 is his for three meshes. Raises SolveError where the three values do not
    approach a limit from one side. Invalid where the contact status changes between the meshes.
    """
    first, second = medium - coarse, fine - medium
    if second == 0 or first / second <= 1:
        raise SolveError("extrapolating over meshes: the values "
                         f"{coarse:g}, {medium:g}, {fine:g} do not approach a limit")
    order = log(first / second) / log(ratio)
    step = second / (ratio**order - 1)
    return Extrapolation(order, fine + step, safety * abs(step / fine) if fine else float("inf"))
