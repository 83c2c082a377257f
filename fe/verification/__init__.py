"""Published values and closed forms that the solver must reproduce: one registry, one table.

One module per source; each contains its numbers with their source and status, and the computation.
The tests run every entry, and the command line prints the same entries for the user.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Literal

#: Modules with cases, in the order of the table.
MODULES = ("patch", "rigid", "manufactured", "le1", "cook", "cantilever", "kirsch", "strip",
           "inclusion", "layers", "sideplates", "lame", "gci", "shrinkfit", "contactpatch", "hertz",
           "cattaneo", "timoshenko", "foundation", "dowel", "embedded", "shearlag", "bonded",
           "incline", "statics", "wedge", "slip", "pullout", "joint", "rim", "hinge", "stagepath",
           "cyclic", "twobars", "pressed", "hardening", "softening", "moved")

Status = Literal["seen", "memory", "derived", "practice"]
Basis = Literal["closed form", "published", "self-consistency", "common practice"]


@dataclass(frozen=True)
class Case:
    """One number, computed and compared with a reference.

    `status` states how the reference is known: read in the source ("seen"), recalled ("memory"),
    computed from the stated inputs ("derived") or common practice. `tolerance` is relative to the
    reference; absolute where the reference is 0. `kind` "at least" requires that the value is not
    below the reference (a convergence rate), "at most" that it is not above.

    `basis` is what the reference is: a closed form evaluated here, a number or fitted formula that
    was published, a law that any right answer keeps (equilibrium, a mirror, another mesh or another
    way to the same answer), or common practice of the trade without a source.
    """

    name: str
    source: str
    status: Status
    quantity: str
    unit: str
    reference: float
    tolerance: float
    compute: Callable[[], float]
    kind: Literal["equal", "at least", "at most"] = "equal"
    basis: Basis = "closed form"

    def deviation(self, value: float) -> float:
        """Difference from the reference, relative to it (absolute where it is 0)."""
        return (value - self.reference) / (abs(self.reference) or 1.0)

    def passes(self, value: float) -> bool:
        """Whether `value` agrees with the reference; NaN never does."""
        deviation = self.deviation(value)
        if self.kind == "at least":
            return deviation >= -self.tolerance
        if self.kind == "at most":
            return deviation <= self.tolerance
        return abs(deviation) <= self.tolerance


_registry: dict[str, Case] = {}


def register(*new: Case) -> tuple[Case, ...]:
    """Add cases to the table and return them; names must be unique (ValueError)."""
    for case in new:
        if case.name in _registry:
            raise ValueError(f"two verification cases are called '{case.name}'")
        _registry[case.name] = case
    return new


def cases() -> list[Case]:
    """Every case, in the order of `MODULES`; the modules are imported on the first call."""
    return [case for name in MODULES for case in import_module(f"{__name__}.{name}").CASES]
