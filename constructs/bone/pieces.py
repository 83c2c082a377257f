"""Pieces in which hardware can be anchored: bone and fills, with their material by position."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

import numpy as np

from buttress.bone.fills import FillMaterial
from buttress.bone.section import Layer, LocalBone, Section
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points, sheet
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.plane import Plane
from buttress.fe.mesh.t6 import Mesh


class Made(StrEnum):
    """What a meshed body is made of."""

    BONE = "bone"
    GRAFT = "graft"


@dataclass(frozen=True)
class Inclusion:
    """Metal bonded into the section: a bar from ``start`` to ``end``, round, ``count`` in depth.

    A segment of the screw or wire ``name``: ``diameter`` is that of its true section (a thread's
    core), ``outline`` that of the hole, across which a fracture is not separated.
    """

    name: str
    kind: str              # "screw" | "wire"
    start: FloatArray      # (2,) mm
    end: FloatArray        # (2,) mm
    diameter: float
    count: int
    modulus: float
    poisson: float
    outline: float

    def thickness(self, xy: FloatArray) -> FloatArray:
        """Depth of metal at points ``(..., 2)``: the chord of the bar, 0 outside it [mm]."""
        return self.count * self._chord(xy, self.diameter)

    def holds(self, xy: FloatArray) -> np.ndarray:
        """Which points ``(..., 2)`` lie inside its outline."""
        return self._chord(xy, self.outline) > 0.0

    def _chord(self, xy: FloatArray, diameter: float) -> FloatArray:
        axis = self.end - self.start
        length = float(np.hypot(*axis))
        along = axis / length
        arm = xy - self.start
        s = arm @ along
        n = arm[..., 1] * along[0] - arm[..., 0] * along[1]
        chord = 2.0 * np.sqrt(np.clip((diameter / 2) ** 2 - n**2, 0.0, None))
        return np.where((s >= 0) & (s <= length), chord, 0.0)


def with_metal(sheets: FloatArray, depth: FloatArray, xy: FloatArray,
               inclusions: tuple[Inclusion, ...], plane: Plane = Plane.STRESS) -> FloatArray:
    """Stiffness ``E_metal t_metal + E_bone (t - t_metal)`` at points ``(..., 3)`` [N/mm]."""
    for bar in inclusions:
        metal = np.minimum(bar.thickness(xy), depth)
        share = (metal / depth)[..., None]
        sheets = sheets * (1.0 - share) + sheet(bar.modulus, bar.poisson, metal, plane)
    return sheets


def around_metal(layers: tuple[Layer, ...], depth: FloatArray, xy: FloatArray,
                 inclusions: tuple[Inclusion, ...]) -> tuple[Layer, ...]:
    """Layers at points ``(..., 2)`` without the depth that metal takes from them."""
    left = np.ones_like(depth)
    for bar in inclusions:
        left = left * (1.0 - np.minimum(bar.thickness(xy), depth) / depth)
    return tuple(replace(x, thickness=x.thickness * left) for x in layers)


def limited_depth(section: Section, xy: FloatArray, limit: float | None) -> FloatArray:
    """Out-of-plane depth of a piece at points ``(..., 2)``, mm: the bone's, at most ``limit``."""
    t = section.thickness(xy)
    return t if limit is None else np.minimum(t, limit)


@dataclass(frozen=True)
class BonePiece:
    """Bone of the section, at most ``limit`` deep (a fragment less deep than the bone)."""

    section: Section
    limit: float | None = None
    inclusions: tuple[Inclusion, ...] = ()

    def depth(self, xy: FloatArray) -> FloatArray:
        """Out-of-plane depth at points ``(..., 2)``, mm."""
        return limited_depth(self.section, xy, self.limit)

    def sheets(self, xy: FloatArray) -> FloatArray:
        """Stiffness of the sheet, ``(..., 3)`` N/mm.

        A fragment less deep than the bone has its sheets in proportion; the bone in front of it or
        behind it is ignored.
        """
        depth = self.depth(xy)
        full = self.section.sheets(xy) * (depth / self.section.thickness(xy))[..., None]
        return with_metal(full, depth, xy, self.inclusions, self.section.plane)

    def crush(self, xy: FloatArray, core_scale: float = 1.0) -> FloatArray:
        """Crushing strength through the depth at points, MPa; see `Section.crushing`."""
        return self.section.crushing(xy, core_scale)

    def crushable(self, xy: FloatArray) -> FloatArray:
        """Modulus through the depth of what carries more as it is crushed, at points, MPa."""
        return self.section.crushable(xy)

    def layers(self, xy: FloatArray) -> tuple[Layer, ...]:
        """Core and cortex at points ``(..., 2)``, whose sheets add up to `sheets` (less metal)."""
        depth = self.depth(xy)
        share = depth / self.section.thickness(xy)
        return around_metal(tuple(replace(x, thickness=x.thickness * share)
                                  for x in self.section.layers(xy)), depth, xy, self.inclusions)

    def local(self, xy: FloatArray, z: float) -> LocalBone:
        """Bone around points at a depth ``z`` off the mid-plane."""
        return self.section.local_bone(xy, z)


@dataclass(frozen=True)
class FillPiece:
    """A fill: one material or level layers, at most ``limit`` deep."""

    section: Section
    material: FillMaterial
    low: float
    high: float
    limit: float | None = None
    inclusions: tuple[Inclusion, ...] = ()

    def depth(self, xy: FloatArray) -> FloatArray:
        """Out-of-plane depth at points ``(..., 2)``, mm."""
        return limited_depth(self.section, xy, self.limit)

    def _layers(self, xy: FloatArray) -> np.ndarray:
        share = np.clip((xy[..., 1] - self.low) / (self.high - self.low), 0.0, 1.0)
        return np.searchsorted(np.cumsum(self.material.shares)[:-1], share)

    def sheets(self, xy: FloatArray) -> FloatArray:
        """Stiffness of the sheet, ``(..., 3)`` N/mm, layer by layer."""
        k = self._layers(xy)
        depth = self.depth(xy)
        full = sheet(self.material.modulus[k], self.material.poisson[k], depth,
                     self.section.plane)
        return with_metal(np.asarray(full), depth, xy, self.inclusions, self.section.plane)

    def layers(self, xy: FloatArray) -> tuple[Layer, ...]:
        """The fill at points ``(..., 2)``: one tissue through the depth, level layers and all."""
        k, depth = self._layers(xy), self.depth(xy)
        fill = Layer("fill", self.material.modulus[k], self.material.poisson[k], depth,
                     self.section.plane)
        return around_metal((fill,), depth, xy, self.inclusions)

    def crush(self, xy: FloatArray, core_scale: float = 1.0) -> FloatArray:
        """Crushing strength at points, MPa; a scale of the strength of bone leaves it as it is."""
        del core_scale
        return self.material.strength[self._layers(xy)]

    def crushable(self, xy: FloatArray) -> FloatArray:
        """Modulus of what carries more as it is crushed, at points, MPa; 0 for cement."""
        return self.material.crushable[self._layers(xy)]

    def local(self, xy: FloatArray, z: float) -> LocalBone:
        """Material around points; shear strength 0: threads do not hold in graft."""
        k = self._layers(xy)
        return LocalBone(self.material.modulus[k], self.material.poisson[k],
                         self.material.strength[k], np.zeros(k.shape), self.material.crushable[k])


Piece = BonePiece | FillPiece


@dataclass(frozen=True)
class Solid:
    """A meshed body with the material that it is made of; ``kind`` is "bone" or "graft"."""

    name: str
    kind: Made
    body: Continuum
    piece: Piece

    @property
    def mesh(self) -> Mesh:
        """Its mesh, in mm."""
        return self.body.mesh

    @cached_property
    def layers(self) -> tuple[Layer, ...]:
        """Its tissues at the quadrature points, arrays ``(m, q)``."""
        return self.piece.layers(quadrature_points(self.mesh))
