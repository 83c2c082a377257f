"""Shipped studies: they can be read, meshed and told apart, and say what they are."""

from __future__ import annotations

import re

import numpy as np
import pytest

from buttress.bone.layout import layout, planned
from buttress.bone.section import Section
from buttress.fe.mesh.bodies import mesh_bodies
from buttress.model.resolve import resolved
from buttress.rules.check import check
from buttress.study.read import example, example_names, example_text, study_from

BODIES = {
    "medial-shear": ({"medial"}, {"shear plane"}),
    "fading-tension": ({"medial"}, {"shear plane"}),
    "staged-tightening": ({"lateral slice"}, {"split"}),
    "lateral-split": ({"lateral wedge"}, {"split"}),
    "posterior-shear": ({"posterior fragment"}, {"shear plane"}),
    "lateral-depression": ({"joint fragment"}, {"inner edge", "outer edge"}),
    "bicondylar": ({"medial condyle", "lateral condyle"},
                   {"joint split", "medial limb", "lateral limb"}),
    "bicondylar-detached": ({"medial condyle", "lateral condyle", "spike"},
                            {"joint split", "medial limb", "lateral limb", "shaft line"}),
}
ON_PURPOSE = {
    "lateral-split": {("lag + full thread", "thread on both sides")},
    "lateral-depression": {("screws below", "raft below the joint"),
                           ("screws below + impacted graft", "raft below the joint")},
}


@pytest.mark.parametrize("name", example_names())
def test_the_mesh_has_the_named_fragments_the_shaft_and_nothing_else(name: str) -> None:
    study = example(name)
    section = Section(study.section)
    fragments, fractures = BODIES[name]
    points = {f.name: f.inside_mm for f in study.fragments}
    meshes, faces = mesh_bodies(planned(study), study.mesh.size_mm, points)
    assert {m.name for m in meshes} == fragments | {"body 1"}
    assert {f.name for f in faces} == fractures
    found = layout(study, section)
    assert set(found.pieces) == fragments
    area = {m.name: m.area for m in meshes}
    for fragment, piece in found.pieces.items():
        assert area[fragment] == pytest.approx(piece.area, rel=1e-9)
    assert area["body 1"] == pytest.approx(found.shaft.area, rel=1e-9)
    assert sum(area.values()) + sum(v.area for v in found.voids.values()) == pytest.approx(
        found.bone.area, rel=1e-9)


def test_a_filling_touches_the_fragment_above_it_and_the_bone_below() -> None:
    study = example("lateral-depression")
    section = Section(study.section)
    [void] = study.voids
    outlines = {f.points_mm or void.points_mm for c in study.constructs for f in c.fills}
    assert outlines
    for outline in outlines:
        planar = planned(study, {"fill": np.array(outline)})
        meshes, faces = mesh_bodies(planar, study.mesh.size_mm,
                                    {f.name: f.inside_mm for f in study.fragments})
        touched = {meshes[f.body_a].name for f in faces if f.name == "fill"}
        assert "joint fragment" in touched
        assert "body 1" in touched
        assert list(layout(study, section).above("void")) == ["joint fragment"]


@pytest.mark.parametrize("name", example_names())
def test_no_shipped_construct_breaks_a_rule_except_on_purpose(name: str) -> None:
    found = [f for f in check(example(name)) if f.level != "note"]
    assert [f for f in found if f.level == "broken"] == []
    assert {(f.construct, f.rule) for f in found} == ON_PURPOSE.get(name, set())


@pytest.mark.parametrize("name", example_names())
def test_studies_are_invented_legible_and_complete(name: str) -> None:
    study = example(name)
    assert study.name == name
    assert "invented scenario" in study.scenario
    assert 2 <= len(study.constructs) <= 10
    assert len(study.fragments) <= 4
    for construct in study.constructs:
        assert len(construct.name) <= 36
        assert 20 < len(construct.note) < 110
    filled = resolved(study)
    assert resolved(study_from(filled)) == filled
    assert not re.search(r"\t| $", example_text(name), flags=re.M)
    assert max(len(line) for line in example_text(name).splitlines()) <= 105


def test_studies_vary_in_side_size_and_bone() -> None:
    studies = [example(n) for n in example_names()]
    assert {s.section.side for s in studies} == {"left", "right"}
    assert {s.section.bone for s in studies} == {"dense", "soft"}
    assert len({s.section.width_mm for s in studies}) >= 4


def test_one_name_means_one_implant_in_all_constructs_of_a_study() -> None:
    # Paths such as construct.*.screw.raft address it in each.
    for name in example_names():
        kinds: dict[str, str] = {}
        for construct in example(name).constructs:
            for kind, parts in construct.parts():
                for part in parts:
                    assert kinds.setdefault(part.name, kind) == kind


def test_the_detached_study_is_the_other_with_one_line_more() -> None:
    whole, detached = example("bicondylar"), example("bicondylar-detached")
    assert detached.fractures[:-1] == whole.fractures
    assert detached.voids == whole.voids
    assert detached.fragments[:-1] == whole.fragments
    assert detached.load == whole.load
