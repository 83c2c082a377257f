"""What a picture shows of an implant besides its line: head, washer, thread, holes; all in mm.

They are drawn where the model has them: the head and washer at the size that presses on bone, the
thread where it is on the screw, holes where the plate is weaker.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.implants.placement import plate_line, screw_axis, thread_span
from buttress.implants.sections import head_diameter, screw_form, section_at
from buttress.model.model import Model
from buttress.study.implants import Plate, Screw
from buttress.study.tables import number


@dataclass(frozen=True)
class Details:
    """``head``, ``washer``: diameters, 0 where there is none. ``thread``: from, to (distances from
    the head), pitch and diameter. ``holes (k, 3)``: centre x, y on the plate's line, diameter."""

    head: float = 0.0
    washer: float = 0.0
    thread: tuple[float, float, float, float] | None = None
    holes: FloatArray | None = None


NO_DETAILS = Details()


def details(model: Model) -> dict[str, Details]:
    """The details of each plate and screw of a construct, by name; wires have none."""
    construct = model.construct
    return ({p.name: _plate(model, p) for p in construct.plates}
            | {s.name: _screw(model, s) for s in construct.screws})


def _screw(model: Model, screw: Screw) -> Details:
    form, length = screw_form(screw.form), screw_axis(
        model.bone.section, screw, model.construct.plates).length
    start, end = thread_span(screw, length)
    wide = head_diameter(screw)
    return Details(wide, wide * number("screws", "in use", "washer") if screw.washer else 0.0,
                   (max(start, 0.0), end, form.pitch, form.thread))


def _plate(model: Model, plate: Plate) -> Details:
    line = plate_line(model.bone.section, plate)
    rows = []
    for hole in line.holes:
        point, normal, offset = line.at(hole)
        rows.append([*(point + offset * normal), section_at(plate, hole).hole])
    return Details(holes=np.array(rows).reshape(-1, 3))
