"""Section properties, pull-out and defaults of implants."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from buttress.fe.errors import InputError
from buttress.implants import sections as implants
from buttress.study.implants import tension, wire_diameters
from buttress.study.study import Plate, Screw, Wire


def screw(**changes: object) -> Screw:
    given = {"name": "s", "form": "HB 6.5", "side": "medial", "height_mm": -14, "length_mm": 70}
    return Screw.model_validate(given | changes)


def test_round_section() -> None:
    bar = implants.round_section(3.0)
    assert bar.area == pytest.approx(7.0686, rel=1e-4)
    assert bar.inertia == pytest.approx(3.9761, rel=1e-4)
    assert bar.plastic_moment(690.0) == pytest.approx(27 / 6 * 690)


@pytest.mark.parametrize(("width", "thickness", "inertia"),
                         [(9, 1, 0.75), (10, 3.3, 29.9), (11, 3.3, 32.9), (16, 2, 10.7)])
def test_flat_sections_of_the_reference_table(width: float, thickness: float,
                                              inertia: float) -> None:
    assert implants.flat_section(width, thickness).inertia == pytest.approx(inertia, rel=5e-3)


def test_flat_section_less_a_hole() -> None:
    net = implants.flat_section(10, 3, hole=4)
    assert (net.area, net.inertia, net.plastic) == pytest.approx((18, 6 * 27 / 12, 6 * 9 / 4))


def arc_closed_form(width: float, thickness: float, arc_deg: float) -> tuple[float, float, float]:
    """Area, centroid from the tube's axis and inertia of a ring sector (closed form, derived)."""
    half = math.radians(arc_deg) / 2
    outer = width / 2 / math.sin(half)
    inner = outer - thickness
    area = half * (outer**2 - inner**2)
    centroid = 2 * math.sin(half) * (outer**3 - inner**3) / 3 / area
    about_axis = (outer**4 - inner**4) / 4 * (half + math.sin(half) * math.cos(half))
    return area, centroid, about_axis - area * centroid**2


@pytest.mark.parametrize("given", [(9.0, 1.0, 120.0), (12.0, 2.0, 90.0), (9.0, 0.5, 150.0)])
def test_arc_section_against_the_ring_sector(given: tuple[float, float, float]) -> None:
    area, centroid, inertia = arc_closed_form(*given)
    half = math.radians(given[2]) / 2
    outer = given[0] / 2 / math.sin(half)
    found = implants.arc_section(*given)
    assert found.area == pytest.approx(area, rel=1e-4)
    assert found.inertia == pytest.approx(inertia, rel=1e-3)
    assert found.outer == pytest.approx(outer - centroid, rel=1e-3)
    assert found.inner == pytest.approx(centroid - (outer - given[1]) * math.cos(half), rel=1e-3)


def test_arc_section_with_a_hole_against_subtraction() -> None:
    # Another way to the same figure: fine points of a grid that lie in the wall, not in the hole.
    h = 0.005
    x, z = np.meshgrid(np.arange(-4.5, 4.5, h) + h / 2, np.arange(2.0, 5.2, h) + h / 2)
    r = np.hypot(x, z)
    outer = 4.5 / math.sin(math.radians(60))
    wall = (r < outer) & (r > outer - 1) & (np.abs(np.arctan2(x, z)) < math.radians(60))
    net = z[wall & (np.abs(x) > 2.25)]
    found = implants.arc_section(9.0, 1.0, 120.0, 4.5)
    assert found.area == pytest.approx(net.size * h**2, rel=3e-3)
    assert found.inertia == pytest.approx(float(((net - net.mean()) ** 2).sum() * h**2), rel=5e-3)
    assert found.plastic == pytest.approx(
        float(np.abs(net - np.median(net)).sum() * h**2), rel=5e-3)


def test_the_arc_of_the_thin_plate_counts() -> None:
    thin, thick = (implants.plate_section(n).solid for n in ("one-third tubular", "3.5 straight"))
    assert thick.inertia / implants.flat_section(9, 1).inertia == pytest.approx(40, rel=0.01)
    assert 5 < thick.inertia / thin.inertia < 8  # "5- to 8-fold with the arc"


def test_a_section_may_be_given_another_thickness() -> None:
    assert implants.plate_section("3.5 straight", 2.0).solid == implants.flat_section(10, 2)
    assert implants.plate_section("one-third tubular", 1.5).solid == implants.arc_section(9, 1.5, 120)
    plate = Plate(name="p", section="L buttress", side="lateral", top_mm=-3, length_mm=80,
                  thickness_mm=3.75)
    assert [s.thickness for _, s in implants.plate_stretches(plate)] == [3.0, 3.75]
    assert [s.width for _, s in implants.plate_stretches(plate)] == [32, 11]
    for wrong in ({"section": "one-third tubular", "thickness_mm": 2.7},
                  {"section": "3.5 straight", "thickness_mm": 33.0}):
        with pytest.raises(ValidationError, match=r"too thick|implausible"):
            Plate(name="p", side="medial", top_mm=-3, length_mm=80, **wrong)


@pytest.mark.parametrize("name", ["one-third tubular", "3.5 straight", "T buttress"])
def test_a_hole_weakens_and_plastic_exceeds_elastic(name: str) -> None:
    section = implants.plate_section(name)
    assert section.net.area < section.solid.area
    assert section.net.inertia < section.solid.inertia
    for part in (section.solid, section.net):
        assert part.plastic > part.inertia / max(part.outer, part.inner)


@pytest.mark.parametrize(("form", "length", "shear", "factor", "force"), [
    ("HB 6.5", 16, 2, 0.867, 567), ("HB 6.5", 16, 4, 0.867, 1134), ("HB 6.5", 32, 2, 0.867, 1134),
    ("HB 6.5", 32, 4, 0.867, 2267), ("HA 3.5", 40, 2, 0.754, 663), ("HA 3.5", 40, 4, 0.754, 1327)])
def test_pull_out_of_the_reference_table(form: str, length: float, shear: float, factor: float,
                                         force: float) -> None:
    given = implants.screw_form(form)
    assert implants.thread_shape_factor(given) == pytest.approx(factor, abs=5e-4)
    assert implants.pull_out(given, length, shear) == pytest.approx(force, rel=1e-3)


def test_pull_out_cases_to_six_digits() -> None:
    given = implants.screw_form("HB 6.5")
    assert implants.pull_out(given, 20, 2) == pytest.approx(708.508, rel=1e-6)
    other = implants.ScrewForm("4.5", 4.5, 3.1, 1.75, 8.0, 3.2, 0.0)
    assert implants.pull_out(other, 20, 5.6) == pytest.approx(1157.343, rel=1e-6)


def test_core_carries_in_the_thread_and_shaft_beside_it() -> None:
    form = implants.screw_form("HB 6.5")
    assert form.section(threaded=True).outer == 1.5
    assert form.section(threaded=False).outer == 2.25
    full = implants.screw_form("HA 3.5")
    assert full.fully_threaded
    assert full.section(threaded=False) == full.section(threaded=True)


@pytest.mark.parametrize(("form", "length", "thread"), [
    ("HA 3.5", 50, 50), ("HB 6.5", 70, 32), ("HB 6.5", 48, 32), ("HB 6.5", 47, 16),
    ("HB 6.5", 10, 10)])
def test_default_thread(form: str, length: float, thread: float) -> None:
    assert implants.screw_form(form).default_thread(length) == thread


def test_defaults_of_a_screw() -> None:
    assert tension(screw()) == 0
    assert tension(screw(use="lag")) == 300
    assert tension(screw(use="lag", tension_N=0)) == 0
    assert implants.pilot(screw()) == 3.2
    assert implants.pilot(screw(pilot_mm=3.0)) == 3.0
    assert implants.gliding(screw(use="lag")) is None
    assert implants.gliding(screw(form="HA 3.5", use="lag")) == 3.5
    assert implants.gliding(screw(form="HA 3.5")) is None
    assert implants.glides(screw(form="HA 3.5", use="lag"))
    assert not implants.glides(screw(form="HA 3.5", use="lag", gliding_mm=2.5))


def test_screws_side_by_side_are_spread_about_their_middle() -> None:
    assert implants.depth_positions(screw(position_in_depth_mm=4)) == (4,)
    assert implants.depth_positions(screw(count=3, position_in_depth_mm=1)) == (-9, 1, 11)


def test_plate_of_segments() -> None:
    plate = Plate.model_validate({
        "name": "p", "side": "medial", "top_mm": -10,
        "segments": [{"length_mm": 20, "width_mm": 16, "thickness_mm": 2},
                     {"length_mm": 50, "width_mm": 10, "thickness_mm": 3}]})
    assert plate.length == 70
    assert implants.section_at(plate, 5).solid.inertia == pytest.approx(16 * 8 / 12)
    assert implants.section_at(plate, 20.1).solid.inertia == pytest.approx(10 * 27 / 12)
    assert implants.section_at(plate, 70.0).width == 10


def test_metals_and_wires() -> None:
    steel = implants.metal("steel")
    assert steel.shear_modulus == pytest.approx(193000 / 2.6)
    assert wire_diameters() == (1.0, 1.25, 1.6, 1.8, 2.0, 2.5, 3.0)
    with pytest.raises(InputError, match="titanium"):
        implants.metal("gold")


def test_wires_are_smooth_and_round() -> None:
    wire = Wire.model_validate({"name": "w", "diameter_mm": 1.6, "side": "medial",
                                "height_mm": -6, "length_mm": 50, "count": 3,
                                "position_in_depth_mm": 2})
    assert (implants.outer(wire), implants.head_diameter(wire)) == (1.6, 1.6)
    assert implants.depth_positions(wire) == (-4, 2, 8)
    for threaded in (True, False):
        assert implants.pin_section(wire, threaded) == implants.round_section(1.6)
    # 30 mm of a 1.6 mm wire: pi d L times the stress, about 75 N (common practice, no source).
    assert implants.press_fit() * 3.14159 * 1.6 * 30 == pytest.approx(75.4, abs=0.1)
    assert implants.outer(screw()) == 6.5
    assert implants.head_diameter(screw()) == 8
    assert implants.pin_section(screw(), True) == implants.round_section(3.0)
    assert implants.pin_section(screw(), False) == implants.round_section(4.5)


def test_a_plate_with_a_head_carries_a_row_of_holes_across_it() -> None:
    plate = Plate.model_validate({"name": "p", "section": "L buttress", "side": "lateral",
                                  "top_mm": -3, "length_mm": 80})
    # One row in the head, then five holes 12 mm apart in the middle of the 64 mm of shaft.
    assert plate.holes == (4, 24, 36, 48, 60, 72)
    assert [end for end, _ in implants.plate_stretches(plate)] == [16, 80]
    head, shaft = implants.section_at(plate, 10), implants.section_at(plate, 16.1)
    assert (head.width, head.thickness, shaft.width, shaft.thickness) == (32, 2, 11, 2.5)
    short = plate.model_copy(update={"length_mm": 14.0})
    assert short.holes == (4,)
    assert [end for end, _ in implants.plate_stretches(short)] == [14]
