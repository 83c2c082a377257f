"""A study's lines joined as the mesher needs them; errors in the terms of the study file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np

from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.edges import Planar
from buttress.fe.mesh.figure import plan
from buttress.study.study import Study

LONGEST = 60
"""Characters of a polyline that a message repeats."""


def joined(study: Study, voids: Mapping[str, FloatArray], regions: Mapping[str, FloatArray]
           ) -> Planar:
    """The outline, the fractures and the given voids and regions, joined and checked.

    Raises InputError with the key and value of the study file for lines or polygons that overlap,
    leave a sliver or do not divide the bone. A region that is no void of the study is called
    "region.NAME".
    """
    outline, labels = Section(study.section).outline()
    try:
        return plan(outline, labels, {f.name: np.array(f.points_mm) for f in study.fractures},
                    voids, regions, size=study.mesh.size_mm)
    except InputError as error:
        raise _told(study, error) from None


def _told(study: Study, error: InputError) -> InputError:
    """The mesher's error with keys, names and points as in the study."""
    given = {f"fracture.{f.name}": f.points_mm for f in study.fractures}
    given |= {f"void.{v.name}": v.points_mm for v in study.voids}
    key = error.key
    if key.startswith("region.") and f"void.{key[7:]}" in given:
        key = f"void.{key[7:]}"
    value = error.value
    if key in given:
        value = value or shown(given[key])
        key += ".points_mm"
    message, expected = (_named(study, text) for text in (error.message, error.expected))
    return InputError(message, file=error.file, key=key, value=value, expected=expected)


def shown(points: Iterable[Iterable[float]]) -> str:
    """A polyline as in a study file, truncated where it is long."""
    text = "[" + ", ".join(f"[{x:g}, {y:g}]" for x, y in points) + "]"
    return text if len(text) <= LONGEST else text[:LONGEST] + "…"


def in_words(key: str) -> str:
    """``void.NAME.points_mm`` as ``void "NAME"``."""
    kind, _, name = key.removesuffix(".points_mm").partition(".")
    return f'{kind} "{name}"' if name else kind


def _named(study: Study, text: str) -> str:
    """``void.NAME`` in a message as ``void "NAME"``."""
    kinds = {f.name: "fracture" for f in study.fractures} | {v.name: "void" for v in study.voids}
    for name in sorted(kinds, key=len, reverse=True):
        words = f'{kinds[name]} "{name}"'.replace("\\", r"\\")
        text = re.sub(rf"\b(fracture|void|region)\.{re.escape(name)}(?!\w)", words, text)
    return text
