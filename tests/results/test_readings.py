"""Figures read from movements that are put in by hand: rigid motions, simple strains, statics."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from made_up_path import event, pressed
from small_study import small_study

from buttress.bone.bone import Bone, build_bone
from buttress.comparison import solving
from buttress.fe.bodies.member import BeamSection, Member
from buttress.implants.hardware import Part
from buttress.implants.sections import Bending, metal
from buttress.model.model import assemble
from buttress.results import condyle_figures as condyle
from buttress.results import derive, escape
from buttress.results import figures as f
from buttress.results.contacts import contact_lines
from buttress.results.derive import plateau
from buttress.results.path import PathEvent, PathPoint, Reserve
from buttress.results.reader import Reader, bone_strain, fibre_stress, under_load
from buttress.results.records import FOUND, Where
from buttress.results.search import Gauge, Reading, Search
from buttress.results.verdict import verdict
from buttress.study.read import example, study_from
from buttress.sweeps.vary import plain

MOVED = (-0.2, -0.5)
"""Movement of the fragment [mm]: to the medial side and down."""
FRAMES = [(0.0, 0.0, 0.0), (0.3, -0.4, 0.0), (0.0, 0.0, 0.02), (0.3, -0.4, -0.01)]
"""Movements of the whole bone that no figure may show: x, y [mm], turn [rad]."""


@cache
def bone() -> Bone:
    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": 6.0, "coarse_mm": 12.0}
    return build_bone(study_from(data))


def rigid(points: np.ndarray, x: float, y: float, turn: float, about: Any = (0.0, 0.0)
          ) -> np.ndarray:
    """Displacements (n_dof,) of a small rigid motion."""
    arm = points - np.asarray(about)
    return np.stack([x - turn * arm[:, 1], y + turn * arm[:, 0]], axis=1).ravel()


def figures(frame: tuple[float, float, float], moved: tuple[float, float] = (0.0, 0.0),
            turn: float = 0.0, intact: float = 0.0) -> f.Figures:
    """Figures of a bone that moves as a whole, its fragment further."""
    made = bone()
    fields = [rigid(b.points, *frame) for b in made.bodies]
    [piece] = made.fragments
    fields[piece] += rigid(made.bodies[piece].points, *moved, turn,
                           made.bodies[piece].points.mean(axis=0))
    number = {id(b): i for i, b in enumerate(made.bodies)}
    values = {m.name: float(sum(c.values @ fields[number[id(b)]][c.dofs] for b, c in m.parts))
              for m in made.measures}
    reader = Reader(made, (), dict.fromkeys(["medial", "condyle.medial", "condyle.lateral"], intact))
    found = f.Figures(reader, SimpleNamespace(hardware=SimpleNamespace(loose=set())),
                      SimpleNamespace(held=True), 1000.0)   # type: ignore[arg-type]
    found.__dict__["values"] = values
    return found


@pytest.mark.parametrize("frame", FRAMES)
def test_a_bone_that_moves_as_a_whole_shows_nothing(frame: tuple[float, float, float]) -> None:
    found = figures(frame)
    for figure, name in ((f.subsidence_mean, "medial"), (f.subsidence_max, "medial"),
                         (f.subsidence_net, "medial"), (f.tilt, "medial"),
                         (f.step_off, "shear plane"), (f.gap, "shear plane"),
                         (f.plateau_widening, ""), (condyle.mean, "medial"),
                         (condyle.largest, "lateral")):
        assert figure(found, name) == pytest.approx(0.0, abs=1e-12), figure.__name__
    assert under_load(bone(), found.values) == pytest.approx((1.0, 0.0), abs=1e-12)


@pytest.mark.parametrize("frame", FRAMES)
def test_a_fragment_that_sinks_and_parts_is_read_in_the_frame_of_the_shaft(
        frame: tuple[float, float, float]) -> None:
    """The fragment moves 0.2 mm to the medial side and 0.5 mm down: all figures by hand."""
    found = figures(frame, MOVED, intact=1e-4)
    assert f.subsidence_mean(found, "medial") == pytest.approx(0.5)
    assert f.subsidence_max(found, "medial") == pytest.approx(0.5)
    assert f.subsidence_net(found, "medial") == pytest.approx(0.4)      # less 1000 N x 1e-4
    assert f.step_off(found, "shear plane") == pytest.approx(0.5)
    assert f.gap(found, "shear plane") == pytest.approx(0.2)            # it opens
    assert f.tilt(found, "medial") == pytest.approx(0.0, abs=1e-12)
    assert f.plateau_widening(found, "") == pytest.approx(0.2)
    assert condyle.largest(found, "medial") == pytest.approx(0.5)
    assert condyle.largest(found, "lateral") == pytest.approx(0.0, abs=1e-12)
    assert 0.3 < condyle.mean(found, "medial") < 0.5      # a strip of it belongs to the shaft
    # Only the medial patch sinks, and it takes its share of the force.
    share = bone().study.load.medial_share
    assert under_load(bone(), found.values)[1] == pytest.approx(0.5 * share, rel=1e-6)


@pytest.mark.parametrize("frame", FRAMES)
def test_a_tilt_is_in_degrees_and_positive_where_the_lateral_end_rises(
        frame: tuple[float, float, float]) -> None:
    found = figures(frame, turn=np.radians(2.0))
    assert f.tilt(found, "medial") == pytest.approx(2.0)
    sunk, _ = found.sunk("medial")
    x = bone().bodies[bone().fragments[0]].points[bone().articular(bone().fragments[0])[0], 0]
    assert np.polyfit(x, sunk, 1)[0] == pytest.approx(-np.radians(2.0))


def test_stress_of_a_row_of_bars_is_that_of_statics() -> None:
    """A tee of two bars side by side on two supports under 10 N, pulled by 8 N: at the load each
    bears 12 N mm, 4 N and 3 N or 2 N of shear; the farther fibre counts."""
    tee = Bending(area=2.0, inertia=3.0, outer=1.5, inner=0.5, plastic=4.0)
    beam = Member("beam", np.array([[0.0, 0.0], [4.0, 0.0], [10.0, 0.0]]),
                  [BeamSection(1e5, 1e5, 1e5)] * 2)
    part = Part(name="p", kind="screw", member=beam, sections=(tee, tee), material=metal("steel"),
                count=2)
    stress, inner = fibre_stress(part, np.array([-8.0, 6.0, 0, 0, -10.0, 0, 8.0, 4.0, 0]))
    direct = 4.0 / 2.0 + 12.0 * 1.5 / 3.0
    assert stress == pytest.approx(np.sqrt([direct**2 + 3 * 1.5**2, direct**2 + 3 * 1.0**2]))
    assert inner[:, 0] == pytest.approx([4.0, 4.0])


@pytest.mark.parametrize(("strain", "way"), [(-1e-3, 0), (1e-3, 1)])
def test_bone_is_measured_by_its_yield_strain_in_the_way_it_is_strained(strain: float, way: int
                                                                        ) -> None:
    made = bone()
    reader = Reader.of(made, {})
    fields = [np.stack([np.zeros(len(b.points)), strain * b.points[:, 1]], axis=1).ravel()
              for b in made.bodies]
    ratio, share, p95, p99 = bone_strain(reader, fields)
    shaft = made.section
    core, cortex = ratio[made.shaft][..., 0], ratio[made.shaft][..., 1]
    assert np.unique(np.round(core, 9)) == pytest.approx(
        [1e-3 / shaft.yield_strain("core")[way]])
    assert cortex == pytest.approx(np.full_like(cortex, 1e-3 / shaft.yield_strain("cortex")[way]))
    assert share == 0.0
    assert p95 <= p99 <= max(core.max(), cortex.max())
    assert shaft.yield_strain("core")[0] > shaft.yield_strain("core")[1]


def test_faces_touch_over_the_depth_that_both_have() -> None:
    data = plain(bone().study)
    data["fragment"][0]["depth_mm"] = 20.0
    study = study_from(data)
    model = assemble(build_bone(study), study.constructs[0])
    none = np.zeros(model.problem.n)
    [line] = contact_lines(model, SimpleNamespace(
        force=none, slack=none, moved=None))   # type: ignore[arg-type]
    assert line.depth.max() == pytest.approx(20.0)
    whole = model.bone.section.thickness(line.places)
    assert line.depth == pytest.approx(np.minimum(whole, 20.0))
    assert whole.max() > 25.0


def point(ram: float) -> Any:
    """A point of a made path: the load rises to 100 N, dips to 60 N and rises to 120 N."""
    load = float(np.interp(ram, [0.0, 1.0, 2.0, 3.0], [0.0, 100.0, 60.0, 120.0]))
    return SimpleNamespace(ram_mm=ram, load_N=load, answer=SimpleNamespace(force=np.zeros(1)))


def search() -> Any:
    """A search along that path; a gauge reads the ram's position."""
    made: Any = object.__new__(Search)
    made.points = tuple(map(point, (0.0, 1.0, 2.0, 3.0)))
    made.path = SimpleNamespace(points=made.points, peak_N=120.0, peak_status="found")
    made.most, made.known_to, made.ends_status, made.peak = 1e4, 120.0, FOUND, 3
    made.model = SimpleNamespace(tightened=None, bone=SimpleNamespace(
        study=example("medial-shear")), pressing=SimpleNamespace(since_tightened=lambda p: p))
    return made


@pytest.mark.parametrize(("limit", "load", "carried"), [(0.5, 50.0, 50.0), (1.5, 80.0, 100.0),
                                                        (2.5, 90.0, 100.0), (2.9, 114.0, 114.0)])
def test_what_was_carried_before_a_dip_counts(
        limit: float, load: float, carried: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.results.search.at_place", lambda path, number, ram, near: point(ram))
    gauge = Gauge("g", "", limit, "mm", lambda p: Reading(p.ram_mm, Where("here", None)))
    found = search().reach(gauge)
    assert found.load_N == pytest.approx(load, rel=1e-3)
    assert found.carried_N == pytest.approx(carried, rel=1e-3)


def test_stiffness_is_load_over_way_and_energy_the_area_below(monkeypatch: pytest.MonkeyPatch
                                                               ) -> None:
    """Triangles and trapezia of the made path; the stiffness at 60 N of the first rise."""
    monkeypatch.setattr(derive, "_events", lambda search, kinds: ((), ()))
    monkeypatch.setattr(derive, "number", lambda *key: 60.0 if key[-1] == "stiffness_load" else 2.0)
    monkeypatch.setattr(derive, "gauge_of", lambda *_: Gauge(
        "g", "", 99.0, "mm", lambda p: Reading(p.ram_mm, Where("", None))))
    monkeypatch.setattr(derive, "_reserve", lambda *_: Reserve(None, 0.5, None, None))
    metal_gauge = Gauge("m", "", 99.0, "-", lambda p: Reading(0.0, Where("", None)))
    found = derive.derive(search(), None, metal_gauge, 0.5, whole=False)   # type: ignore[arg-type]
    assert found.stiffness_N_per_mm == pytest.approx(100.0)
    assert found.energy_to_peak_Nmm == pytest.approx(50.0 + 80.0 + 90.0)
    assert found.peak_N == 120.0


def test_the_piece_that_moves_farthest_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    bodies = [SimpleNamespace(points=np.zeros((2, 2))) for _ in range(3)]
    solids = [SimpleNamespace(body=b, name=n) for b, n in zip(bodies, ("shaft", "near", "far"),
                                                              strict=True)]
    model: Any = SimpleNamespace(
        problem=SimpleNamespace(bodies=bodies), bone=SimpleNamespace(bodies=bodies,
                                                                     fragments=(1, 2)),
        solids=solids, hardware=SimpleNamespace(parts=[]))
    monkeypatch.setattr(escape, "escape_motion", lambda *_: [
        np.zeros(4), np.array([0.1, 0.0, 0.2, 0.0]), np.array([0.0, -0.9, 0.0, 0.3])])
    assert escape.escaping(model, SimpleNamespace(escape=1)) == "far"   # type: ignore[arg-type]
    assert escape.escaping(model, SimpleNamespace(escape=None)) is None   # type: ignore[arg-type]


@pytest.mark.parametrize(("answers", "status"), [
    (("held", "held"), "held"), (("held", "unconverged"), "unconverged"),
    (("no equilibrium", "unconverged"), "unconverged"),
    (("no equilibrium", "no equilibrium"), "no equilibrium"),
    (("held", "no equilibrium"), "holds 1 of 2 loads")])
def test_a_construct_with_an_unknown_answer_is_not_known_to_fail(answers: tuple[str, ...],
                                                                 status: str) -> None:
    loads: Any = [SimpleNamespace(status=a) for a in answers]
    model: Any = SimpleNamespace(stands=True)
    assert solving._status(model, loads) == status


def test_a_piece_that_falls_without_more_load_until_it_lands_is_told() -> None:
    """A load that stays at 1239 N for millimetres read "nothing gives way up to 10000 N"."""
    def path(*loads: float) -> tuple[PathPoint, ...]:
        return tuple(PathPoint(0.3 * i, load, "held", {"a": 0.1 * i, "b": 2.0 * i, "c": None},
                               {}, {}) for i, load in enumerate(loads))

    assert tuple(plateau(path(0.0, 600.0, 1000.0, 1000.5, 1000.9, 900.0, 3000.0))) == (
        PathEvent("plateau", 1000.0, pytest.approx(0.6), Where("b", None), "6.0 mm"),)
    assert not tuple(plateau(path(0.0, 600.0, 1000.0, 1000.9, 1002.0, 3000.0)))    # too short
    assert not tuple(plateau(path(0.0, 600.0, 1000.0, 1000.0, 1000.0, 1000.0)))    # the peak
    assert not tuple(plateau(path(0.0, 1.0, 1.01, 1.02, 1.03, 1.04)))              # rises
    assert [e.load_N for e in plateau(path(0.0, 1.0, 1.0, 500.0))] == [0.0]    # before it lands
    (joint,) = plateau(tuple(replace(p, subsidence_mm={}) for p in path(0.0, 2.0, 2.0, 2.0, 9.0)))
    assert (joint.where.part, joint.what) == ("", "0.6 mm")
    landed = pressed("x", {0.0: 0.0, 1000.0: 0.1, 3000.0: 1.0}, (
        PathEvent("plateau", 1000.0, 0.2, Where("b", None), "6.0 mm"),
        event("crushing", 2000.0, 0.9, "plate")))
    said = "first, at about 1000 N, 'b' goes down by 6.0 mm without more load; "
    assert f"{said}then, at about 2000 N, bone at" in verdict(landed, (landed,))
    alone = pressed("x", {0.0: 0.0, 1000.0: 0.1, 3000.0: 1.0}, landed.path.events[:1])
    assert f"{said}nothing more gives way" in verdict(alone, (alone,))
