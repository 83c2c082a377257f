"""Faces of fractures and fills crush at the strength of the bone (or fill) on them."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.bone.section import Section
from buttress.model.model import Bones, Model, assemble
from buttress.study.read import example
from buttress.study.tables import table_value
from buttress.sweeps.vary import varied
from buttress.verification.studies import coarse


def contacts(model: Model, source: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Strength of each contact of a face [MPa], its place and number."""
    number = [i for i, x in enumerate(model.problem.links.links)
              if x.source == source and x.kind == "contact"]
    links = [model.problem.links.links[i] for i in number]
    return (np.array([x.upper / x.weight for x in links]), np.array([x.place for x in links]),
            np.array(number))


@pytest.mark.parametrize("name", ["medial-shear", "posterior-shear", "lateral-depression"])
def test_strength_is_the_mean_through_the_depth(name: str) -> None:
    section = Section(example(name).section)
    rng = np.random.default_rng(3)
    left, right = (section.surface(side) for side in section.given.sides)
    y = rng.uniform(-60.0, -1.0, 40)
    x = [rng.uniform(np.interp(-h, -left[:, 1], left[:, 0]), np.interp(-h, -right[:, 1],
                     right[:, 0])) for h in y]
    for place in np.column_stack([x, y]):
        depth = float(section.chord(place))
        z = (np.arange(4000) + 0.5) / 4000 * depth - depth / 2
        if section.given.sagittal:     # z counts from the middle of the whole slice
            h = section.level(place)
            z = z + depth / 2 - float(section.half_depth(h)) / 2
        local = section.local_bone(np.broadcast_to(place, (z.size, 2)), z).compressive_strength
        assert section.crushing(place) == pytest.approx(local.mean(), rel=5e-3)


def test_no_node_of_a_fracture_carries_more_than_its_bone() -> None:
    study = coarse("medial-shear", "antiglide", size_mm=1.0)
    model = assemble(Bones(study).of(study.constructs[0]), study.constructs[0])
    strength, place, number = contacts(model, "shear plane")
    assert strength == pytest.approx(model.bone.section.crushing(place), rel=1e-9)
    force = model.capacity().force
    assert force is not None
    weight = np.array([model.problem.links.links[i].weight for i in number])
    pressure = force[number] / weight
    assert (pressure <= strength * (1 + 1e-9)).all()
    assert pressure.max() == pytest.approx(195.0, rel=1e-6)    # the cortex of the apex crushes


def test_an_apex_is_no_stronger_on_a_finer_mesh() -> None:
    factors = []
    for size in (4.0, 1.0):
        study = coarse("medial-shear", "antiglide", size_mm=size)
        factors.append(assemble(Bones(study).of(study.constructs[0]),
                                study.constructs[0]).capacity().factor)
    assert factors[1] == pytest.approx(factors[0], rel=0.03)


def test_between_bone_and_fill_the_weaker_crushes() -> None:
    study = coarse("lateral-depression")
    bones = Bones(study)
    seen = set()
    for construct in study.constructs:
        model = assemble(bones.of(construct), construct)
        for fill in model.hardware.fills:
            for link in model.problem.links.links:
                if link.source == fill.name and link.kind in ("contact", "bond"):
                    at = np.array([link.place])
                    own, bone = fill.piece.crush(at)[0], model.bone.section.crushing(at)[0]
                    assert link.upper / link.weight <= min(own, bone) * (1 + 1e-9)
                    seen.add(bool(own < bone))
    assert seen == {True, False}


@pytest.mark.parametrize("share", [0.05, 0.12])
def test_a_crushed_face_rises_by_the_slope_of_its_bone_over_the_depth_of_a_layer(
        share: float) -> None:
    """By hand: a column of bone as deep as the layer that crushes at share x E carries
    share x E / depth more pressure for each mm; cortex carries no more."""
    study = varied(coarse("medial-shear", "antiglide"), {"hardening.bone_share": share}).study
    model = assemble(Bones(study).of(study.constructs[0]), study.constructs[0])
    section = model.bone.section
    deep = table_value("materials", "crushed bone", "face_layer").value
    assert deep == 10.0    # mm, as stated in the table
    seen = set()
    for link in model.problem.links.links:
        if link.source != "shear plane" or link.kind != "contact":
            continue
        at = np.array(link.place)
        core = float(section.core_thickness(at)) / float(section.chord(at))
        by_hand = share * core * float(section.core_at(at)) / deep
        assert link.slope / link.weight == pytest.approx(by_hand, rel=1e-9)
        seen.add(by_hand > 0.0)
    assert seen == {True, False}    # some of the face is cortex through and through
