"""Ghosts, cortex, heads, washers, threads and holes in the pictures of a section."""

from __future__ import annotations

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest
from made_up import picture
from shapely import LineString, Polygon
from small_study import small_study

from buttress.bone.section import Section
from buttress.draw.parts import CORTEX, DETAILS, GHOST, backdrop_handles
from buttress.draw.section import deformed
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.backdrop import backdrop
from buttress.results.details import details
from buttress.results.picture import Picture, take_picture
from buttress.study.bone import SectionInput


@pytest.fixture(scope="module")
def pictures() -> dict[str, Picture]:
    study = small_study("lag screws", "antiglide")
    bones = Bones(study)
    models = [build_model(bones.of(c), c) for c in study.constructs]
    return {m.construct.name: take_picture(m, m.answer(300.0), 300.0) for m in models}


def section(**keys: object) -> Section:
    return Section(SectionInput.model_validate({"outline": "simple"} | keys))


def test_ghosts_come_with_the_anatomical_outline_alone() -> None:
    assert backdrop(section()).names == ()
    assert backdrop(section(outline="anatomical", bone="foam")).names == ()
    assert set(backdrop(section(outline="anatomical")).names) == {"cartilage", "fibula", "tubercle"}
    slices = {side: backdrop(section(outline="anatomical", plane="sagittal", condyle=side)).names
              for side in ("medial", "lateral")}
    assert "fibula" not in slices["medial"]
    assert "fibula" in slices["lateral"]


def test_the_fibula_is_lateral_and_cartilage_lies_on_the_bone() -> None:
    bone = section(outline="anatomical")
    ghosts = dict(backdrop(bone).ghosts)
    assert ghosts["fibula"][:, 0].min() > 10.0
    whole = Polygon(bone.outline()[0])
    for name, xy in backdrop(bone).ghosts:
        if name == "cartilage":
            assert Polygon(xy).intersection(whole).area < 0.05 * Polygon(xy).area
            assert Polygon(xy).distance(whole) < 1e-6


@pytest.mark.parametrize("outline", ["simple", "anatomical"])
def test_the_cortex_is_drawn_as_thick_as_the_model_has_it(outline: str) -> None:
    bone = section(outline=outline)
    for side, line in zip(bone.given.sides, backdrop(bone).cortex, strict=True):
        wall = LineString(bone.surface(side))
        for y in (-20.0, -45.0, -100.0):
            x = np.interp(-y, -line[:, 1], line[:, 0])
            at = np.interp(-y, -np.array(wall.coords)[:, 1], np.array(wall.coords)[:, 0])
            assert abs(at - x) == pytest.approx(float(bone.cortex(y)), abs=0.1)


def test_details_are_those_of_the_study() -> None:
    study = small_study("lag screws", "antiglide")
    bones = Bones(study)
    lag, plated = (details(build_model(bones.of(c), c)) for c in study.constructs)
    upper = lag["upper lag"]
    assert (upper.head, upper.washer) == (8.0, 16.0)
    assert upper.thread == pytest.approx((70.0 - 32.0, 70.0, 2.75, 6.5))
    shaft = plated["shaft 1"]
    assert (shaft.head, shaft.washer) == (6.0, 0.0)
    assert shaft.thread[0] == 0.0
    holes = plated["antiglide plate"].holes
    assert holes.shape == (len(study.constructs[1].plates[0].holes), 3)
    assert (holes[:, 2] == 4.5).all()


def test_heads_threads_and_holes_are_drawn_where_the_implants_are(pictures) -> None:
    for name, kinds in (("lag screws", 2), ("antiglide", 3)):
        ax = deformed(pictures[name], factor=1.0)
        mine = [c for c in ax.collections if c.get_gid() == DETAILS]
        assert len(mine) == kinds     # heads and threads; of a plate its holes, too
        box = np.concatenate([m.points for m in pictures[name].members])
        for art in mine:
            for path in art.get_paths():
                away = np.hypot(*(box[:, None] - path.vertices[None]).transpose(2, 0, 1)).min(axis=0)
                assert away.max() < 12.0
        assert [c for c in ax.collections if c.get_gid() == CORTEX]
        assert not [c for c in ax.collections if c.get_gid() == GHOST]
        plt.close(ax.figure)


def test_ghosts_are_named_as_no_part_of_the_model(pictures) -> None:
    seen = replace(pictures["lag screws"], backdrop=backdrop(section(outline="anatomical")))
    ax = deformed(seen, factor=1.0)
    assert len([c for c in ax.collections if c.get_gid() == GHOST]) == 4
    listed = [t.get_text() for t in ax.get_legend().get_texts()]
    assert "cartilage, fibula, tubercle:\nnot part of the model" in listed
    assert len(backdrop_handles(pictures["lag screws"])) == 1
    plt.close(ax.figure)


def test_the_name_of_a_plate_points_to_no_head_of_a_screw() -> None:
    """Both names pointed to one head where a screw sat low on the plate."""
    shown = picture("plate", 1000.0)
    plate, lag = shown.members
    line = np.column_stack([np.full(29, -39.5), np.linspace(-20.0, -90.0, 29)])
    low = replace(lag, name="shaft 3", points=lag.points + np.array([-1.5, line[23, 1] + 10.0]))
    plate = replace(plate, points=line, displacement=np.zeros((29, 2)), width=np.full(28, 3.3))
    ax = deformed(replace(shown, members=(plate, lag, low)))
    ends = [c.get_segments() for c in ax.collections if c.get_zorder() == 4]
    ends = np.array([stub[-1] for stubs in ends for stub in stubs])
    found = ends[np.abs(ends[:, 0] + 39.5) < 1e-6]
    head, name = sorted(found, key=lambda at: float(np.hypot(*(at - low.points[0]))))
    assert np.hypot(*(head - low.points[0])) < 1e-6
    assert np.hypot(*(name - low.points[0])) > 5.0
