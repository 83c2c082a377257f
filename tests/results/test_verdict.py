"""The sentence of a construct, clause by clause."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up import comparison, construct, moves
from made_up_path import STIFF, event, pressed

from buttress.report.catalogue import construct_document
from buttress.report.terminal import lines
from buttress.results.alternatives import fails, verdicts
from buttress.results.judged import ONLY_FRICTION, judged
from buttress.results.order import reserve_words
from buttress.results.path import Where
from buttress.results.records import BEYOND, NOT_KNOWN, LimitResult
from buttress.results.verdict import first_failure, verdict


def test_what_fails_first_comes_after_slip_and_opening() -> None:
    events = (event("slip", 10.0, 0.01, "shear plane"), event("opening", 50.0, 0.02, "plate"),
              event("hinge", 900.0, 0.3, "plate"), event("crushing", 700.0, 0.2, "graft"),
              event("peak", 2000.0, 0.9, "ram"))
    made = pressed("a", STIFF, events)
    assert first_failure(made).kind == "crushing"
    assert "first, at about 700 N, the filling 'graft' is crushed locally" in verdict(made, (made,))
    bent = pressed("a", STIFF, events[2:3])
    assert "first, at about 900 N, the plate 'plate' forms a plastic hinge" in verdict(
        bent, (bent,))
    none = pressed("a", STIFF, events[:2])
    assert "nothing gives way up to 2100 N" in verdict(none, (none,))


def test_metal_that_yields_before_is_told_first() -> None:
    """Bone was said to be crushed "first" at a load above that at which metal first yields, and
    "nothing" to reach its strength where metal had."""
    made = pressed("a", STIFF, (event("crushing", 1532.4, 0.2, "shear plane"),))
    for load, said in ((1513.2, "first, at about 1514 N, metal yields at its surface; then, at "
                        "about 1533 N, bone along the fracture 'shear plane' is crushed locally"),
                       (1600.0, "first, at about 1533 N, bone along")):
        told = replace(made, first_yield_N=load)
        assert said in verdict(told, (told,))
        assert ("yields" in verdict(told, (told,))) == (load < 1532.4)
        named = replace(told, first_yield_at=Where("plate", (-24.0, -49.0)))
        assert ("the plate 'plate' yields at its surface" in verdict(named, (named,))) == (
            load < 1532.4)
    assert fails(told) == "first to fail: bone along the fracture 'shear plane' is crushed locally"
    quiet = replace(pressed("a", STIFF), first_yield_N=1513.2)
    assert ("first, at about 1514 N, metal yields at its surface; nothing more gives way "
            "up to 2100 N") in verdict(quiet, (quiet,))


def test_sentence_and_table_tell_the_same_load() -> None:
    """2416.3 N was told as 2416 in the sentence and as 2417 in the table."""
    made = pressed("a", STIFF, (event("crushing", 1416.3, 0.2, "shear plane"),))
    made = replace(made, first_crushing_N=1416.3, first_crushing_of="bone", limits={},
                   first_yield_N=None)
    assert "at about 1417 N, bone" in verdict(made, (made,))
    assert "from 1417 N" in judged(made, 1500.0).event_words


def test_part_of_a_thread_at_its_strength_is_no_failure() -> None:
    """The last millimetres of a thread give way long before the screw moves: told before, but what
    fails is where all of it in a piece does."""
    events = (event("anchorage", 22.0, 0.01, "upper lag"), event("hinge", 900.0, 0.3, "plate"),
              event("thread", 620.0, 0.2, "upper lag"))
    made = pressed("a", STIFF, events)
    assert first_failure(made).kind == "thread"
    part = "first, at about 22 N, part of the anchorage of 'upper lag' gives way; "
    assert part + "then, at about 620 N, the thread of 'upper lag' gives way" in verdict(
        made, (made,))
    bent = pressed("a", STIFF, events[:2])
    assert part + "then, at about 900 N, the plate 'plate' forms a plastic hinge" in verdict(
        bent, (bent,))


def test_what_happens_beyond_the_end_of_the_search_is_not_told() -> None:
    """A path goes on to the end of its last step: "first, at about 10880 N" stood beside "no peak
    up to 10000 N"."""
    curve = {0.0: 0.0, 5000.0: 0.1, 10500.0: 0.2}
    made = pressed("a", curve, (event("hinge", 10_400.0, 0.39, "plate"),))
    assert first_failure(made) is None
    assert "nothing gives way up to 10000 N" in verdict(made, (made,))
    early = pressed("a", curve, (event("hinge", 9_400.0, 0.3, "plate"),))
    assert "first, at about 9400 N" in verdict(early, (early,))


def test_part_of_a_thread_is_told_where_nothing_else_is_known() -> None:
    part = event("anchorage", 620.0, 0.2, "upper lag")
    made = pressed("a", STIFF, (part,))
    assert ("nothing gives way as a whole up to 2100 N; part of the anchorage of 'upper lag' gives "
            "way at about 620 N") in verdict(made, (made,))
    made = replace(made, path=replace(made.path, already=(replace(part, load_N=0.0),)))
    assert ("nothing gives way as a whole up to 2100 N; part of the anchorage of 'upper lag' is at its "
            "strength when tightened") in verdict(made, (made,))


def test_what_tightening_has_led_to_is_told_apart_from_what_loading_does() -> None:
    standing = (event("hinge", 0.0, 0.0, "plate"), event("anchorage", 0.0, 0.0, "upper lag"),
                event("slip", 0.0, 0.0, "plate"))
    events = (event("hinge", 620.0, 0.1, "plate"), event("peak", 2000.0, 0.9, "ram"))
    made = pressed("a", STIFF, events)
    made = replace(made, path=replace(made.path, already=standing))
    assert ("; already when tightened, the plate 'plate' has a plastic hinge; then, at about 620 "
            "N, the plate 'plate' forms a further plastic hinge") in verdict(made, (made,))
    other = replace(made, path=replace(made.path, events=(
        event("thread", 900.0, 0.3, "upper lag"),)))
    assert "has a plastic hinge; then, at about 900 N, the thread of 'upper lag' gives way" \
        in verdict(other, (other,))
    none = replace(made, path=replace(made.path, events=(), already=standing[:1]))
    assert "nothing more gives way up to 2100 N" in verdict(none, (none,))
    assert "slip" not in verdict(none, (none,))


def test_it_depends_on_friction_where_a_limit_or_the_end_comes_earlier_without_it() -> None:
    """As the weight-bearing table says, whatever the load by which constructs are ordered."""
    made = pressed("a", STIFF, without_friction_N=1281.0, tightened_N=2000.0)
    assert "above 1281 N it depends on friction; before it is loaded its screws pull with 2000 N in total" \
        in verdict(made, (made,))
    over = replace(made, limits_without_friction={
        "step-off": LimitResult(800.4, None, "step_off_mm", 2.0, "mm")})
    assert "with friction lost it is over a limit: step-off from 801 N; before" in verdict(
        over, (over,))


@pytest.mark.parametrize(("load", "lost", "known", "told"), [
    (3500.2, "", None, False), (3501.2, "", None, True), (3510.0, "", None, True),
    (3500.2, "gap", None, True), (3500.0, "gap", None, False), (3510.0, "", 3505.0, True),
    (3510.0, "", 3000.0, False)])
def test_friction_is_told_wherever_a_cell_of_the_weight_bearing_table_rests_on_it(
        load: float, lost: str, known: float | None, told: bool) -> None:
    """Within one per cent of the first limit the sentence had no word of what the table said.
    Above what is known nothing is: ``known``, up to where."""
    over = LimitResult(load, None, "step_off_mm", 2.0, "mm")
    made = pressed("a", STIFF, without_friction_N=3500.0, equilibrium_ends_N=None, limits={
        "step-off": over}, known_to_N=known, ends_status=BEYOND if known is None else NOT_KNOWN)
    if lost:
        made = replace(made, limits_without_friction={lost: replace(over, load_N=3500.0)})
    assert (ONLY_FRICTION in [judged(made, n).verdict for n in range(3400, 3520)]) is told
    # What is not pressed that far is not told to hold there.
    near = replace(made, search_limit_N=3499.0)
    assert "friction" not in verdict(near, (near,))
    assert ("friction" in verdict(made, (made,))) is told


def test_what_carries_most_of_the_fragment_is_named() -> None:
    made = pressed("a", STIFF)
    load = made.loads[-1]
    fragment = replace(load.fragments["medial"],
                       carried_by={"upper lag": 0.1, "plate": 0.62, "shear plane": 0.28})
    made = replace(made, loads=(*made.loads[:-1], replace(load, fragments={"medial": fragment})))
    assert verdict(made, (made,)).startswith(
        "At 1500 N the plate 'plate' carries 62\N{NO-BREAK SPACE}% of the load on 'medial'; ")


def test_what_holds_nothing_says_only_that() -> None:
    none = construct("nothing", held=False, capacity=(0.0, 0.0), ends=0.0, limit=None)
    assert verdict(none, (none,)) == "No load is carried."
    for high, most in ((6738.9, "up to 6738 N"), (None, "any load")):
        rubs = replace(none, capacity_N=(0.0, high))
        assert verdict(rubs, (rubs,)) == (
            f"No load is carried, though friction at its best could balance {most}: nothing here "
            "brings it to that.")


def test_of_a_bonded_twin_it_is_said_what_has_no_strength() -> None:
    """Of metal stuck fast it was said that nothing reaches its strength, as of metal that can; and
    that its metal has none, though its plates yield and bend."""
    made = replace(pressed("a, bonded", STIFF), twin_of="a")
    why = "(bonded screws, wires and anchorage have no strength to reach)"
    assert f"nothing gives way up to 2100 N {why}" in verdict(made, (made,))
    load = replace(made, first_yield_N=1513.2, first_yield_at=Where("plate", (-24.0, -49.0)))
    assert ("first, at about 1514 N, the plate 'plate' yields at its surface; "
            f"nothing more gives way up to 2100 N {why}") in verdict(load, (load,))


def test_what_metal_carries_across_a_fracture_of_a_twin_is_not_the_fracture_s_alone() -> None:
    """Of a fragment that a screw stuck fast held "the fracture carries 100 %" was said."""
    made = pressed("a, bonded", STIFF)
    load = made.loads[-1]
    piece = replace(load.fragments["medial"], carried_by={"shear plane": 1.0})
    made = replace(made, loads=(replace(load, fragments={"medial": piece}),))
    alone, bonded = "the fracture 'shear plane' carries 100", (
        "the fracture 'shear plane' with any metal bonded across it carries 100")
    assert alone in verdict(made, (made,))
    twin = replace(made, twin_of="a")
    assert bonded in verdict(twin, (twin,))


def test_json_has_the_sentence_and_first_and_last_rank() -> None:
    every = comparison((moves("a", 1000.0), moves("b", 980.0), moves("c", 500.0))).constructs
    found = [construct_document(c, every) for c in every]
    assert [x["rank"] for x in found] == [[1, 2], [1, 2], [3, 3]]
    assert all(x["verdict"].endswith(".") for x in found)


@pytest.mark.parametrize(("part", "said"), [
    ("graft", "the filling 'graft' is crushed locally"),
    ("shear plane", "bone along the fracture 'shear plane' is crushed locally"),
    ("upper lag", "bone at the screw 'upper lag' is crushed locally")])
def test_bone_is_crushed_and_never_a_screw_or_a_fracture(part: str, said: str) -> None:
    made = pressed("a", STIFF, (event("crushing", 700.0, 0.2, part),))
    load = made.loads[-1]
    members = {"upper lag": replace(load.members["plate"], kind="screw")}
    made = replace(made, loads=(*made.loads[:-1], replace(
        load, members={**load.members, **members})))
    assert f"first, at about 700 N, {said}" in verdict(made, (made,))


def test_a_row_of_screws_is_no_screw() -> None:
    """Four screws side by side were spoken of as "the screw 'raft'"."""
    made = pressed("a", STIFF, (event("thread", 700.0, 0.2, "raft"),))
    load = made.loads[-1]
    members = {"raft": replace(load.members["plate"], kind="screw", count=4)}
    made = replace(made, loads=(*made.loads[:-1], replace(load, members=members)))
    assert ("first, at about 700 N, the threads of the row of 4 screws 'raft' give way"
            ) in verdict(made, (made,))


def test_more_than_the_whole_load_is_explained() -> None:
    made = pressed("a", STIFF)
    load = made.loads[-1]
    fragment = replace(load.fragments["medial"], carried_by={"lag": -0.4, "shear plane": 1.4})
    made = replace(made, loads=(replace(load, fragments={"medial": fragment}),))
    assert ("'shear plane' carries 140\N{NO-BREAK SPACE}% of the load on 'medial', since other "
            "parts push it on") in verdict(made, (made,))


def test_of_two_that_carry_nothing_none_shares_a_rank() -> None:
    """Constructs that cannot be tightened in soft bone "share a rank (0 N, 0 N)"."""
    none = [construct(n, held=False, capacity=(0.0, 0.0), ends=0.0, limit=None) for n in "ab"]
    found = verdicts({c.name: c for c in none}, comparison(tuple(none)).study.load,
                     {c.name: c for c in none})
    assert found["order", "a", "b"] == "neither 'a' nor 'b' carries any load"
    moved = [moves("a", 1000.0), moves("b", 1000.0)]
    found = verdicts({c.name: c for c in moved}, comparison(tuple(moved)).study.load,
                     {c.name: c for c in moved})
    assert found["order", "a", "b"] == "'a' and 'b' share a rank"


def test_no_word_of_the_terminal_is_broken_at_its_hyphen() -> None:
    made = replace(pressed("a", STIFF), remarks=tuple("x" * k + " over a limit: step-off"
                                                      for k in range(60, 90)))
    shown = lines(comparison((made,)))
    assert not [line for line in shown if line.endswith("step-")]
    assert sum("step-off" in line for line in shown) >= 30


def test_one_peak_has_one_load() -> None:
    """ "At about 9226 N the load peaks" stood above "peaks at about 9225 N"."""
    made = replace(construct("a", ends=1925.8), path=pressed("a", STIFF, (
        event("peak", 1925.8, 0.9, "ram"),)).path)
    assert reserve_words(made).startswith("the load peaks at about 1925 N")
    assert fails(made) == "nothing fails under load before it peaks"
    assert "first, at about 1925 N, the load peaks" in verdict(made, (made,))


def test_of_two_that_move_alike_the_first_of_the_study_is_told_of() -> None:
    """0.4 micrometres decided whose load was told; beyond half a micrometre it is another."""
    made = pressed("a", STIFF)
    load = made.loads[-1]
    for apart, named in ((0.0004, "med"), (0.0006, "lat")):
        two = {name: replace(load.fragments["medial"], subsidence_mean_mm=moved,
                             carried_by={"plate": 0.9})
               for name, moved in (("med", 0.01), ("lat", 0.01 + apart))}
        told = replace(made, loads=(*made.loads[:-1], replace(load, fragments=two)))
        assert f"of the load on '{named}'" in verdict(told, (told,))
