"""Errors in a study's bone, found without a mesh: fractures, voids, fills, loads."""

from __future__ import annotations

from shapely import LineString, Polygon, box

from buttress.bone.fills import fill_material
from buttress.bone.fit import slid
from buttress.bone.joining import in_words, shown
from buttress.bone.layout import Layout, fill_outline, layout, planned
from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.study.study import Construct, Study


def check_bone(study: Study, section: Section) -> Layout:
    """The pieces of the bone, or InputError where a part of the study misses the bone.

    Checks fractures, voids, fragment points, steps of reduction and load patches, then all of them
    together as the mesher will: overlaps, slivers, lines that do not divide the bone.
    """
    bone = Polygon(section.outline()[0])
    for fracture in study.fractures:
        if not LineString(fracture.points_mm).intersects(bone):
            raise InputError("the fracture does not touch the bone",
                             key=f"fracture.{fracture.name}.points_mm",
                             expected=f"a line across the section: {axes_words(section)}")
    for void in study.voids:
        if not Polygon(void.points_mm).buffer(0).intersection(bone).area > 0.0:
            raise InputError("the void lies outside the bone", key=f"void.{void.name}.points_mm",
                             expected=f"a polygon in the section: {axes_words(section)}")
    found = layout(study, section)
    for fragment in study.fragments:
        if fragment.step_mm:
            slid(fragment, found.inward(fragment.name))
    _loads(study, section, found)
    for construct in study.constructs:
        _fills(study, section, construct)
    return found


def axes_words(section: Section) -> str:
    """The axes of a section, in words."""
    return f"x {section.given.sides[1]}, y proximal, origin at the middle of the joint line"


def _loads(study: Study, section: Section, found: Layout) -> None:
    line = section.shape.joint_line()
    half = study.load.patch_width_mm / 2
    low, high = float(line[0, 0]) + half, float(line[-1, 0]) - half
    for patch in patches(study):
        if not low - 1e-9 <= patch.centre <= high + 1e-9:
            raise InputError("the load patch extends beyond the edge of the joint line",
                             key=f"load.{patch.key}", value=f"{patch.centre:g}",
                             expected=f"the centre between {low:g} and {high:g} mm, for a patch "
                                      f"{study.load.patch_width_mm:g} mm wide")
        left, right = patch.centre - half, patch.centre + half
        under = LineString(line).intersection(box(left, -1e3, right, 1e3))
        missing = max((under.intersection(v).length for v in found.voids.values()), default=0.0)
        if patch.share > 0.0 and missing > 1e-6:
            raise InputError(f"the {patch.name} contact patch does not lie on the joint surface",
                             key=f"load.{patch.key}",
                             value=f"{left:g} to {right:g} mm, of which {missing:.1f} mm on a void",
                             expected="a patch entirely on the joint line")


def _fills(study: Study, section: Section, construct: Construct) -> None:
    """Check that fills lie in their voids, are of a known kind and can be meshed."""
    blocks = {}
    try:
        for fill in construct.fills:
            fill_material(fill)
            outline = fill_outline(study, fill)
            if fill.points_mm is not None:
                blocks[fill.name] = outline
        if blocks:
            planned(study, blocks)
    except InputError as error:
        key, message, value = error.key, error.message, error.value
        for name, outline in blocks.items():
            region = f"region.{name}"
            if key != region and region not in message:
                continue
            # The bone alone could be meshed, so the block is the cause.
            message = message.replace(region, in_words(key))
            key, value = f"fill.{name}.points_mm", value or shown(outline)
        raise InputError(message, key=f"construct.{construct.name}.{key}",
                         value=value, expected=error.expected) from None
