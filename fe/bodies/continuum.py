"""A meshed piece as a body: where links take hold of it, and how it is cut from its neighbours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from hashlib import blake2b
from typing import Any

import numpy as np

from buttress.fe.bodies.assembly import Pattern, interpolation_terms, stiffness
from buttress.fe.bodies.body import Body, Column
from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.mesh.bodies import Interface
from buttress.fe.mesh.t6 import Mesh

FloatArray = np.ndarray
IntArray = np.ndarray


class Continuum(Body):
    """Plane-stress body on a T6 mesh; ``sheets`` as in `buttress.fe.bodies.assembly.stiffness` [N/mm]."""

    def __init__(self, mesh: Mesh, sheets: FloatArray, fixed: Iterable[int] = (),
                 pattern: Pattern | None = None) -> None:
        self.mesh = mesh
        self.sheets = sheets
        # Constructs ask for the same stations again and again: what only depends on the mesh.
        self._spreads: dict[bytes, tuple[IntArray, FloatArray]] = {}
        self._insides: dict[bytes, np.ndarray] = {}
        super().__init__(mesh.name, stiffness(mesh, sheets, pattern), mesh.points, fixed)

    def node(self, number: int) -> Callable[[FloatArray], Column]:
        """Turns a direction ``(2,)`` into the displacement of a node along it."""
        return lambda direction: Column.of([2 * number, 2 * number + 1], direction)

    def spread(self, xy: FloatArray, weights: FloatArray) -> Callable[[FloatArray], Column]:
        """Turns a direction into the mean displacement of points ``(p, 2)`` along it.

        The weights ``(p,)`` are divided by their sum. Raises `InputError` for points outside.
        """
        key = np.ascontiguousarray(xy).tobytes() + weights.tobytes()
        if key not in self._spreads:
            nodes, values = interpolation_terms(self.mesh, xy)
            share = values * (weights / weights.sum())[:, None]
            taken, which = np.unique(nodes, return_inverse=True)
            mean = np.bincount(which.ravel(), weights=share.ravel())
            self._spreads[key] = (2 * taken[:, None] + np.arange(2)).ravel(), mean[:, None]
        dofs, means = self._spreads[key]
        return lambda direction: Column.of(dofs, (means * direction).ravel())

    def inside(self, xy: FloatArray) -> np.ndarray:
        """Which of the points ``(p, 2)`` lie in the piece, ``(p,)`` bool."""
        key = blake2b(np.ascontiguousarray(xy).tobytes(), digest_size=16).digest()
        if key not in self._insides:
            self._insides[key] = self.mesh.locate(xy)[0] >= 0
        return self._insides[key].copy()


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
