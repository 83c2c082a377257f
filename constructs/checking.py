"""Geometry and rules of the trade of a sweep's constructs, asked once for each distinct geometry.

Friction, strengths and the size of the load change no finding, so cases that differ in those only
share it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from constructs.grouping import SIZE_OF_LOAD, Planned, bone_key, digest, hardware_key, load_key
from constructs.implants import tension
from constructs.patches import patches
from constructs.rules import check_construct
from constructs.rules_bone import check_bone
from constructs.schema import Construct, Study
from constructs.section import Section
from constructs.study import study_from
from constructs.workshop import Kept
from fe.errors import InputError

MOST_KEPT = 4096
MOST_CHECKED = 500
"""Distinct geometries that a dry run looks at: some seconds."""


class Checker:
    """What can be built and which rules of the trade are broken; remembers what it has seen."""

    def __init__(self) -> None:
        self._kept: Kept[tuple[str, ...] | InputError] = Kept(MOST_KEPT)

    def bone(self, study: Study) -> None:
        """Raise InputError where the bone cannot be built or loaded."""
        self._asked(study, None)

    def broken(self, study: Study, construct: Construct) -> tuple[str, ...]:
        """Each broken rule as "PART: RULE", as `rules.check` finds them.

        Raises InputError where the bone or the construct cannot be built.
        """
        return self._asked(study, construct)

    def _asked(self, study: Study, construct: Construct | None) -> tuple[str, ...]:
        own = [] if construct is None else [
            hardware_key(study, construct), [tension(s) > 0 for s in construct.screws]]
        key = digest([bone_key(study), load_key(study), [p.share > 0 for p in patches(study)], own])
        found = self._kept.get_or(key, lambda: _look(study, construct))
        if isinstance(found, InputError):
            raise found
        return found


def _look(study: Study, construct: Construct | None) -> tuple[str, ...] | InputError:
    section = Section(study.section)
    one = study.model_copy(update={"constructs": () if construct is None else (construct,)})
    try:
        layout = check_bone(one, section)
        found = [] if construct is None else check_construct(study, section, layout, construct)
    except InputError as error:
        return error
    return tuple(f"{f.part}: {f.rule}" for f in found if f.level == "broken")


@dataclass
class Geometry:
    """First reasons why a whole bone, or else one construct, cannot be built, by case number.

    ``unchecked``: how many cases were not looked at.
    """

    bones: dict[int, str] = field(default_factory=dict)
    constructs: dict[int, str] = field(default_factory=dict)
    unchecked: int = 0


def unbuildable(cases: Iterable[Planned]) -> Geometry:
    """What of these cases cannot be built, by its lines without a mesh.

    Looks at no more than `MOST_CHECKED` distinct geometries.
    """
    checker, out = Checker(), Geometry()
    kept: dict[str, tuple[str, str]] = {}
    for case in cases:
        load = {k: v for k, v in case.data["load"].items() if k not in SIZE_OF_LOAD}
        key = digest([case.bones, case.frames, load])
        if key not in kept:
            if len(kept) >= MOST_CHECKED:
                out.unchecked += 1
                continue
            kept[key] = _reasons(checker, study_from(case.data, folder=case.folder))
        for reason, where in zip(kept[key], (out.bones, out.constructs), strict=True):
            if reason:
                where[case.number] = reason
    return out


def _reasons(checker: Checker, study: Study) -> tuple[str, str]:
    """Why the bone cannot be built, and if it can, why a construct cannot; else empty."""
    try:
        checker.bone(study)
    except InputError as error:
        return str(error), ""
    for construct in study.constructs:
        try:
            checker.broken(study, construct)
        except InputError as error:
            return "", str(error)
    return "", ""
