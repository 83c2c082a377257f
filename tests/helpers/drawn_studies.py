"""Whole studies drawn at random: section, fractures, fragments, constructs, loads.

Most are within what the tool can solve, some are refused; a mesh as coarse as it can be keeps them
cheap. What is drawn is the content of a study file, so that everything is read as from a user.
"""

from __future__ import annotations

from typing import Any

from drawn_constructs import OWN, Draw, another, construct, number, often
from hypothesis import strategies as st

VOID = [[12, -9], [15, -20], [25, -20], [28, -9]]
KINDS = ("medial", "lateral", "level", "both", "depression", "posterior", "kinked")


def _line(draw: Draw, name: str, *points: list[float]) -> dict[str, Any]:
    """A fracture, now and then with what reduction leaves between its faces."""
    out: dict[str, Any] = {"name": name, "points_mm": [list(p) for p in points],
                           "friction": draw(number(0.0, 0.9))}
    if often(draw, 0.12):
        out["gap_mm"] = draw(number(0.0, 1.5))
    if often(draw, 0.1):
        out |= {"layer_mm": draw(number(0.05, 2.0)), "layer_MPa": draw(number(1, 500))}
    return out


def _broken(draw: Draw, kind: str, top_y: float) -> dict[str, Any]:
    """Fractures, fragments and voids of a kind of fracture; lines begin at the height ``top_y``."""
    def shear(side: float, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        top, low, deep = draw(number(2, 12)), draw(number(16, 26)), draw(number(35, 65))
        points = [[side * top, top_y], [side * (low + 6), -deep]]
        if kind == "kinked":
            points.insert(1, [side * (top + low) / 2 + draw(number(-3, 3)), -deep / 2])
        return (_line(draw, f"{name} plane", *points), {"name": name, "inside_mm": [side * 27, -9]})

    if kind == "level":
        y, tilt = draw(number(-75, -30)), draw(number(-12, 12))
        out: dict[str, Any] = {"fracture": [_line(draw, "cut", [-60, y - tilt], [60, y + tilt])],
                               "fragment": [{"name": "top", "inside_mm": [0, -6]}]}
    elif kind == "depression":
        deep = draw(number(9, 10.5))
        out = {"fracture": [_line(draw, "inner", [13, top_y], [12, -deep]),
                            _line(draw, "outer", [27, top_y], [28, -deep])],
               "void": [{"name": "hole", "points_mm": [[12, -deep], *VOID[1:3], [28, -deep]]}],
               "fragment": [{"name": "piece", "inside_mm": [20, -4]}]}
    elif kind == "posterior":
        out = {"fracture": [_line(draw, "coronal plane", [draw(number(-3, 6)), max(3, top_y)],
                                  [draw(number(8, 14)), -60])],
               "fragment": [{"name": "posterior", "inside_mm": [14, -9]}]}
    else:
        found = [shear(side, name) for side, name in ((-1.0, "medial"), (1.0, "lateral"))
                 if kind in (name, "both") or (kind == "kinked" and side < 0)]
        out = {"fracture": [f for f, _ in found], "fragment": [p for _, p in found]}
    if often(draw, 0.15):
        out["fragment"][0]["depth_mm"] = draw(number(12, 40))
    if often(draw, 0.12):
        out["fragment"][0]["step_mm"] = draw(number(-1.5, 1.5))
    return out


def _section(draw: Draw, kind: str, own: bool) -> dict[str, Any]:
    section: dict[str, Any] = {
        "outline": draw(st.sampled_from(["simple", "anatomical"])),
        "bone": draw(st.sampled_from(["soft", "soft", "dense", "dense", "foam"])),
        "width_mm": draw(number(70, 84, 0)), "side": draw(st.sampled_from(["left", "right"]))}
    if section["bone"] == "foam":
        section |= {"foam_grade": draw(st.sampled_from([10, 15, 20])), "outline": "simple"}
    else:
        section["modulus_scale"] = draw(number(0.4, 1.8))
        section["cortex_scale"] = draw(number(0.5, 1.5))
        if own and often(draw, 0.3):
            section["bone"] = "own bone"
    if often(draw, 0.1):
        section["plane_state"] = "plane strain"
    if often(draw, 0.1):
        section["side_plates"] = False
    if kind == "posterior":
        section |= {"plane": "sagittal", "condyle": draw(st.sampled_from(["medial", "lateral"]))}
        if often(draw, 0.3):
            section["slope_deg"] = draw(number(-3, 10, 1))
    return section


def _load(draw: Draw, kind: str) -> dict[str, Any]:
    load: dict[str, Any] = {"medial_share": draw(number(0.1, 0.9)),
                            "direction_deg": draw(st.sampled_from([0.0, 0.0, -8.0, 12.0]))}
    if often(draw, 0.06):       # solved again in soft bone, which takes twice as long
        load |= {"body_mass_kg": draw(number(50, 110, 0)), "ground_kg": [draw(number(5, 40, 0))]}
        if often(draw, 0.5):
            load["activity"] = ["walking"]
    else:
        load["total_N"] = sorted({draw(number(50, 4000, 0)) for _ in range(2)})
    if kind != "posterior" and often(draw, 0.2):
        load["shift_mm"] = draw(number(-5, 5, 1))
    return load


@st.composite
def studies(draw: Draw) -> dict[str, Any]:
    """The content of a study file."""
    kind = draw(st.sampled_from(KINDS))
    size = draw(number(6, 8, 1))
    own = often(draw, 0.15)
    section = _section(draw, kind, own)
    top_y = 15.0 if section["outline"] == "anatomical" else 0.0     # above the spines
    broken = _broken(draw, kind, top_y)
    apices = [f["name"] for f in broken["fracture"] if f["name"].endswith("plane")]
    first = construct(draw, kind, apices, own)
    out: dict[str, Any] = {
        "name": "drawn", "mesh": {"size_mm": size, "coarse_mm": 2 * size}, "section": section,
        "load": _load(draw, kind), "construct": [first], **broken}
    if often(draw, 0.1):
        out["construct"].append(another(draw, first))
    if own:
        out["own"] = OWN | {"bone": [{"name": "own bone", "source": "made up for a test",
                                      "modulus_joint_MPa": 400.0, "modulus_shaft_MPa": 100.0}]}
    if often(draw, 0.3):
        out["hardening"] = {"bone_share": draw(number(0.0, 0.3)), "metal_share": draw(number(0.0, 1.0))}
        if often(draw, 0.4):
            out["hardening"] |= {"thread_residual": draw(number(0.0, 1.0)),
                                 "bond_residual": draw(number(0.0, 1.0))}
    if often(draw, 0.05):
        out["press"] = {"large_movements": draw(st.sampled_from(["auto", "on"]))}
    if often(draw, 0.2):
        out["limits"] = {"step_off_mm": draw(number(0.3, 3)), "metal_yield_ratio": draw(number(0.5, 1.2))}
    return out
