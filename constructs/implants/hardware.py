"""Everything that a construct adds to the bone: members, their links, tightened heads."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from buttress.bone.pieces import Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.bodies.plane import Plane
from buttress.fe.links.link import Hinge, LinkList
from buttress.implants.placement import PlateLine
from buttress.implants.sections import Bending, Material
from buttress.study.loads import HardeningInput
from buttress.study.study import Plate

STIFF = 1e-6
"""Compliance of a joint that is treated as stiff [mm/N]: a micrometre per kilonewton."""
LEVER = 10.0
"""Arm by which moments of locked heads are carried as forces [mm]: all links are newtons."""
SHEAR_ROUND, SHEAR_FLAT = 0.9, 5.0 / 6.0
"""Timoshenko shear factors of a round and of a flat section (Cowper 1966; memory)."""
SAME_PLACE = 0.05
"""Stations closer than this [mm] are merged."""


@dataclass(frozen=True)
class Part:
    """A member with the data for its stress: one section and material per element."""

    name: str
    kind: str                          # "plate" | "screw" | "wire"
    member: Member
    sections: tuple[Bending, ...]      # one per element, for each of ``count`` pieces
    material: Material
    count: int = 1


@dataclass(frozen=True)
class Seat:
    """A plate to which heads can be joined: its line on the bone and its stations along it."""

    given: Plate
    part: Part
    line: PlateLine
    s: FloatArray


@dataclass
class Hardware:
    """Members and fills of a construct, and the forces to which heads are tightened (by link)."""

    parts: list[Part] = field(default_factory=list)
    fills: list[Solid] = field(default_factory=list)
    tighten: dict[int, float] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    loose: set[str] = field(default_factory=set)
    """Names of pieces without any contact or load: not part of the solution."""


def beam(section: Bending, material: Material, factor: float, count: int = 1,
         plane: Plane = Plane.STRESS) -> BeamSection:
    """Stiffness of ``count`` pieces side by side; ``factor`` is the shear factor.

    In plane strain a bar that cannot strain out of the plane is stiffer by 1 / (1 - nu²); its
    strength stays that of a bar.
    """
    modulus = material.in_plane(plane)
    return BeamSection(count * modulus * section.area, count * modulus * section.inertia,
                       count * factor * material.shear_modulus * section.area)


def add_hinges(part: Part, links: LinkList, hardening: HardeningInput) -> None:
    """A hinge at every inner station, at the smaller plastic moment of its two elements.

    It stands for the plastic curvature of half of either element, so that its slope, the alloy's
    times the second moment of area over that length, does not depend on the stations.
    """
    length = np.hypot(*np.diff(part.member.points, axis=0).T)
    slope = hardening.metal_share * part.material.hardening
    for node in range(1, len(part.member.points) - 1):
        moment = min(part.sections[node - 1].plastic_moment(part.material.yield_strength),
                     part.sections[node].plastic_moment(part.material.yield_strength))
        inertia = min(part.sections[node - 1].inertia, part.sections[node].inertia)
        rise = part.count * slope * inertia / (0.5 * float(length[node - 1] + length[node]))
        links.hinges.append(Hinge(part.name, part.member, node, part.count * moment, rise))


def stations(places: list[float] | FloatArray) -> FloatArray:
    """Increasing positions [mm], with those closer than `SAME_PLACE` merged."""
    s = np.unique(np.asarray(places, dtype=float))
    return s[np.concatenate([[True], np.diff(s) > SAME_PLACE])]
