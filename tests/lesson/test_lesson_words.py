"""Every claim of the tour says the contrary where the states say the contrary."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from told_states import ENGLISH, NOT, SCENES, USUAL, Told, held, push, said

from buttress.lesson import depressed, time_words, words
from buttress.lesson.catalogue import words_in
from buttress.lesson.look import Asked, Facts, Look, verdict
from buttress.lesson.shipped import LOWER, THICK_LAG, UPPER
from buttress.lesson.step import ContradictedError


def bare(asked: Asked) -> bool:
    has = SCENES[asked.scene].choices[asked.choice].has
    return not any(a and b for a, b in zip(asked.on, has, strict=True))


def test_the_block_slides_only_where_it_does() -> None:
    assert "That is why it slides" in said(words.block, lambda a, n: NOT)
    assert "slides" not in said(words.block, lambda a, n: held(0.1))


def test_friction_by_hand_and_toppling_stand_together_only_where_both_are_so() -> None:
    text = said(words.block, lambda a, n: NOT)
    assert "a friction of 1/tan 20° = 2.75 would be enough. Here no friction is: the load passes 1.0 mm" in text
    assert "topple" not in said(words.block, lambda a, n: NOT, outside=-2.0)
    assert "2.75" not in said(words.block, lambda a, n: Look(False, 600.0, need=2.75))


def test_it_topples_because_of_where_the_load_passes() -> None:
    """Of one thing at a time: the load 4 mm nearer to the middle, and sliding alone decides."""
    usual = SCENES[0]
    load = usual.study.load
    nearer = load.model_copy(update={"medial_centre_mm": load.medial_centre + 4.0})
    for given, topples in ((usual, True), (replace(usual, study=usual.study.model_copy(
            update={"load": nearer})), False)):
        facts = Facts((given,))
        asked = facts.ask(0, 0, screws=False, plate=False)
        need = facts.look(asked).need
        assert (facts.beside(asked) > 0.0) == topples
        assert (need is None) == topples
        if need is not None:
            assert need == pytest.approx(1.0 / math.tan(math.radians(20.0)), rel=0.05)


def test_friction_topples_slides_or_holds() -> None:
    assert "topple" in said(words.friction, lambda a, n: NOT)
    assert "topple" not in said(words.friction, lambda a, n: NOT, outside=-2.0)
    right = said(words.friction, lambda a, n: Look(False, 600.0, need=1.0))
    assert "as the block by hand says: 1/tan 45° = 1.00" in right
    assert "while the block by hand says" in said(
        words.friction, lambda a, n: Look(False, 600.0, need=1.4))
    assert "is still not enough" in right
    assert "is enough: it is held" in said(
        words.friction, lambda a, n: held(0.1) if a.point["slope"] > 60 else NOT)


@pytest.mark.parametrize(("lag", "position", "claim"), [
    (held(0.1), held(0.2), "the tightened screws the fragment moves less"), (held(0.2), held(0.1), "let it move more than the position screws"),
    (held(0.1), held(0.101), "no difference"), (NOT, held(0.1), "let it move more than the position screws"),
    (held(0.1), NOT, "the tightened screws the fragment moves less"), (NOT, NOT, "Neither is held")])
def test_lag_against_position(lag: Look, position: Look, claim: str) -> None:
    text = said(words.screw, lambda a, n: position if a.kinds else lag)
    assert claim in text


def test_screws_that_press_it_on_the_slope_are_said_to_only_where_they_do() -> None:
    def screws(aside: float) -> Look:
        return held(0.1, pushes={"face": push("fracture", 0.98, -aside),
                                 "lag": push("screw", 0.02, aside)})

    said_ = said(words.screw, lambda a, n: screws(200.0))
    assert "carry only 2 % of its load, but press it sideways against the face with 200 N" in said_
    assert "sideways" not in said(words.screw, lambda a, n: screws(1.0))


@pytest.mark.parametrize(("upper", "lower", "claim"), [
    (1000.0, 1010.0, "hardly matters"), (1000.0, 500.0, "near the joint holds more"),
    (500.0, 1000.0, "near the apex holds more")])
def test_the_place_of_a_screw(upper: float, lower: float, claim: str) -> None:
    ends = {(LOWER,): upper, (UPPER,): lower}       # what is out
    assert claim in said(words.screw, lambda a, n: held(0.1, end=ends.get(a.out, 2000.0)))


def test_screws_with_friction_are_beside_screws_without() -> None:
    def ends(a: Asked, n: str) -> Look:
        return held(0.1, end=900.0 if a.point["friction"] == 0.0 else None)

    text = said(words.screw, ends)
    assert "one alone keeps the joint within 2 mm up to 900 N near the joint" in text
    assert "With friction of 0.50 either alone does so beyond 3000 N" in text
    assert "either alone" not in said(words.screw, lambda a, n: held(0.1, end=1200.0))
    assert "Either of the lag screws alone keeps the joint within 2 mm beyond 3000 N" in said(
        words.screw, lambda a, n: held(0.1, end=None))


def test_the_plate_at_the_apex_carries_what_it_carries() -> None:
    text = said(words.apex, lambda a, n: held(0.1, pushes={
        "face": push("fracture", 0.25, -60.0), "plate": push("plate", 0.75, 60.0)}))
    assert "carries 25 % and the plate 75 %" in text
    assert "pushes it 60 N sideways" in text
    assert "sideways" not in said(words.apex, lambda a, n: held(0.1, pushes={
        "face": push("fracture", 0.25), "plate": push("plate", 0.75)}))
    assert "Even so it is not held" in said(words.apex, lambda a, n: NOT)


@pytest.mark.parametrize(("thin", "thick", "claim"), [
    (0.4, 0.1, "stiffness matters"), (0.1, 0.4, "lets the fragment move more"),
    (0.1, 0.1, "stiffness makes no difference")])
def test_stiffness(thin: float, thick: float, claim: str) -> None:
    text = said(words.stiffness, lambda a, n: held(thick if n == THICK_LAG else thin))
    assert claim in text
    differ = max(thin, thick) > 1.25 * min(thin, thick)
    assert ("A bench test found no significant difference, in" in text) == differ
    assert ("bends more freely" in text) == differ
    assert ("A bench test found no significant difference either, in" in text) != differ


def test_a_bench_test_is_not_named_beside_plates_that_do_not_hold() -> None:
    assert "bench" not in said(words.stiffness, lambda a, n: NOT)


def test_a_well_supported_thin_plate_is_said_to_be_a_buttress_only_where_it_is() -> None:
    def told(near: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(0.1 if n == THICK_LAG else near if a.point["position"] else 0.4)

    assert "a thin plate is a buttress" in said(words.stiffness, told(0.1))
    assert "The thick one still does better" in said(words.stiffness, told(0.3))


def test_a_first_screw_in_the_fragment_is_said() -> None:
    bitten = {**USUAL, "shaft 1": push("screw", 0.3)}
    for pushes, claim in ((USUAL, "still below the fragment"), (bitten, "into the fragment")):
        assert claim in said(words.stiffness, lambda a, n, p=pushes: held(
            0.1, pushes=p if a.point["position"] else USUAL))


ONE = {**USUAL, "shaft 1": push("screw", 0.4)}


@pytest.mark.parametrize(("up", "screws", "claims"), [
    (held(0.05, pushes=ONE), 1, ["It moves less", "one of its screws now crosses the fracture", "40 %"]),
    (held(0.05, pushes={**ONE, "shaft 2": push("screw", -0.1)}), 2,
     ["It moves less", "two of its screws now cross the fracture and carry 30 %"]),
    (held(0.05), 0, ["It moves less", "still pass below the fragment"]),
    (held(0.4), 0, ["It moves more"]), (NOT, 0, ["The reason"])])
def test_the_place_of_the_plate(up: Look, screws: int, claims: list[str]) -> None:
    text = said(words.place, lambda a, n: up if a.point["position"] > 0 else held(0.1))
    last = text[text.index("15 mm up"):]
    assert all(claim in last for claim in claims)
    assert ("the fracture" in last) == (screws > 0)
    assert "not the plate's place alone" in last
    assert not {"better", "worse"} & set(last.lower().replace(":", "").split())


def test_a_plate_too_low_says_what_lets_go() -> None:
    lost = Look(False, 600.0, goes=(("hinge.plate", "plate"),))
    text = said(words.place, lambda a, n: lost if a.point["position"] < 0 else held(0.1))
    assert "longer stretch, and the “plate” bends permanently (a plastic hinge)." in text


def test_the_joint_side() -> None:
    calm, same = held(0.02, tilt=0.02, gap=0.0), held(0.1, tilt=0.5)
    told = said(words.joint_side, lambda a, n: calm if a.on[0] else held(0.1))
    assert "opens by 0.20 mm" in told
    assert "The screws stop the rotation" in told
    assert "hardly change that" in said(words.joint_side,
                                        lambda a, n: same if a.on[0] else held(0.1))
    assert "does not open" in said(words.joint_side, lambda a, n: calm)
    assert "With the plate alone it is not held" in said(
        words.joint_side, lambda a, n: calm if a.on[0] else NOT)


@pytest.mark.parametrize(("plate", "claim"), [
    (5.0, "the screws prevent sliding too"), (80.0, "the plate still helps to prevent sliding")])
def test_who_stops_the_slide_is_read_from_the_forces(plate: float, claim: str) -> None:
    pushes = {"face": push("fracture", 0.9, -100.0 - plate), "plate": push("plate", 0.1, plate),
              "lag": push("screw", 0.0, 100.0)}
    text = said(words.joint_side, lambda a, n: held(0.1, pushes=pushes))
    assert claim in text
    assert f"100 N sideways, the plate pushes {plate:.0f} N" in text
    assert "little to do" not in text
    assert "as long as they are tight" not in text
    assert "Without any tension in them it moves 0.10 mm instead of 0.10 mm" in text


def test_a_plate_in_reserve_is_claimed_only_where_it_is() -> None:
    def ends(with_plate: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(0.1, end=with_plate if a.on[1] else 1000.0)

    assert "up to 1000 N, with the plate up to 1400 N" in said(words.joint_side, ends(1400.0))
    assert "reserve" not in said(words.joint_side, ends(1000.0))


def test_the_question_on_the_plate_is_on_what_it_does() -> None:
    assert words.apex(Told(lambda a, n: held(0.1))).asks == "push"
    assert words.apex(Told(lambda a, n: NOT)).asks == "within"


def test_the_loads_of_the_side_view_are_linked() -> None:
    text = said(time_words.from_the_side, lambda a, n: held(0.2))
    assert "Of the 1000 N on the joint 650 N press on the condyle that this section shows, and 100 N" in text
    with pytest.raises(ContradictedError, match="Of the 1000 N on the joint"):
        words.from_the_side(Told(lambda a, n: replace(held(0.2), on_N=700.0)))


def test_the_depressed_piece() -> None:
    assert "nothing below it" in said(depressed.raft, lambda a, n: NOT if bare(a) else held(0.1))
    assert "nothing below it" not in said(depressed.raft, lambda a, n: held(0.1))

    def chips(moved: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(moved if "chips" in n else 0.1)

    assert "Even loose chips help" in said(depressed.filled, chips(0.05))
    assert "worse than nothing" in said(depressed.filled, chips(0.3))
    assert "do next to nothing" in said(depressed.filled, chips(0.1))
    alone = said(depressed.filled, lambda a, n: held(0.3 if not a.on[0] else 0.1))
    assert "share the work: 0 % and 0 %" in alone    # of a told state: neither pushes there
    assert "adds nothing" in said(depressed.filled, lambda a, n: held(0.1))


def test_the_plate_over_the_raft() -> None:
    def plated(moved: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(moved if "plate" in n else 0.1)

    assert "helps the raft" in said(depressed.plated, plated(0.05))
    assert "makes it worse" in said(depressed.plated, plated(0.3))
    text = said(depressed.plated, lambda a, n: held(0.1) if a.on[1] else
                held(0.4) if a.on[2] else NOT)
    assert "the raft goes too, since its screws sit in the plate; the graft alone: held, moving " \
           "up to 0.40 mm. Without both: not held" in text
    assert "one through it sank alike" in text
    assert "both groups had a plate, here only the right has" in text
    assert "This model" not in text + said(depressed.plated, plated(0.3))    # other set-ups
    assert "hardly changes" in said(depressed.plated, plated(0.1))


def test_a_state_that_does_not_hold_is_worse_than_any_that_does() -> None:
    told = ("more", "less", "same", "neither")
    assert verdict(held(0.1), NOT, *told) == "more"
    assert verdict(NOT, held(9.0), *told) == "less"
    assert verdict(NOT, NOT, *told) == "neither"
    assert verdict(held(1.0), held(1.04), *told) == "same"


def test_numbers_that_do_not_exist_are_words() -> None:
    assert ENGLISH.mm(None) == "no number"
    assert ENGLISH.upto(None, 1500.0) == "beyond 1500 N"
    assert ENGLISH.upto(1234.0, 1500.0) == "up to 1230 N"
    assert "tightened" in ENGLISH.outcome(Look(False, 600.0, status="not tightened"))
    assert words_in("de").mm(0.1234) == "0,12 mm"


@pytest.mark.parametrize(("free", "fast", "claim"), [
    (0.4, 0.2, "Locked, the fragment moves less"), (0.2, 0.4, "Locked, the fragment moves more"),
    (0.2, 0.2, "hardly changes anything")])
def test_a_locked_head_says_what_it_changes(free: float, fast: float, claim: str) -> None:
    text = said(words.locked, lambda a, n: held(fast if a.kinds else free))
    assert claim in text
    assert ("This model says the same" in text) == (max(free, fast) <= 1.25 * min(free, fast))


def test_the_worst_screw_to_leave_out_is_the_one_without_which_it_moves_most() -> None:
    def told(worst: str) -> Callable[[Asked, str], Look]:
        return lambda a, n: NOT if worst in a.out else held(0.1)

    for name in ("shaft 1", "shaft 3"):
        assert f"The worst one to leave out is “{name}”" in said(words.left_out, told(name))
        step = words.left_out(Told(told(name)))
        assert step.which[0] == name
        assert step.shows[0].out == ()        # the picture does not give it away, and shows all
        assert "all of them in place in the picture" in step.before
        assert "with all its screws, as drawn" in step.text[0]
    assert "the nearest to the apex" not in said(words.left_out, told("shaft 3"))
    assert "It hardly matters which one" in said(words.left_out, lambda a, n: held(0.1))


def test_no_page_is_made_where_states_contradict_a_claim() -> None:
    """Screws that held better for having lost tension and friction would be a wrong model."""
    with pytest.raises(ContradictedError, match="lag screws alone move no less"):
        words.fades(Told(lambda a, n: held(0.05 if a.point["tension"] < 0.5 else 0.4)))


def test_plate_and_screws_from_the_front_are_told_as_they_are() -> None:
    def told(plate: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(plate if n == "buttress" else 0.2)

    assert "stands in the way of the slide, lets it move less" in said(words.from_the_side, told(0.1))
    assert "The screws let it move less" in said(words.from_the_side, told(0.4))
    assert "no difference" in said(words.from_the_side, told(0.2))


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_step_puts_the_controls_where_its_text_is(language: str) -> None:
    steps = words.tour(Told(lambda a, n: held(0.1)), words_in(language))
    assert max(len(s.title) for s in steps) <= 30    # the menu of steps shows them whole
    assert [s.title for s in steps] == list(dict.fromkeys(s.title for s in steps))
    assert len(steps) == 14
    assert steps[6].title == words_in(language)("locked.title")
    assert steps[0].title == words_in(language)("block.title")
    assert steps[9].title == words_in(language)("fades.title")    # which another step points to
    assert all(s.shows and s.text and s.before and s.asks for s in steps)
    assert all(len(s.shows) == 2 for s in steps if s.asks == "less")
