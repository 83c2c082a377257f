"""What the tour says of loads, of what is lost and of bench tests is what its states say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from small_lesson import NAME, small_scene
from small_study import small_study
from told_states import ENGLISH, NOT, SCENES, Told, held, push, said

from buttress.lesson import depressed, time_words, words
from buttress.lesson.catalogue import words_in
from buttress.lesson.look import Asked, Facts, Look
from buttress.lesson.own_words import own_tour
from buttress.lesson.shipped import SIDE_VIEW
from buttress.rules.check import check
from buttress.study.implants import Wire
from buttress.study.study import Study

GERMAN = words_in("de")


# -- held, and within the limit ------------------------------------------------------------------

def test_a_state_beyond_the_limit_is_not_called_held() -> None:
    for look in (held(2.1), held(0.5, gap=2.1)):
        assert look.over
        assert ENGLISH.outcome(look).startswith("over the limit of 2 mm, moving up to")
        assert GERMAN.outcome(look).startswith("über der Grenze von 2 mm")
        assert "over the limit" in ENGLISH.moved(look)
    assert ENGLISH.outcome(held(1.9)) == "held, moving up to 1.90 mm"


def test_up_to_which_load_is_within_the_limit_is_solved() -> None:
    facts = Facts((replace(small_scene(), load_N=(100.0, 3000.0)),))
    plate = facts.ask(0, NAME, screws=False)
    load = facts.upto(plate)
    assert load is not None
    below, above = (facts.look(facts.ask(0, NAME, screws=False, load=f * load)) for f in (0.99, 1.02))
    assert below.within
    assert not above.within
    assert load < (above.end_N or 1e9)       # before the peak, where the joint is spoiled
    fails = facts.fails(plate)
    assert fails is not None
    assert fails > load                      # a step-off of 2 mm comes after a movement of 2 mm


def test_the_plate_at_the_apex_tells_the_limit_and_then_the_peak() -> None:
    text = said(words.apex, lambda a, n: held(0.1, end=900.0))
    assert "The plate alone keeps the joint within 2 mm up to 900 N" in text
    assert "peaks at 900 N with the joint spoiled" in text
    assert "alone holds" not in text


# -- a locked head -------------------------------------------------------------------------------

def test_no_kind_of_a_screw_breaks_a_rule_of_the_trade() -> None:
    locked = 0
    for scene in SCENES:
        for k, choice in enumerate(scene.choices):
            assert choice.broken == ()
            for number in (0, -1):
                made = scene.of_kinds(k, {n: kinds[number][0] for n, kinds in choice.kinds.items()})
                locked += sum(s.locked for s in made.screws)
                study = scene.study.model_copy(update={"constructs": (made,)})
                assert [f.message for f in check(study) if f.level == "broken"] == []
    assert locked == 3


def test_locked_and_unlocked_are_the_same_plate() -> None:
    free, fast = words.locked(Told(lambda a, n: held(0.1))).shows
    assert (free.choice, free.on, free.point) == (fast.choice, fast.on, fast.point)
    assert dict(fast.kinds) == dict.fromkeys(("shaft 1", "shaft 2", "shaft 3"), "locked")


def test_what_lets_go_with_locked_heads_is_said_only_where_it_is_so() -> None:
    def told(free: tuple, fast: tuple, end: float = 6000.0) -> Callable[[Asked, str], Look]:
        return lambda a, n: held(0.1, goes=fast if a.kinds else free, end=end if a.kinds else 7000.0)

    screws, plate = (("thread", "shaft 1"), ("hinge.plate", "thick plate")), (("hinge.plate", "thick plate"),)
    text = said(words.locked, told(screws, plate))
    assert "unlocked the screws too, locked no screw" in text
    assert "do not make this plate a better stop" in text
    assert "unlocked 7000 N, locked 6000 N" in text
    assert "better stop" not in said(words.locked, told(screws, plate, end=9000.0))
    assert "no screw" not in said(words.locked, told(plate, plate))
    assert "no screw" not in said(words.locked, told(screws, screws))


# -- what fades ----------------------------------------------------------------------------------

def losing(what: str) -> Callable[[Asked, str], Look]:
    """States in which one thing counts, for the screws alone."""
    def look(a: Asked, name: str) -> Look:
        base = SCENES[a.scene].base
        lost = {"tension": a.point["tension"] < 1.0, "friction": a.point["friction"] < base["friction"],
                "bone": a.point["strength"] < 1.0}
        return held(0.9 if lost[what] and not (a.on[1] and a.scene == 0) else 0.3)
    return look


@pytest.mark.parametrize("what", ["tension", "friction", "bone"])
@pytest.mark.parametrize("step", [time_words.fades, time_words.from_the_side])
def test_what_screws_rest_on_is_what_moves_them_alone(what: str, step: Callable) -> None:
    text = said(step, losing(what))
    word = {"bone": "the strength of bone"}.get(what, what)
    assert f"What the screws alone rest on: {word}." in text
    little = text.split("What counts little: ")[1].split(".")[0]
    assert word not in little
    assert "None of it counts" in said(step, lambda a, n: held(0.3))


def test_tension_is_not_blamed_where_friction_acts() -> None:
    """The shipped states: half the friction moves the screws twice as far, half the tension hardly."""
    facts = Facts(SCENES[:1])
    looks = time_words.rests_on(facts, 0, words.THIN_LAG, time_words.FADED_N, plate=False)
    moved = {k: x.moved_mm for k, x in looks.items()}
    assert moved["tension"] < 1.25 * moved["nothing"] < moved["friction"]
    assert time_words.counts(looks, ENGLISH).endswith("What counts little: tension.")
    assert time_words.counts(looks, GERMAN).endswith("Wenig zählt: Vorspannung.")


def test_why_screws_alone_move_is_said_of_the_forces_in_the_states() -> None:
    """One thing at a time: less friction or weaker bone takes from the face, less tension hardly."""
    def told(face: float, spent: float = 0.0, pull: float = 1600.0, moved: float = 0.3) -> Look:
        return held(moved, pushes={"face": push("fracture", face, -pull), "lag": push("screw", 1.0 - face, pull)},
                    spent={("thread", "lag"): 1.0 if spent == 1.0 else 0.0, ("bearing", "lag"): spent})

    def look(face: float, worn: float) -> Callable[[Asked, str], Look]:
        return lambda a, n: (told(0.5, 1.0, 900.0, 1.6) if a.point["strength"] < 1.0 else
                             told(worn, 0.5, 1800.0, 0.8) if a.point["friction"] < 0.5 else
                             told(face, 0.1, 1500.0) if a.point["tension"] < 1.0 else told(face, 0.1))

    text = said(time_words.fades, look(0.9, 0.6))
    assert ("pulls on the screws (1600 N; with less tension 1500 N). Their pull presses the faces, which carry "
            "90 % of the load: with less friction 60 %, in weak bone 50 %, as the threads hold only 900 N") in text
    assert "crushes" not in said(time_words.fades, look(0.6, 0.6))     # the face carries as much


def test_why_screws_alone_move_is_so_in_the_shipped_states() -> None:
    facts = Facts(SCENES[:1])
    looks = time_words.rests_on(facts, 0, words.THIN_LAG, time_words.FADED_N, plate=False)
    assert "crushes the bone beside them" in time_words._why(looks, ENGLISH)
    whole, weak = (abs(looks[k].aside("screw")) for k in ("nothing", "bone"))
    none = facts.look(facts.ask(0, words.THIN_LAG, plate=False, load=time_words.FADED_N, tension=0.0))
    assert abs(none.aside("screw")) > 0.9 * whole > 1.5 * weak     # the load itself pulls on them


def test_why_screws_lower_down_and_graft_do_that_is_so_in_the_shipped_states() -> None:
    facts = Facts(SCENES)
    text = " ".join(depressed.raft(facts).text)
    assert "In bone three times as strong they move less at each load" in text
    assert "The graft makes no difference up to" in text
    assert "of the load on the piece past the screws, so that they crush less" in text
    low, packed = (facts.look(facts.ask(depressed.SCENE, depressed.BELOW, graft=g, load=1600.0)) for g in (False, True))
    assert 0.2 < packed.carried("graft") < packed.carried("screw") < low.carried("screw")
    assert packed.most_spent("bearing") < low.most_spent("bearing")
    assert "The reason" not in said(depressed.raft, curve([0.05, 0.05, 0.2, 0.4]))


def test_screws_alone_and_the_plate_are_told_as_they_are() -> None:
    assert "That is why not the two screws alone" in said(time_words.fades, losing("friction"))
    assert "the plate changes nothing yet" in said(time_words.fades, lambda a, n: held(0.1))
    assert "With the plate the fragment moves more" in said(
        time_words.fades, lambda a, n: held(0.3 if a.on[1] else 0.1))


# -- bench tests ---------------------------------------------------------------------------------

def ending(screws: float | None, thick: float | None, thin: float | None) -> Callable:
    """Loads that end a test of each of three alone; with anything more in place a state fails."""
    def look(a: Asked, name: str) -> Look:
        if a.scene == 1:
            return held(0.1, end=screws if "screws" in name else thick)
        return held(0.1, end=screws if not a.on[1] else thick if "thick" in name else thin,
                    goes=(("hinge.plate", "thin plate"),))
    return look


@pytest.mark.parametrize(("loads", "claim"), [
    ((1000.0, 1300.0, 1200.0), "This model says the same"),
    ((1000.0, 1300.0, 900.0), "The thick plate agrees; the thin one does not: it bends permanently first"),
    ((1000.0, 900.0, 1200.0), "The thin plate agrees"),
    ((1000.0, 1000.0, 900.0), "This model does not show that"),
    ((None, 1000.0, None), "This model does not show that"),
    ((1000.0, None, None), "This model says the same")])
def test_a_plate_alone_is_compared_with_screws_alone(loads: tuple, claim: str) -> None:
    asked: list[Asked] = []

    class Kept(Told):
        def fails(self, found: Asked) -> float | None:
            asked.append(found)
            return super().fails(found)

    text = " ".join(time_words.fades(Kept(ending(*loads))).text)
    assert claim in text.split("Knee 2012")[1]
    assert [(a.on[0], a.on[1]) for a in asked] == [(True, False), (False, True), (False, True)]
    assert len({tuple(sorted(a.point.items())) for a in asked}) == 1


@pytest.mark.parametrize(("screws", "plate", "agrees"), [
    (1000.0, 1300.0, True), (1000.0, 900.0, False), (None, 900.0, False)])
def test_the_view_from_the_side_says_what_its_loads_say(screws: float | None, plate: float,
                                                        agrees: bool) -> None:
    text = said(time_words.from_the_side, ending(screws, plate, None))
    assert ("This model says the same" in text) == agrees
    assert ("This model does not show that" in text) != agrees
    assert ("built like the test" in text) != agrees      # which says the same as the bench
    assert "what puts the screws ahead here is friction" not in text     # the same without it


def test_friction_is_named_only_where_the_screws_lose_their_lead_without_it() -> None:
    def look(a: Asked, name: str) -> Look:
        smooth = a.point["friction"] == 0.0
        return held(0.1, end=(1000.0 if smooth else 2000.0) if "screws" in name else 1000.0)

    assert set(SIDE_VIEW) > {"front lag screws", "buttress"}
    assert "what puts the screws ahead here is friction" in said(time_words.from_the_side, look)


# -- the depressed surface -----------------------------------------------------------------------

def curve(below: list[float], packed: float = 0.1) -> Callable[[Asked, str], Look]:
    """A raft that moves 0.1 mm at each load, and what screws lower down do."""
    def look(a: Asked, name: str) -> Look:
        if name != depressed.BELOW:
            return held(0.1)
        at = depressed.ALONG_N.index(a.load_N)
        return held(packed if a.on[2] else below[at])
    return look


@pytest.mark.parametrize(("below", "claim"), [
    ([0.05, 0.05, 0.2, 0.4], "Up to 800 N it moves less there, from 1200 N on more"),
    ([0.2, 0.05, 0.05, 0.05], "Up to 400 N it moves more there, from 800 N on less"),
    ([0.05] * 4, "It moves less there at each load"), ([0.2] * 4, "It moves more there at each load"),
    ([0.1] * 4, "no difference"), ([0.05, 0.2, 0.05, 0.2], "depends on the load")])
def test_screws_lower_down_are_compared_along_the_curve(below: list[float], claim: str) -> None:
    text = said(depressed.raft, curve(below))
    assert claim in text
    assert "at 400, 800, 1200 and 1600 N" in text


def test_graft_that_makes_it_worse_is_said_with_the_loads() -> None:
    text = said(depressed.raft, curve([0.05, 0.05, 0.2, 0.4]))
    assert "The graft makes it worse up to 800 N and helps from 1200 N on" in text
    assert "The graft helps at each load" in said(depressed.raft, curve([0.4] * 4))


# -- which screw ---------------------------------------------------------------------------------

def test_screws_left_out_beside_lag_screws_get_a_conclusion() -> None:
    def told(worst: Look) -> Callable[[Asked, str], Look]:
        return lambda a, n: worst if a.on[0] and a.out == (words.LOWER,) else held(0.1)

    assert "There it makes little difference which one" in said(words.left_out, told(held(0.11)))
    for look in (held(0.4), NOT):
        assert "There “lower screw” is the worst one to leave out" in said(words.left_out, told(look))


# -- on paper and in studies of one's own --------------------------------------------------------

@pytest.mark.parametrize("language", ["en", "de"])
def test_what_is_done_on_the_screen_is_no_part_of_a_text(language: str) -> None:
    steps = words.tour(Told(lambda a, n: held(0.1)), words_in(language))
    assert sum(bool(s.tries) for s in steps) >= 3
    for s in steps:
        said_ = " ".join(s.text).lower()
        assert not any(x in said_ for x in (
            "to try", "tick them", "move the slider", "switch off", "follow the arrows",
            "probieren", "ankreuzen", "regler", "folgen sie")), s.title


def test_wires_are_called_wires() -> None:
    study = small_study("lag screws", loads=(400.0,))
    given = study.constructs[0]
    wire = Wire(name="two wires", diameter_mm=2.0, side="medial", height_mm=-12.0, angle_deg=0.0,
                length_mm=50.0, count=2)
    for screws, word in (((), "Without its wires:"), (given.screws, "Without its screws and wires:")):
        made = given.model_copy(update={"name": "pins", "screws": screws, "wires": (wire,)})
        text = " ".join(own_tour(Facts((small_scene(with_(study, made)),)))[1].text)
        assert word in text
        assert ("screws" in text) == bool(screws)


def with_(study: Study, *constructs: object) -> Study:
    return study.model_copy(update={"constructs": constructs})


def test_a_broken_rule_stands_beside_the_name() -> None:
    study = small_study("antiglide", loads=(400.0,))
    given = study.constructs[0]
    locked = given.model_copy(update={"name": "locked", "screws": tuple(
        s.model_copy(update={"locked": True}) for s in given.screws)})
    steps = own_tour(Facts((small_scene(with_(study, given, locked)),)))
    by = {s.title: " ".join(s.text) for s in steps}
    assert "a one-third tubular plate without locking holes" in by["locked (!)"]
    assert "breaks a rule" not in by["antiglide"]


def test_a_lesson_counts_what_is_within_the_limit() -> None:
    study = small_study("lag screws", "antiglide", loads=(400.0,))
    facts = Facts((small_scene(study),))
    moved = dict(enumerate((1.0, 10.47)))
    facts.look = lambda asked: held(moved[asked.choice])       # type: ignore[method-assign]
    first = own_tour(facts)[0].text[-1]
    assert "1 of 2 constructs stay within 2 mm" in first
    assert "moving over the limit of 2 mm: 1" in first
    assert "over the limit of 2 mm, moving up to 10.47 mm" in " ".join(own_tour(facts)[2].text)
