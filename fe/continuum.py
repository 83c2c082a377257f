"""A meshed piece as a body: where links take hold of it, and how it is cut from its neighbours."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from fe.assembly import Pattern, interpolation, stiffness
from fe.body import Body, Column
from fe.interface import Interface
from fe.link import LinkList
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


def interface_contact(links: LinkList, interface: Interface, bodies: list[Continuum], *,
                      friction: float, kind: str = "contact", gap: float = 0.0,
                      strength: float = np.inf, layer: float = 0.0,
                      depth: Callable[[FloatArray], FloatArray] | float = 1.0) -> list[int]:
    """Contact links node by node along matched faces; returns the numbers of the normal links.

    ``depth``: out-of-plane depth [mm], a number or a function of points ``(k, 2)``; a node's area
    is its share of the length times the depth there. ``strength`` [MPa] bounds the pressure;
    ``layer`` [mm³/N] is the compliance of a unit area of a thin layer between the faces.
    """
    a, b = bodies[interface.body_a], bodies[interface.body_b]
    places = a.mesh.points[interface.nodes_a]
    deep = depth(places) if callable(depth) else np.full(len(places), float(depth))
    area = interface.weight * deep
    numbers = []
    for i in range(len(places)):
        normal, _ = links.contact(
            kind, interface.name, (a, b),
            (a.node(int(interface.nodes_a[i])), b.node(int(interface.nodes_b[i]))),
            normal=interface.normal[i], friction=friction, gap=gap,
            strength=strength * area[i] if np.isfinite(strength) else np.inf,
            compliance=layer / area[i] if layer else 0.0,
            place=(float(places[i, 0]), float(places[i, 1])), weight=float(area[i]))
        numbers.append(normal)
    return numbers
