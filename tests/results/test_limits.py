"""The load at which each limit is reached: linear scaling, the answer at that load, the words."""

from __future__ import annotations

import json
import math
from copy import copy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command import inside
from small_study import small_study
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.comparison.compare import compare
from buttress.fe.errors import InputError
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.recover import displacements, nodal_forces
from buttress.fe.solve.solver import Solver
from buttress.files import settled
from buttress.implants.hardware import Hardware
from buttress.model.install import build_model
from buttress.model.model import Model, intact_measures, intact_problem
from buttress.report.folder import document, rows
from buttress.results.limits import (
    find_limit,
    find_limits,
    first_words,
    gauges,
    lowest,
    moved_joint,
    strained_bone,
)
from buttress.results.read import read
from buttress.results.reader import Reader, bone_strain, intact_subsidence
from buttress.results.records import BEYOND, FOUND, NOT_KNOWN, LimitResult, Where
from buttress.results.search import (
    SEARCH_LIMIT_N,
    VALUE_TOLERANCE,
    Gauge,
    Reading,
    Search,
    not_found,
)
from buttress.study.activities import newtons
from buttress.study.read import Study, example_text, parse_study, study_from
from buttress.study.tables import table_value
from buttress.sweeps.vary import plain


def with_limits(*constructs: str, loads: tuple[float, ...] = (700.0,), **limits: float):
    data = plain(small_study(*constructs, loads=loads))
    data["limits"] |= limits
    return study_from(data)


def gauge(reader: Reader, model: Model, name: str) -> Gauge:
    """A gauge of the study by its name."""
    return next(g for g in gauges(reader, model, model.bone.study.limits) if g.name == name)


@pytest.fixture(scope="module")
def bonded():
    """The bone with its fracture bonded: every figure is linear in the load."""
    study = with_limits("nothing", loads=(500.0, 1500.0), depression_mm=0.05, widening_mm=0.05,
                        bone_over_yield_share=0.02, metal_yield_ratio=1.0)
    bone = build_bone(study)
    reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
    problem = intact_problem(bone)
    model = Model(bone, study.constructs[0], Hardware(), Solver(problem), None,
                  Memory.none(problem))
    answers = {p: model.answer(p) for p in study.load.total_N}
    return reader, model, Search(model), answers


def test_in_a_linear_case_the_load_at_a_limit_is_the_limit_over_the_rate(bonded) -> None:
    """Closed form: load = limit / (figure per newton)."""
    reader, model, search, answers = bonded
    limits = model.bone.study.limits
    found = find_limits(search, gauges(reader, model, limits), (), None)
    reached = {}
    for name, limit in (("depression", 0.05), ("widening", 0.05)):
        load = limit / (gauge(reader, model, name).read(answers[500.0]).value / 500.0)
        if load < SEARCH_LIMIT_N:
            assert found[name].load_N == pytest.approx(load, rel=1e-6), name
            reached[name] = load
        else:
            assert found[name].missing == "not reached below 10000 N"
    assert lowest(found) == min(reached, key=lambda n: reached[n])
    assert found["equilibrium"].load_N is None
    assert found["equilibrium"].missing == "no peak up to 10000 N"
    assert found["metal over yield"].missing.endswith("has no such figure")


def test_bone_over_yield_scales_and_its_percentile_is_the_share(bonded) -> None:
    """The percentile passes 1 where the share of volume over yield passes the limit."""
    reader, model, search, answers = bonded
    share = model.bone.study.limits.bone_over_yield_share
    reading = strained_bone(reader, model, answers[1500.0], share)
    load = 1500.0 / reading.value     # linear, so the percentile reaches 1 here
    for factor, over in ((1.001, True), (0.999, False)):
        fields = [u * factor * load / 1500.0
                  for u in displacements(model.problem, answers[1500.0])]
        assert (bone_strain(reader, fields)[1] > share) is over
    gauge = next(g for g in gauges(reader, model, model.bone.study.limits)
                 if g.name == "bone over yield")
    free = replace(gauge, limit=reading.value * 2.0)
    assert search.reach(free).load_N == pytest.approx(3000.0, rel=1e-6)
    # The piece with more of that volume is the loaded fragment: by hand from nodal displacements.
    ratios, _, _, _ = bone_strain(reader, displacements(model.problem, answers[1500.0]))
    over = {solid.name: sum(float(tissue.volume[..., k][ratio[..., k] >= reading.value].sum())
                            for k in (0, 1))
            for solid, tissue, ratio in zip(model.bone.solids, reader.tissues, ratios, strict=True)}
    assert over["medial"] > 1.5 * over["shaft"]
    assert reading.where.part == "medial"


@pytest.fixture(scope="module")
def antiglide():
    return compare(with_limits("nothing", "antiglide", "lag screws", loads=(500.0, 900.0),
                               step_off_mm=0.3, depression_mm=0.08, metal_yield_ratio=1.0),
                   pictures=False)


def test_the_answer_at_a_limit_reaches_it(antiglide) -> None:
    study = antiglide.study
    construct = antiglide["antiglide"]
    bone = build_bone(study)
    model = build_model(bone, next(c for c in study.constructs if c.name == "antiglide"))
    reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
    figures = {name: gauge(reader, model, name).read
               for name in ("step-off", "depression", "metal over yield")}
    for name, figure in figures.items():
        limit = construct.limits[name]
        assert limit.load_N is not None, name
        assert limit.limit is not None
        answer = model.answer(limit.load_N)
        got = figure(answer)
        assert got.value == pytest.approx(limit.limit, rel=2 * VALUE_TOLERANCE), name
        assert limit.where == got.where
        assert figure(model.answer(0.98 * limit.load_N)).value < limit.limit
        # The same by the figures that are reported of that load.
        reported = read(reader, model, answer, limit.load_N)[0]
        said = {"step-off": reported.edges["shear plane"].step_off_mm,
                "depression": reported.fragments["medial"].subsidence_max_mm,
                "metal over yield": max(m.yield_ratio for m in reported.members.values())}
        assert said[name] == pytest.approx(got.value, rel=1e-12), name
    assert construct.step_off_limit_N == construct.limits["step-off"].load_N
    assert construct.limits["metal over yield"].where.part == "antiglide plate"
    assert construct.limits["step-off"].where.part == "shear plane"
    assert abs(construct.limits["step-off"].where.place_mm[1]) < 1e-9    # on the joint line


def test_what_is_not_reached_is_null_with_the_words_why(antiglide) -> None:
    nothing = antiglide["nothing"]
    assert {n for n, r in nothing.limits.items() if r.load_N is not None} == {"equilibrium"}
    assert nothing.limits["step-off"].missing == "unsupported"
    assert nothing.limits["equilibrium"].load_N == 0.0
    assert nothing.lowest_limit == "equilibrium"
    assert nothing.limits["equilibrium"].where == Where("medial", None)
    lag = antiglide["lag screws"]
    assert lag.limits["bone over yield"].load_N is None
    assert lag.limits["bone over yield"].missing == (
        f"not reached up to {int(lag.equilibrium_ends_N)} N, beyond which parts move farther than this "
        "model follows")
    found = [(r.load_N, n) for n, r in lag.limits.items() if r.load_N is not None]
    assert lag.lowest_limit == min(found)[1]
    assert lag.first_limit.count("at about") == 1


def test_limits_are_in_json_and_csv(antiglide) -> None:
    data = json.loads(json.dumps(document(antiglide), allow_nan=False))
    limits = data["constructs"][1]["limits"] if data["constructs"][1]["name"] == "antiglide" \
        else next(c for c in data["constructs"] if c["name"] == "antiglide")["limits"]
    assert set(limits) == {"step-off", "depression", "widening", "bone over yield",
                           "metal over yield", "equilibrium"}
    assert set(limits["step-off"]) >= {"load_N", "where"}
    assert limits["step-off"]["where"]["part"] == "shear plane"
    row = next(r for r in rows(antiglide) if r["construct"] == "antiglide")
    assert row["metal_limit_N"] == limits["metal over yield"]["load_N"]
    assert row["first_limit"] == antiglide["antiglide"].lowest_limit
    loose = next(r for r in rows(antiglide) if r["construct"] == "nothing")
    assert loose["first_limit"] == "no equilibrium: unsupported"
    assert antiglide["nothing"].first_limit.startswith(loose["first_limit"])


def test_the_curve_goes_on_to_the_end_of_equilibrium(antiglide) -> None:
    for name in ("antiglide", "lag screws"):
        found = antiglide[name]
        assert None not in found.curve_subsidence_mm["medial"]
        assert max(found.curve_load_N) == found.peak_N == found.equilibrium_ends_N
        assert found.curve_load_N[0] == 0.0


def test_a_limit_between_points_that_cannot_be_told_apart_is_not_found(
        bonded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps between two points are taken away: the limit is kept up to the first of them."""
    reader, model, search, answers = bonded
    rate = gauge(reader, model, "depression").read(answers[500.0]).value / 500.0
    loads = [p.load_N for p in search.points]
    limit = 0.5 * (loads[3] + loads[4])
    wanted = Gauge("depression", "", rate * limit, "mm", gauge(reader, model, "depression").read)
    assert find_limit(search, wanted).load_N == pytest.approx(limit, rel=1e-4)
    monkeypatch.setattr("buttress.results.search.at_place", lambda *_: None)
    lost = find_limit(search, wanted)
    assert not_found(lost)
    assert lost.kept_to_N == pytest.approx(loads[3])
    said = {"depression": lost, "widening": replace(lost, load_N=loads[4] + 1.0, missing="")}
    assert lowest(said) == "depression"    # known to be reached before the other
    assert first_words(said, 1e4, "") == (
        f"depression reaches {rate * limit:g} mm between {int(loads[3])} N and "
        f"{math.ceil(loads[4])} N, where answers did not converge")
    assert lowest(said | {"widening": replace(said["widening"], load_N=loads[3])}) == "widening"
    # An event is known to have happened by the point that shows it.
    by, at_most = search.reach_by(wanted)
    assert at_most
    assert by.load_N == by.carried_N == loads[4]
    monkeypatch.setattr(search, "peak", 3)
    assert search.reach_by(wanted) == (search.reach(wanted), False)


@pytest.mark.parametrize(("status", "wanted"), [
    ("not known", NOT_KNOWN), ("found", FOUND), ("beyond the search", BEYOND)])
def test_only_a_peak_that_is_found_ends_a_search(bonded, status: str, wanted: str) -> None:
    """The same points with what is known of their peak changed."""
    reader, model, whole, _ = bonded
    search = copy(whole)
    search.ends_status = {"not known": NOT_KNOWN, "found": FOUND}.get(status, BEYOND)
    search.known_to = 8000.0
    top = search.known_to
    found = find_limits(search, [Gauge("depression", "", 1e3, "mm", gauge(reader, model, "depression").read)], (), None)
    equilibrium, deep = found["equilibrium"], found["depression"]
    assert search.ends_status == wanted
    if wanted == FOUND:
        assert search.ends == equilibrium.load_N == top
        assert deep.missing == f"not reached before the peak at {newtons(round(top))} N"
        return
    assert search.ends is None
    assert equilibrium.load_N is None
    assert lowest(found) is None
    if wanted == NOT_KNOWN:
        assert not_found(equilibrium)
        assert equilibrium.kept_to_N == top
        assert deep.missing.endswith("N, above which the path is not known")
        assert first_words(found, 1e4, "") == (
            f"none found; peak not known above {newtons(round(top))} N, where answers did not "
            "converge")


def test_the_movement_of_the_joint_is_the_largest_of_what_is_reported(antiglide) -> None:
    """Net subsidence, step-off and gap of the answer at that load, by the reported figures."""
    study, found = antiglide.study, antiglide["antiglide"]
    bone = build_bone(study)
    model = build_model(bone, next(c for c in study.constructs if c.name == "antiglide"))
    reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
    load = found.reserve.load_N
    answer = model.answer(load)
    said = read(reader, model, answer, load)[0]
    got = moved_joint(reader, model, 0.5).read(answer)
    edge = said.edges["shear plane"]
    wanted = {"subsidence of medial": said.fragments["medial"].subsidence_net_mm,
              "step-off of shear plane": edge.step_off_mm, "gap of shear plane": edge.gap_mm}
    assert got.value == pytest.approx(max(wanted.values()), rel=1e-9)
    assert got.value == pytest.approx(0.5, rel=2 * VALUE_TOLERANCE)
    assert got.where.part == max(wanted, key=lambda k: wanted[k])
    assert found.reserve.load_N == load
    assert got.where.part == f"{found.reserve.which} of {found.reserve.where}"


def test_the_movement_that_counts_sets_the_reserve_on_the_same_path(antiglide) -> None:
    """Interpolated between the points of the curve, which another movement does not change."""
    for far in (0.1, 0.25, 1.0):
        other = compare(with_limits("antiglide", loads=(500.0, 900.0), movement_mm=far),
                        pictures=False)["antiglide"]
        before = antiglide["antiglide"]
        points = other.path.points
        assert [p.load_N for p in points] == pytest.approx([p.load_N for p in before.path.points])
        moved = np.array([p.moved_mm for p in points])
        loads = np.array([p.load_N for p in points])
        after = int(np.flatnonzero(moved >= far)[0])
        assert other.reserve.movement_mm == far
        assert loads[after - 1] <= other.reserve.load_N <= loads[after]
        chord = np.interp(far, moved[after - 1:after + 1], loads[after - 1:after + 1])
        assert other.reserve.load_N == pytest.approx(chord, rel=0.02)
        assert other.reserve_to_failure == before.reserve_to_failure
    assert antiglide["antiglide"].reserve.movement_mm == 0.5


def test_rounding_of_a_zero_is_a_zero_in_the_csv() -> None:
    assert settled(-5.55e-17) == 0.0
    assert str(settled(-0.0)) == "0.0"
    assert settled(1e-9) == 1e-9
    assert settled(None) is None
    assert settled("held") == "held"


def test_a_limit_met_by_tightening_alone_is_reached_at_no_load() -> None:
    found = under_loads(with_limits("lag screws", metal_yield_ratio=0.05), pictures=False)
    limit = found["lag screws"].limits["metal over yield"]
    assert limit.load_N == 0.0
    stress = tightened_by_statics(found.study)
    assert stress["lower lag"] > 1.01 * stress["upper lag"]
    assert limit.where.part == "lower lag"
    assert found["lag screws"].first_limit.startswith(
        "metal reaches 5 % of yield by tightening alone (lower lag at ")


def tightened_by_statics(study: Study) -> dict[str, float]:
    """Largest von Mises stress [MPa] in each screw after tightening: cut at each element, the
    forces on the nodes before the cut give its axial force, shear and moment."""
    model = build_model(build_bone(study), study.constructs[0])
    out = {}
    for part, force in zip(model.hardware.parts, nodal_forces(
            model.problem, np.zeros(len(model.problem.loads)),
            model.tightened.force)[len(model.bone.solids):], strict=True):
        at, (fx, fy, turn) = part.member.points, force.reshape(-1, 3).T
        x, y = (at[-1] - at[0]) / np.hypot(*(at[-1] - at[0]))
        s, along, across = (at - at[0]) @ (x, y), fx * x + fy * y, fy * x - fx * y
        worst = 0.0
        for i, section in enumerate(part.sections):
            pull, shear = -along[:i + 1].sum(), -across[:i + 1].sum()
            moment = max(abs((turn[:i + 1] + across[:i + 1] * (s[:i + 1] - cut)).sum())
                         for cut in s[i:i + 2])
            direct = abs(pull) / section.area + moment * max(
                section.outer, section.inner) / section.inertia
            worst = max(worst, float(np.hypot(direct, np.sqrt(3) * shear / section.area)))
        out[part.name] = worst
    return out


def test_a_gauge_that_jumps_is_found_by_its_load(bonded) -> None:
    """Where a figure jumps over its limit, the load of the jump is found instead."""
    search = bonded[2]
    rate = gauge(bonded[0], bonded[1], "depression").read(bonded[3][500.0]).value / 500.0

    def jumps(answer) -> Reading:
        load = gauge(bonded[0], bonded[1], "depression").read(answer).value / rate
        return Reading(0.1 if load < 1234.5 else 7.0, Where("here", None))

    found = search.reach(Gauge("jump", "", 1.0, "mm", jumps))
    assert found.load_N == pytest.approx(1234.5, rel=1e-5)
    assert found.reading.value == 7.0


def test_defaults_come_from_the_table_with_their_status() -> None:
    limits = small_study().limits
    for key, row, status in (
            ("step_off_mm", "step_off", "seen"), ("depression_mm", "depression", "memory"),
            ("widening_mm", "widening", "memory"),
            ("bone_over_yield_share", "bone_over_yield", "practice"),
            ("movement_mm", "movement", "practice")):
        quantity = table_value("anatomy", "limits", row)
        assert (getattr(limits, key), quantity.status) == (quantity.value, status)


@pytest.mark.parametrize(("text", "key", "told"), [
    ("bone_over_yield_share = 20", "limits.bone_over_yield_share", "percentage"),
    ("depression_mm = 0.003", "limits.depression_mm", "metres"),
    ("depresion_mm = 3", "limits.depresion_mm", "depression_mm"),
    ("metal_yield_ratio = 0", "limits.metal_yield_ratio", "0.05 to 2"),
    ("widening_mm = '5'", "limits.widening_mm", "no quotes"),
    ("movement_mm = 0", "limits.movement_mm", "0.05 to 20 mm"),
    ("movement_mm = -0.5", "limits.movement_mm", "is the sign wrong?"),
    ("movement_mm = nan", "limits.movement_mm", "a finite number"),
    ("movement_mm = 'half'", "limits.movement_mm", "a number"),
])
def test_limits_that_are_wrong(text: str, key: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_study(example_text("medial-shear").replace("step_off_mm = 2", text), "s.toml")
    assert caught.value.key == key
    assert told in str(caught.value)


@pytest.mark.parametrize(("old", "new", "told"), [
    ("body_mass_kg = 75 ", "body_mass_kg = 735 ", "newtons, 75 kg"),
    ("body_mass_kg = 75 ", "activity = ['walking'] ", "given twice"),
    ("total_N = [500, 1000, 1500]", "ground_kg = [15]\ntotal_N = [500]", "given twice"),
    ("step_off_mm = 2", "bone_over_yield_share = 20", "percentage"),
])
def test_wrong_loads_and_limits_by_the_command(tmp_path: Path, old: str, new: str, told: str
                                               ) -> None:
    text = example_text("medial-shear")
    assert old in text
    (tmp_path / "s.toml").write_text(text.replace(old, new))
    done = inside("compare", "s.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


def test_lowest_of_nothing_is_none() -> None:
    none = LimitResult(None, None, "step_off_mm", 2.0, "mm", "not reached below 10000 N")
    assert lowest({"step-off": none}) is None
    assert np.isfinite(SEARCH_LIMIT_N)
