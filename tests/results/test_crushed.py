"""What is crushed is called by its name: bone, foam, graft or cement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from depressed_study import GRAFT, RAFT, depressed
from made_up import construct, moves

from buttress.comparison.compare import compare
from buttress.draw.curves import curves
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.results.crushed import at_pins, medium
from buttress.results.judged import judged
from buttress.results.path import PathEvent, PathPoint, PathResult, Where, Work
from buttress.results.records import ConstructResult
from buttress.results.search import Search
from buttress.results.soft import Bears
from buttress.results.verdict import verdict
from buttress.results.work import work_words
from buttress.study.activities import reached
from buttress.study.read import example, only


def model(fill: dict, **changes: object) -> Model:
    study = depressed(fill, **changes)
    return build_model(Bones(study).of(study.constructs[0]), study.constructs[0])


def media(of: Model, source: str) -> set[str]:
    """What may be crushed at the one-sided and bearing links of a part."""
    return {medium(of, x) for x in of.problem.links.links
            if x.source == source and (x.opens or x.kind == "bearing")}


@pytest.mark.parametrize(("fill", "said"), [
    (GRAFT, {"graft"}),                                                # weaker than bone
    (GRAFT | {"strength_MPa": 400.0}, {"bone"}),                       # stronger: bone gives way
    (GRAFT | {"material": "calcium phosphate cement", "bonded": False, "strength_MPa": 0.05},
     {"cement"})])
def test_of_two_sides_the_weaker_one_is_crushed(fill: dict, said: set[str]) -> None:
    made = model(fill)
    assert media(made, "graft") == said
    assert media(made, "raft") == {"bone"}
    assert media(made, "inner") == {"bone"}


def test_a_screw_through_a_graft_crushes_graft_there_and_foam_elsewhere() -> None:
    low = RAFT | {"height_mm": -14}
    deep = model(GRAFT, construct=[{"name": "c", "screw": [low], "fill": [GRAFT]}])
    assert media(deep, "raft") == {"bone", "graft"}
    foam = model(GRAFT, section={"outline": "simple", "bone": "foam"})
    assert media(foam, "raft") == media(foam, "inner") == {"foam"}


def crushing(part: str, what: str, **given: object) -> ConstructResult:
    event = PathEvent("crushing", 700.0, 0.2, Where(part, (0.0, -10.0)), what)
    points = tuple(PathPoint(x, 1000.0 * x, "held", {}, {}, {}, x) for x in (0.0, 1.0, 2.0))
    return replace(moves("a", 500.0), first_crushing_N=700.0, first_crushing_of=what,
                   path=PathResult("complete", "", True, 0.0, points, (event,)), **given)


@pytest.mark.parametrize(("part", "what", "said"), [
    ("graft", "graft", "the filling 'graft' is crushed locally"),
    ("graft", "bone", "bone along the filling 'graft' is crushed locally"),
    ("shear plane", "foam", "foam along the fracture 'shear plane' is crushed locally"),
    ("plate", "graft", "graft at the plate 'plate' is crushed locally")])
def test_sentence_table_and_picture_say_what_it_is(part: str, what: str, said: str) -> None:
    made = crushing(part, what)
    assert f"first, at about 700 N, {said}" in verdict(made, (made,))
    bare = replace(made, limits={}, without_friction_N=None)
    assert judged(bare, 800.0).event_words == f"{what} is crushed locally from 700 N"


def test_soft_bone_and_what_says_nothing_call_it_as_it_is() -> None:
    soft = Bears("held", 5000.0, "found", 5000.0, None, {}, first_crushing_N=300.0,
                 first_crushing_of="graft")
    bare = replace(construct("c"), limits={}, without_friction_N=None)
    assert judged(bare, 800.0, soft).soft.event_words == "graft is crushed locally from 300 N"


def test_the_work_names_what_it_crushes() -> None:
    shares = {"elastic": 0.25, "friction": 0.6, "crushing": 0.15}
    for crushed, said in (((), "bone"), (("foam",), "foam"), (("graft", "bone"), "graft and bone")):
        assert work_words(Work(2000.0, 2.0, 900.0, shares, crushed)).endswith(
            f"15\N{NO-BREAK SPACE}% crushes {said}.")


def test_each_construct_of_a_comparison_says_what_it_crushes() -> None:
    """All were said to crush "bone or graft" where they had a graft, even one stronger than bone,
    and bone under screws was part of an anchorage."""
    chips = GRAFT | {"material": "loose chips"}
    made = compare(depressed(chips, loads=(400.0,), construct=[
        {"name": "chips", "fill": [chips]}, {"name": "raft", "screw": [RAFT]}]), pictures=False)
    for name, what, words in (
            ("chips", "graft", "the filling 'graft' is crushed locally"),
            ("raft", "bone", "bone at the row of 4 screws 'raft' is crushed locally")):
        c = made[name]
        first = next(e for e in c.path.events if e.kind == "crushing")
        assert (first.what, c.first_crushing_of, c.work.crushed) == (what, what, (what,))
        assert first.load_N == c.first_crushing_N
        assert f"first, at about {reached(first.load_N)} N, {words}" in verdict(c, (c,))
        only = curves(replace(made, constructs=(c,))).get_legend().get_texts()
        assert f"{what} is crushed locally" in [x.get_text() for x in only]
    both = curves(made).get_legend().get_texts()
    assert "bone or graft is crushed locally" in [x.get_text() for x in both]


def test_bone_crushed_at_a_screw_is_found_after_its_thread_has_given_way_in_part() -> None:
    """Of a screw the path tells the first of thread and bearing only."""
    made = compare(depressed(GRAFT | {"material": "calcium phosphate cement"}, loads=(400.0,),
                             section={"outline": "simple", "bone": "soft"}), pictures=False)["c"]
    [part] = [e for e in made.path.events if (e.kind, e.where.part) == ("anchorage", "raft")]
    [bone] = [e for e in made.path.events if e.kind == "crushing"]
    assert (bone.where.part, bone.what) == ("raft", "bone")
    assert bone.load_N == made.first_crushing_N > part.load_N


def test_what_stages_have_crushed_at_a_screw_is_no_crushing_under_the_load_that_follows() -> None:
    """A stage that loads the joint crushes bone at its screws by some micrometres: they had counted
    to what is crushed when it is pressed again, which was then told at 1395 for 1608 N."""
    study = only(example("fading-tension"), "plate + lag screws, a day old")
    found = build_model(Bones(study).of(study.constructs[0]), study.constructs[0])
    links = found.problem.links.links
    pins = [i for i, link in enumerate(links) if link.kind == "bearing"]
    assert np.abs(found.pressing.begun[pins]).max() > 1e-3
    start = found.pressing.since_tightened(Search(found, most=50.0).points[0])
    reading = at_pins(found).read(start)
    assert reading is not None
    assert reading.value == pytest.approx(0.0, abs=1e-9)
