"""A meshed piece as a body: where links take hold of it, and how it is cut from its neighbours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from fe.assembly import Pattern, interpolation, stiffness
from fe.body import Body, Column
from fe.interface import Interface
from fe.link import End, Link, LinkList
from fe.mesh import Mesh

FloatArray = np.ndarray
IntArray = np.ndarray


class Continuum(Body):
    """Plane-stress body on a T6 mesh; ``sheets`` as in `fe.assembly.stiffness` [N/mm]."""

    def __init__(self, mesh: Mesh, sheets: FloatArray, fixed: Iterable[int] = (),
                 pattern: Pattern | None = None) -> None:
        self.mesh = mesh
        self.sheets = sheets
        super().__init__(mesh.name, stiffness(mesh, sheets, pattern), mesh.points, fixed)

    def node(self, number: int) -> Callable[[FloatArray], Column]:
        """Turns a direction ``(2,)`` into the displacement of a node along it."""
        return lambda direction: Column.of([2 * number, 2 * number + 1], direction)

    def spread(self, xy: FloatArray, weights: FloatArray) -> Callable[[FloatArray], Column]:
        """Turns a direction into the mean displacement of points ``(p, 2)`` along it.

        The weights ``(p,)`` are divided by their sum. Raises `InputError` for points outside.
        """
        rows = interpolation(self.mesh, xy)
        mean = np.asarray(rows.T @ (weights / weights.sum())).ravel()
        nodes = np.flatnonzero(mean)

        def column(direction: FloatArray) -> Column:
            dofs = np.concatenate([2 * nodes, 2 * nodes + 1])
            return Column.of(dofs, np.concatenate([mean[nodes] * direction[0],
                                                   mean[nodes] * direction[1]]))

        return column

    def inside(self, xy: FloatArray) -> np.ndarray:
        """Which of the points ``(p, 2)`` lie in the piece, ``(p,)`` bool."""
        return self.mesh.locate(xy)[0] >= 0


def interface_links(links: LinkList, interface: Interface, ends: tuple[Continuum, Continuum], *,
                    source: str, area: FloatArray, friction: float = 0.0,
                    strength: FloatArray | float = np.inf, bond: float | None = None,
                    compliance: FloatArray | float = 0.0) -> list[int]:
    """Links node by node along matched faces; returns the numbers of the normal links.

    ``area (k,)`` [mm²] is what each node stands for (its share of the length times the depth);
    ``strength`` [MPa, a number or ``(k,)``] bounds the pressure. Without ``bond`` the faces touch
    and rub; with it they hold both ways, up to ``bond`` [MPa] in tension and shear.
    ``compliance`` [mm/N, a number or ``(k,)``] is that of a thin layer between them.
    """
    a, b = ends
    places = a.mesh.points[interface.nodes_a]
    crush = np.broadcast_to(strength, area.shape) * area
    soft = np.broadcast_to(compliance, area.shape)
    numbers = []
    for i in range(len(places)):
        normal = interface.normal[i]
        take = a.node(int(interface.nodes_a[i])), b.node(int(interface.nodes_b[i]))
        here: dict[str, Any] = {"compliance": float(soft[i]),
                "place": (float(places[i, 0]), float(places[i, 1])), "weight": float(area[i])}
        if bond is None:
            number, _ = links.contact("contact", source, (a, b), take, normal=normal,
                                      friction=friction, strength=float(crush[i]), **here)
            numbers.append(number)
            continue
        tangent = np.array([-normal[1], normal[0]])
        force = bond * float(area[i])
        for kind, direction, upper in (("bond", normal, float(crush[i])),
                                       ("bond shear", tangent, force)):
            number = links.add(Link(kind, source, End(a, take[0](direction)),
                                    End(b, take[1](direction)), lower=-force, upper=upper,
                                    direction=(float(direction[0]), float(direction[1])), **here))
            if kind == "bond":
                numbers.append(number)
    return numbers
