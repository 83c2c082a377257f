"""Voids, fills, wires and rows in a study file: what is right comes through, what is wrong is named."""

from __future__ import annotations

import pytest
from wrong_input import VOID_STUDY, changed, refused, refused_at

from buttress.bone.fills import fill_material
from buttress.model.resolve import resolved
from buttress.rules.check import check
from buttress.study import tables
from buttress.study.read import parse_study

TEXT = VOID_STUDY + """
[[construct.wire]]
name = "wire"
diameter_mm = 1.6
side = "medial"
height_mm = -20
length_mm = "bicortical"
[[construct.fill]]
name = "graft"
void = "hole"
material = "impacted graft"
"""


def ruled(text: str, name: str) -> None:
    check(parse_study(text, name))


# --- what is right ------------------------------------------------------------------------------

def test_defaults() -> None:
    construct = parse_study(TEXT).constructs[0]
    assert construct.model == "links"
    [wire], [fill] = construct.wires, construct.fills
    assert (wire.count, wire.angle_deg, wire.material) == (1, 0, "steel")
    assert (fill.layers, fill.points_mm, fill.bonded, fill.depth_mm) == (None, None, None, None)
    assert construct.pins == (*construct.screws, wire)
    assert [k for k, _ in construct.parts()] == ["plate", "screw", "wire", "fill"]


def test_resolved_says_what_the_fill_is_made_of_and_reads_back() -> None:
    study = parse_study(TEXT)
    row = resolved(study)["construct"][0]
    assert row["wire"][0]["length_mm"] == pytest.approx(2 * 36.4, abs=1.5)
    fill = row["fill"][0]
    assert (fill["modulus_MPa"], fill["strength_MPa"], fill["friction"]) == (34.8, 1.7, 0.5)
    assert fill["bonded"] is False
    assert "points_mm" not in fill
    assert "bond_MPa" not in fill
    cement = resolved(parse_study(changed(TEXT, ("impacted graft", "bone cement"))))
    assert cement["construct"][0]["fill"][0]["bonded"] is True
    assert cement["construct"][0]["fill"][0]["bond_MPa"] == 2.0


def test_implants_may_have_the_name_of_a_side() -> None:
    assert parse_study(changed(TEXT, ('name = "wire"', 'name = "medial"'))).constructs[0].wires


def test_layers_sum_to_one() -> None:
    text = changed(TEXT, ('material = "impacted graft"', """layers = [
        {material = "loose chips", share = 0.25}, {material = "impacted graft", share = 0.75}]"""))
    fill = parse_study(text).constructs[0].fills[0]
    assert fill.layers is not None
    assert [layer.share for layer in fill.layers] == [0.25, 0.75]
    assert fill_material(fill).modulus.tolist() == [10, 34.8]
    filled = resolved(parse_study(text))
    assert "modulus_MPa" not in filled["construct"][0]["fill"][0]


def test_the_modulus_of_impacted_graft_follows_from_the_confined_one() -> None:
    confined, poisson, modulus = (tables.number("grafts", "impacted graft", f)
                                  for f in ("confined_modulus", "poisson", "modulus"))
    by_hand = confined * (1 + poisson) * (1 - 2 * poisson) / (1 - poisson)
    assert modulus == pytest.approx(by_hand, abs=0.05)
    assert tables.table_value("grafts", "impacted graft", "confined_modulus").status == "seen"


@pytest.mark.parametrize("row", tables.rows("grafts", "graft") + tables.rows("grafts", "cement"))
def test_rows_of_grafts_are_complete(row: str) -> None:
    wanted = {"modulus", "poisson", "strength", "friction"}
    if tables.kind("grafts", row) == "cement":
        wanted |= {"bond_strength"}
    assert wanted <= set(tables.fields("grafts", row))
    assert 0.1 < tables.number("grafts", row, "poisson") < 0.4


# --- what is wrong ------------------------------------------------------------------------------

@pytest.mark.parametrize(("old", "new", "key", "told"), [
    # keys and names, with the closest match
    ("void = ", "viod = ", "construct.c.fill.graft.viod", 'did you mean "void"'),
    ("[[void]]", "[[voids]]", "voids", 'did you mean "void"'),
    ("diameter_mm", "diametr_mm", "construct.c.wire.wire.diametr_mm", 'did you mean "diameter_mm"'),
    ('void = "hole"', 'void = "hol"', "construct.c.fill.graft.void", 'did you mean "hole"'),
    ('void = "hole"', 'void = "x"', "construct.c.fill.graft.void", '"hole"'),
    ('"impacted graft"', '"impacted grft"', "construct.c.fill.graft.material",
     'did you mean "impacted graft"'),
    ('"impacted graft"', '"in use"', "construct.c.fill.graft.material", "bone cement"),
    ('name = "c"', 'name = "c"\nmodel = "bonded inclusion"', "construct.c.model",
     'did you mean "bonded inclusions"'),
    # rows
    ("count = 4", "count = 0", "construct.c.screw.raft.count", "raft without pieces"),
    ("count = 4", "count = -4", "construct.c.screw.raft.count", "sign"),
    ("count = 4", "count = 40", "construct.c.screw.raft.count", "1 to 12"),
    # wires
    ("diameter_mm = 1.6", "diameter_mm = 1.7", "construct.c.wire.wire.diameter_mm",
     "did you mean 1.6"),
    ("diameter_mm = 1.6", "diameter_mm = 0", "construct.c.wire.wire.diameter_mm", "1.25"),
    ("diameter_mm = 1.6\n", "", "construct.c.wire.wire.diameter_mm", "in mm"),
    ("diameter_mm = 1.6", "diameter_mm = 1.6\nthread_mm = 16", "construct.c.wire.wire.thread_mm",
     "unknown key"),
    ('side = "medial"\n', "", "construct.c.wire.wire.side", '"medial" or "lateral"'),
    # fills
    ('material = "impacted graft"', "", "construct.c.fill.graft.material", "or layers"),
    ('material = "impacted graft"', 'material = "impacted graft"\n'
     'layers = [{material = "loose chips", share = 1}]', "construct.c.fill.graft.material",
     "either"),
    ('material = "impacted graft"', 'layers = [{material = "loose chips", share = 0.7}]',
     "construct.c.fill.graft.layers", "add up to 1"),
    ('material = "impacted graft"', 'layers = [{material = "loose chips", share = -0.5}]', "construct.c.fill.graft.layers.1.share", "sign"),
    ('material = "impacted graft"', "layers = []", "construct.c.fill.graft.layers", "too few"),
    ('material = "impacted graft"', 'material = "loose chips"\nmodulus_MPa = -5',
     "construct.c.fill.graft.modulus_MPa", "sign"),
    ('material = "impacted graft"', 'material = "loose chips"\nfriction = nan',
     "construct.c.fill.graft.friction", "finite"),
    ('material = "impacted graft"', 'material = "loose chips"\nbonded = true',
     "construct.c.fill.graft.bond_MPa", "bond strength"),
    ('material = "impacted graft"', 'material = "loose chips"\npoints_mm = [[1, 2], [3, 4]]',
     "construct.c.fill.graft.points_mm", "too few"),
    ('material = "impacted graft"', 'material = "structural block"\n'
     "points_mm = [[16, -9], [16, -22], [24, -22], [24, -9]]", "construct.c.fill.graft.points_mm",
     "15 % of it lies outside"),
    ('material = "impacted graft"', 'material = "structural block"\n'
     "points_mm = [[-9, -9], [-9, -19], [0, -19]]", "construct.c.fill.graft.points_mm",
     "100 % of it lies outside"),
    ('material = "impacted graft"', 'material = "structural block"\n'
     "points_mm = [[16, -9], [24, -19], [16, -19], [24, -9]]", "construct.c.fill.graft.points_mm",
     "crosses itself"),
    ('material = "impacted graft"', 'material = "structural block"\n'
     "points_mm = [[16, -9], [16, -19.7], [24, -19.7], [24, -9]]", "construct.c.fill.graft.points_mm",
     "almost touches"),
    ('material = "impacted graft"', 'material = "loose chips"\n[[construct.fill]]\n'
     'name = "more"\nvoid = "hole"\nmaterial = "bone cement"', "construct.c.fill.more.void",
     "filled twice"),
    ('void = "hole"\n', "", "construct.c.fill.graft.void", "the name of a [[void]]"),
    # names that answers are listed by
    ('name = "graft"', 'name = "hole"', "construct.c.fill.hole.name", "name of a void"),
    ('name = "graft"', 'name = "wire"', "construct.c.fill.wire.name", "name of a wire"),
    ('name = "graft"', 'name = "piece"', "construct.c.fill.piece.name", "name of a fragment"),
    ('name = "graft"', 'name = "lateral"', "construct.c.fill.lateral.name", "side of the bone"),
    ('name = "wire"', 'name = "raft"', "construct.c.wire.raft.name", "name of a screw"),
    ('name = "wire"', 'name = "inner"', "construct.c.wire.inner.name", "name of a fracture"),
    ('name = "hole"', 'name = "inner"', "void.inner.name", "name of a fracture"),
    ('name = "hole"', 'name = "piece"', "void.piece.name", "name of a fragment"),
    ('name = "inner"', 'name = "joint"', "fracture.joint.name", "side of the bone"),
    ('name = "piece"', 'name = "shaft"', "fragment.shaft.name", "clamped piece"),
    # voids and fragments in the bone
    ("[[12, -9], [15, -20], [25, -20], [28, -9]]", "[[12, -9], [15, -20]]", "void.hole.points_mm",
     "three corners"),
    ("[[12, -9], [15, -20], [25, -20], [28, -9]]", "[[12, 9], [15, 20], [25, 20]]",
     "void.hole.points_mm", "outside the bone"),
    ("[[12, -9], [15, -20], [25, -20], [28, -9]]", "[[12, -9], [25, -20], [15, -20], [28, -9]]",
     "void.hole.points_mm", "crosses"),
    ("[[void]]", '[[void]]\nname = "other"\npoints_mm = [[14, -12], [14, -19], [24, -15]]\n[[void]]',
     "void.hole.points_mm", 'overlaps void "other"'),
    ("[28, -9]]\n[[void]]", "[28, -9]]\n[[fracture]]\nname = \"thin\"\n"
     "points_mm = [[13.6, 0], [13.6, -9]]\n[[void]]", "fracture.thin.points_mm",
     'almost touches fracture "inner"'),
    ("inside_mm = [20, -4]", "inside_mm = [20, -14]", "fragment.piece.inside_mm",
     'in the void "hole"'),
    ("inside_mm = [20, -4]", "inside_mm = [0, -40]", "fragment.piece.inside_mm", "the shaft"),
    ("inside_mm = [20, -4]", "inside_mm = [60, -4]", "fragment.piece.inside_mm", "outside the bone"),
    ("inside_mm = [20, -4]\n", "", "fragment.piece.inside_mm", "[x, y]"),
    ("[[construct]]", '[[fragment]]\nname = "again"\ninside_mm = [22, -5]\n[[construct]]',
     "fragment.again.inside_mm", 'two names for one fragment: this piece is called "piece"'),
    ("[12, -9]]", "[12.5, -4]]", "fracture.inner.points_mm", "does not divide the section"),
])
def test_values_that_are_wrong(old: str, new: str, key: str, told: str) -> None:
    refused_at(key, told, changed(TEXT, (old, new)), ruled)


def test_a_sliver_is_named_with_its_line() -> None:
    # A flake beside the medial cortex, 0.6 mm thick, with elements of 1.5 mm.
    text = changed(TEXT, ("[[void]]", '[[fracture]]\nname = "chip"\n'
                    "points_mm = [[-38.4, -8], [-37.4, -9], [-37.4, -9.4], [-38.4, -10.4]]\n[[void]]"))
    refused_at("fracture.chip.points_mm", "sliver too thin for the element size", text, ruled)


def test_without_any_void_a_fill_has_no_place() -> None:
    text = """
name = "x"
[[construct]]
name = "c"
[[construct.fill]]
name = "graft"
void = "hole"
material = "loose chips"
"""
    error = refused(text, ruled)
    assert "[[void]]" in error.expected
