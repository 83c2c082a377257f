"""Properties of implants: sections of screws and plates, pull-out force, metals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from buttress.fe.bodies.plane import Plane, in_plane
from buttress.study.study import Pin, Plate, Screw, Wire
from buttress.study.tables import fields, kind, number


@dataclass(frozen=True)
class Material:
    """A metal; modulus, strengths and slope of hardening in MPa."""

    name: str
    modulus: float
    poisson: float
    yield_strength: float
    hardening: float = 0.0

    @property
    def shear_modulus(self) -> float:
        """E / 2(1 + nu), MPa."""
        return self.modulus / (2.0 * (1.0 + self.poisson))

    def in_plane(self, plane: Plane) -> float:
        """Modulus of a bar in the plane, MPa."""
        return float(in_plane(self.modulus, self.poisson, plane)[0])


def metal(name: str) -> Material:
    """A metal of materials.toml. Raises InputError for an unknown one.

    It hardens from yield to ultimate strength over its elongation at break: a straight line between
    two points of its standard (derived).
    """
    modulus, poisson, yields, most, stretch = (number("materials", name, f) for f in (
        "modulus", "poisson", "yield_strength", "ultimate_strength", "elongation"))
    return Material(name, modulus, poisson, yields, (most - yields) / stretch)


@dataclass(frozen=True)
class Bending:
    """A section in bending about the axis that lies in the bone's surface; mm.

    `outer` and `inner` are the distances from the centroid to the extreme fibres away from the
    bone and towards it, `plastic` the plastic section modulus (times yield: the plastic moment).
    """

    area: float
    inertia: float
    outer: float
    inner: float
    plastic: float

    def plastic_moment(self, yield_strength: float) -> float:
        """Moment at which the whole section yields, N mm."""
        return self.plastic * yield_strength


def round_section(diameter: float) -> Bending:
    """Solid round: I = pi d^4 / 64, plastic modulus d^3 / 6."""
    return Bending(
        area=math.pi * diameter**2 / 4, inertia=math.pi * diameter**4 / 64, outer=diameter / 2,
        inner=diameter / 2, plastic=diameter**3 / 6)


def flat_section(width: float, thickness: float, hole: float = 0.0) -> Bending:
    """Rectangle, less a hole through its thickness: I = b h^3 / 12, plastic modulus b h^2 / 4."""
    net = width - hole
    return Bending(
        area=net * thickness, inertia=net * thickness**3 / 12, outer=thickness / 2,
        inner=thickness / 2, plastic=net * thickness**2 / 4)


@cache
def arc_section(width: float, thickness: float, arc_deg: float, hole: float = 0.0) -> Bending:
    """Sector of a tube, hollow side on the bone, by numerical integration.

    `width` is the chord over the outer edges, `hole` the width lost at the crown. The walls on
    both sides of the hole are equal, so one is integrated and doubled.
    """
    half = math.radians(arc_deg) / 2
    outer = width / 2 / math.sin(half)
    inner = outer - thickness
    # Strips of equal angle at each radius; midpoint rule, error below 1e-5 of each figure.
    radius = inner + (np.arange(60) + 0.5) * thickness / 60
    start = np.arcsin(np.clip(hole / 2 / radius, 0.0, 1.0))
    step = (half - start) / 2000
    angle = start[:, None] + (np.arange(2000) + 0.5) * step[:, None]
    height = (radius[:, None] * np.cos(angle)).ravel()
    area = np.broadcast_to((2.0 * radius * step * thickness / 60)[:, None], angle.shape).ravel()
    total = float(area.sum())
    centroid = float((height * area).sum() / total)
    order = np.argsort(height)
    rising = np.cumsum(area[order])
    neutral = float(np.interp(total / 2, rising, height[order]))
    top = math.sqrt(outer**2 - (hole / 2) ** 2)
    return Bending(
        area=total, inertia=float(((height - centroid) ** 2 * area).sum()), outer=top - centroid,
        inner=centroid - inner * math.cos(half),
        plastic=float((np.abs(height - neutral) * area).sum()))


@dataclass(frozen=True)
class ScrewForm:
    """A thread form; diameters and pitch in mm. HA is threaded throughout, HB has a shaft."""

    name: str
    thread: float
    core: float
    pitch: float
    head: float
    pilot: float
    lag_tension: float
    shaft: float | None = None
    gliding: float | None = None
    short_thread: float | None = None
    long_thread: float | None = None

    @property
    def fully_threaded(self) -> bool:
        """Whether the form has thread from head to tip."""
        return self.shaft is None

    def default_thread(self, length: float) -> float:
        """Threaded length of a screw of this form, mm: all of it, or the long thread where it fits.

        A cancellous screw gets the long thread when that leaves at least as much shaft as the
        short thread is long (common practice, no source).
        """
        if self.short_thread is None or self.long_thread is None:
            return length
        fits = length >= self.long_thread + self.short_thread
        return min(self.long_thread if fits else self.short_thread, length)

    def section(self, threaded: bool) -> Bending:
        """Load-bearing section: the core in the thread, the shaft diameter in the shaft."""
        return round_section(self.core if threaded or self.shaft is None else self.shaft)


@cache
def screw_form(name: str) -> ScrewForm:
    """A form of screws.toml. Raises InputError for an unknown one."""
    return ScrewForm(name, **{f: number("screws", name, f) for f in fields("screws", name)})


def thread_shape_factor(form: ScrewForm) -> float:
    """TSF = 0.5 + 0.57735 d/p with thread depth d = (D - core)/2 (Chapman et al. 1996)."""
    depth = (form.thread - form.core) / 2
    return (number("screws", "in use", "pullout_constant")
            + number("screws", "in use", "pullout_slope") * depth / form.pitch)


def pull_out(form: ScrewForm, length: float, shear_strength: float) -> float:
    """Pull-out force in N of a length (mm) of engaged thread in bone of a shear strength (MPa).

    F = S pi D L TSF (Chapman et al. 1996).
    """
    return shear_strength * math.pi * form.thread * length * thread_shape_factor(form)


def pilot(screw: Screw) -> float:
    """Diameter of the pilot drill, mm: as given, else the form's."""
    return screw.pilot_mm if screw.pilot_mm is not None else screw_form(screw.form).pilot


def gliding(screw: Screw) -> float | None:
    """Diameter of the gliding hole, mm; None where none is drilled.

    As given; by default a fully threaded lag screw gets the form's.
    """
    form = screw_form(screw.form)
    if screw.gliding_mm is not None:
        return screw.gliding_mm
    return form.gliding if screw.use == "lag" and form.fully_threaded else None


def glides(screw: Screw) -> bool:
    """Whether the thread is free in the near fragment: a gliding hole as wide as the thread."""
    hole = gliding(screw)
    return hole is not None and hole >= screw_form(screw.form).thread


def outer(pin: Pin) -> float:
    """Greatest diameter of a screw or wire in bone, mm: over the thread, or of the wire."""
    if isinstance(pin, Wire):
        return pin.diameter_mm
    assert isinstance(pin, Screw)
    return screw_form(pin.form).thread


def head_diameter(pin: Pin) -> float:
    """Diameter of a screw's head, mm; a wire has none: its own diameter."""
    return screw_form(pin.form).head if isinstance(pin, Screw) else outer(pin)


def rim(screw: Screw, plate: Plate, hole: float) -> float:
    """Distance [mm] from a screw's axis at which its head presses on a plate, on either side.

    ``hole``: position of the hole along the plate [mm]. The head touches an annulus between the
    hole's diameter d and its own D; the mean radius of it, (D + d) / 4, is half of its bearing
    width (derived; D and d as in screws.toml and plates.toml).
    """
    return (head_diameter(screw) + section_at(plate, hole).hole) / 4


def pin_section(pin: Pin, threaded: bool) -> Bending:
    """Section of a screw in its thread or shaft, or of a wire."""
    if isinstance(pin, Screw):
        return screw_form(pin.form).section(threaded)
    return round_section(outer(pin))


def press_fit() -> float:
    """Shear stress in MPa at which a smooth wire slides along its hole in bone."""
    return number("wires", "in use", "press_fit")


def depth_positions(pin: Pin) -> tuple[float, ...]:
    """z of each of `count` pieces side by side, mm; their middle as given."""
    if isinstance(pin, Screw):
        pitch = head_diameter(pin) + number("screws", "in use", "side_by_side_gap")
    else:
        pitch = number("wires", "in use", "side_by_side")
    first = pin.position_in_depth_mm - pitch * (pin.count - 1) / 2
    return tuple(first + i * pitch for i in range(pin.count))


@dataclass(frozen=True)
class PlateSection:
    """One segment of a plate: `solid` between holes, `net` at a hole; sizes in mm."""

    width: float
    thickness: float
    hole: float
    solid: Bending
    net: Bending


@cache
def plate_section(name: str, thickness: float | None = None) -> PlateSection:
    """A section of plates.toml, of its own thickness [mm] or another.

    Raises InputError for an unknown one.
    """
    if thickness is None:
        thickness = number("plates", name, "thickness")
    width, hole = number("plates", name, "width"), number("plates", name, "hole")
    if kind("plates", name) == "arc":
        arc = number("plates", name, "arc")
        return PlateSection(
            width=width, thickness=thickness, hole=hole, solid=arc_section(width, thickness, arc),
            net=arc_section(width, thickness, arc, hole))
    return _flat(width, thickness, hole)


def plate_stretches(plate: Plate) -> tuple[tuple[float, PlateSection], ...]:
    """(end of the segment along the plate in mm, section), from proximal to distal."""
    if plate.segments is None:
        name = plate.section
        assert name is not None
        shaft = (plate.length, plate_section(name, plate.thickness_mm))
        if kind("plates", name) != "head and shaft":
            return (shaft,)
        long, width, thick, hole = (number("plates", name, f) for f in (
            "head_length", "head_width", "head_thickness", "hole"))
        thick *= shaft[1].thickness / number("plates", name, "thickness")
        head = (min(long, plate.length), _flat(width, thick, hole))
        return (head, shaft) if plate.length > long else (head,)
    hole, end, found = number("plates", "segments", "hole"), 0.0, []
    for segment in plate.segments:
        end += segment.length_mm
        # A segment narrower than two holes keeps half of its width at a hole.
        found.append((end, _flat(segment.width_mm, segment.thickness_mm,
                                 min(hole, segment.width_mm / 2))))
    return tuple(found)


def section_at(plate: Plate, s: float) -> PlateSection:
    """Section of a plate at distance s from its proximal end, mm."""
    stretches = plate_stretches(plate)
    return next((section for end, section in stretches if s <= end), stretches[-1][1])


def _flat(width: float, thickness: float, hole: float) -> PlateSection:
    return PlateSection(
        width=width, thickness=thickness, hole=hole, solid=flat_section(width, thickness),
        net=flat_section(width, thickness, hole))
