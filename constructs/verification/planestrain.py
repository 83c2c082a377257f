"""Plane strain, which a study can choose: bone, fills, metal and threads against closed forms.

The numbers pass through the pieces, beams and links of the tool and through the reader of stress
that every comparison uses. References are written for a solid in three dimensions that does not
strain along its third axis, not with the substitution E / (1 - nu²), nu / (1 - nu) of the code.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial

import numpy as np

from buttress.bone.pieces import BonePiece, FillPiece
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, stiffness
from buttress.fe.bodies.embed import lateral_compliance, medium_lateral
from buttress.fe.bodies.member import Member
from buttress.fe.bodies.plane import Plane, in_plane
from buttress.fe.verification import Case, register, sideplates
from buttress.fe.verification.meshes import Grid, quarter_ring, rectangle
from buttress.fe.verification.parts import ACROSS, line
from buttress.fe.verification.problem import node_at, solve, symmetry, unknowns
from buttress.implants.hardware import beam
from buttress.implants.sections import Bending, metal
from buttress.results.stress import TissueField, tissue_fields
from buttress.study.bone import SectionInput
from buttress.verification.stresses import Plates, at_bore, filled, solid

SECTION = Plates(SectionInput(plane_state="plane strain"))


def fill(depth: float, modulus: float, poisson: float) -> FillPiece:
    """One material of a depth [mm] that does not strain out of the plane."""
    return replace(filled(depth, 0.0, 1.0, (1.0, modulus, poisson)), section=SECTION)


def out_of_plane(found: TissueField) -> FloatArray:
    """Stress out of the plane at the points of a tissue ``(m, q)``, MPa."""
    return np.asarray(found.out_of_plane * (found.stress[..., 0] + found.stress[..., 1]))


def furthest(values: FloatArray, expected: float) -> float:
    """The value furthest from what is expected."""
    return float(values.ravel()[np.argmax(np.abs(values.ravel() - expected))])


# ---------------------------------------------------------------------------- Lamé's cylinder

INNER, OUTER, PRESSURE = 100.0, 200.0, 60.0  # mm, mm, MPa
CYLINDER = 200e3, 0.3  # MPa, -


@cache
def cylinder(across: int = 8) -> dict[str, float]:
    """A thick cylinder between fixed ends: displacements [mm] and stresses [MPa] by name."""
    grid = quarter_ring(2 * across, across, INNER, OUTER)
    body = solid(grid, fill(1.0, *CYLINDER),
                 symmetry(grid.edges["top"], grid.edges["bottom"]))
    load = edge_load(grid, grid.edges["left"], lambda xy, normal: -PRESSURE * normal)
    u = body.body.solve(load)
    [found] = tissue_fields([body], [u])
    return {"inner displacement": float(u[2 * node_at(grid, INNER, 0.0)]),
            "outer displacement": float(u[2 * node_at(grid, OUTER, 0.0)]),
            "inner hoop stress": at_bore(found, INNER, (OUTER - INNER) / across),
            "axial stress": float((out_of_plane(found) * found.volume).sum()
                                  / found.volume.sum())}


# ------------------------------------------------------------------------- confined compression

BLOCK = 800.0, 0.2, 5.0  # MPa, -, mm
PRESSED = 0.01  # strain


@cache
def confined() -> TissueField:
    """A block between smooth walls, pressed by a given strain along y."""
    modulus, poisson, depth = BLOCK
    grid = rectangle(3, 2, 30.0, 20.0)
    walls = unknowns(np.concatenate([grid.edges["left"], grid.edges["right"]]), [0])
    level = [unknowns(grid.edges[side], [1]) for side in ("bottom", "top")]
    held = np.concatenate([walls, *level])
    values = np.concatenate([np.zeros(len(walls) + len(level[0])),
                             np.full(len(level[1]), -PRESSED * 20.0)])
    order = np.argsort(held)
    body = solid(grid, fill(depth, modulus, poisson), held)
    u = solve(stiffness(body.mesh, body.body.sheets), np.zeros(2 * len(grid.points)),
              held[order], values[order])
    return tissue_fields([body], [u])[0]


CONFINED = BLOCK[0] * (1 - BLOCK[1]) / ((1 + BLOCK[1]) * (1 - 2 * BLOCK[1]))


def confined_modulus() -> float:
    """Axial stress over axial strain, MPa."""
    return furthest(-confined().stress[..., 1] / PRESSED, CONFINED)


def at_rest() -> float:
    """Stress out of the plane over axial stress."""
    found = confined()
    return furthest(out_of_plane(found) / found.stress[..., 1], BLOCK[1] / (1 - BLOCK[1]))


# ----------------------------------------------------------------------- bending of wide plates

PLATE = 40.0, 20.0, 3.0  # length, depth, thickness, mm
MOMENT, FORCE = 1000.0, 50.0  # N mm, N
STEEL = metal("steel")
RIGIDITY = STEEL.modulus * PLATE[2]**3 / (12 * (1 - STEEL.poisson**2))  # N mm, for each mm of depth


def bent_strip() -> float:
    """Curvature of a plate as a meshed body under end moments, 1/mm."""
    length, depth, thick = PLATE
    grid = rectangle(8, 2, length, thick, bottom=-thick / 2)
    origin, along = node_at(grid, 0.0, 0.0), node_at(grid, length, 0.0)
    body = solid(grid, fill(depth, STEEL.modulus, STEEL.poisson),
                 np.array([2 * origin, 2 * origin + 1, 2 * along + 1]))

    def traction(xy: FloatArray, normal: FloatArray) -> FloatArray:
        return (12.0 * MOMENT * xy[..., 1] / thick**3)[..., None] * normal

    u = solve(stiffness(body.mesh, body.body.sheets),
              edge_load(grid, grid.edges["left"], traction)
              + edge_load(grid, grid.edges["right"], traction), body.body.fixed)
    middle = node_at(grid, length / 2, 0.0)
    return float(8.0 * u[2 * middle + 1] / length**2)


def bent_beam() -> float:
    """Deflection of the plate as a member of a construct, clamped at one end, mm."""
    length, depth, thick = PLATE
    section = Bending(depth * thick, depth * thick**3 / 12, thick / 2, thick / 2,
                      depth * thick**2 / 4)
    element = beam(section, STEEL, 5 / 6, plane=Plane.STRAIN)
    rod = Member("plate", line(length, 10.0), [element] * 4, fixed=(0, 1, 2))
    push = rod.register([rod.translation(4, ACROSS)])
    return float(FORCE * rod.flexibility(push, push)[0, 0])


def beam_theory() -> float:
    """The same by a plate in cylindrical bending and its shear, mm."""
    length, depth, thick = PLATE
    shear = 5 / 6 * depth * thick * STEEL.modulus / (2 * (1 + STEEL.poisson))
    return FORCE * (length**3 / (3 * RIGIDITY * depth) + length / shear)


# ------------------------------------------------------------------------------ core and cortex

@cache
def plates() -> dict[str, TissueField]:
    """Core and side plates under a pull along x."""
    grid = rectangle(4, 3, 2.0, 1.0)
    held = symmetry(grid.edges["left"], grid.edges["bottom"])
    body = solid(grid, BonePiece(SECTION), held)
    load = edge_load(grid, grid.edges["right"], lambda xy, normal: sideplates.PULL * normal)
    u = solve(stiffness(body.mesh, body.body.sheets), load, held)
    return {x.tissue: x for x in tissue_fields([body], [u])}


def plates_theory() -> dict[str, float]:
    """Stress along the pull: Hooke's law with no strain out of the plane, both share the rest."""
    parts = {"core": sideplates.CORE, "cortex": sideplates.SKIN}
    law = {name: e / ((1 + nu) * (1 - 2 * nu)) * np.array([[1 - nu, nu], [nu, 1 - nu]])
           for name, (e, nu, _) in parts.items()}
    whole = sum(parts[name][2] * matrix for name, matrix in law.items())
    shared = np.linalg.solve(whole, [sideplates.PULL, 0.0])
    return {name: float((matrix @ shared)[0]) for name, matrix in law.items()}


def plate_stress(tissue: str) -> float:
    """Stress along the pull at the point furthest from theory, MPa."""
    return furthest(plates()[tissue].stress[..., 0], plates_theory()[tissue])


# -------------------------------------------------------------------------------------- threads

BONE = 600.0, 0.3, 12.0  # MPa, -, depth in mm
ROD = 5.0, 3e5  # diameter mm, EI N mm²


def wavenumber() -> float:
    """Wavenumber of the force that a screw in this bone puts on it, 1/mm."""
    return float((medium_lateral(BONE[0], BONE[1], *ROD) / (4 * ROD[1])) ** 0.25)


def kelvin() -> float:
    """Stiffness of an infinite body under a line force q cos(kx) in its middle plane, MPa.

    Kelvin's solution in plane strain, integrated over x: 8 G k (1 - nu) / (3 - 4 nu) by its depth.
    """
    modulus, poisson, depth = BONE
    shear = modulus / (2 * (1 + poisson))
    return 8 * shear * depth * wavenumber() * (1 - poisson) / (3 - 4 * poisson)


def thread_bed() -> float:
    """The share of the meshed bone that a link of the tool takes off the medium's, MPa."""
    modulus, poisson, depth = BONE
    stretch = float(in_plane(modulus, poisson, Plane.STRAIN)[0]) * depth
    link = lateral_compliance(modulus, poisson, stretch, *ROD, Plane.STRAIN)
    return 1.0 / (1.0 / medium_lateral(modulus, poisson, *ROD) - link)


def meshed_bed() -> float:
    """The same of a meshed sheet: half a wave long, clamped where nothing moves any more, MPa."""
    k = wavenumber()
    half, high = np.pi / k, 16.0 / k
    flat = rectangle(12, 48, half, high)
    # Finer towards the force, which acts along the bottom edge on the upper half.
    grid = Grid(np.stack([flat.points[:, 0], high * (flat.points[:, 1] / high)**2], axis=1),
                flat.triangles, flat.edges)
    sides = unknowns(np.concatenate([grid.edges[s] for s in ("left", "right", "bottom")]), [0])
    body = solid(grid, fill(BONE[2], *BONE[:2]),
                 np.union1d(sides, unknowns(grid.edges["top"])))

    def wave(xy: FloatArray, normal: FloatArray) -> FloatArray:
        return np.stack([np.zeros_like(xy[..., 0]), 0.5 * np.cos(k * xy[..., 0])], axis=-1)

    load = edge_load(grid, grid.edges["bottom"], wave)
    work = float(load @ solve(stiffness(body.mesh, body.body.sheets), load, body.body.fixed))
    return half / 4.0 / work    # work = q/2 x amplitude x half / 2, q = 1 N/mm


HANDBOOK = ("code_aster, manual of validation V3.04.100 (SSLV100, hollow cylinder in plane "
            "strain), section 2; by Lamé")
# Displacements and hoop stress keep the tolerance of Lamé's ring in plane stress.
CASES = register(
    *(Case(f"plane strain: thick cylinder, {name}", HANDBOOK, "seen", name, unit, reference, 0.002,
           partial(lambda key: cylinder()[key], name), basis="published")
      for name, unit, reference in (
          ("inner displacement", "mm", 0.0572), ("outer displacement", "mm", 0.0364),
          ("inner hoop stress", "MPa", 100.0), ("axial stress", "MPa", 12.0))),
    Case("plane strain: confined compression, modulus", "Hooke's law with one strain only: "
         "E (1 - nu) / ((1 + nu)(1 - 2 nu))", "derived", "stress over strain (worst point)", "MPa",
         CONFINED, 1e-9, confined_modulus),
    Case("plane strain: confined compression, stress on the walls", "Hooke's law with one strain "
         "only: nu / (1 - nu)", "derived", "stress out of the plane over axial (worst point)", "-",
         BLOCK[1] / (1 - BLOCK[1]), 1e-9, at_rest),
    Case("plane strain: wide plate bent as bone is", "cylindrical bending of a plate: "
         "D = E h³ / 12 (1 - nu²) (Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, "
         "§1)", "memory", "curvature", "1/mm", MOMENT / (RIGIDITY * PLATE[1]), 1e-8, bent_strip),
    Case("plane strain: wide plate as a member, clamped", "cylindrical bending of a plate and its "
         "shear, D = E h³ / 12 (1 - nu²), 5/6 G A", "derived", "deflection of the end", "mm",
         beam_theory(), 1e-9, bent_beam),
    *(Case(f"plane strain: side plates, {tissue}", "sum of sheets that share one strain and have "
           "none out of the plane, read as core and cortex of bone", "derived",
           "stress along the pull (worst point)", "MPa", plates_theory()[tissue], 1e-9,
           partial(plate_stress, tissue)) for tissue in ("core", "cortex")),
    *(Case(f"plane strain: line force in bone, {name}", "Kelvin's solution in plane strain, "
           "integrated for q cos(kx): 8 G k (1 - nu) / (3 - 4 nu)", "derived",
           "force over displacement", "MPa", kelvin(), tolerance, compute)
      for name, tolerance, compute in (("meshed", 0.002, meshed_bed),
                                       ("as links of threads take it off", 1e-9, thread_bed))))
