"""The load from which on the thread of a screw holds no more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_study import small_study

from buttress.comparison.compare import compare
from buttress.implants.kinds import Hold
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.crushed import at_pins
from buttress.results.path import NOTICED_MM
from buttress.results.search import Search
from buttress.results.threads import whole_thread
from buttress.results.verdict import verdict
from buttress.study.activities import reached
from buttress.study.loads import HardeningInput
from buttress.study.read import example, only, study_from
from buttress.sweeps.vary import plain


def test_a_thread_gives_way_where_all_of_it_in_a_piece_has_slid_in_bone() -> None:
    """A thread that slides at some places only is still held by the others; once all of it has slid
    it carries its whole strength."""
    study = small_study("lag screws").model_copy(update={
        "hardening": HardeningInput(thread_residual=1.0)})
    bone = Bones(study).of(study.constructs[0])
    model = build_model(bone, study.constructs[0])
    found = Search(model).reach(whole_thread(model))
    assert not isinstance(found, str)
    links = model.problem.links.links
    own = [i for i, x in enumerate(links) if x.kind == Hold.THREAD
           and x.source == found.reading.where.part]
    ends = {id(links[i].b.body) for i in own}

    groups = [[i for i in own if id(links[i].b.body) == end] for end in ends]
    at = {share: model.answer(share * found.carried_N) for share in (0.99, 1.01)}
    for share, answer in at.items():
        least = max(float(np.abs(answer.slack[group]).min()) for group in groups)
        assert (least > NOTICED_MM) == (share > 1.0)
    most = max(groups, key=lambda group: float(np.abs(at[1.01].slack[group]).min()))
    used = np.abs(at[1.01].force[most]) / model.problem.upper[most]
    assert used == pytest.approx(np.ones(len(most)))
    part = model.answer(0.9 * found.carried_N).slack[most]
    assert np.abs(part).max() > NOTICED_MM
    assert np.abs(part).min() < 0.9 * NOTICED_MM


def test_when_something_gives_way_does_not_rest_on_the_steps_of_the_ram() -> None:
    """Told from where the last place of a thread came to its strength, which more places do at once
    in longer steps, it gave way at 1294, 1495 or 1459 N."""
    study = only(example("lateral-split"), "two lag screws")
    found = []
    for growth in (1.35, 1.17, 1.08):
        press = study.press.model_copy(update={"step_growth": growth, "large_movements": "off"})
        stepped = study.model_copy(update={"press": press})
        search = Search(build_model(Bones(stepped).of(stepped.constructs[0]),
                                    stepped.constructs[0]))
        gauges = whole_thread(search.model), at_pins(search.model)
        found.append([reach.carried_N for reach in map(search.reach, gauges)
                      if not isinstance(reach, str)])
    assert len(found[0]) == 2
    for other in found[1:]:
        assert other == pytest.approx(found[0], rel=1e-3)


def test_thread_that_slides_while_it_is_tightened_is_no_event_of_loading() -> None:
    """Thread on both sides of a fracture: that on the head side gives way, or nothing closes."""
    data = plain(small_study("lag screws"))
    for screw in data["construct"][0]["screw"]:
        screw |= {"thread_mm": screw["length_mm"] - 24, "tension_N": 900}
    study = study_from(data)
    model = build_model(Bones(study).of(study.constructs[0]), study.constructs[0])
    assert model.tightened is not None
    links = model.problem.links.links
    for source in ("upper lag", "lower lag"):
        own = [i for i, x in enumerate(links) if x.kind == Hold.THREAD and x.source == source
               and x.b.body.name == "medial"]
        assert own
        assert np.all(np.abs(model.tightened.slack[own]) > 1e-6)
    assert whole_thread(model).read(model.tightened).value < 1.0
    found = Search(model).reach(whole_thread(model))
    assert isinstance(found, str) or found.carried_N > 100.0


def test_the_path_tells_where_and_when_a_whole_thread_gives_way() -> None:
    """Part of it gives way before; the sentence tells both."""
    found = compare(small_study("lag screws", loads=(700.0,)))["lag screws"]
    [whole] = [e for e in found.path.events if e.kind == "thread"]
    parts = {e.where.part: e for e in found.path.events if e.kind == "anchorage"}
    assert whole.load_N == pytest.approx(found.first_thread_N)
    assert parts[whole.where.part].load_N < 0.95 * whole.load_N
    assert parts[whole.where.part].ram_mm < whole.ram_mm
    assert [e.ram_mm for e in found.path.events] == sorted(e.ram_mm for e in found.path.events)
    told = replace(found, path=replace(found.path, events=tuple(
        e for e in found.path.events if e.kind != "crushing")))
    assert (f"then, at about {reached(whole.load_N)} N, the thread of the screw '{whole.where.part}' "
            "gives way") in verdict(told, (told,))


def test_what_has_no_thread_has_no_such_load() -> None:
    study = small_study("nothing")
    model = build_model(Bones(study).of(study.constructs[0]), study.constructs[0])
    assert whole_thread(model).read(model.answer(0.0)) is None
