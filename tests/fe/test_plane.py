"""Plane stress and plane strain, of bodies, threads and members alike."""

from __future__ import annotations

import numpy as np
import pytest
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.bone.section import Section
from buttress.fe.bodies import embed
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.plane import Plane, in_plane, out_of_plane
from buttress.fe.bodies.stress import stress, von_mises
from buttress.fe.errors import InputError
from buttress.fe.verification.lame import INNER, MODULUS, OUTER, POISSON, PRESSURE
from buttress.fe.verification.meshes import quarter_ring
from buttress.fe.verification.problem import node_at, solve, strain_at_node, symmetry
from buttress.implants.kinds import Hold
from buttress.implants.sections import metal
from buttress.model.model import assemble
from buttress.results.stress import tissue_fields
from buttress.study.bone import SectionInput
from buttress.sweeps.vary import varied

STRAIN = Plane.STRAIN


def test_plane_strain_is_plane_stress_of_another_material() -> None:
    e, nu = np.array([1200.0, 17e3, 193e3]), np.array([0.0, 0.3, 0.33])
    assert sheet(e, nu, 3.0, STRAIN) == pytest.approx(sheet(e / (1 - nu**2), nu / (1 - nu), 3.0))
    # Hooke in three dimensions with ezz = 0: D11 = E (1 - nu) / ((1 + nu) (1 - 2 nu)), D33 = G.
    d11, d12, d33 = np.moveaxis(sheet(e, nu, 1.0, STRAIN), -1, 0)
    assert d11 == pytest.approx(e * (1 - nu) / ((1 + nu) * (1 - 2 * nu)))
    assert d12 == pytest.approx(e * nu / ((1 + nu) * (1 - 2 * nu)))
    assert d33 == pytest.approx(e / (2 * (1 + nu)))


def test_an_incompressible_material_is_refused_in_plane_strain_only() -> None:
    sheet(100.0, 0.5)
    with pytest.raises(InputError, match="out of range"):
        sheet(100.0, 0.5, 1.0, STRAIN)


@pytest.mark.parametrize("plane", list(Plane))
def test_thick_cylinder_by_lame(plane: Plane) -> None:
    """Lamé: the stresses in the plane are those of plane stress, the displacement is not:
    u = (1 + nu) p a² / (E (b² - a²)) ((1 - 2 nu) r + b² / r) in plane strain."""
    mesh = quarter_ring(16, 8, INNER, OUTER)
    material = sheet(MODULUS, POISSON, 1.0, plane)
    load = edge_load(mesh, mesh.edges["left"], lambda xy, normal: -PRESSURE * normal)
    u = solve(stiffness(mesh, material), load, symmetry(mesh.edges["top"], mesh.edges["bottom"]))
    scale = PRESSURE * INNER**2 / (OUTER**2 - INNER**2)
    for r in (INNER, OUTER):
        by_hand = scale / MODULUS * (
            (1 + POISSON) * ((1 - 2 * POISSON) * r + OUTER**2 / r) if plane is STRAIN
            else (1 - POISSON) * r + (1 + POISSON) * OUTER**2 / r)
        assert u[2 * node_at(mesh, r, 0.0)] == pytest.approx(by_hand, rel=2e-3)
    near = node_at(mesh, INNER, 0.0)
    found = stress(strain_at_node(mesh, u, near), material)
    assert found[1] == pytest.approx(scale * (1 + OUTER**2 / INNER**2), rel=1e-2)
    szz = POISSON * 2 * scale if plane is STRAIN else 0.0    # nu (srr + stt), the same everywhere
    assert out_of_plane(POISSON, plane) * (found[0] + found[1]) == pytest.approx(szz, abs=0.6)


def test_von_mises_counts_the_stress_out_of_the_plane() -> None:
    s = np.array([[120.0, -40.0, 30.0], [50.0, 50.0, 0.0]])
    nu = 0.3
    szz = nu * (s[:, 0] + s[:, 1])
    by_hand = np.sqrt(0.5 * ((s[:, 0] - s[:, 1])**2 + (s[:, 1] - szz)**2 + (szz - s[:, 0])**2
                             + 6 * s[:, 2]**2))
    assert von_mises(s, out_of_plane(nu, STRAIN)) == pytest.approx(by_hand)
    assert von_mises(s, out_of_plane(nu, Plane.STRESS)) == pytest.approx(von_mises(s))


def test_threads_take_the_line_stiffness_of_the_same_sheet() -> None:
    modulus, nu, depth, diameter, bending = 500.0, 0.3, 45.0, 6.5, 2e6
    plane, flat = in_plane(modulus, nu, STRAIN)
    k = embed.medium_lateral(modulus, nu, diameter, bending)
    line = embed.sheet_line(float(plane) * depth, float(flat), (k / (4 * bending))**0.25)
    assert embed.lateral_compliance(modulus, nu, float(plane) * depth, diameter, bending,
                                    STRAIN) == pytest.approx(max(0.0, 1 / k - 1 / line))
    # A sheet held out of its plane is stiffer under a line force, so less is left for the link.
    ends = [embed.axial_compliance(modulus, nu, e * depth, diameter, 1e6, depth, p)
            for e, p in ((modulus, Plane.STRESS), (float(plane), STRAIN))]
    assert ends[1] >= ends[0] >= 0.0


def test_bone_metal_and_threads_of_a_construct_follow_the_study() -> None:
    made = {}
    for state in Plane:
        study = varied(small_study("lag screws"), {"section.plane_state": str(state)}).study
        bone = build_bone(study)
        made[state] = bone, assemble(bone, study.constructs[0])
    free, held = made[Plane.STRESS], made[STRAIN]
    section, other = free[0].section, held[0].section
    places = np.array([[-20.0, -20.0], [10.0, -60.0]])
    nu = section.poisson("core")
    assert nu == section.poisson("cortex")
    assert other.sheets(places)[:, 2] == pytest.approx(section.sheets(places)[:, 2])    # shear
    assert other.sheets(places)[:, 0] / section.sheets(places)[:, 0] == pytest.approx(
        (1 - nu) ** 2 * (1 + nu) / ((1 + nu) * (1 - 2 * nu)))
    steel = metal("steel")
    for a, b in zip(free[1].hardware.parts, held[1].hardware.parts, strict=True):
        for one, two in zip(a.member.sections, b.member.sections, strict=True):
            assert two.bending / one.bending == pytest.approx(1 / (1 - steel.poisson**2))
            assert two.axial / one.axial == pytest.approx(1 / (1 - steel.poisson**2))
            assert two.shear == one.shear
    links = [[x for x in model.problem.links.links if x.kind in (Hold.THREAD, Hold.BEARING)]
             for _, model in (free, held)]
    assert any(a.compliance != b.compliance for a, b in zip(*links, strict=True))
    assert all(a.upper == b.upper for a, b in zip(*links, strict=True))    # strengths stay


def test_a_tissue_in_plane_strain_has_stress_out_of_the_plane() -> None:
    study = varied(small_study("nothing"), {"section.plane_state": "plane strain"}).study
    bone = build_bone(study)
    u = [np.tile([0.0, 1e-3], len(b.points)) * b.points.ravel() for b in bone.bodies]
    fields = tissue_fields(bone.solids, u)
    assert {x.tissue for x in fields} == {"core", "cortex"}
    for x in fields:
        assert np.asarray(x.out_of_plane).max() == pytest.approx(0.3)
        assert (x.von_mises <= von_mises(x.stress) + 1e-9).all()    # pulled one way: less


def test_without_side_plates_the_cortex_is_a_rim() -> None:
    given, bare = (Section(SectionInput(outline="simple", **x)) for x in ({}, {"side_plates": False}))
    inside, rim = np.array([[0.0, -20.0], [-25.0, -10.0]]), np.array([[13.0, -100.0]])
    assert (given.core_thickness(inside) < given.chord(inside)).all()
    assert bare.core_thickness(inside) == pytest.approx(bare.chord(inside))
    assert bare.core_thickness(rim) == given.core_thickness(rim) == [0.0]
    assert (bare.sheets(inside)[:, 0] < given.sheets(inside)[:, 0]).all()
    assert bare.sheets(rim) == pytest.approx(given.sheets(rim))
    # Beside the mid-plane, too, a screw lies in the core there; in the rim it lies in cortex.
    assert given.is_cortex(inside, 23.0).all()
    assert not bare.is_cortex(inside, 23.0).any()
    assert bare.is_cortex(rim, 0.0).all()
