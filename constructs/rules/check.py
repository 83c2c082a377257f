"""Rules of the trade: known principles of fixation, checked before anything is solved.

A broken rule is not an error: the construct is solved, with a warning. Only what cannot be solved
(an implant without contact to bone, a load outside the joint) is an `InputError`.
"""

from __future__ import annotations

from dataclasses import dataclass

from buttress.bone.layout import Layout
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import screw_axis
from buttress.rules import screw as rules_screw
from buttress.rules.bone import check_bone
from buttress.rules.fill import alone_notes, raft_notes, void_notes
from buttress.rules.plate import plate_notes
from buttress.rules.screw import Level
from buttress.rules.seated import check_seated
from buttress.rules.stages import stage_notes
from buttress.rules.study import study_notes
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Construct, Study


@dataclass(frozen=True)
class Finding:
    """The finding of a rule on a part of a construct, and the reason for the rule.

    `construct` is empty for what concerns the whole study; `level`: note = worth knowing, warning =
    doubtful, broken = against the rule. `rule` is a short stable name.
    """

    construct: str
    part: str
    level: Level
    rule: str
    message: str
    reason: str


def check(study: AnyStudy) -> list[Finding]:
    """What the rules of the trade say of a study's constructs, before anything is solved.

    ``study``: see `compare`. Returns the findings in the order of the study, each with its level:
    "note", "warning" or "broken".

    Raises InputError, with the key, where the study cannot be solved: a fracture, void or fragment
    outside the bone, lines that cannot be meshed, a graft outside its void, a load outside the
    joint line, an implant without contact to bone.
    """
    study = as_study(study)
    section = Section(study.section)
    found = check_bone(study, section)
    return [*(Finding("", part, *note) for part, note in study_notes(study, found)),
            *(finding for construct in study.constructs
              for finding in check_construct(study, section, found, construct))]


def check_construct(study: Study, section: Section, layout: Layout, construct: Construct,
                    ) -> list[Finding]:
    """Findings of one construct. Raises InputError where an implant touches no bone."""
    found: list[Finding] = []

    def say(part: str, level: Level, rule: str, message: str, reason: str) -> None:
        found.append(Finding(
            construct=construct.name, part=part, level=level, rule=rule, message=message,
            reason=reason))

    placed: list[rules_screw.Placed] = []
    try:
        for plate in construct.plates:
            for note in plate_notes(study, section, construct, plate):
                say(plate.name, *note)
        for pin in construct.pins:
            axis = screw_axis(section, pin, construct.plates)
            placed.append(rules_screw.place(study, pin, axis))
        check_seated(study, layout, construct, placed)
    except InputError as error:
        raise InputError(error.message, key=f"construct.{construct.name}.{error.key}",
                         value=error.value, expected=error.expected) from None
    for item in placed:
        for note in rules_screw.each(study, section, construct, item):
            say(item.pin.name, *note)
        for note in rules_screw.one_piece(layout, item):
            say(item.pin.name, *note)
        for note in raft_notes(layout, item):
            say(item.pin.name, *note)
    for part, note in rules_screw.together(section, construct, placed):
        say(part, *note)
    for part, note in rules_screw.plates_across(construct, placed):
        say(part, *note)
    for part, note in void_notes(study, section, layout, construct):
        say(part, *note)
    for part, note in alone_notes(study, section, layout, construct, placed):
        say(part, *note)
    for part, note in stage_notes(construct):
        say(part, *note)
    return found
