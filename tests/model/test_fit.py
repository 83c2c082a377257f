"""What reduction leaves in a fracture: a gap, a step of a fragment, a layer of debris."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_study import small_study
from under_loads import under_loads

from buttress.bone.fit import slid, step_of
from buttress.comparison.compare import _left
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.errors import InputError
from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.faces import interface_links
from buttress.fe.links.link import End, LinkList
from buttress.fe.mesh.bodies import Interface
from buttress.fe.solve.solver import Solver
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, GROUND, matched, piece, spring
from buttress.fe.verification.problem import unknowns
from buttress.model.model import Bones, Model, assemble
from buttress.rules.check import check
from buttress.study.read import Study, study_from
from buttress.study.study import Fragment
from buttress.sweeps.keys import bone_key, hardware_key
from buttress.sweeps.vary import plain, varied
from buttress.sweeps.workshop import Workshop

WIDTH, HEIGHT, DEEP, E = 20.0, 10.0, 8.0, 500.0     # mm, MPa
GAP, THICK, SOFT, NU = 0.25, 0.5, 20.0, 0.3
STAY = 3000.0      # N/mm, a spring that holds the upper block up


def column(gap: float = 0.0, across: float = 0.0) -> tuple[Solver, Continuum]:
    """Two blocks without lateral strain (Poisson's ratio 0), the upper on a spring of its own."""
    low, high = rectangle(4, 2, WIDTH, HEIGHT, bottom=-HEIGHT), rectangle(4, 2, WIDTH, HEIGHT)
    base = piece(low, E, 0.0, DEEP, unknowns(low.edges["bottom"]), name="base")
    # Sideways and turning of the upper block are held, so that the column stays upright.
    block = piece(high, E, 0.0, DEEP, unknowns(high.edges["left"], [0]), name="block")
    a, b = matched(low, "top", high, "bottom")
    x = low.points[a, 0]
    order = np.argsort(x)
    a, b, x = a[order], b[order], x[order]
    length = np.zeros(x.size)
    for i in range(0, x.size - 2, 2):
        length[i:i + 3] += (x[i + 2] - x[i]) * np.array([1.0, 4.0, 1.0]) / 6.0
    none = np.zeros((0, 3), dtype=int)
    face = Interface("face", 0, 1, a, b, np.tile(ACROSS, (x.size, 1)), length, x, none, none)
    links = LinkList()
    area = length * DEEP
    interface_links(links, face, (base, block), source="face", area=area, friction=0.4, gap=gap,
                    compliance=across * THICK / (SOFT * area),
                    shear_compliance=across * 2.0 * (1.0 + NU) * THICK / (SOFT * area))
    top = np.unique(high.edges["top"])
    weight = np.zeros(len(high.points))
    for edge in high.edges["top"]:
        weight[edge] += np.ptp(high.points[edge, 0]) * np.array([1.0, 4.0, 1.0]) / (6.0 * WIDTH)
    press = block.spread(high.points[top] - [0.0, 1e-9], weight[top])
    spring(links, GROUND, End(block, press(ACROSS)), STAY)
    problem = condense([base, block], links, [[(block, press(-ACROSS))]],
                       [Measure("down", ((block, press(-ACROSS)),))])
    return Solver(problem), block


def down(solver: Solver, force: float) -> float:
    answer = solver.answer(np.array([force]))
    assert answer.held
    return solver.problem.measures(answer.load, answer.force, answer.rigid, answer.kink)["down"]


def test_a_gap_closes_at_its_width_and_a_layer_gives_t_over_e_a() -> None:
    area = WIDTH * DEEP
    through = 2.0 * HEIGHT / (E * area)                      # both blocks, uniform stress
    for layer in (0.0, 1.0):
        solver, _ = column(GAP, layer)
        soft = through + layer * THICK / (SOFT * area)
        for force in (0.5 * STAY * GAP, 4.0 * STAY * GAP):
            u = force / STAY
            if u > GAP:                                      # spring and column side by side
                u = (force + GAP / soft) / (STAY + 1.0 / soft)
            assert down(solver, force) == pytest.approx(u, rel=1e-6)


def kinked(**fragment: Any) -> Study:
    """A medial fragment on a line of two stretches, 20 and 35 degrees to the long axis."""
    data = plain(small_study("nothing"))
    bend = np.array([-3.0, 0.0]) - 22.0 * np.array([np.sin(np.radians(20)), np.cos(np.radians(20))])
    end = bend - 60.0 * np.array([np.sin(np.radians(35)), np.cos(np.radians(35))])
    data["fracture"][0]["points_mm"] = [[-3.0, 0.0], bend.tolist(), end.tolist()]
    data["fragment"][0] |= fragment
    return study_from(data)


def built(study: Study) -> Model:
    return assemble(Bones(study).of(study.constructs[0]), study.constructs[0])


def face_of(model: Model) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gap, height and direction of every contact of the fracture."""
    its = [x for x in model.problem.links.links if x.kind == "contact"]
    return (np.array([x.gap for x in its]), np.array([x.place for x in its]),
            np.array([x.direction for x in its]))


@pytest.mark.parametrize("step", [0.8, -0.8])
def test_a_step_on_a_bent_fracture_opens_one_stretch(step: float) -> None:
    gap, place, _ = face_of(built(kinked(step_mm=step)))
    bend = -22.0 * np.cos(np.radians(20))
    upper, lower = place[:, 1] > bend + 0.1, place[:, 1] < bend - 0.1
    # Low: it slides on the flatter stretch and leaves the steeper one, whose gap is
    # s cos 20 (tan 35 - tan 20). High: the other way round.
    rise = abs(step) * (np.tan(np.radians(35)) - np.tan(np.radians(20)))
    opened, closed = (upper, lower) if step > 0 else (lower, upper)
    angle = 20.0 if step > 0 else 35.0
    assert gap[opened] == pytest.approx(rise * np.cos(np.radians(angle)), rel=1e-3)
    assert gap[closed] == pytest.approx(0.0, abs=1e-3)
    assert opened.sum() > 4
    assert closed.sum() > 4


def test_on_a_straight_fracture_a_step_leaves_no_gap() -> None:
    study = varied(small_study("nothing"), {"fragment.medial.step_mm": 1.5}).study
    assert face_of(built(study))[0] == pytest.approx(0.0, abs=1e-9)


def test_a_gap_is_the_same_all_along_and_adds_to_what_a_step_leaves() -> None:
    bare = face_of(built(kinked(step_mm=0.8)))[0]
    data = plain(kinked(step_mm=0.8))
    data["fracture"][0]["gap_mm"] = 0.3
    assert face_of(built(study_from(data)))[0] == pytest.approx(bare + 0.3, abs=1e-12)


def test_a_fragment_cannot_be_left_low_on_a_bed_without_room() -> None:
    # A piece between two faces that lean towards each other below it, 20 degrees each.
    lean = np.radians(20.0)
    inward = np.array([[np.cos(lean), np.sin(lean)], [-np.cos(lean), np.sin(lean)]])
    piece_ = Fragment(name="piece", inside_mm=(0, 0), step_mm=1.0)
    with pytest.raises(InputError) as caught:
        slid(piece_, inward)
    assert caught.value.key == "fragment.piece.step_mm"
    # High, it leaves both by s sin 20 at least, and touches one at the other's expense.
    up = slid(piece_.model_copy(update={"step_mm": -1.0}), inward)
    assert sorted(inward @ up) == pytest.approx([0.0, 2.0 * np.sin(lean)], abs=1e-12)


@pytest.mark.parametrize(("step", "fits"), [(0.9, True), (-0.9, False)])
def test_a_check_refuses_the_steps_that_cannot_be_built(step: float, fits: bool) -> None:
    """A piece that is wider below can be left low, and cannot be raised between its neighbours."""
    data = plain(small_study("nothing"))
    data["fracture"] = [{"name": "inner", "points_mm": [[13, 15], [12, -9]]},
                        {"name": "outer", "points_mm": [[27, 15], [28, -9]]}]
    data["void"] = [{"name": "hole", "points_mm": [[12, -9], [15, -20], [25, -20], [28, -9]]}]
    data["fragment"] = [{"name": "piece", "inside_mm": [20, -4], "step_mm": step}]
    study = study_from(data)
    if fits:
        assert check(study)
        return
    bone = Bones(study).base
    for ask in (lambda: check(study), lambda: step_of(bone, 0)):
        with pytest.raises(InputError, match="cut into its neighbours") as caught:
            ask()
        assert caught.value.key == "fragment.piece.step_mm"


def test_a_layer_is_soft_by_its_thickness_over_modulus_and_area() -> None:
    found = {}
    for thick in (0.0, 0.5):
        study = varied(small_study("nothing"), {
            "fracture.*.layer_mm": thick, "fracture.*.layer_MPa": 40.0}).study
        found[thick] = [x for x in built(study).problem.links.links
                        if x.kind.startswith("contact")]
    pairs = list(zip(found[0.0], found[0.5], strict=True))
    for bare, soft in pairs:
        shear = 2.6 if soft.kind.endswith("friction") else 1.0
        assert soft.compliance - bare.compliance == pytest.approx(
            shear * 0.5 / (40.0 * soft.weight), rel=1e-9)
    assert len(pairs) > 10


def test_bonded_metal_does_not_stand_apart() -> None:
    study = varied(small_study("lag screws"), {
        "fracture.*.gap_mm": 0.4, "construct.*.model": "bonded inclusions"}).study
    bone = Bones(study).of(study.constructs[0])
    gaps = {x.lower: x.gap for x in assemble(bone, study.constructs[0]).problem.links.links
            if x.kind == "contact"}
    assert gaps == {0.0: 0.4, -np.inf: 0.0}


@pytest.mark.parametrize("key", ["fracture.*.gap_mm", "fracture.*.layer_mm",
                                 "fragment.*.step_mm"])
def test_a_sweep_meshes_once_and_sees_the_fit(key: str) -> None:
    study = kinked()
    case = varied(study, {key: 0.6})
    assert bone_key(case.study) == bone_key(study)
    assert hardware_key(case.study, study.constructs[0]) != hardware_key(
        study, study.constructs[0])
    shop = Workshop()
    models = [shop.model(c, c.study.constructs[0])[1] for c in (varied(study, {}), case)]
    assert shop.counts["bones"] == 1
    alone = built(case.study).problem
    assert models[1].problem.gap == pytest.approx(alone.gap, abs=1e-12)
    assert models[1].problem.compliance == pytest.approx(alone.compliance, rel=1e-12)
    changed = "compliance" if "layer" in key else "gap"
    before, after = (getattr(m.problem, changed) for m in models)
    assert np.abs(after - before).max() > 0


def test_what_reduction_leaves_is_said_beside_every_figure_that_counts_from_there() -> None:
    """A piece left 1.2 mm low was "within all limits" of a step-off of 2 mm, with not a word."""
    data = plain(small_study("lag screws"))
    assert not under_loads(study_from(data), limits=False, pictures=False).constructs[0].remarks
    data["fragment"][0]["step_mm"] = 1.2
    data["fracture"][0]["gap_mm"] = 0.3
    study = study_from(data)
    told = {f.part: f for f in check(study) if f.rule == "left by reduction"}
    assert {f.level for f in told.values()} == {"warning"}
    assert "1.2 mm too low" in told["medial"].message
    [made] = under_loads(study, limits=False, pictures=False).constructs
    assert ("reduction leaves 'medial' 1.2 mm too low; movements, step-off and limits count from "
            "the tightened state") in made.remarks


@pytest.mark.parametrize(("tension", "said"), [
    (300.0, ", of which tightening closes 0.30 mm; movements, step-off and limits count from the "
            "tightened state"), (0.0, "; movements, step-off and limits count from there")])
def test_how_far_tightening_has_closed_a_gap_is_said_where_movements_count_from_it(
        tension: float, said: str) -> None:
    """A gap that the screws had closed was told to be added to the movements."""
    data = plain(small_study("lag screws"))
    data["fracture"][0]["gap_mm"] = 0.3
    for screw in data["construct"][0]["screw"]:
        screw["tension_N"] = tension
    [made] = under_loads(study_from(data), limits=False, pictures=False).constructs
    before = "reduction leaves the faces of 'shear plane' 0.3 mm apart"
    assert made.remarks == (before + said,)
    assert _left(study_from(data), {"shear plane": (-0.1, 0.25)})[0].startswith(
        f"{before}, of which tightening closes −0.10–0.25 mm (negative: it opens); ")
