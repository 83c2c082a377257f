"""Bonded twins: one for each construct, paired, stiffer, and nothing in them slips."""

from __future__ import annotations

import numpy as np
import pytest
from depressed_study import GRAFT, depressed
from made_up import comparison, construct
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.comparison.compare import compare
from buttress.comparison.twins import pairs, with_twins
from buttress.model.install import build_model
from buttress.model.model import blocks_of, inclusions_of
from buttress.report.folder import document, rows
from buttress.report.terminal import lines
from buttress.report.twins import pair_lines
from buttress.results.comparison import Comparison
from buttress.results.order import best_first
from buttress.results.picture import take_picture
from buttress.results.work import ANCHORAGE
from buttress.study.read import Study


@pytest.fixture(scope="module")
def compared() -> Comparison:
    return compare(depressed(GRAFT), pictures=False, also_bonded=True)


def renamed(study: Study, *names: str) -> Study:
    return study.model_copy(update={"constructs": tuple(
        study.constructs[0].model_copy(update={"name": n}) for n in names)})


def test_every_construct_has_a_twin_right_after_it() -> None:
    study, twins = with_twins(small_study("nothing", "lag screws", "antiglide"))
    assert [c.name for c in study.constructs] == [
        "nothing", "lag screws", "lag screws, bonded", "antiglide", "antiglide, bonded"]
    assert twins == {"lag screws, bonded": "lag screws", "antiglide, bonded": "antiglide"}
    own, twin = study.constructs[1:3]
    assert (own.model, twin.model) == ("links", "bonded inclusions")
    assert (own.screws, own.plates, own.fills) == (twin.screws, twin.plates, twin.fills)
    again, more = with_twins(study)
    assert len(more) == 2      # twins have no twins
    assert len(again.constructs) == 7


def test_names_of_twins_are_free_and_not_too_long() -> None:
    study = renamed(depressed(GRAFT), "a", "A, bonded", "x" * 60, "x" * 52 + "y" * 8)
    _, twins = with_twins(study)
    assert list(twins.values()) == ["a", "A, bonded", "x" * 60, "x" * 52 + "y" * 8]
    assert len({n.casefold() for n in [*twins, *twins.values()]}) == 8
    assert max(map(len, twins)) <= 60


def test_of_the_metal_of_a_twin_plates_alone_have_a_strength() -> None:
    """Screws are elastic inclusions without a part of their own, anchorage has no bounds; a plate
    bends at its plastic hinges as in any construct."""
    study, _ = with_twins(small_study("antiglide"))
    own, twin = study.constructs
    models = [build_model(build_bone(study, blocks_of(c), inclusions_of(study, c)), c)
              for c in (own, twin)]
    anchored = [[x for x in m.problem.links.links if x.kind in ANCHORAGE] for m in models]
    assert [any(np.isfinite([x.lower, x.upper]).any() for x in links) for links in anchored] == [
        True, False]
    plates = {p.name for p in own.plates}
    assert plates < {h.source for h in models[0].problem.links.hinges}
    assert {h.source for h in models[1].problem.links.hinges} == plates


def test_nothing_slips_in_a_twin_and_it_is_stiffer(compared: Comparison) -> None:
    own, twin = best_first(compared.constructs)
    assert (own.twin_of, twin.twin_of) == (None, "c")
    [pair] = pairs(compared.constructs)
    assert pair.subsidence_mm[1] < pair.subsidence_mm[0]
    assert pair.stiffness_N_per_mm[1] > pair.stiffness_N_per_mm[0]
    assert pair.step_off_mm[1] < pair.step_off_mm[0]
    assert pair.step_off_mm[0] == max(e.step_off_mm for e in own.loads[0].edges.values())
    assert pair.widening_mm == (own.loads[0].widening_mm, twin.loads[0].widening_mm)
    study, _ = with_twins(depressed(GRAFT))
    made = study.constructs[1]
    model = build_model(build_bone(study, blocks_of(made), inclusions_of(study, made)), made)
    graft = [x for x in model.problem.links.links if x.source == "graft"]
    assert {x.kind for x in graft} == {"bond", "bond shear"}
    assert not any(x.upper < float("inf") for x in graft)
    assert not model.hardware.parts       # its screws are part of the bone, and drawn all the same
    shot = take_picture(model, model.answer(800.0), 800.0)
    [raft] = shot.members
    assert (raft.name, raft.kind) == ("raft", "screw")
    assert raft.points[:, 1] == pytest.approx(-6.0)
    shaft = next(b for b in shot.bodies if b.name == "shaft")
    assert abs(raft.displacement).max() <= abs(np.concatenate(
        [b.displacement for b in shot.bodies])).max()
    assert abs(shaft.displacement).max() > 0


def test_records_name_the_twin(compared: Comparison) -> None:
    found = document(compared)["constructs"]
    assert [c["twin_of"] for c in found] == [None, "c"]
    assert [r["twin_of"] for r in rows(compared)] == [None, "c"]
    text = "\n".join(lines(compared))
    assert text.index("\nc: capacity") < text.index("\nc, bonded: capacity not limited by this m")
    assert "model N" not in text
    beside = pair_lines(compared.constructs)
    assert max(map(len, beside)) <= 100
    assert beside[0].startswith("Next to their bonded twins")


def test_without_twins_nothing_is_said() -> None:
    made = comparison((construct("a"), construct("b")))
    assert pair_lines(made.constructs) == []
    assert pairs(made.constructs) == []


def test_metal_in_an_empty_void_is_left_out_and_that_is_said() -> None:
    study = depressed(GRAFT)
    bare = study.constructs[0].model_copy(update={"fills": (), "screws": (
        study.constructs[0].screws[0].model_copy(update={"height_mm": -12.0}),)})
    study, _ = with_twins(study.model_copy(update={"constructs": (bare,)}))
    made = study.constructs[1]
    model = build_model(build_bone(study, (), inclusions_of(study, made)), made)
    [warning] = model.hardware.warnings
    assert '"hole"' in warning
    assert warning.startswith("raft: ")


def test_bonded_metal_has_the_true_section_and_the_outline_of_its_hole() -> None:
    study, _ = with_twins(small_study("lag screws"))
    shaft, thread = inclusions_of(study, study.constructs[1])[:2]
    pin = study.constructs[1].screws[0]
    assert pin.form == "HB 6.5"
    assert (shaft.name, shaft.diameter, thread.diameter) == (pin.name, 4.5, 3.0)   # ISO 5835
    assert shaft.end == pytest.approx(thread.start)
    for bar, inside, beside in ((shaft, 3.2, 3.3), (thread, 3.2, 3.3)):   # of a 6.5 mm thread
        along = (bar.end - bar.start) / np.hypot(*(bar.end - bar.start))
        middle, across = (bar.start + bar.end) / 2, np.array([-along[1], along[0]])
        off = np.linspace(-4, 4, 8001)
        depth = bar.thickness(middle + off[:, None] * across)
        assert np.trapezoid(depth, off) == pytest.approx(
            pin.count * np.pi / 4 * bar.diameter**2, rel=1e-3)
        assert bar.holds(middle + inside * across)
        assert not bar.holds(middle + beside * across)
