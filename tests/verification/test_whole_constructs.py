"""Whole constructs: equilibrium 1e-9, bonded parts as one body 1e-9, mirror image and names 1e-9."""

import numpy as np
import pytest

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.link import End, Link
from buttress.sweeps.vary import plain
from buttress.verification import balance, cases, mirror, whole
from buttress.verification.studies import coarse, mirrored, relabelled


@pytest.mark.parametrize("case", cases(), ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


@pytest.mark.parametrize("name", balance.STUDIES)
def test_each_kind_of_balance_closes(name):
    assert set(balance.errors(name)[0]) == {"bodies", "links", "clamp"}
    assert max(balance.errors(name)[0].values()) < 1e-9


@pytest.mark.parametrize("way", mirror.WAYS)
@pytest.mark.parametrize("name", mirror.STUDIES)
def test_every_kind_of_figure_was_compared(name, way):
    found = mirror.turned(name, way)
    assert set(found) == set(mirror.KINDS)
    assert max(found.values()) <= mirror.WAYS[way][1]


def test_balance_is_that_of_many_answers_and_several_fragments():
    counted = {name: balance.errors(name)[1] for name in balance.STUDIES}
    assert counted["bicondylar"] == 15  # five constructs, three loads: all held
    assert sum(counted.values()) > 70
    assert {len(coarse(name).fragments) for name in balance.STUDIES} == {1, 2, 3}


def test_a_pair_of_forces_off_one_line_is_noticed():
    # What friction on a screw's surface is, when it is put on the screw's axis.
    rod = Member("rod", np.array([[0.0, 0.0], [10.0, 0.0]]), [BeamSection(1e6, 1e6, 1e6)])
    other = Member("other", np.array([[0.0, 2.0], [10.0, 2.0]]), [BeamSection(1e6, 1e6, 1e6)])
    along = np.array([1.0, 0.0])

    class Stub:
        problem = type("P", (), {"links": type("L", (), {"links": [
            Link("rest friction", "rod", End(rod, rod.translation(0, along)),
                 End(other, other.translation(0, along)))]})})

    answer = type("A", (), {"force": np.array([100.0])})
    assert balance.left_on_links(Stub, answer) == pytest.approx([0.0, 200.0])


def test_ties_meet_every_shared_node_once():
    bone, parts, number = whole.setting()
    shared = sum(len(p.points) for p in parts) - (number.max() + 1)
    faces = sum(len(f.nodes_a) for f in bone.faces)
    assert len(parts) == 3
    assert 0 < shared < faces  # fewer: where faces meet a point is shared by three or four


def test_a_mirror_twice_is_the_study():
    for name in mirror.STUDIES:
        study = coarse(name)
        again = mirrored(mirrored(study))
        one, two = plain(study), plain(again)
        one["load"].pop("medial_share"), two["load"].pop("medial_share")
        assert one["load"].pop("direction_deg", 0.0) == two["load"].pop("direction_deg", 0.0) == 0.0
        assert two == one


def test_a_study_that_is_not_the_mirror_image_is_noticed():
    study, meshed, one = mirror.straight("lateral-split", 4.0)
    data = plain(study)
    data["load"]["medial_share"] = 0.59
    other = mirror.figures(type(study).model_validate(data), meshed)
    found = mirror.differences(one, other)
    assert all(found[kind] > 1e-3 for kind in ("subsidence", "tilt", "force", "stress", "capacity"))
    assert mirror.differences(one, mirror.figures(relabelled(study)[0]))["tilt"] == np.inf
