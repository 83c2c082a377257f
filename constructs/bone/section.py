"""The bone as a section: outline, depth and stiffness of the proximal tibia in a plane.

Every cut across the bone is taken as an ellipse with half axes a (in the plane) and b (out of it),
hollowed by an inner ellipse a - c, b - c. A point (x, y) of the section therefore represents a
chord of length t(x, y), part cortex and part core, whose sheets are summed as side plates. A
sagittal section is a slice of one condyle: half of such an ellipse, from the middle of the bone to
its outer wall, with one side plate; the rest of the bone is ignored. Below the flare the core
continues as cancellous bone at the modulus of the shaft; a marrow canal is not modelled.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from buttress.bone.field import ModulusField, fitted
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.plane import Plane
from buttress.study.bone import SectionInput
from buttress.study.outline import Drawn
from buttress.study.shapes import Flared, taper
from buttress.study.tables import number

Tissue = Literal["cortex", "core", "subchondral"]
INSIDE = 1e-9  # relative; a point on the inner ellipse belongs to the core


@dataclass(frozen=True)
class LocalBone:
    """Material around points: arrays of one shape; moduli and strengths in MPa."""

    modulus: FloatArray
    poisson: FloatArray
    compressive_strength: FloatArray
    shear_strength: FloatArray
    crushable: FloatArray
    """Modulus of what carries more as it is crushed [MPa]; 0 in cortex and cement."""


@dataclass(frozen=True)
class Layer:
    """One tissue of the depth at points, all of one shape: modulus [MPa], thickness [mm].

    ``tissue``: "core" (cancellous bone, or foam), "cortex" or "fill".
    """

    tissue: str
    modulus: FloatArray
    poisson: FloatArray
    thickness: FloatArray
    plane: Plane = Plane.STRESS

    def matrix(self, thickness: FloatArray | float = 1.0) -> FloatArray:
        """Matrix (D11, D12, D33) in the plane times a thickness, ``(..., 3)``; of 1 mm in MPa."""
        from buttress.fe.bodies.assembly import sheet

        return sheet(self.modulus, self.poisson, thickness, self.plane)


@dataclass(frozen=True)
class Section:
    """Geometry and material field of `[section]`; mm.

    Coronal: x lateral, y proximal, z front. Sagittal: x posterior, y proximal, z towards the outer
    wall. z is 0 in the middle of the depth.
    """

    given: SectionInput

    def __post_init__(self) -> None:
        if self.given.map is not None:
            _ = self.field     # a map that does not match is refused before anything else

    # --- shape ---------------------------------------------------------------------------------

    @cached_property
    def shape(self) -> Flared | Drawn:
        """The outline: of the sizes of the section, simple or anatomical, or read from a file."""
        return self.given.drawn or Flared(self.given)

    def sign(self, side: str) -> float:
        """-1 for the surface at -x, 1 for the one at +x."""
        return (-1.0, 1.0)[self.given.sides.index(side)]

    def level(self, xy: ArrayLike) -> FloatArray:
        """Level h of the cut through points (..., 2), mm; in the coronal plane the height y."""
        return self.shape.level(*_split(xy))

    def joint(self, x: ArrayLike) -> FloatArray:
        """Height y of the joint line at x, mm."""
        return self.shape.joint(x)

    def below(self, xy: ArrayLike) -> FloatArray:
        """Depth of points (..., 2) below the joint line, mm."""
        x, y = _split(xy)
        return self.shape.joint(x) - y

    @property
    def joint_direction(self) -> FloatArray:
        """Unit vector (2,) along the joint line, towards +x."""
        line = self.shape.joint_line()
        along = line[-1] - line[0]
        return np.asarray(along / np.hypot(*along))

    @property
    def extent(self) -> float:
        """Drawn width of the plateau, mm."""
        if self.given.outline_file is not None and self.given.drawn is not None:
            return float(2.0 * self.given.drawn.half_width(self.given.drawn.left[:, 1]).max())
        return self.given.depth_mm if self.given.sagittal else self.given.width_mm

    def half_width(self, h: ArrayLike) -> FloatArray:
        """Half axis a of the cut at level h in the plane, mm, with the rounded plateau edge."""
        return self.shape.half_width(h)

    def half_depth(self, h: ArrayLike) -> FloatArray:
        """Half axis b of the cut at level h out of the plane, mm; of a slice its whole depth."""
        g = self.given
        wide, narrow = ((g.width_mm, g.shaft_width_mm) if g.sagittal
                        else (g.depth_mm, g.shaft_depth_mm))
        b = narrow / 2 + (wide - narrow) / 2 * taper(h)
        return b * (g.slice_depth / (g.width_mm / 2)) if g.sagittal else b

    def centre(self, h: ArrayLike) -> FloatArray:
        """x of the middle of the cut at level h, mm; 0 in the coronal plane."""
        return self.shape.centre(h)

    def cortex(self, h: ArrayLike) -> FloatArray:
        """Thickness c of the cortex at level h, mm; it thickens along the flare."""
        g = self.given
        share = taper(h)
        c = g.metaphyseal_cortex_mm * share + g.shaft_cortex_mm * (1.0 - share)
        return g.cortex_scale * c

    def outline(self) -> tuple[FloatArray, tuple[str, ...]]:
        """Closed polygon (n, 2), counter-clockwise, and the label of the edge after each point.

        Labels: "joint" (the top), "base" (the clamp) and the names of the two sides.
        """
        return self._outline

    @cached_property
    def field(self) -> ModulusField | None:
        """The modulus field of a map over the outline; None for a preset.

        Raises InputError where map and outline do not match.
        """
        return None if self.given.map is None else fitted(self.given.map, self.outline()[0])

    @cached_property
    def _outline(self) -> tuple[FloatArray, tuple[str, ...]]:
        left, right = self._walls
        top = self.shape.joint_line()[-2:0:-1]
        low, high = self.given.sides
        # Down the wall at -x, along the base, up the other wall, back along the joint line.
        labels = (*[low] * (len(left) - 1), "base", *[high] * (len(right) - 1),
                  *["joint"] * (len(top) + 1))
        return np.vstack([left, right[::-1], top]), labels

    def surface(self, side: str) -> FloatArray:
        """One side of the outline as points (n, 2) from joint to base, mm."""
        return self._walls[0 if self.sign(side) < 0 else 1]

    @cached_property
    def _walls(self) -> tuple[FloatArray, FloatArray]:
        return self.shape.walls()

    # --- depth ---------------------------------------------------------------------------------

    def chord(self, xy: ArrayLike) -> FloatArray:
        """Depth of bone t at points (..., 2), mm: the chord of the ellipse, at least one cortex
        (in a slice, which is half of it, half of one).

        The lower bound keeps the stiffness from vanishing at the edge, as the chord does: the mesh
        is straight-sided, so its points may lie on or slightly outside the ellipse, and a real edge
        is a wall of cortex. With 5 mm on a 28 mm shaft it adds 0.5 % to the bending stiffness;
        twice as much would add 4 %.
        """
        x, h = self._cut(xy)
        chord = self._through(x, self.half_width(h), self.half_depth(h))
        return np.maximum(chord, self.cortex(h) / 2 if self.given.sagittal else self.cortex(h))

    def core_thickness(self, xy: ArrayLike) -> FloatArray:
        """Depth of the core at points (..., 2), mm: the chord of the inner ellipse, 0 outside.

        With a map of the whole depth there is no separate cortex. Without side plates the core is
        as deep as the bone wherever there is any, and the cortex a rim in the plane.
        """
        if self.map_of_all:
            return self.chord(xy)
        x, h = self._cut(xy)
        c = self.cortex(h)
        core = self._through(x, self.half_width(h) - c, self.half_depth(h) - c)
        return core if self.given.side_plates else np.where(core > 0.0, self.chord(xy), 0.0)

    def _cut(self, xy: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Distance from the middle of the cut through points (..., 2), and the cut's level, mm."""
        x, y = _split(xy)
        h = self.shape.level(x, y)
        return x - self.centre(h), h

    def _through(self, x: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        """Chord of an ellipse with half axes a, b at distance x from its middle; 0 outside.

        For a slice, which ends in the middle of the bone, half of it.
        """
        half = b * np.sqrt(np.clip(1.0 - (x / a) ** 2, 0.0, None))
        return half if self.given.sagittal else 2.0 * half

    def thickness(self, xy: ArrayLike) -> FloatArray:
        """Depth of bone at points (..., 2), mm; the same as `chord`."""
        return self.chord(xy)

    def sheets(self, xy: ArrayLike) -> FloatArray:
        """Thickness-weighted stiffness at points (..., 2): (D11, D12, D33) in N/mm, (..., 3).

        The matrices of core and cortex are summed over the depth.
        """
        core, cortex = self.layers(xy)
        total = core.matrix(core.thickness) + cortex.matrix(cortex.thickness)
        return np.asarray(total, dtype=float)

    def layers(self, xy: ArrayLike) -> tuple[Layer, Layer]:
        """Core and cortex at points (..., 2); both share the strain in the plane."""
        core = self.core_thickness(xy)
        inner, like = np.asarray(self.core_at(xy), dtype=float), np.ones_like(core)
        return (Layer("core", inner, self.poisson("core") * like, core, self.plane),
                Layer("cortex", self.cortical_modulus * like, self.poisson("cortex") * like,
                      self.chord(xy) - core, self.plane))

    @property
    def plane(self) -> Plane:
        """Plane stress or plane strain, of bone, fills, metal and threads alike."""
        return Plane(self.given.plane_state)

    # --- material ------------------------------------------------------------------------------

    @property
    def _foam(self) -> str | None:
        return f"foam {self.given.foam_grade}" if self.given.bone == "foam" else None

    def _row(self, tissue: Tissue) -> str:
        """Row of materials.toml that a tissue of this section is made of."""
        if tissue == "cortex":
            return "foam shell" if self._foam else "cortical"
        return self._foam or ("subchondral" if tissue == "subchondral" else "trabecular law")

    def poisson(self, tissue: Tissue) -> float:
        """Poisson's ratio of a tissue."""
        return number("materials", self._row(tissue), "poisson")

    @property
    def cortical_modulus(self) -> float:
        """Modulus of the cortex (of the shell, for foam), MPa; not affected by `modulus_scale`."""
        return number("materials", self._row("cortex"), "modulus")

    def cancellous_modulus(self, h: ArrayLike) -> FloatArray:
        """Modulus of cancellous bone or foam at level h, MPa: falls linearly along the flare."""
        h = np.asarray(h, dtype=float)
        if self._foam:
            modulus = np.full_like(h, number("materials", self._foam, "modulus"))
        else:
            share = np.clip(1.0 + h / number("anatomy", "outline", "flare_end"), 0.0, 1.0)
            top = number("materials", self.given.bone, "modulus_joint")
            bottom = number("materials", self.given.bone, "modulus_shaft")
            modulus = bottom + (top - bottom) * share
        return self.given.modulus_scale * modulus

    def core_modulus(self, h: ArrayLike) -> FloatArray:
        """Modulus of the core at level h, MPa: subchondral bone in the layer under the joint.

        Foam has no such layer. `modulus_scale` applies to both.
        """
        h = np.asarray(h, dtype=float)
        spongy = self.cancellous_modulus(h)
        if self._foam:
            return spongy
        subchondral = self.given.modulus_scale * number("materials", "subchondral", "modulus")
        return np.where(h > -self.given.subchondral_mm, subchondral, spongy)

    @property
    def map_of_all(self) -> bool:
        """Whether a map describes the bone through its whole depth."""
        return self.given.map is not None and self.given.map.covers == "all"

    def core_at(self, xy: ArrayLike) -> FloatArray:
        """Modulus of the core at points (..., 2), MPa: from a map, else from the preset.

        In the layer under the joint line the core of a preset is subchondral bone; a map contains
        its own values there. `modulus_scale` applies in all cases.
        """
        if self.field is not None:
            return self.given.modulus_scale * self.field.modulus(xy)
        return self.core_modulus(-self.below(xy))

    def is_cortex(self, xy: ArrayLike, z: ArrayLike) -> NDArray[np.bool_]:
        """Whether points (..., 2) at depth z off the mid-plane lie in the cortex (or outside)."""
        x, h = self._cut(xy)
        c, b = self.cortex(h), self.half_depth(h)
        z = np.asarray(z, dtype=float)
        if self.map_of_all:
            return np.zeros(np.broadcast_shapes(x.shape, z.shape), dtype=bool)
        if self.given.sagittal:
            # z counts from the middle of the slice, the ellipse from where the slice is cut off.
            z = np.maximum(z + b / 2, 0.0)
        if not self.given.side_plates:
            z = np.zeros_like(z)
        inside = (x / (self.half_width(h) - c)) ** 2 + (z / (b - c)) ** 2
        return np.asarray(inside > 1.0 + INSIDE)

    def local_bone(self, xy: ArrayLike, z: ArrayLike = 0.0) -> LocalBone:
        """Bone at points (..., 2), at depth z off the mid-plane (mm, see `Section`).

        Two sources are combined for cancellous and subchondral bone: the density follows from the
        modulus by Morgan's law, the strength from that density by Linde's law; shear strength is
        0.44 of it. Cortex: Reilly & Burstein, and Turner for shear.
        """
        cortex = self.is_cortex(xy, z)
        modulus = np.broadcast_to(self.core_at(xy), cortex.shape)
        if self._foam:
            crush = np.full(cortex.shape, number("materials", self._foam, "compressive_strength"))
            shear = np.full(cortex.shape, number("materials", self._foam, "shear_strength"))
        else:
            crush = self._strength(modulus)
            shear = number("materials", "trabecular law", "shear_to_compression") * crush
        wall = self._row("cortex")
        return LocalBone(
            np.where(cortex, self.cortical_modulus, modulus),
            np.where(cortex, self.poisson("cortex"), self.poisson("core")),
            np.where(cortex, number("materials", wall, "compressive_strength"), crush),
            np.where(cortex, number("materials", wall, "shear_strength"), shear),
            np.where(cortex, 0.0, modulus),
        )

    def crushing(self, xy: ArrayLike, core_scale: float = 1.0) -> FloatArray:
        """Compressive strength through the depth at points (..., 2), MPa.

        The mean of core and cortex, each in proportion to its share of the depth. Strengths as in
        `local_bone`, that of the core times ``core_scale``.
        """
        wall = number("materials", self._row("cortex"), "compressive_strength")
        core = (np.asarray(number("materials", self._foam, "compressive_strength")) if self._foam
                else self._strength(self.core_at(xy)))
        share = self.core_thickness(xy) / self.chord(xy)
        return np.asarray(share * core_scale * core + (1.0 - share) * wall)

    def crushable(self, xy: ArrayLike) -> FloatArray:
        """Modulus of the core, in proportion to its share of the depth, at points (..., 2), MPa."""
        return np.asarray(self.core_at(xy) * self.core_thickness(xy) / self.chord(xy))

    def _strength(self, modulus: FloatArray) -> FloatArray:
        """Compressive strength [MPa] of core of a modulus, by the law of the map if it has one."""
        field = self.field
        if field is None or field.law is None:
            return trabecular_strength(modulus)
        return linde_strength(field.law.apparent * field.law.density(modulus))

    def yield_strain(self, tissue: Tissue) -> tuple[float, float]:
        """Yield strain of a tissue in compression and in tension, both positive."""
        row = self._row(tissue)
        if tissue != "cortex" and self._foam:
            # No yield strain of foam is available: strength over modulus, equal in both directions.
            strain = (number("materials", row, "compressive_strength")
                      / number("materials", row, "modulus"))
            return strain, strain
        if tissue == "subchondral":
            row = "trabecular law"
        return (number("materials", row, "yield_strain_compression"),
                number("materials", row, "yield_strain_tension"))


def trabecular_density(modulus: ArrayLike) -> FloatArray:
    """Apparent density in g/cm3 of trabecular bone of a modulus in MPa (Morgan et al. 2003)."""
    factor = number("materials", "trabecular law", "modulus_factor")
    power = number("materials", "trabecular law", "modulus_exponent")
    return np.asarray((np.asarray(modulus, dtype=float) / factor) ** (1.0 / power))


def trabecular_strength(modulus: ArrayLike) -> FloatArray:
    """Compressive strength in MPa: Linde's law at the density of Morgan's law (mixed sources)."""
    return linde_strength(trabecular_density(modulus))


def linde_strength(density: ArrayLike) -> FloatArray:
    """Compressive strength in MPa of an apparent density in g/cm3 (Linde 1989)."""
    factor = number("materials", "trabecular law", "strength_factor")
    power = number("materials", "trabecular law", "strength_exponent")
    return np.asarray(factor * np.asarray(density, dtype=float) ** power)


def _split(xy: ArrayLike) -> tuple[FloatArray, FloatArray]:
    xy = np.asarray(xy, dtype=float)
    return xy[..., 0], xy[..., 1]

