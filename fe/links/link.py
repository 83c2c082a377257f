"""The single law of all interaction between bodies: a compliance between two bounds.

A link has two ends, each a column of a body. Its deformation is ``c_a u_a - c_b u_b``; its force
``lam`` acts as ``-lam c_a`` on body a and ``+lam c_b`` on body b, so a contact whose direction
points from a to b carries a compression as ``lam > 0``. With ``w = deformation - offset -
compliance lam`` the law is

    w = 0                    while lower < lam < upper,
    w <= 0                   at the lower bound (the contact has opened, the spring slips back),
    w >= 0                   at the upper bound,

and the bounds of a frictional link are widened by ``friction`` times its partner's force
(Coulomb). Beyond a bound the force rises by ``slope`` for each mm that the link has given way there
(linear kinematic hardening, Prager: a spring next to the slip). A link that softens loses strength
instead, evenly with what it has given way by, down to a residual share: one with equal strengths
both, any other its lower one (a bond breaks in tension and still bears compression). Hinges of
members are the same law for the kink of a chain: see `Hinge`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.member import Member

NO_PARTNER = -1


class Kind(StrEnum):
    """What links between two bodies of bone are called; hardware has names of its own."""

    CONTACT = "contact"
    CONTACT_FRICTION = "contact friction"
    BOND = "bond"
    BOND_SHEAR = "bond shear"


@dataclass(frozen=True)
class End:
    """An end of a link: a body and a column of it; ``body=None`` is the ground."""

    body: Body | None
    column: Column | None


@dataclass(frozen=True)
class Link:
    """One link. ``kind`` is its row in the table of laws, ``source`` the part it belongs to."""

    kind: str
    source: str
    a: End
    b: End
    compliance: float = 0.0
    lower: float = -np.inf
    upper: float = np.inf
    gap: float = 0.0
    friction: float = 0.0
    partner: int = NO_PARTNER
    place: tuple[float, float] = (np.nan, np.nan)
    direction: tuple[float, float] = (0.0, 0.0)
    slope: float = 0.0
    """Rise of the force beyond a bound, N for each mm that gives way there; an opening has none."""
    soften: float = 0.0
    """What it gives way by, mm, until only ``residual`` of its strength is left; 0: it keeps it."""
    residual: float = 1.0
    weight: float = 0.0
    """Tributary area or length of the link, mm² or mm: force over weight is a pressure."""

    @property
    def opens(self) -> bool:
        """Whether it is one-sided: it separates at zero force, without memory of the opening."""
        return self.lower == 0.0 and self.friction == 0.0


@dataclass(frozen=True)
class Hinge:
    """Plastic hinge of a member at a node: its rotation grows while the moment is at its bound."""

    source: str
    member: Member
    node: int
    plastic_moment: float
    slope: float = 0.0
    """Rise of the moment with the rotation of the hinge, N mm for a radian."""

    @property
    def place(self) -> tuple[float, float]:
        """Where it is as built (x, y), mm."""
        x, y = self.member.points[self.node]
        return float(x), float(y)


@dataclass
class LinkList:
    """Links and hinges in the order in which they were added; partners are numbers in it."""

    links: list[Link] = field(default_factory=list)
    hinges: list[Hinge] = field(default_factory=list)

    def add(self, link: Link) -> int:
        """Append a link and return its number."""
        if link.lower > link.upper:
            raise ValueError(f"{link.source}: lower bound {link.lower} above upper {link.upper}")
        if link.compliance < 0:
            raise ValueError(f"{link.source}: negative compliance {link.compliance}")
        if link.slope < 0 or (link.slope > 0 and link.friction > 0):
            raise ValueError(f"{link.source}: slope {link.slope} must not be negative, and zero "
                             "with friction")
        if link.soften < 0 or not 0 <= link.residual <= 1 or (
                link.soften > 0 and (link.slope > 0 or link.friction > 0 or link.lower >= 0)):
            raise ValueError(f"{link.source}: softening over {link.soften} to {link.residual} "
                             "needs a two-way link without slope and friction")
        if link.friction and not 0 <= link.partner < len(self.links):
            raise ValueError(f"{link.source}: friction needs a partner that was added before")
        if link.friction and self.links[link.partner].slope and self.links[link.partner].lower < 0:
            raise ValueError(f"{link.source}: friction needs a partner that hardens one way only")
        self.links.append(link)
        return len(self.links) - 1

    def contact(self, kind: str, source: str, ends: tuple[Body, Body], points: tuple, *,
                normal: FloatArray, friction: float, gap: float = 0.0, strength: float = np.inf,
                compliance: float = 0.0, place: tuple[float, float] = (np.nan, np.nan),
                weight: float = 0.0, slope: float = 0.0,
                shear_compliance: float | None = None) -> tuple[int, int | None]:
        """A normal contact link and its friction link.

        ``points`` are two functions that turn a direction ``(2,)`` into a column of body a and of
        body b; ``normal`` points from a to b. Without friction there is no tangential link; its
        compliance is ``shear_compliance``, that of the normal link unless given.
        """
        a, b = ends
        tangent = np.array([-normal[1], normal[0]])

        def link(direction: FloatArray, **law: float) -> Link:
            return Link(kind + (" friction" if "friction" in law else ""), source,
                        End(a, points[0](direction)), End(b, points[1](direction)),
                        compliance=compliance, place=place, weight=weight,
                        direction=(float(direction[0]), float(direction[1])), **law)  # type: ignore[arg-type]

        normal_link = self.add(link(normal, lower=0.0, upper=strength, gap=gap, slope=slope))
        if friction <= 0.0:
            return normal_link, None
        rubs = link(tangent, lower=0.0, upper=0.0, friction=friction, partner=normal_link)
        if shear_compliance is not None:
            rubs = replace(rubs, compliance=shear_compliance)
        return normal_link, self.add(rubs)

    def arrays(self) -> dict[str, Any]:
        """Every number of the laws, and partners, as arrays over the links."""
        names = ("compliance", "lower", "upper", "gap", "friction", "slope", "soften", "residual")
        out = {n: np.array([getattr(x, n) for x in self.links], dtype=float) for n in names}
        out["partner"] = np.array([x.partner for x in self.links], dtype=np.int64)
        out["opens"] = np.array([x.opens for x in self.links], dtype=bool)
        return out
