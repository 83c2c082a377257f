"""Captions of the figures of a comparison, as a journal prints them below a figure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from buttress import LABEL
from buttress.draw.section import ESCAPE_MM, outcome, unmade
from buttress.fe.status import Status
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.judged import HOW_TO_READ
from buttress.results.picture import Picture
from buttress.results.stress import STRAIN_RATIO
from buttress.words import BREAKS_RULE

MOVED = ("Displacements are relative to the tightened state and magnified as stated in the figure; "
         "grey outline: before loading, black outline: under load.")
PATH = "pressed slowly by displacement from the tightened state"
MARKS = "Markers: first event of each kind. Rings, if any: two curves cross."
LEFT = ", or the one that its stages leave"
Key = tuple[str, str, str]
"""Kind of a figure, construct and fragment, as in `all.stems`."""


def caption(comparison: Comparison, key: Key, picture: Picture | None, field: str = STRAIN_RATIO
            ) -> str:
    """What a figure shows: constructs, load, units, how to read it, and the label.

    ``picture``: what is drawn, of a figure that shows one section; ``field``: what colours
    sections, see `deformed`.
    """
    kind, construct, fragment = key
    about: dict[str, Callable[[], list[str]]] = {
        "overview": partial(_overview, comparison, picture, field),
        "capacity": partial(_capacity, comparison),
        "movement": partial(_movement, comparison),
        "curves": partial(_curves, comparison, fragment),
        "weight bearing": partial(_bearing, comparison),
        "map": partial(_map, comparison),
        "deformed": partial(_deformed, comparison, picture, field),
        "contact": partial(_contact, picture),
        "free body": partial(_free_body, picture, fragment),
        "tornado": partial(_tornado, comparison, construct),
        "all stages": partial(_all_stages, comparison),
        "stages": partial(_stages, construct),
        "screw forces": partial(_screw_forces, construct)}
    broken = any(c.breaks_rule for c in comparison.constructs
                 if not construct or c.name == construct)
    study = comparison.study
    return " ".join([*about[kind](), *([f"{BREAKS_RULE}."] if broken else []),
                     f"Two-dimensional finite-element model, study “{study.title or study.name}”.",
                     LABEL])


def _path(comparison: Comparison) -> str:
    return PATH + (LEFT if any(c.begins for c in comparison.constructs) else "")


def _begins(comparison: Comparison, construct: str = "") -> list[str]:
    """Of constructs that their stages load, from where they are pressed and movements count."""
    return [f"{c.marked_name}: {c.begins}." for c in comparison.constructs
            if c.begins and construct in ("", c.name)]


def _names(comparison: Comparison) -> str:
    return _quoted([c.marked_name for c in comparison.constructs])


def _quoted(names: Sequence[str]) -> str:
    """Names as a list in which one with a comma is still one."""
    return ", ".join(f"“{name}”" for name in names)


def _colours(field: str) -> str:
    return ("Colours: largest principal strain over yield strain [-], where 1 is yield."
            if field == STRAIN_RATIO else f"Colours: {field} [MPa].")


def _overview(comparison: Comparison, picture: Picture | None, field: str) -> list[str]:
    assert picture is not None
    load = comparison.study.load.words(picture.load_N)
    shown = [c.picture(picture.load_N) for c in comparison.constructs]
    fails = [p.marked_name for p in shown if p.status == Status.NO_EQUILIBRIUM and not unmade(p)]
    return [f"Sections of all constructs ({_names(comparison)}) under a total joint force of {load}"
            f"; {picture.view.all_words}.", MOVED, *_begins(comparison), _colours(field),
            *([f"No equilibrium was found for {_quoted(fails)}: drawn {ESCAPE_MM:g} mm along the "
               "failure mechanism, a direction and not an amount."] if fails else [])]


def _capacity(comparison: Comparison) -> list[str]:
    return [f"Total joint force [N] that each construct carries ({_names(comparison)}). Bars: "
            "capacity by limit analysis, filled without friction, hatched with friction at its "
            "best, nothing hardening. Marks: loads at which the limits of the study are reached "
            f"as each is {_path(comparison)}. Dashed lines: loads of the study, "
            f"{comparison.study.load.all_words}.", f"{HOW_TO_READ}"]


def _movement(comparison: Comparison) -> list[str]:
    limits = comparison.study.limits
    return ["Total joint force [N] over the movement of the joint, the largest of net subsidence, "
            f"step-off and gap [mm], one line for each construct ({_names(comparison)}), each "
            f"{_path(comparison)}. The load at {limits.movement_mm:g} mm orders the constructs. "
            f"{MARKS} "
            f"Dashed lines: loads of the study, {comparison.study.load.all_words}."]


def _curves(comparison: Comparison, fragment: str) -> list[str]:
    return [f"Total joint force [N] over the mean subsidence of the joint surface of “{fragment}” "
            f"[mm, relative to the shaft], one line for each construct ({_names(comparison)}), "
            f"each {_path(comparison)}. {MARKS} "
            f"Dashed lines: loads of the study, {comparison.study.load.all_words}."]


def _bearing(comparison: Comparison) -> list[str]:
    found = weight_bearing(comparison)
    assert found is not None
    return [f"{found.title}: verdict of the model on each construct "
            f"({_quoted([found.named(c) for c in found.constructs])}) under the joint force [N] "
            f"of each activity, for a body mass of {found.body_mass_kg:g} kg.", found.judged]


def _map(comparison: Comparison) -> list[str]:
    words = comparison.study.section.map
    return [f"Map of the bone over the mesh: {words.words if words else ''}."]


def _deformed(comparison: Comparison, picture: Picture | None, field: str) -> list[str]:
    assert picture is not None
    note = comparison[picture.construct].note
    of = f"Section of the construct “{picture.marked_name}”" + (
        f" ({note.rstrip('.')})" if note else "")
    if not picture.held:
        return [f"{of}; {picture.view.all_words}. Joint force: {_outcome(picture)}."]
    return [f"{of} under a total joint force of {_outcome(picture)}; {picture.view.all_words}.",
            MOVED, *_begins(comparison, picture.construct), _colours(field),
            "Arrows: forces between the parts [N], to the scale stated."]


def _outcome(picture: Picture) -> str:
    return outcome(picture).removesuffix(f"; {BREAKS_RULE}")


def _contact(picture: Picture | None) -> list[str]:
    assert picture is not None
    return [f"Contact pressure [MPa] along fractures, under plates and round fills of the "
            f"construct “{picture.marked_name}” under a total joint force of {_outcome(picture)}; "
            f"{picture.view.all_words}. Tightening is included."]


def _free_body(picture: Picture | None, fragment: str) -> list[str]:
    assert picture is not None
    if not picture.held:
        return [f"“{fragment}” in the construct “{picture.marked_name}”; {picture.view.all_words}. "
                f"Joint force: {_outcome(picture)}. No forces balance, so none are drawn."]
    return [f"Free body of “{fragment}” in the construct “{picture.marked_name}” under a total "
            f"joint force of {_outcome(picture)}; {picture.view.all_words}. Left: every force on "
            "the fragment [N] where it acts. Right: the same forces, tip to tail; the polygon "
            "closes where they balance."]


def _tornado(comparison: Comparison, construct: str) -> list[str]:
    c = comparison[construct]
    return [f"Joint force [N] at {c.reserve.movement_mm:g} mm of movement of the joint, or at the "
            f"peak, of the construct “{c.marked_name}” with other choices of the model, one "
            "changed at a time. Line: as in the study."]


def _all_stages(comparison: Comparison) -> list[str]:
    return [f"What the stages of all constructs ({_quoted([s.name for s in comparison.stages])}) "
            "did: mean position of each fragment's joint surface below its place at the start "
            "[mm] and force of each screw's head [N] after every stage. Grey: a load acts."]


def _stages(construct: str) -> list[str]:
    return [f"Fragments of the construct “{construct}” after each stage; displacements are "
            "counted from the start (dashed) and magnified as stated. Up, down: mean movement of "
            "the joint surface [mm] of the fragment that has sunk most."]


def _screw_forces(construct: str) -> list[str]:
    return [f"Force of each screw's head [N] of the construct “{construct}” after each stage."]
