"""Links along matched faces of two meshed bodies: contact with friction, or a bond."""

from __future__ import annotations

from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.mesh.bodies import Interface


def interface_links(links: LinkList, interface: Interface, ends: tuple[Continuum, Continuum], *,
                    source: str, area: FloatArray, friction: float = 0.0,
                    strength: FloatArray | float = np.inf, bond: float | None = None,
                    compliance: FloatArray | float = 0.0, slope: FloatArray | float = 0.0,
                    gap: FloatArray | float = 0.0,
                    soften: float = 0.0, residual: float = 1.0,
                    shear_compliance: FloatArray | float | None = None) -> list[int]:
    """Links node by node along matched faces; returns the numbers of the normal links.

    ``area (k,)`` [mm²] is the tributary area of each node (its share of the length times the
    depth); ``strength`` [MPa, a number or ``(k,)``] bounds the pressure. Without ``bond`` the faces
    are in frictional contact; with it they resist both directions, up to ``bond`` [MPa] in tension
    and shear.
    ``compliance`` [mm/N, a number or ``(k,)``] is that of a thin layer between them; ``slope``
    [MPa/mm, likewise] the rise of the pressure as the faces are crushed, without bond only.
    ``gap`` [mm, likewise] is their distance, and ``shear_compliance`` [mm/N, likewise] that of the
    layer along them (as across them unless given): both without bond only. ``soften`` [mm] and
    ``residual``: a finite bond loses strength, see `Link`.
    """
    a, b = ends
    places = a.mesh.points[interface.nodes_a]
    crush = np.broadcast_to(strength, area.shape) * area
    soft = np.broadcast_to(compliance, area.shape)
    rise = np.broadcast_to(slope, area.shape) * area
    apart = np.broadcast_to(gap, area.shape)
    shears = soft if shear_compliance is None else np.broadcast_to(shear_compliance, area.shape)
    numbers = []
    for i in range(len(places)):
        normal = interface.normal[i]
        take = a.node(int(interface.nodes_a[i])), b.node(int(interface.nodes_b[i]))
        here: dict[str, Any] = {"compliance": float(soft[i]),
                "place": (float(places[i, 0]), float(places[i, 1])), "weight": float(area[i])}
        if bond is None:
            number, _ = links.contact(Kind.CONTACT, source, (a, b), take, normal=normal,
                                      friction=friction, strength=float(crush[i]),
                                      slope=float(rise[i]), gap=float(apart[i]),
                                      shear_compliance=float(shears[i]), **here)
            numbers.append(number)
            continue
        tangent = np.array([-normal[1], normal[0]])
        force = bond * float(area[i])
        for kind, direction, upper in ((Kind.BOND, normal, float(crush[i])),
                                       (Kind.BOND_SHEAR, tangent, force)):
            number = links.add(Link(kind, source, End(a, take[0](direction)),
                                    End(b, take[1](direction)), lower=-force, upper=upper,
                                    soften=soften if np.isfinite(force) else 0.0, residual=residual,
                                    direction=(float(direction[0]), float(direction[1])), **here))
            if kind == Kind.BOND:
                numbers.append(number)
    return numbers
