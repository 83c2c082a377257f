"""Estimate of the discretisation error of a figure from two or more meshes.

From three meshes, the procedure of Celik, Ghia, Roache, Freitas, Coleman & Raad, J Fluids Eng
2008;130:078001, after Roache, J Fluids Eng 1994;116:405-13 (both from memory): the observed order
p, the limit by Richardson extrapolation, and the grid convergence index. Where the values do not
follow a power of the element size with an order in its range, there is no such estimate, and the
spread of the meshes stands in its place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, log

from scipy.optimize import brentq

from buttress.fe.errors import InputError

ORDERS = (0.5, 4.0)
"""Orders that are believed: from a strong corner to twice the degree of a T6 triangle, at which
integrals of a smooth solution converge. A choice of this tool."""
SAFETY = 1.25
"""Roache's factor for three meshes."""
SAME = 1e-9
"""Values of two meshes that differ by less than this share of the largest are the same."""
EXTRAPOLATED, SPREAD, EQUAL = "extrapolated", "spread of the meshes", "equal on all meshes"


@dataclass(frozen=True)
class Estimate:
    """A figure on several meshes, and where its limit is expected.

    ``basis``: one of "extrapolated", "spread of the meshes" and "equal on all meshes"; ``why``: in
    words, why nothing is extrapolated. ``low`` and ``high``: the interval, which always includes
    the value of the first (coarsest) mesh. ``order``, ``limit`` and ``gci`` (the grid convergence
    index, a share of the finest mesh's value) are None unless extrapolated; ``gci`` is None too
    where that value is 0.
    """

    values: tuple[float, ...]
    basis: str
    low: float
    high: float
    order: float | None = None
    limit: float | None = None
    gci: float | None = None
    why: str = ""


def extrapolate(values: Sequence[float], sizes: Sequence[float], *, safety: float = SAFETY
                ) -> Estimate:
    """Where a figure tends to as meshes are refined, or its spread where that cannot be told.

    ``values``: one figure, in any unit, on each mesh, the coarsest first; ``sizes``: their element
    sizes [mm], falling. The last three meshes are extrapolated from, at unequal ratios too; all
    count for the interval: with an observed order it reaches from the coarsest mesh's value to
    ``safety`` times the distance from the finest to the limit, on either side of the finest.

    Raises InputError for fewer than two values, for sizes that do not fall or do not belong to
    them, and for what is not a finite number. Not for figures whose contact status differs between
    the meshes: see `spread`.
    """
    given = _checked(values, sizes)
    scale = max(abs(v) for v in given)
    if max(given) - min(given) <= SAME * scale:
        return Estimate(given, EQUAL, min(given), max(given))
    if len(given) < 3:
        return spread(given, "no order is observed on two meshes")
    coarse, medium, fine = given[-3:]
    h3, h2, h1 = (float(s) for s in sizes[-3:])
    first, second = medium - coarse, fine - medium
    if min(abs(first), abs(second)) <= SAME * scale:
        return spread(given, "two of the meshes agree and the third does not")
    if first * second < 0.0:
        return spread(given, "the values go up and down")

    def excess(p: float) -> float:
        """How far the ratio of differences of an order is above the observed one; it rises."""
        return (1.0 - (h2 / h3)**p) / ((h2 / h3)**p - (h1 / h3)**p) - first / second

    low, high = ORDERS
    if excess(low) > 0.0:
        none = first / second <= log(h3 / h2) / log(h2 / h1)
        return spread(given, "the values do not approach a limit" if none
                      else f"the observed order is below {low:g}")
    if excess(high) < 0.0:
        return spread(given, f"the observed order is above {high:g}")
    order = float(brentq(excess, low, high, xtol=1e-13, rtol=1e-14))
    step = second / ((h2 / h1)**order - 1.0)
    band = safety * abs(step)
    return Estimate(given, EXTRAPOLATED, min(*given, fine - band), max(*given, fine + band),
                    order=order, limit=fine + step, gci=band / abs(fine) if fine else None)


def spread(values: Sequence[float], why: str) -> Estimate:
    """The spread of the meshes; ``why`` nothing is extrapolated."""
    given = tuple(float(v) for v in values)
    return Estimate(given, SPREAD, min(given), max(given), why=why)


def _checked(values: Sequence[float], sizes: Sequence[float]) -> tuple[float, ...]:
    given, steps = [float(v) for v in values], [float(s) for s in sizes]
    if len(given) < 2 or len(given) != len(steps):
        raise InputError("an extrapolation over meshes needs a value and an element size of each",
                         value=f"{len(given)} values, {len(steps)} sizes",
                         expected="two or more of both")
    if not all(map(isfinite, [*given, *steps])):
        raise InputError("an extrapolation over meshes of what is not a number",
                         value=", ".join(f"{v:g}" for v in [*given, *steps]),
                         expected="finite numbers")
    if steps[-1] <= 0.0 or any(b >= a for a, b in zip(steps[:-1], steps[1:], strict=True)):
        raise InputError("element sizes that do not fall", value=", ".join(f"{s:g}" for s in steps),
                         expected="sizes above 0, the coarsest mesh first")
    return tuple(given)
