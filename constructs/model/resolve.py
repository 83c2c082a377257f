"""A study with all defaults filled in: the complete input, stored with every result."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from buttress.bone.fills import fill_material
from buttress.bone.measures import reference_band
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import screw_axis, thread_span
from buttress.implants.sections import gliding, pilot, plate_section
from buttress.study.implants import tension
from buttress.study.study import Fill, Screw, Study


def resolved(study: Study) -> dict[str, Any]:
    """Nested dicts and lists, as in the TOML file, with every default and derived value.

    Lengths "bicortical" become numbers, activities and masses on the ground named loads in N.
    Reading the result again gives the same study. Raises InputError where an implant cannot be
    placed.
    """
    data: dict[str, Any] = study.model_dump(by_alias=True, mode="json")
    data["section"]["reference_band_mm"] = list(reference_band(study))
    if study.section.sagittal:
        own = study.section
        data["section"] |= {"condyle": own.slice_condyle, "slice_mm": own.slice_depth}
        if own.outline_file is None:
            data["section"] |= {"slope_deg": own.slope, "shaft_offset_mm": own.shaft_offset}
        data["load"]["slice_centre_mm"] = study.load.slice_centre
    else:
        data["load"] |= {"medial_centre_mm": study.load.medial_centre,
                         "lateral_centre_mm": study.load.lateral_centre}
    data["load"] |= _forces(study)
    for fracture, row in zip(study.fractures, data["fracture"], strict=True):
        if fracture.layer_mm:
            row["layer_MPa"] = fracture.layer_modulus
    section = Section(study.section)
    for construct, out in zip(study.constructs, data["construct"], strict=True):
        for plate, row in zip(construct.plates, out["plate"], strict=True):
            row["holes_mm"] = list(plate.holes)
            if plate.section is not None:
                row["thickness_mm"] = plate_section(plate.section, plate.thickness_mm).thickness
        try:
            for pin, row in zip(construct.pins, [*out["screw"], *out["wire"]], strict=True):
                axis = screw_axis(section, pin, construct.plates)
                row["length_mm"] = axis.length
                if isinstance(pin, Screw):
                    start, end = thread_span(pin, axis.length)
                    row |= {"thread_mm": end - start, "tension_N": tension(pin),
                            "pilot_mm": pilot(pin), "gliding_mm": gliding(pin)}
            for fill, row in zip(construct.fills, out["fill"], strict=True):
                row |= _fill(fill)
        except InputError as error:
            raise InputError(error.message, key=f"construct.{construct.name}.{error.key}",
                             value=error.value, expected=error.expected) from None
    return _without_none(data)


def _forces(study: Study) -> dict[str, Any]:
    """Loads given as masses, in newtons, each with its source and status."""
    if study.load.given_N is not None:
        return {}
    return {"activity": None, "ground_kg": None,
            "case": [asdict(case) for case in study.load.cases]}


def _fill(fill: Fill) -> dict[str, Any]:
    """Values that a fill takes from its material. No outline where it fills the whole void."""
    made_of = fill_material(fill)
    row: dict[str, Any] = {"bonded": made_of.bond is not None, "bond_MPa": made_of.bond,
                           "friction": made_of.friction}
    if fill.layers is None:
        row |= {"modulus_MPa": float(made_of.modulus[0]),
                "strength_MPa": float(made_of.strength[0])}
    return row


def _without_none(value: Any) -> Any:
    """The same without keys that are None, which TOML cannot express."""
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [_without_none(v) for v in value]
    return value
