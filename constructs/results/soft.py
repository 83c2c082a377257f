"""What constructs are judged by in soft bone, or beyond the search, where the rest is not read."""

from __future__ import annotations

from dataclasses import dataclass, field

from buttress.results.records import LimitResult


@dataclass(frozen=True)
class Bears:
    """Loads at which a construct reaches its limits, as in `ConstructResult`.

    ``limits_without_friction``: with friction lost after tightening. ``left``: the limit that what
    reduction leaves is by itself no less than.
    """

    status: str
    equilibrium_ends_N: float | None
    ends_status: str
    known_to_N: float | None
    without_friction_N: float | None
    limits: dict[str, LimitResult]
    first_yield_N: float | None = None
    first_yield_at_most: bool = False
    first_crushing_N: float | None = None
    first_crushing_of: str = ""
    first_thread_N: float | None = None
    limits_without_friction: dict[str, LimitResult] = field(default_factory=dict)
    without_friction_to_N: float | None = None
    left: str = ""


@dataclass(frozen=True)
class SoftBone:
    """``words``: what soft bone means for a study, or why nothing is judged in it; ``constructs``
    by name, empty in that case."""

    words: str
    constructs: dict[str, Bears] = field(default_factory=dict)
