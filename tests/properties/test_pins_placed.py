"""Pins and plates near apices, face ends, kinks and walls of voids: refused by `check` or built."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import Point

from buttress.bone.bone import Bone, build_bone
from buttress.bone.layout import layout
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.kinds import Hold
from buttress.model.model import assemble, blocks_of
from buttress.rules.check import check
from buttress.study.read import example, study_from
from buttress.sweeps.vary import plain

Draw = Callable[[st.SearchStrategy[Any]], Any]
SHIPPED = ("medial-shear", "lateral-split", "lateral-depression", "bicondylar", "posterior-shear")
COARSE = {"size_mm": 4.0, "coarse_mm": 8.0}
BLOCK = [[14.0, -12.0], [15.5, -18.0], [22.0, -18.0], [23.0, -12.0]]


@cache
def bare(name: str) -> dict[str, Any]:
    """A shipped study on a coarse mesh without its constructs."""
    data = plain(example(name)) | {"mesh": COARSE}
    data["load"].pop("body_mass_kg", None)
    return {k: v for k, v in data.items() if k != "construct"}


@cache
def bone_of(name: str, blocks: tuple[Any, ...] = ()) -> Bone:
    return build_bone(study_from(bare(name) | {"construct": [{"name": "c"}]}), blocks)


@cache
def corners(name: str) -> np.ndarray:
    """Where something ends or bends: corners of all pieces and voids as they are meshed, mm."""
    bone = bone_of(name)
    found = layout(bone.study, bone.section)
    figures = [*found.pieces.values(), found.shaft, *found.voids.values()]
    return np.unique(np.round(np.concatenate([p.exterior.coords for p in figures]), 9), axis=0)


def _pin(draw: Draw, section: Section, target: np.ndarray, kind: str) -> dict[str, Any]:
    """A screw or wire that starts, ends or passes near a point."""
    side = draw(st.sampled_from(section.given.sides))
    surface, sign = section.surface(side), section.sign(side)
    way = draw(st.sampled_from(["tip", "head", "past"]))
    high, low = surface[0, 1] - 0.01, max(surface[-1, 1], -100.0) + 0.01
    height = float(np.clip(target[1], low, high)) if way == "head" else draw(st.floats(low, high))
    head = np.array([np.interp(-height, -surface[:, 1], surface[:, 0]), height])
    step = target - head
    angle = np.degrees(np.arctan2(step[1], -sign * step[0]))
    length = float(np.hypot(*step)) + (20.0 if way == "past" else 0.0)
    if way == "head":
        angle, length = draw(st.floats(-80, 80)), draw(st.floats(6.0, 60.0))
    assume(-80.0 <= angle <= 80.0 and 6.0 <= length <= 150.0)
    pin: dict[str, Any] = {"name": kind, "side": side, "height_mm": height, "angle_deg": float(angle),
                           "length_mm": length}
    if kind == "wire":
        return pin | {"diameter_mm": draw(st.sampled_from([1.25, 2.0])), "count": draw(st.integers(1, 3))}
    return pin | {"form": draw(st.sampled_from(["HA 3.5", "HA 4.5", "HB 4.0", "HB 6.5"])),
                  "washer": draw(st.booleans())}


@st.composite
def placed(draw: Draw) -> tuple[str, dict[str, Any]]:
    """A shipped study's name and a construct of which one part lies near a critical point."""
    name = draw(st.sampled_from(SHIPPED))
    section = bone_of(name).section
    points = corners(name)
    near = points[draw(st.integers(0, len(points) - 1))]
    reach = draw(st.sampled_from([0.0, 0.01, 0.2, 1.0]))
    target = near + reach * np.array([draw(st.floats(-1, 1)), draw(st.floats(-1, 1))])
    kind = draw(st.sampled_from(["screw", "screw", "wire", "plate"]))
    made: dict[str, Any] = {"name": "c"}
    if kind == "plate":
        side = draw(st.sampled_from(section.given.sides))
        made["plate"] = [{"name": "plate", "section": "3.5 straight", "side": side,
                          "top_mm": float(target[1]), "length_mm": draw(st.floats(8.0, 60.0))}]
    else:
        made[kind] = [_pin(draw, section, target, kind)]
    if name == "lateral-depression":
        void = bare(name)["void"][0]["name"]
        fill = draw(st.sampled_from([None, "impacted graft", "structural block"]))
        if fill:
            made["fill"] = [{"name": "graft", "void": void, "material": fill}]
        if fill == "structural block" and draw(st.booleans()):
            made["fill"][0]["points_mm"] = BLOCK
    return name, made


def kept(name: str, construct: dict[str, Any]) -> bool:
    """Whether `check` lets a construct pass; if so, assert that it can be built as it should."""
    try:
        study = study_from(bare(name) | {"construct": [construct]})
        check(study)
    except InputError:
        return False
    [one] = study.constructs
    bone = bone_of(name, blocks_of(one))
    model = assemble(bone, one)
    assert np.isfinite(model.problem.flexibility).all()
    voids = layout(bone.study, bone.section).voids.values()
    for link in model.problem.links.links:
        if link.kind == Hold.REST:      # nothing rests on a pin outside every void
            assert min((v.distance(Point(link.place)) for v in voids), default=np.inf) < 0.5
    return True


@given(placed())
def test_what_check_lets_pass_near_a_corner_can_be_built(drawn: tuple[str, dict[str, Any]]) -> None:
    kept(*drawn)


def test_some_are_built_and_some_are_refused() -> None:
    """At the apex of the shipped shear fragment: through it, and along the cortex beside it."""
    screw = {"name": "s", "form": "HA 4.5", "side": "medial", "height_mm": -43.815, "length_mm": 14.6}
    assert kept("medial-shear", {"name": "c", "screw": [screw | {"angle_deg": -10.0}]})
    assert not kept("medial-shear", {"name": "c", "screw": [screw | {"angle_deg": -64.468}]})
