"""The constructs of a study once more in soft bone, for its weight-bearing table.

Soft bone is the preset "soft". Where the modulus comes from a map, it is the map's times a factor.
The cortex, the loads and the constructs stay as they are. A construct in soft bone has a path of
its own, tightening included, and one with friction lost. They are pressed no further than to the
largest load of the table.
"""

from __future__ import annotations

from buttress.fe.status import Status
from buttress.model.model import Model
from buttress.results.bearing import asked_for
from buttress.results.capacity import friction_lost
from buttress.results.derive import first_events
from buttress.results.limits import find_limits, first_yield, gauges
from buttress.results.reader import Reader
from buttress.results.search import Search, unloaded_status
from buttress.results.soft import Bears
from buttress.rules.study import limit_left
from buttress.study.bone import SectionInput
from buttress.study.study import Study
from buttress.study.tables import number

SOFT = "soft"
FOAM = "The bone of the study is a foam, so that nothing is judged in soft bone."
ALREADY = "The bone of the study is soft already, so soft bone is not judged separately."

NAMED = "A cell mentions soft bone only where its verdict there differs."


def in_soft_bone(study: Study) -> tuple[Study | None, str]:
    """The study in soft bone, and what that means; None where nothing is judged in it.

    A study without a body mass has no weight-bearing table, so that nothing is asked.
    """
    if study.load.body_mass_kg is None:
        return None, ""
    section, words = softened(study.section)
    return None if section is None else study.model_copy(update={"section": section}), words


def softened(section: SectionInput) -> tuple[SectionInput | None, str]:
    """The section with soft bone, and what that means; None where it is not another bone."""
    if section.bone == "foam":
        return None, FOAM
    if section.map is not None:
        share = number("materials", SOFT, "map_share")
        return section.model_copy(update={"modulus_scale": share * section.modulus_scale}), (
            f"In soft bone: {share:g} times the modulus of the map, the lower end of the range "
            "over which the ranking varies it, and the strength that follows from it; cortex that "
            f"is not part of the map stays as it is. {NAMED}")
    ends = [(section.modulus_scale * number("materials", section.bone, end),
             number("materials", SOFT, end)) for end in ("modulus_joint", "modulus_shaft")]
    if all(own <= soft for own, soft in ends):
        return None, ALREADY
    (_, joint), (_, shaft) = ends
    return section.model_copy(update={"bone": SOFT, "modulus_scale": 1.0}), (
        f'In soft bone: the preset "{SOFT}", cancellous modulus {joint:g} MPa at the joint to '
        f"{shaft:g} MPa in the shaft, and the strength that follows from it; the cortex stays as "
        f"it is. {NAMED}")


def bears(reader: Reader, model: Model, most: float | None = None) -> Bears:
    """How a construct bears the loads of the table, pressed no further than to the largest, or to
    where it carries ``most`` [N]."""
    study = model.bone.study
    if most is None:
        most = max((high for _, (_, high), *_ in asked_for(study.load)), default=0.0)
    search, found = Search(model, most), gauges(reader, model, study.limits)
    limits = find_limits(search, found, (), None)
    least, least_to, lost = friction_lost(model, found, most)
    status = Status.HELD if model.stands else unloaded_status(model)
    return Bears(status=status, equilibrium_ends_N=search.ends, ends_status=search.ends_status,
                 known_to_N=search.known_to, without_friction_N=least,
                 without_friction_to_N=least_to, limits=limits, limits_without_friction=lost,
                 left=limit_left(study),
                 **first_events(search, first_yield(reader, model)))
