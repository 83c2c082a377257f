"""Screws and wires that meet too little bone to be modelled: refused before anything is meshed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Polygon

from buttress.bone.layout import Layout, fill_outline
from buttress.fe.errors import InputError
from buttress.implants.grips import LEAST
from buttress.implants.heads import rim, search_lines
from buttress.implants.placement import Axis
from buttress.rules.screw import Placed
from buttress.study.study import Construct, Screw, Study

SHORT = 2.0 * LEAST
"""A pin of which no part as long as this [mm] lies in one piece only grazes the bone. It is more
than the model needs, so that what passes here can be built."""


def check_seated(study: Study, found: Layout, construct: Construct, placed: Sequence[Placed]
                 ) -> None:
    """Raise InputError where a pin only grazes bone and fills, or a head has no bone under it."""
    solids = [*found.pieces.values(), found.shaft,
              *(Polygon(fill_outline(study, fill)) for fill in construct.fills)]
    for item in placed:
        pin, axis = item.pin, item.axis
        longest = _longest(solids, axis)
        if longest < SHORT:
            raise InputError(f"the {pin.what} only grazes the bone", key=f"{pin.what}.{pin.name}",
                             value=f"{longest:.2g} mm of it in one piece",
                             expected=f"at least {SHORT:g} mm; another place, angle or length")
        if isinstance(pin, Screw) and pin.plate is None and not _under(solids, pin, axis):
            raise InputError("the screw head has no bone under it", key=f"screw.{pin.name}",
                             expected="a head on the bone surface")


def _longest(solids: Sequence[Polygon], axis: Axis) -> float:
    """Length [mm] of the longest stretch of an axis in one solid."""
    line = LineString(axis.point([axis.entry, axis.length])) if axis.length > axis.entry else None
    parts = [part for solid in solids if line is not None
             for part in shapely.get_parts(line.intersection(solid))]
    return max((float(part.length) for part in parts), default=0.0)


def _under(solids: Sequence[Polygon], screw: Screw, axis: Axis) -> bool:
    """Whether a head's ring meets a solid on either side of its hole, where the model looks."""
    across = np.array([-axis.direction[1], axis.direction[0]])
    points = np.concatenate([
        search_lines(axis.point(axis.entry), axis.direction, side * across, rim(screw))[1]
        for side in (-1.0, 1.0)]).reshape(-1, 2)
    return any(shapely.contains_xy(solid, points).any() for solid in solids)
