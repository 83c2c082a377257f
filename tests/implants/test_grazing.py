"""Pins that graze the bone or leave it, thin bone under them, and plates between two nodes."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from simple_shear import simple_shear

from buttress.bone.bone import Bone, build_bone
from buttress.fe.errors import InputError
from buttress.implants.heads import _under
from buttress.implants.kinds import Hold
from buttress.implants.pins import DEEPER, _deeper
from buttress.implants.placement import plate_line
from buttress.implants.plates import _ends
from buttress.model.model import assemble
from buttress.rules.check import check
from buttress.study.read import Study, example, study_from
from buttress.sweeps.vary import plain

SCREW = {"name": "s", "form": "HA 4.5", "side": "lateral"}


def with_parts(**parts: Any) -> Study:
    data = plain(simple_shear()) | {"mesh": {"size_mm": 4.0, "coarse_mm": 8.0}}
    data["load"].pop("body_mass_kg", None)
    return study_from(data | {"construct": [{"name": "c", **parts}]})


@pytest.fixture(scope="module")
def bone() -> Bone:
    return build_bone(with_parts())


@pytest.mark.parametrize("more", [0.31, 0.315, 0.32, 0.325, 1.0, 3.0])
@pytest.mark.parametrize("angle", [-20.0, 15.0])
def test_no_bone_rests_on_a_tip_beyond_the_far_cortex(bone: Bone, angle: float, more: float) -> None:
    """Wherever the exit lies between two places at which the axis is looked at."""
    place = SCREW | {"height_mm": -60.0, "angle_deg": angle}
    both = with_parts(screw=[place | {"length_mm": "bicortical"}])
    long = assemble(bone, both.constructs[0]).hardware.parts[0].member.points
    length = float(np.hypot(*(long[-1] - long[0]))) - 1.0       # to the far surface
    study = with_parts(screw=[place | {"length_mm": length + more}])
    links = assemble(bone, study.constructs[0]).problem.links.links
    assert any(link.kind == Hold.BEARING for link in links)
    assert not any(link.kind == Hold.REST for link in links)


def test_a_pin_along_the_surface_is_refused_before_it_is_placed() -> None:
    """Within the surface by hundredths of a millimetre, which the mesh leaves out."""
    data = plain(example("medial-shear"))
    wire = {"name": "w", "diameter_mm": 2.0, "side": "medial", "height_mm": -43.815,
            "length_mm": 14.6}
    check(study_from(data | {"construct": [{"name": "c", "wire": [wire | {"angle_deg": -55.0}]}]}))
    with pytest.raises(InputError, match="the wire only grazes the bone") as told:
        check(study_from(data | {"construct": [{"name": "c", "wire": [
            wire | {"angle_deg": -64.468}]}]}))
    assert told.value.key == "construct.c.wire.w"
    assert told.value.expected.startswith("at least 0.4 mm")


class Slab:
    """A body that fills the heights from 0 down to minus its thickness."""

    def __init__(self, thickness: float) -> None:
        self.thickness = thickness

    def inside(self, xy: np.ndarray) -> np.ndarray:
        return (xy[:, 1] <= 0.0) & (xy[:, 1] >= -self.thickness)


@pytest.mark.parametrize(("thickness", "depth"), [(1.0, DEEPER), (0.1, 0.0)])
def test_thin_bone_rests_on_a_pin_with_its_surface(thickness: float, depth: float) -> None:
    solid: Any = SimpleNamespace(body=Slab(thickness))
    found = _deeper(solid, np.array([3.0, 0.0]), np.array([0.0, -1.0]))
    assert found == pytest.approx([3.0, -depth])


@pytest.mark.parametrize("thickness", [1.0, 0.06])
def test_a_head_presses_on_bone_however_thin(thickness: float) -> None:
    solid: Any = SimpleNamespace(body=Slab(thickness))
    found = _under([solid], np.array([0.0, 0.02]), np.array([0.0, -1.0]), np.array([1.0, 0.0]),
                   (2.0, 4.0))
    assert found is not None
    assert solid.body.inside(found[1]).all()
    assert found[1][:, 0] == pytest.approx(np.linspace(2.0, 4.0, 5))


def test_a_plate_between_two_nodes_bears_on_its_ends(bone: Bone) -> None:
    plate = with_parts(plate=[{"name": "p", "section": "3.5 straight", "side": "lateral",
                               "top_mm": -90.0, "length_mm": 8.0}]).constructs[0].plates[0]
    line = plate_line(bone.section, plate)
    upper, lower = _ends(bone, line, [])
    assert (upper[3], lower[3]) == (0.0, 8.0)
    assert upper[4] + lower[4] == pytest.approx(8.0)     # together they bear what it covers
    assert np.hypot(*(upper[2] - line.points[0])) < 0.05
