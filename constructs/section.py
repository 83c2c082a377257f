"""The bone as a section: outline, depth and stiffness of the proximal tibia in the coronal plane.

Every horizontal cut is taken as an ellipse with half axes a (width) and b (depth), hollowed by an
inner ellipse a - c, b - c. A point (x, y) of the section therefore stands for a chord of length
t(x, y), part cortex and part core, whose sheets are summed as side plates. Below the flare the
core goes on as cancellous bone at the modulus of the shaft; a marrow canal is not modelled.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from constructs.schema import SectionInput
from constructs.tables import number

FloatArray = NDArray[np.float64]
Tissue = Literal["cortex", "core", "subchondral"]
INSIDE = 1e-9  # relative; a point on the inner ellipse belongs to the core


@cache
def _taper_curve() -> PchipInterpolator:
    """Share of the way from shaft to plateau over the depth below the joint line."""
    knots = ("plateau_end", "upper_depth", "lower_depth", "flare_end")
    depth = [number("anatomy", "outline", k) for k in knots]
    share = [1.0, number("anatomy", "outline", "upper_fraction"),
             number("anatomy", "outline", "lower_fraction"), 0.0]
    return PchipInterpolator([depth[0] - 10.0, *depth, depth[-1] + 10.0], [1.0, *share, 0.0])


@dataclass(frozen=True)
class LocalBone:
    """Material around points: arrays of one shape; moduli and strengths in MPa."""

    modulus: FloatArray
    poisson: FloatArray
    compressive_strength: FloatArray
    shear_strength: FloatArray


@dataclass(frozen=True)
class Section:
    """Geometry and material field of `[section]`. x lateral, y proximal, z front; mm."""

    given: SectionInput

    # --- shape ---------------------------------------------------------------------------------

    def _taper(self, y: ArrayLike) -> FloatArray:
        """1 at the plateau, 0 at the shaft, monotone between (shape chosen by eye, see data)."""
        curve = _taper_curve()
        first, last = curve.x[1], curve.x[-2]
        below = np.clip(-np.asarray(y, dtype=float), first, last)
        return np.asarray(curve(below), dtype=float)

    def half_width(self, y: ArrayLike) -> FloatArray:
        """Half axis a of the horizontal cut at height y, mm, with the rounded plateau edge."""
        g = self.given
        a = g.shaft_width_mm / 2 + (g.width_mm - g.shaft_width_mm) / 2 * self._taper(y)
        radius = number("anatomy", "outline", "corner")
        above = np.clip(np.asarray(y, dtype=float) + radius, 0.0, radius)
        return a - (radius - np.sqrt(radius**2 - above**2))

    def half_depth(self, y: ArrayLike) -> FloatArray:
        """Half axis b of the horizontal cut at height y, mm."""
        g = self.given
        return g.shaft_depth_mm / 2 + (g.depth_mm - g.shaft_depth_mm) / 2 * self._taper(y)

    def centre(self, y: ArrayLike) -> FloatArray:
        """x of the middle of the cut at height y, mm: 0, the outline is symmetric."""
        return np.zeros_like(np.asarray(y, dtype=float))

    def cortex(self, y: ArrayLike) -> FloatArray:
        """Thickness c of the cortex at height y, mm; it thickens along the flare."""
        g = self.given
        share = self._taper(y)
        c = g.metaphyseal_cortex_mm * share + g.shaft_cortex_mm * (1.0 - share)
        return g.cortex_scale * c

    def outline(self) -> tuple[FloatArray, tuple[str, ...]]:
        """Closed polygon (n, 2), counter-clockwise, and the label of the edge after each point.

        Labels: "joint" (flat top), "medial", "base" (the clamp), "lateral".
        """
        heights = self._heights()
        a, mid = self.half_width(heights), self.centre(heights)
        medial = np.column_stack([mid - a, heights])
        lateral = np.column_stack([mid + a, heights])[::-1]
        # Down the medial side, along the base, up the lateral side, back along the joint line.
        labels = (*["medial"] * (len(heights) - 1), "base",
                  *["lateral"] * (len(heights) - 1), "joint")
        return np.vstack([medial, lateral]), labels

    def _heights(self) -> FloatArray:
        """Heights of the outline's vertices, from 0 down: dense where the outline is curved."""
        spacing = number("anatomy", "outline", "spacing")
        radius = number("anatomy", "outline", "corner")
        start = number("anatomy", "outline", "plateau_end")
        end = number("anatomy", "outline", "flare_end")
        angle = np.linspace(0.0, np.pi / 2, 5)
        corner = -radius * (1.0 - np.cos(angle))
        flare = -np.linspace(start, end, round((end - start) / spacing) + 1)
        return np.concatenate([corner, flare, [-self.given.height_mm]])

    def surface(self, side: str) -> FloatArray:
        """The medial or lateral edge of the outline as points (n, 2) from joint to base, mm."""
        sign = {"medial": -1.0, "lateral": 1.0}[side]
        heights = self._heights()
        return np.column_stack([self.centre(heights) + sign * self.half_width(heights), heights])

    # --- depth ---------------------------------------------------------------------------------

    def chord(self, xy: ArrayLike) -> FloatArray:
        """Depth of bone t at points (..., 2), mm: the chord of the ellipse, at least one cortex.

        The floor keeps the stiffness from vanishing at the very edge, where the chord does: the
        mesh is straight-sided, so its points may lie on or a little outside the ellipse, and a
        real edge is a wall of cortex. With 5 mm on a 28 mm shaft it adds 0.5 % to the bending
        stiffness; twice as much would add 4 %.
        """
        x, y = _split(xy)
        chord = _chord(x - self.centre(y), self.half_width(y), self.half_depth(y))
        return np.maximum(chord, self.cortex(y))

    def core_thickness(self, xy: ArrayLike) -> FloatArray:
        """Depth of the core at points (..., 2), mm: the chord of the inner ellipse, 0 outside."""
        x, y = _split(xy)
        c = self.cortex(y)
        return _chord(x - self.centre(y), self.half_width(y) - c, self.half_depth(y) - c)

    def thickness(self, xy: ArrayLike) -> FloatArray:
        """Depth of bone at points (..., 2), mm; the same as `chord`."""
        return self.chord(xy)

    def sheets(self, xy: ArrayLike) -> FloatArray:
        """Thickness-weighted stiffness at points (..., 2): (D11, D12, D33) in N/mm, (..., 3).

        The plane-stress matrices of core and cortex are summed over the depth. In the layer under
        the joint line the core is subchondral bone.
        """
        from fe.assembly import sheet

        _, y = _split(xy)
        core = self.core_thickness(xy)
        cortex = self.chord(xy) - core
        total = (sheet(self.core_modulus(y), self.poisson("core"), core)
                 + sheet(self.cortical_modulus, self.poisson("cortex"), cortex))
        return np.asarray(total, dtype=float)

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
        """Modulus of the cortex (of the shell, for foam), MPa. `modulus_scale` leaves it alone."""
        return number("materials", self._row("cortex"), "modulus")

    def cancellous_modulus(self, y: ArrayLike) -> FloatArray:
        """Modulus of cancellous bone or foam at height y, MPa: falls evenly along the flare."""
        y = np.asarray(y, dtype=float)
        if self._foam:
            modulus = np.full_like(y, number("materials", self._foam, "modulus"))
        else:
            share = np.clip(1.0 + y / number("anatomy", "outline", "flare_end"), 0.0, 1.0)
            top = number("materials", self.given.bone, "modulus_joint")
            bottom = number("materials", self.given.bone, "modulus_shaft")
            modulus = bottom + (top - bottom) * share
        return self.given.modulus_scale * modulus

    def core_modulus(self, y: ArrayLike) -> FloatArray:
        """Modulus of the core at height y, MPa: subchondral bone in the layer under the joint.

        Foam has no such layer. `modulus_scale` acts on both.
        """
        y = np.asarray(y, dtype=float)
        spongy = self.cancellous_modulus(y)
        if self._foam:
            return spongy
        subchondral = self.given.modulus_scale * number("materials", "subchondral", "modulus")
        return np.where(y > -self.given.subchondral_mm, subchondral, spongy)

    def is_cortex(self, xy: ArrayLike, z: ArrayLike) -> NDArray[np.bool_]:
        """Whether points (..., 2) at depth z off the mid-plane lie in the cortex (or outside)."""
        x, y = _split(xy)
        c = self.cortex(y)
        inside = ((x - self.centre(y)) / (self.half_width(y) - c)) ** 2 + (
            np.asarray(z, dtype=float) / (self.half_depth(y) - c)) ** 2
        return np.asarray(inside > 1.0 + INSIDE)

    def local_bone(self, xy: ArrayLike, z: ArrayLike = 0.0) -> LocalBone:
        """Bone at points (..., 2), at depth z off the mid-plane (front positive, mm).

        Two sources are mixed for cancellous and subchondral bone: the density is the one that
        Morgan's law gives for the modulus, the strength is Linde's at that density; shear
        strength is 0.44 of it. Cortex: Reilly & Burstein, and Turner for shear.
        """
        _, y = _split(xy)
        cortex = self.is_cortex(xy, z)
        y = np.broadcast_to(y, cortex.shape)
        modulus = self.core_modulus(y)
        if self._foam:
            crush = np.full(cortex.shape, number("materials", self._foam, "compressive_strength"))
            shear = np.full(cortex.shape, number("materials", self._foam, "shear_strength"))
        else:
            crush = trabecular_strength(modulus)
            shear = number("materials", "trabecular law", "shear_to_compression") * crush
        wall = self._row("cortex")
        return LocalBone(
            np.where(cortex, self.cortical_modulus, modulus),
            np.where(cortex, self.poisson("cortex"), self.poisson("core")),
            np.where(cortex, number("materials", wall, "compressive_strength"), crush),
            np.where(cortex, number("materials", wall, "shear_strength"), shear),
        )

    def yield_strain(self, tissue: Tissue) -> tuple[float, float]:
        """Yield strain of a tissue in compression and in tension, both positive."""
        row = self._row(tissue)
        if tissue != "cortex" and self._foam:
            # No yield strain of foam at hand: strength over modulus, alike in both directions.
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
    factor = number("materials", "trabecular law", "strength_factor")
    power = number("materials", "trabecular law", "strength_exponent")
    return np.asarray(factor * trabecular_density(modulus) ** power)


def _split(xy: ArrayLike) -> tuple[FloatArray, FloatArray]:
    xy = np.asarray(xy, dtype=float)
    return xy[..., 0], xy[..., 1]


def _chord(x: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Chord of an ellipse with half axes a, b at distance x from its middle; 0 outside."""
    return 2.0 * b * np.sqrt(np.clip(1.0 - (x / a) ** 2, 0.0, None))
