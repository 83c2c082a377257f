"""What holds screws, wires and plates: each link against its closed form, rows against one pin."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from small_study import small_study
from wrong_input import VOID_STUDY, changed

from buttress.bone.bone import Bone, build_bone
from buttress.fe.bodies.embed import axial_compliance, medium_lateral, sheet_line
from buttress.fe.links.link import Link
from buttress.implants.kinds import Hold
from buttress.implants.pins import shared
from buttress.implants.placement import Axis, engaged_thread, plate_line
from buttress.implants.sections import (
    depth_positions,
    metal,
    plate_section,
    pull_out,
    round_section,
    screw_form,
)
from buttress.model.model import Model, assemble
from buttress.study.read import parse_study, study_from
from buttress.study.study import Screw, Study, Wire
from buttress.sweeps.vary import plain

SCREW = {"name": "s", "form": "HA 3.5", "side": "medial", "height_mm": -14, "length_mm": 50}
LAG = SCREW | {"form": "HB 6.5", "use": "lag", "thread_mm": 16.0}
PLATE = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -20,
         "length_mm": 82, "hole_clearance_mm": 0.17}


def study_of(**construct: Any) -> Study:
    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": 6.0, "coarse_mm": 12.0}
    data["construct"] = [{"name": "c", **construct}]
    return study_from(data)


@cache
def bone() -> Bone:
    return build_bone(study_of())


def made(**construct: Any) -> Model:
    return assemble(bone(), study_of(**construct).constructs[0])


def of(model: Model, kind: str) -> list[Link]:
    found = [x for x in model.problem.links.links if x.kind == kind]
    assert found, kind
    return found


@pytest.mark.parametrize("count", [1, 3])
def test_bearing_is_n_springs_in_series_with_the_sheet(count: int) -> None:
    """n pins side by side: n times the foundation of one, less what the sheet itself gives; the
    bone that they crush is n diameters wide."""
    steel, form = metal("steel"), screw_form("HA 3.5")
    core = round_section(form.core)
    bending = steel.modulus * core.inertia
    solids = {id(s.body): s.piece for s in bone().solids}
    links = of(made(screw=[SCREW | {"count": count}]), Hold.BEARING)
    assert links
    for link in links:
        piece, place = solids[id(link.b.body)], np.array(link.place)
        local, length = piece.local(place, 0.0), link.weight / count
        modulus, poisson = float(local.modulus), float(local.poisson)
        own = medium_lateral(modulus, poisson, form.thread, bending)
        stretch = float(piece.sheets(place)[0]) * (1.0 - poisson**2)
        sheet = sheet_line(stretch, poisson, (own / (4 * bending)) ** 0.25)
        assert link.compliance == pytest.approx(
            max(0.0, 1.0 / (count * own) - 1.0 / sheet) / length, rel=1e-9, abs=1e-15)
        crush = count * float(local.compressive_strength) * form.thread * length
        assert (-link.lower, link.upper) == pytest.approx((crush, crush))


@pytest.mark.parametrize("count", [1, 3])
def test_threads_hold_what_pulls_them_out_and_are_n_rods(count: int) -> None:
    steel, form = metal("steel"), screw_form("HA 3.5")
    solids = {id(s.body): s.piece for s in bone().solids}
    links = of(made(screw=[SCREW | {"count": count}]), Hold.THREAD)
    assert links
    for link in links:
        piece, place = solids[id(link.b.body)], np.array(link.place)
        local, length = piece.local(place, 0.0), link.weight / count
        hold = count * pull_out(form, length, float(local.shear_strength))
        assert (-link.lower, link.upper) == pytest.approx((hold, hold))
        stretch = float(piece.sheets(place)[0]) * (1.0 - float(local.poisson)**2) / count
        one = axial_compliance(float(local.modulus), float(local.poisson), stretch, form.thread,
                               steel.modulus * round_section(form.core).area,
                               float(piece.depth(place)) / count)
        assert link.compliance == pytest.approx(one / (length * count), rel=1e-9, abs=1e-15)


def test_a_lag_screw_holds_by_its_thread_at_the_tip_alone() -> None:
    model = made(screw=[LAG])
    threads = of(model, Hold.THREAD)
    assert sum(x.weight for x in threads) == pytest.approx(16.0, abs=0.25)
    head = model.hardware.parts[0].member.points[0]
    along = [math.dist(x.place, head) for x in threads]
    assert 34.0 <= min(along) < max(along) <= 50.0
    assert min(math.dist(x.place, head) for x in of(model, Hold.BEARING)) < 6.0


@pytest.mark.parametrize(("gliding", "start"), [(3.5, 12.0), (3.4, 2.0)])
def test_a_gliding_hole_frees_the_thread_up_to_the_first_fracture(gliding: float, start: float
                                                                  ) -> None:
    screw = Screw.model_validate(SCREW | {"gliding_mm": gliding})
    axis = Axis(head=np.zeros(2), direction=np.array([1.0, 0.0]), length=50.0, entry=2.0, exit=60.0)
    assert engaged_thread(screw, axis, [(12.0, "near"), (30.0, "far")]) == (start, 50.0)


def test_threads_do_not_hold_in_graft() -> None:
    text = changed(VOID_STUDY, ("height_mm = -6", "height_mm = -15")) + (
        '[[construct.fill]]\nname = "graft"\nvoid = "hole"\nmaterial = "impacted graft"\n'
        "[mesh]\nsize_mm = 5\ncoarse_mm = 10\n")
    study = parse_study(text, "s")
    model = assemble(build_bone(study), study.constructs[0])
    [graft] = model.hardware.fills
    assert any(x.b.body is graft.body for x in of(model, Hold.BEARING))
    assert not any(x.b.body is graft.body for x in of(model, Hold.THREAD))


def test_bone_above_and_below_rests_on_a_pin_after_its_gap() -> None:
    """A flat void of 4.4 mm with a thread of 3.5 mm in its middle: 0.45 mm on either side."""
    text = changed(VOID_STUDY, ("[[12, -9], [15, -20], [25, -20], [28, -9]]",
                                "[[12, -9], [12, -13.4], [28, -13.4], [28, -9]]"),
                   ("height_mm = -6", "height_mm = -11.2")) + "[mesh]\nsize_mm = 4\ncoarse_mm = 10\n"
    study = parse_study(text, "s")
    rests = of(assemble(build_bone(study), study.constructs[0]), Hold.REST)
    assert [x.gap for x in rests] == pytest.approx([0.45] * len(rests), abs=0.03)
    assert {round(x.direction[1]) for x in rests} == {-1, 1}
    assert {x.lower for x in rests} == {0.0}


def test_a_locked_head_has_no_room_and_another_slides_in_its_hole() -> None:
    on_plate = {k: v for k, v in SCREW.items() if k not in ("side", "height_mm")} | {
        "plate": "plate", "hole": 2, "length_mm": 40}
    kinds = {}
    for locked in (True, False):
        links = made(plate=[PLATE], screw=[on_plate | {"locked": locked}]).problem.links.links
        kinds[locked] = [x.kind for x in links]
        edges = [x.gap for x in links if x.kind == "head at the edge of the hole"]
        assert edges == ([] if locked else [0.17, 0.17])
    assert kinds[True].count(Hold.LOCKED_HEAD) == 2
    assert kinds[True].count(Hold.LOCKED_HEAD_ACROSS) == 2
    assert kinds[False].count(Hold.HEAD_ON_PLATE) == 2
    assert Hold.LOCKED_HEAD not in kinds[False]


@pytest.mark.parametrize("count", [1, 2])
def test_each_screw_of_a_row_is_tightened(count: int) -> None:
    model = made(screw=[LAG | {"tension_N": 250.0, "count": count}])
    assert sum(model.hardware.tighten.values()) == pytest.approx(250.0 * count)
    assert shared((4, 7), 500.0) == {4: 250.0, 7: 250.0}


@pytest.mark.parametrize("count", [1, 3])
def test_a_row_of_bars_bends_and_yields_like_n_bars(count: int) -> None:
    """Closed forms of a round bar: E pi d^4 / 64 and d^3 / 6 times the yield strength."""
    wire = {"name": "w", "diameter_mm": 2.0, "side": "medial", "height_mm": -10, "length_mm": 40,
            "count": count}
    model, steel = made(screw=[SCREW], wire=[wire]), metal("steel")
    part = next(p for p in model.hardware.parts if p.name == "w")
    for section in part.member.sections:
        assert section.bending == pytest.approx(count * steel.modulus * math.pi * 16 / 64)
        assert section.axial == pytest.approx(count * steel.modulus * math.pi)
    moments = [h.plastic_moment for h in model.problem.links.hinges if h.source == "w"]
    assert moments == pytest.approx([count * 8 / 6 * steel.yield_strength] * len(moments))
    at = depth_positions(Wire.model_validate(wire))
    assert len(at) == count
    assert np.mean(at) == pytest.approx(0.0, abs=1e-12)


def test_a_plate_is_weaker_at_its_holes_and_yields_there_first() -> None:
    model = made(plate=[PLATE], screw=[SCREW])
    part, form = model.hardware.parts[0], plate_section("3.5 straight")
    points, plate = part.member.points, model.construct.plates[0]
    surface, normal, offset = plate_line(model.bone.section, plate).at(np.array(plate.holes))
    holes = surface + normal * offset[:, None]
    for place, section in zip(0.5 * (points[:-1] + points[1:]), part.sections, strict=True):
        away = float(np.hypot(*(holes - place).T).min()) - form.hole / 2
        if abs(away) > 0.5:
            assert section == (form.solid if away > 0 else form.net), place
    assert {form.net, form.solid} == set(part.sections)
    fy = part.material.yield_strength
    weak, strong = (s.plastic_moment(fy) for s in (form.net, form.solid))
    hinges = {h.node: h.plastic_moment for h in model.problem.links.hinges if h.source == "plate"}
    assert {round(m, 6) for m in hinges.values()} == {round(weak, 6), round(strong, 6)}
    edge = next(i for i in range(1, len(points) - 1) if part.sections[i - 1] != part.sections[i])
    assert hinges[edge] == pytest.approx(weak)
