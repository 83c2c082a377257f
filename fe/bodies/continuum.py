"""A meshed piece as a body: attachment of links, and separation from its neighbours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from hashlib import blake2b

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.assembly import Pattern, interpolation_terms, stiffness
from buttress.fe.bodies.body import Body, Column
from buttress.fe.mesh.t6 import Mesh


class Continuum(Body):
    """Body on a T6 mesh, in the plane; ``sheets`` as in `fe.bodies.assembly.stiffness` [N/mm]."""

    def __init__(self, mesh: Mesh, sheets: FloatArray, fixed: Iterable[int] = (),
                 pattern: Pattern | None = None) -> None:
        self.mesh = mesh
        self.sheets = sheets
        # Constructs request the same stations repeatedly: cache what depends only on the mesh.
        self._spreads: dict[bytes, tuple[IntArray, FloatArray]] = {}
        self._insides: dict[bytes, np.ndarray] = {}
        super().__init__(mesh.name, stiffness(mesh, sheets, pattern), mesh.points, fixed)

    def node(self, number: int) -> Callable[[FloatArray], Column]:
        """Function from a direction ``(2,)`` to the column of a node's displacement along it."""
        return lambda direction: Column.of([2 * number, 2 * number + 1], direction)

    def spread(self, xy: FloatArray, weights: FloatArray) -> Callable[[FloatArray], Column]:
        """Function from a direction to the column of the mean displacement of points ``(p, 2)``.

        The weights ``(p,)`` are divided by their sum. Raises `InputError` for points outside.
        """
        key = np.ascontiguousarray(xy).tobytes() + weights.tobytes()
        if key not in self._spreads:
            nodes, values = interpolation_terms(self.mesh, xy)
            share = values * (weights / weights.sum())[:, None]
            taken, which = np.unique(nodes, return_inverse=True)
            mean = np.bincount(which.ravel(), weights=share.ravel()).astype(float)
            self._spreads[key] = (2 * taken[:, None] + np.arange(2)).ravel(), mean[:, None]
        dofs, means = self._spreads[key]
        return lambda direction: Column.of(dofs, (means * direction).ravel())

    def inside(self, xy: FloatArray) -> np.ndarray:
        """Which of the points ``(p, 2)`` lie in the piece, ``(p,)`` bool."""
        key = blake2b(np.ascontiguousarray(xy).tobytes(), digest_size=16).digest()
        if key not in self._insides:
            self._insides[key] = self.mesh.locate(xy)[0] >= 0
        return self._insides[key].copy()
