"""Where the joint force acts: a patch on each condyle, or on that of a sagittal slice."""

from __future__ import annotations

from dataclasses import dataclass

from buttress.study.study import Study


@dataclass(frozen=True)
class Patch:
    """A contact patch: its condyle, the key of its position, centre x [mm], share of the force."""

    name: str
    key: str
    centre: float
    share: float


def patches(study: Study) -> tuple[Patch, ...]:
    """Contact patches of a study; their shares sum to 1, in a slice to the share of its condyle."""
    load = study.load
    shares = {"medial": load.shifted_share, "lateral": 1.0 - load.shifted_share}
    if study.section.sagittal:
        condyle = study.section.slice_condyle
        return (Patch(condyle, "slice_centre_mm", load.slice_centre, shares[condyle]),)
    return (Patch("medial", "medial_centre_mm", load.medial_centre, shares["medial"]),
            Patch("lateral", "lateral_centre_mm", load.lateral_centre, shares["lateral"]))


def shown_share(study: Study) -> float:
    """Share of the joint force that acts on what the section shows: 1, in a slice less."""
    return sum(p.share for p in patches(study))
