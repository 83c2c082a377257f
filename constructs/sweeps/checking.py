"""Geometry and rules of the trade of a sweep's constructs, checked once per distinct geometry.

Friction, strengths and the size of the load affect no finding, so cases that differ only in those
share it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from buttress.bone.layout import Layout
from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.rules.bone import check_bone
from buttress.rules.check import check_construct
from buttress.study.implants import tension
from buttress.study.read import study_from
from buttress.study.study import Construct, Study
from buttress.sweeps.keys import SIZE_OF_LOAD, Planned, bone_key, digest, hardware_key, load_key
from buttress.sweeps.workshop import Kept

FEW_KEPT, MOST_KEPT = 64, 4096
MOST_CHECKED = 100
"""Number of distinct geometries that a dry run checks: some seconds."""


class Checker:
    """Checks whether constructs can be built and which rules of the trade are broken; cached."""

    def __init__(self) -> None:
        self._bones: Kept[Layout | InputError] = Kept(FEW_KEPT)
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
        bone = digest([bone_key(study), load_key(study), [p.share > 0 for p in patches(study)]])
        layout = self._bones.get_or(bone, lambda: _bone(study, ()))
        if isinstance(layout, InputError):
            raise layout
        if construct is None:
            return ()
        # Whether a thread pulls out depends on the tension.
        key = digest([bone, hardware_key(study, construct), [tension(s) for s in construct.screws]])
        found = self._kept.get_or(key, lambda: _look(study, layout, construct))
        if isinstance(found, InputError):
            raise found
        return found


def _bone(study: Study, constructs: tuple[Construct, ...]) -> Layout | InputError:
    """The pieces of the bone with the fills of these constructs, or the reason for failure."""
    try:
        return check_bone(study.model_copy(update={"constructs": constructs}),
                          Section(study.section))
    except InputError as error:
        return error


def _look(study: Study, layout: Layout, construct: Construct) -> tuple[str, ...] | InputError:
    """The broken rules of a construct, or the reason why it cannot be built."""
    if construct.fills and isinstance(filled := _bone(study, (construct,)), InputError):
        return filled
    try:
        found = check_construct(study, Section(study.section), layout, construct)
    except InputError as error:
        return error
    return tuple(f"{f.part}: {f.rule}" for f in found if f.level == "broken")


@dataclass
class Geometry:
    """First reasons why a whole bone, or else one construct, cannot be built, by case number.

    ``unchecked``: number of cases that were not checked.
    """

    bones: dict[int, str] = field(default_factory=dict)
    constructs: dict[int, str] = field(default_factory=dict)
    unchecked: int = 0


def unbuildable(cases: Iterable[Planned]) -> Geometry:
    """Which of these cases cannot be built, judged from their lines without a mesh.

    Checks at most `MOST_CHECKED` distinct geometries, spread evenly over the cases.
    """
    checker, out = Checker(), Geometry()
    alike: dict[str, list[Planned]] = {}
    for case in cases:
        load = {k: v for k, v in case.data["load"].items() if k not in SIZE_OF_LOAD}
        alike.setdefault(digest([case.bones, case.frames, load]), []).append(case)
    groups = list(alike.values())
    chosen = {len(groups) * i // MOST_CHECKED for i in range(MOST_CHECKED)}
    for number, group in enumerate(groups):
        if number not in chosen:
            out.unchecked += len(group)
            continue
        found = _reasons(checker, study_from(group[0].data, folder=group[0].folder))
        for reason, where in zip(found, (out.bones, out.constructs), strict=True):
            if reason:
                where.update((case.number, reason) for case in group)
    return out


def _reasons(checker: Checker, study: Study) -> tuple[str, str]:
    """The reason why the bone, or else a construct, cannot be built; empty if there is none."""
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
