"""The section against closed forms of ellipses, and its shape."""

from __future__ import annotations

import math

import numpy as np
import pytest

from buttress.bone.section import Section, trabecular_density, trabecular_strength
from buttress.study.study import SectionInput

SHAFT = -95.0  # a height in the straight shaft


def section(**changes: object) -> Section:
    return Section(SectionInput.model_validate({"outline": "simple"} | changes))


def across(bone: Section, y: float, n: int = 20000) -> tuple[np.ndarray, float]:
    """Midpoints (n, 2) over the width at a height, and their spacing."""
    a = float(bone.half_width(y))
    x = -a + (np.arange(n) + 0.5) * 2 * a / n
    return np.column_stack([x, np.full(n, y)]), 2 * a / n


@pytest.mark.parametrize("y", [-5.0, -14.0, -40.0, SHAFT])
def test_areas_are_those_of_ellipses(y: float) -> None:
    bone = section()
    xy, dx = across(bone, y)
    a, b, c = float(bone.half_width(y)), float(bone.half_depth(y)), float(bone.cortex(y))
    core = bone.core_thickness(xy).sum() * dx
    assert core == pytest.approx(math.pi * (a - c) * (b - c), rel=1e-4)
    # The floor of one cortex at the very edge adds a little, 0.5 % at most.
    whole = bone.chord(xy).sum() * dx
    assert 1.0 <= whole / (math.pi * a * b) < 1.005


def test_bending_stiffness_of_the_shaft_is_that_of_a_hollow_ellipse_and_its_core() -> None:
    bone = section()
    xy, dx = across(bone, SHAFT)
    a, b, c = 14.0, 14.0, 5.0
    outer, inner = math.pi / 4 * a**3 * b, math.pi / 4 * (a - c) ** 3 * (b - c)
    core = bone.core_thickness(xy)
    second = float((core * xy[:, 0] ** 2).sum() * dx)
    assert second == pytest.approx(inner, rel=1e-4)
    modulus = bone.cortical_modulus * (bone.chord(xy) - core) + 400.0 * core
    stiffness = float((modulus * xy[:, 0] ** 2).sum() * dx)
    # EI within 0.7 %: the floor at the edge, far from the middle, adds 0.5 to 0.6 %.
    assert stiffness == pytest.approx(17000 * (outer - inner) + 400 * inner, rel=0.007)
    assert stiffness > 17000 * (outer - inner) + 400 * inner


def test_a_box_tube_would_be_1_7_times_too_stiff() -> None:
    bone = section()
    xy, dx = across(bone, SHAFT)
    ours = float((bone.chord(xy) * xy[:, 0] ** 2).sum() * dx)
    assert 28 * 28**3 / 12 / ours == pytest.approx(16 / (3 * math.pi), rel=0.01)


def test_sheets_are_the_sum_over_core_and_cortex() -> None:
    bone = section()
    xy = np.array([[0.0, SHAFT], [0.0, -0.5], [13.99, SHAFT]])
    nu = 0.3

    def d(parts: list[tuple[float, float]]) -> np.ndarray:
        e = sum(modulus * t for modulus, t in parts)
        return np.array([e / (1 - nu**2), nu * e / (1 - nu**2), e / (2 * (1 + nu))])

    # Middle of the shaft: 18 mm of core between two walls of 5 mm.
    # Under the joint the walls are 1.5 mm, the core is subchondral bone.
    # At the very edge the depth is one cortex.
    expected = [d([(400, 18), (17000, 10)]), d([(2300, 45), (17000, 3)]), d([(17000, 5)])]
    np.testing.assert_allclose(bone.sheets(xy), expected, rtol=1e-12)


def test_mirror_symmetry() -> None:
    bone = section()
    rng = np.random.default_rng(4)
    y = rng.uniform(-118, -0.1, 300)
    xy = np.column_stack([rng.uniform(-1, 1, 300) * bone.half_width(y), y])
    mirrored = xy * [-1, 1]
    np.testing.assert_allclose(bone.sheets(xy), bone.sheets(mirrored), rtol=1e-13)
    np.testing.assert_array_equal(bone.surface("medial") * [-1, 1], bone.surface("lateral"))
    points, _ = bone.outline()
    assert {tuple(p) for p in points} == {tuple(p) for p in points * [-1, 1]}


def test_outline_is_closed_counter_clockwise_and_labelled() -> None:
    points, labels = section().outline()
    x, y = points.T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert area > 0
    ends = np.roll(points, -1, axis=0)
    for p, q, label in zip(points, ends, labels, strict=True):
        assert label == ("joint" if p[1] == q[1] == 0 else
                         "base" if p[1] == q[1] == -120 else
                         "medial" if p[0] < 0 else "lateral")
    joint = [abs(q[0] - p[0]) for p, q, n in zip(points, ends, labels, strict=True) if n == "joint"]
    assert joint == [68.0]
    curved = [math.dist(p, q) for p, q in zip(points, ends, strict=True)
              if p[1] != q[1] and abs(p[0] - q[0]) > 1e-9]
    assert min(curved) > 1.5
    assert max(curved) < 2.5


def test_widths_are_the_given_ones_and_fall_without_a_bump() -> None:
    bone = section(width_mm=70, shaft_width_mm=24, depth_mm=44, shaft_depth_mm=30)
    assert bone.half_width([-4, -14, -65, -100]) == pytest.approx([35, 35, 12, 12])
    assert bone.half_depth([-4, -14, -65, -100]) == pytest.approx([22, 22, 15, 15])
    heights = np.linspace(-4, -120, 500)
    for profile in (bone.half_width, bone.half_depth):
        assert np.all(np.diff(profile(heights)) <= 1e-12)
    assert np.all(np.diff(bone.cortex(heights)) >= -1e-12)
    assert bone.cortex([0, -120]) == pytest.approx([1.5, 5.0])


def test_modulus_presets_by_height() -> None:
    assert section(bone="dense").cancellous_modulus([0, -65, -110]) == pytest.approx(
        [1200, 400, 400])
    assert section(bone="soft").cancellous_modulus([0, -32.5, -65]) == pytest.approx(
        [400, 250, 100])
    assert section(bone="foam").cancellous_modulus([0, -100]) == pytest.approx([123, 123])
    assert section(bone="foam", foam_grade=20).core_modulus([-0.1]) == pytest.approx([210])
    doubled = section(modulus_scale=2.0)
    assert doubled.core_modulus([-1, -65]) == pytest.approx([4600, 800])
    assert doubled.cortical_modulus == 17000
    assert section(cortex_scale=0.5).cortex(-100) == pytest.approx(2.5)


@pytest.mark.parametrize(("density", "modulus", "strength"), [
    (0.1, 182, 0.94), (0.2, 693, 2.78), (0.3, 1517, 5.2), (0.4, 2643, 8.2)])
def test_laws_give_the_tabulated_values(density: float, modulus: float, strength: float) -> None:
    assert float(trabecular_density(modulus)) == pytest.approx(density, rel=2e-3)
    assert float(trabecular_strength(modulus)) == pytest.approx(strength, rel=6e-3)


def test_local_bone_tells_wall_from_core() -> None:
    bone = section()
    xy = np.array([[0.0, SHAFT], [0.0, SHAFT], [12.0, SHAFT], [0.0, -0.5]])
    local = bone.local_bone(xy, np.array([0.0, 10.0, 0.0, 0.0]))
    np.testing.assert_allclose(local.modulus, [400, 17000, 17000, 2300])
    np.testing.assert_allclose(local.compressive_strength[1:3], 195)
    np.testing.assert_allclose(local.shear_strength[1:3], 51.6)
    assert local.shear_strength[0] == pytest.approx(0.44 * local.compressive_strength[0])
    assert local.compressive_strength[0] == pytest.approx(1.78, rel=0.01)
    foam = section(bone="foam").local_bone(xy)
    np.testing.assert_allclose(foam.compressive_strength, [4.9, 4.9, 157, 4.9])


def test_yield_strains() -> None:
    assert section().yield_strain("core") == (0.0073, 0.0065)
    assert section().yield_strain("subchondral") == (0.0073, 0.0065)
    assert section().yield_strain("cortex") == (0.010, 0.007)
    assert section(bone="foam").yield_strain("core") == pytest.approx((4.9 / 123, 4.9 / 123))
    assert section(bone="foam").yield_strain("cortex") == (0.0098, 0.0066)
