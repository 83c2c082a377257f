"""Richardson extrapolation and Roache's grid convergence index.

Invalid where the contact status changes between the meshes. On Cook's membrane the clamped corner
at (0, 44) sets the order: 1.354 in the limit, twice the exponent of Williams' clamped-free wedge.
"""

from __future__ import annotations

from functools import partial

from buttress.fe.richardson import Estimate, extrapolate
from buttress.fe.verification import Case, register
from buttress.fe.verification.cook import deflection


def cook(coarsest: int = 16) -> Estimate:
    """From three meshes of Cook's membrane, each twice as fine as the one before."""
    return extrapolate([deflection(n * coarsest) for n in (1, 2, 4)], TWICE)


def inlet() -> Estimate:
    """Pressure recovery of an inlet on three grids, the worked example of the tutorial."""
    return extrapolate((0.96178, 0.96854, 0.97050), TWICE)


TWICE = (4.0, 2.0, 1.0)
"""Sizes of the meshes, each twice as fine as the one before."""
KERNEL = "independent T6 kernel on 16, 32 and 64 cells a side"
TUTORIAL = "worked example of NASA's NPARC tutorial on grid convergence, after Roache"

# The source of the Cook figures states no tolerance. The value: within its own error band. Order
# and band hang on how the cells are cut (1.414 by the short diagonals, 1.421 by the long ones).
CASES = register(
    *(Case(f"Cook's membrane, {quantity}", KERNEL, "derived", quantity, unit, reference, tolerance,
           partial(lambda key: float(getattr(cook(), key)), key), basis="self-consistency")
      for quantity, key, unit, reference, tolerance in (
          ("extrapolated deflection", "limit", "mm", 23.96755, 1.29e-4),
          ("observed order", "order", "-", 1.456, 0.05),
          ("grid convergence index", "gci", "-", 1.29e-4, 0.1))),
    *(Case(f"inlet, {quantity}", TUTORIAL, "memory", quantity, "-", reference, 1e-5,
           partial(lambda key: float(getattr(inlet(), key)), key), basis="published")
      for quantity, key, reference in (
          ("extrapolated recovery", "limit", 0.971300), ("observed order", "order", 1.786170),
          ("grid convergence index", "gci", 1.03083e-3))))
