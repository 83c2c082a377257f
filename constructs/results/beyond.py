"""What lies above a limit, in words, and above which load it is reached with friction lost."""

from __future__ import annotations

from buttress.results.records import ConstructResult, LimitResult
from buttress.results.search import not_found
from buttress.results.soft import Bears
from buttress.study.activities import carried

METAL = "metal over yield"
"""Name of the limit that only a study sets: without it the first yield is an event."""
OVER = "over a limit: "
"""How the verdict begins that names the limit reached first."""

OR_LESS = " or less"
"""After a load by which something has happened, where the load at which it did was not found."""
LOST_NOT_KNOWN = "with friction lost not known"
FALLEN = 0.05
"""A load that has fallen by this share below the largest one is told to fall."""


def peak_not_known(construct: ConstructResult) -> str:
    """Up to where the path of a construct is known whose peak is not, and whether its load has
    fallen since, in a clause."""
    most = construct.known_to_N or 0.0
    words = f"peak not known above {carried(most)} N"
    path = construct.path
    if path is None or not path.points:
        return words
    top = max(range(len(path.points)), key=lambda i: path.points[i].load_N)
    least = min(path.points[top:], key=lambda p: p.load_N)
    falls = least.load_N <= (1.0 - FALLEN) * most
    if not falls or min(path.gaps_mm, default=0.0) <= least.ram_mm:
        return words
    return (f"{words}: pressed on, the load falls to {carried(least.load_N)} N, and then answers "
            "do not converge")


def beyond_words(name: str, limit: LimitResult) -> str:
    """What lies above a limit: ``step-off``, ``metal over yield``, ``metal over 80 % of yield``."""
    if name != METAL or limit.key != "metal_yield_ratio" or limit.limit in (None, 1.0):
        return name
    return f"metal over {100 * (limit.limit or 0.0):g} % of yield"


def friction_needed(found: ConstructResult | Bears) -> tuple[float | None, str]:
    """Up to which load [N] all limits are met with friction lost after tightening, and what lies
    above the limit that is reached then; empty where it fails. The load is None where friction is
    not needed, or that is not known."""
    most = found.without_friction_N
    return min(((r.load_N, beyond_words(name, r))
                for name, r in found.limits_without_friction.items()
                if r.load_N is not None and (most is None or r.load_N <= most)),
               default=(most, ""))


def friction_not_known(found: ConstructResult | Bears) -> float | None:
    """Up to which load [N] it is known what happens with friction lost, where that is not known to
    the end of the path without it; else None."""
    kept = [r.kept_to_N or 0.0 for r in found.limits_without_friction.values() if not_found(r)]
    if found.without_friction_to_N is not None:
        kept.append(found.without_friction_to_N)
    return min(kept, default=None)


def lost_not_known(load: float) -> str:
    """``with friction lost not known above 5970 N``."""
    return LOST_NOT_KNOWN + (f" above {carried(load)} N" if load >= 1.0 else "")
