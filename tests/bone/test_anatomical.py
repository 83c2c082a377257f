"""The anatomical outline: its shape, what refers to it, and meshes of fractures as they are drawn."""

from __future__ import annotations

import numpy as np
import pytest
from mesh_angles import to_spare
from section_figures import SIZE, graded
from shapely import Polygon
from shapely.ops import unary_union
from small_study import small_study

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.fe.mesh.bodies import mesh_bodies
from buttress.fe.mesh.figure import plan
from buttress.rules.check import check
from buttress.study.bone import SectionInput
from buttress.study.read import study_from
from buttress.study.tables import number
from buttress.sweeps.vary import plain

SECTIONS = {"coronal": {}, "small": {"width_mm": 62, "depth_mm": 42, "shaft_width_mm": 24},
            "medial slice": {"plane": "sagittal", "condyle": "medial"},
            "lateral slice": {"plane": "sagittal", "condyle": "lateral"}}


def section(**keys: object) -> Section:
    return Section(SectionInput.model_validate({"outline": "anatomical"} | keys))


def value(field: str, row: str = "anatomical coronal") -> float:
    return number("anatomy", row, field)


@pytest.mark.parametrize("name", SECTIONS)
def test_the_outline_is_a_simple_loop_of_the_size_of_the_simple_one(name: str) -> None:
    points, labels = section(**SECTIONS[name]).outline()
    plainly = Polygon(section(**SECTIONS[name], outline="simple").outline()[0])
    bone = Polygon(points)
    assert bone.is_valid
    assert bone.exterior.is_ccw
    assert len(labels) == len(points)
    assert bone.area == pytest.approx(plainly.area, rel=0.12)
    assert np.allclose(np.array(bone.bounds)[[0, 1, 2]], np.array(plainly.bounds)[[0, 1, 2]])
    for wall in section(**SECTIONS[name]).shape.walls():
        assert (np.diff(wall[:, 1]) < 0.0).all()


def test_two_spines_a_concave_medial_and_a_flat_higher_lateral_plateau() -> None:
    bone = section()
    half, tilt = 38.0, np.tan(np.radians(value("coronal_slope")))
    over = {x: float(bone.joint(half * x)) - tilt * half * x
            for x in (-value("lowest_place"), -value("spine_place"), 0.0, value("spine_place"),
                      value("lowest_place"))}
    assert list(over.values()) == pytest.approx(
        [-value("medial_depth"), value("medial_spine"), value("valley"), value("lateral_spine"),
         value("lateral_rise")], abs=1e-9)
    medial, lateral = bone.shape.joint_line()[[0, -1], 1]
    assert medial < 0.0 < lateral
    # Below the plateau the lateral flare overhangs: the bone lies further medially there.
    assert float(bone.centre(-40.0)) < -1.0
    assert float(bone.centre(-100.0)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("condyle", "sign"), [("medial", -1.0), ("lateral", 1.0)])
def test_a_slice_falls_backwards_and_its_posterior_surface_has_its_angle(condyle: str, sign: float
                                                                         ) -> None:
    bone = section(plane="sagittal", condyle=condyle)
    line = bone.shape.joint_line()
    chord = line[-1] - line[0]
    assert np.degrees(np.arctan2(-chord[1], chord[0])) == pytest.approx(bone.given.slope, abs=1e-9)
    bow = line[:, 1] - line[0, 1] - chord[1] / chord[0] * (line[:, 0] - line[0, 0])
    assert sign * bow[len(bow) // 2] > 0.5
    _, behind = bone.shape.walls()
    slopes = np.degrees(np.arctan2(-np.diff(behind[:, 0]), -np.diff(behind[:, 1])))
    steepest = np.median(slopes[slopes > 20.0])
    # The ends are rounded, which makes what lies between them a little flatter.
    assert steepest == pytest.approx(value(f"{condyle}_surface", "anatomical sagittal"), abs=4.0)


def test_the_layer_under_the_joint_follows_the_surface() -> None:
    bone = section()
    x = np.array([-23.0, -5.0, 0.0, 22.0])
    under = np.column_stack([x, bone.joint(x) - 0.5])
    assert bone.below(under) == pytest.approx(0.5)
    deeper = under - [0.0, 3.0]
    assert (bone.core_at(under) > 1.5 * bone.core_at(deeper)).all()


def test_a_fracture_that_ends_under_a_spine_is_refused_with_its_key() -> None:
    data = plain(small_study("lag screws"))
    data["section"]["outline"] = "anatomical"
    with pytest.raises(InputError, match="does not divide the section") as caught:
        check(study_from(data))
    assert "fracture.shear plane" in caught.value.key
    data["fracture"][0]["points_mm"][0] = [2.46, 15.0]     # the same line, drawn on
    found = {f.rule for f in check(study_from(data)) if f.level == "broken"}
    assert found == set()


def test_two_outlines_are_refused() -> None:
    with pytest.raises(Exception, match="two outlines"):
        SectionInput.model_validate({"outline": "anatomical", "outline_file": "a.csv"})


MISSES = (0.0, 4.0, -0.4)
"""How far beyond the surface a line is drawn [mm]; a little short of it, too, as by a slip of the hand."""
WIDE = 25.0
"""Least angle [degrees] between a drawn line and the surface where it leaves the bone."""


def surface(bone: Section, side: int, y: float) -> np.ndarray:
    """The point of a side's surface at a height."""
    wall = bone.shape.walls()[0 if side < 0 else 1]
    return np.array([np.interp(-y, -wall[:, 1], wall[:, 0]), y])


def joint_at(bone: Section, x: float) -> np.ndarray:
    return np.array([x, float(bone.joint(x))])


def leaves_widely(bone: Section, line: np.ndarray, side: int) -> bool:
    """Whether a line from the joint to a side meets both at no small angle."""
    top, end = line[0], line[-1]
    along = end - top
    tangents = (joint_at(bone, top[0] + 1.0) - joint_at(bone, top[0] - 1.0),
                surface(bone, side, end[1] + 2.0) - surface(bone, side, end[1] - 2.0))
    share = [abs(along @ t) / np.hypot(*along) / np.hypot(*t) for t in tangents]
    return max(share) < np.cos(np.radians(WIDE))


def drawn_fracture(bone: Section, seed: int):
    """Cuts and voids as a user draws them: a split from the joint to the cortex, an undisplaced
    piece of the rim, a split with a second line that ends on it, a depressed piece over a void."""
    rng = np.random.default_rng(seed)
    line = bone.shape.joint_line()
    half, middle = np.ptp(line[:, 0]) / 2, (line[0, 0] + line[-1, 0]) / 2
    kind = rng.choice(["split", "split", "rim", "wedge", "depression"])
    side = int(rng.choice([-1, 1]))
    if kind == "depression":
        centre, wide = middle + side * rng.uniform(0.4, 0.5) * half, rng.uniform(0.25, 0.35) * half
        tops = [joint_at(bone, centre + x * wide / 2) for x in (-1, 1)]
        y = min(t[1] for t in tops) - rng.uniform(6.0, 10.0)
        corners = [np.array([t[0] + rng.uniform(-1, 1), y]) for t in tops]
        floor = [c + np.array([x, -rng.uniform(4.0, 8.0)])
                 for c, x in zip(corners, (2.0, -2.0), strict=True)]
        cuts = {name: np.array([t + np.array([0.0, rng.choice(MISSES)]), c])
                for name, t, c in zip(("inner", "outer"), tops, corners, strict=True)}
        return cuts, {"void": np.array([corners[0], *floor, corners[1]])}
    deep, across = ((-30.0, -10.0), (0.4, 0.75)) if kind == "rim" else ((-75.0, -18.0), (0.05, 0.7))
    while True:
        top = joint_at(bone, middle + side * rng.uniform(*across) * half)
        end = surface(bone, side, rng.uniform(*deep))
        share = np.sort(rng.uniform(0.2, 0.8, rng.integers(0, 3)))
        bends = top + share[:, None] * (end - top) + rng.normal(0.0, 0.7, (len(share), 2))
        path = np.vstack([top, bends, end])
        if all(leaves_widely(bone, np.vstack(p), side) for p in (
                path[[0, -1]], (top, surface(bone, side, end[1])))):
            break
    out = [(path[a] - path[b]) / np.hypot(*(path[a] - path[b])) for a, b in ((0, 1), (-1, -2))]
    cuts = {"main": np.vstack([path[0] + rng.choice(MISSES) * out[0], path[1:-1],
                               path[-1] + rng.choice(MISSES) * out[1]])}
    if kind == "wedge":
        meet = top + rng.uniform(0.4, 0.6) * (end - top)     # of the chord, which the line leaves
        other = joint_at(bone, top[0] + side * rng.uniform(0.3, 0.5) * (
            abs(middle + side * half - top[0])))
        cuts["second"] = np.array([other + np.array([0.0, 3.0]), meet])
    return cuts, {}


def worst(seeds: range, coarser: float = 1.0) -> np.ndarray:
    """Least angle [degrees] above the required one of the mesh of each drawn fracture that can be
    meshed."""
    names, found = list(SECTIONS), []
    bones = {name: section(**SECTIONS[name]) for name in names}
    for seed in seeds:
        bone = bones[names[seed % len(names)]]
        outline, labels = bone.outline()
        try:
            planar = plan(outline, labels, *drawn_fracture(bone, seed), size=coarser * SIZE)
        except InputError:
            continue
        meshes, _ = mesh_bodies(planar, lambda xy: coarser * graded(xy))
        whole = Polygon(planar.outline).difference(
            unary_union([Polygon(v) for v in planar.voids.values()]))
        assert sum(m.area for m in meshes) == pytest.approx(whole.area, rel=1e-9)
        found.append(min(to_spare(m) for m in meshes))
    return np.array(found)


def test_drawn_fractures_mesh_well() -> None:
    found = worst(range(80), coarser=2.0)
    assert len(found) >= 72      # others: a second line at a small angle to the first
    assert found.min() >= -1e-6


@pytest.mark.deep
def test_a_thousand_drawn_fractures_mesh_well() -> None:
    found = worst(range(1600))
    print(f"{len(found)} meshed, worst {np.sort(found)[:5]}, median {np.median(found):.1f} degrees")
    assert len(found) >= 1400
    assert found.min() >= -1e-6
