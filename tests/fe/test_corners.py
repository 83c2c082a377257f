"""Which of two faces brings the points that meet the other, once they have slid: by geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from buttress.fe.arrays import FloatArray
from buttress.fe.links.condense import condense
from buttress.fe.links.link import Kind, LinkList
from buttress.fe.moved.faces import Meeting, faces_of, meet
from buttress.fe.moved.shape import Config
from buttress.fe.moved.spots import NONE, Layout
from buttress.fe.moved.vectors import turned
from buttress.fe.verification import moved
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, matched, piece, touch
from buttress.fe.verification.problem import unknowns

WIDE, SLID, TURN = 40.0, 7.0, np.radians(4.0)   # mm, mm, rad


def layout(block_first: bool = False) -> Layout:
    """A block on a base of the same width, x from 0 to 40 mm; the base is the first in the list of
    bodies, and the first of each link unless the block is to be."""
    low, high = rectangle(10, 2, WIDE, 6.0, bottom=-6.0), rectangle(10, 4, WIDE, 20.0)
    base = piece(low, 1e4, 0.3, 10.0, unknowns(low.edges["bottom"]), "base")
    block, links = piece(high, 1e4, 0.3, 10.0), LinkList()
    nodes = matched(low, "top", high, "bottom")
    if block_first:
        touch(links, block, base, nodes[::-1], -ACROSS, friction=0.3)
    else:
        touch(links, base, block, nodes, ACROSS, friction=0.3)
    load = [[(block, block.node(0)(-ACROSS))]]
    return Layout(condense((base, block), links, load))


def met(slid: float, turn: float, slave: int | None = 0, lay: Layout | None = None
        ) -> tuple[Layout, Meeting, FloatArray]:
    """Where they meet when the block has slid and turned about the middle of its foot; and the
    places of all spots."""
    lay = layout() if lay is None else lay
    start = Config.start(lay)
    middle = np.array([0.5 * WIDE, 0.0])
    arm = lay.centre[1] - middle
    centre = start.centre.copy()
    centre[1] = middle + np.array([slid, 0.0]) + turned(np.array(turn), arm)
    config = replace(start, centre=centre, angle=np.array([0.0, turn]))
    place, angle, _ = config.spots(lay)
    normal = np.stack([turned(angle[ends], lay.along) for ends in (lay.a, lay.b)], axis=1)
    [face] = faces_of(lay, (Kind.CONTACT,))
    face = face if slave is None else replace(face, slave=slave)
    return lay, meet((face,), lay.problem.n, place, normal), place


@pytest.mark.parametrize("slave", [0, 1])
@pytest.mark.parametrize("turn", [-TURN, TURN])
@pytest.mark.parametrize("slid", [-SLID, SLID])
def test_a_corner_within_a_face_presses_along_the_normal_of_the_face(
        slid: float, turn: float, slave: int) -> None:
    lay, found, place = met(slid, turn, slave)
    normals = [i for i, x in enumerate(lay.problem.links.links) if x.kind == Kind.CONTACT]
    first, last = normals[0], normals[-1]
    # The block's corner lies on the base at one end, the base's corner under the block at the
    # other.
    ends = (first, last) if slid > 0 else (last, first)
    of_block, of_base = ends
    assert found.slave[of_block] == 1
    assert found.normal[of_block] == pytest.approx(ACROSS, abs=1e-9)
    assert found.slave[of_base] == 0
    assert found.normal[of_base] == pytest.approx([-np.sin(turn), np.cos(turn)], abs=1e-9)
    # What meets is as long as the overlap, whichever side brings the points of its middle.
    count = sum(found.slave[i] != NONE for i in normals)
    spacing = WIDE / (len(normals) - 1)
    assert abs((count - 1) * spacing - (WIDE - SLID)) <= 1.5 * spacing
    for i in normals:
        if found.slave[i] != NONE:
            own = (lay.a, lay.b)[found.slave[i]][i]
            across = found.normal[i] @ (place[own] - found.point[i])
            along = found.normal[i, 0] * (place[own] - found.point[i])[1] - (
                found.normal[i, 1] * (place[own] - found.point[i])[0])
            assert abs(along) < 1e-6 + 1e-3 * abs(across)


@pytest.mark.parametrize("slave", [0, 1])
@pytest.mark.parametrize("slid", [-25.0, 25.0])
def test_faces_that_have_slid_by_more_than_half_meet_over_what_is_left(slid: float, slave: int
                                                                       ) -> None:
    lay, found, place = met(slid, 0.0, slave)
    normals = [i for i, x in enumerate(lay.problem.links.links)
               if x.kind == Kind.CONTACT and found.slave[i] != NONE]
    low, high = max(0.0, slid), min(WIDE, WIDE + slid)
    x = np.array([place[(lay.a, lay.b)[found.slave[i]][i], 0] for i in normals])
    assert x.min() >= low - 1e-6
    assert x.max() <= high + 1e-6
    assert np.ptp(x) == pytest.approx(high - low, abs=2.0)


@pytest.mark.parametrize("slave", [0, 1])
def test_where_nothing_has_slid_one_side_brings_all_points(slave: int) -> None:
    lay, found, _ = met(0.0, TURN, slave)
    assert (found.slave == slave).all()
    assert lay.problem.n == found.slave.size


@pytest.mark.parametrize("slid", [-SLID, 0.0, SLID])
def test_it_does_not_matter_which_body_a_link_names_first(slid: float) -> None:
    (one, found, _), (other, turned_round, _) = (
        met(slid, TURN, None, layout(first)) for first in (False, True))
    assert one.problem.n == other.problem.n
    for i in range(one.problem.n):
        if found.slave[i] == NONE:
            assert turned_round.slave[i] == NONE
            continue
        assert turned_round.slave[i] == 1 - found.slave[i]
        assert turned_round.point[i] == pytest.approx(found.point[i], abs=1e-9)
        assert turned_round.normal[i] == pytest.approx(-found.normal[i], abs=1e-9)


def test_what_is_met_changes_little_as_a_face_begins_to_slide() -> None:
    lay, still, _ = met(0.0, 0.0)
    _, moved, _ = met(0.01, 0.0, lay=lay)
    assert (moved.slave != NONE).all()
    assert moved.normal == pytest.approx(still.normal, abs=1e-9)
    assert np.abs(moved.point - still.point).max() < 0.011


@pytest.mark.parametrize("away", [-4.0, 4.0])
def test_a_point_beside_a_round_face_meets_it_where_it_is_nearest(away: float) -> None:
    """The faces are circles of 60 mm, in steps of 1.5 mm, and one has moved across the other: a
    point meets the other's circle on its own radius there, which is the normal."""
    built, aside = moved.rounded(), np.array([0.4, away])
    lay = Layout(condense(built.bodies, built.links, [[built.load]]))
    start = Config.start(lay)
    centre = start.centre.copy()
    centre[1] += aside
    place, angle, _ = replace(start, centre=centre).spots(lay)
    normal = np.stack([turned(angle[ends], lay.along) for ends in (lay.a, lay.b)], axis=1)
    found = meet(faces_of(lay, (Kind.CONTACT,)), lay.problem.n, place, normal)
    inner = [i for i in range(lay.problem.n) if found.slave[i] != NONE and 0 < found.share[i] < 1]
    assert len(inner) > 40
    for i in inner:
        own = (lay.a, lay.b)[found.slave[i]][i]
        middle = aside if found.slave[i] == 0 else np.zeros(2)
        out = (place[own] - middle) / np.hypot(*(place[own] - middle))
        assert found.point[i] == pytest.approx(middle + moved.ROUND * out, abs=5e-6)
        assert found.normal[i] == pytest.approx(-out, abs=5e-6)
