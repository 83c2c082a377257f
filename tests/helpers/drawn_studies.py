"""Whole studies drawn at random: section, fractures, fragments, implants, loads, stages.

Most are within what the tool can solve, some are refused; a mesh as coarse as it can be keeps them
cheap. What is drawn is the content of a study file, so that everything is read as from a user.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

Draw = Callable[[st.SearchStrategy[Any]], Any]
VOID = [[12, -9], [15, -20], [25, -20], [28, -9]]
KINDS = ("medial", "lateral", "level", "both", "depression", "posterior")


def number(low: float, high: float, digits: int = 2) -> st.SearchStrategy[float]:
    """A number as a user would write it."""
    return st.floats(low, high).map(lambda x: round(x, digits))


def often(draw: Draw, share: float) -> bool:
    return bool(draw(st.floats(0.0, 1.0)) < share)


def _broken(draw: Draw, kind: str) -> dict[str, Any]:
    """Fractures, fragments and voids of a kind of fracture."""
    def line(name: str, *points: list[float]) -> dict[str, Any]:
        return {"name": name, "points_mm": [list(p) for p in points],
                "friction": draw(number(0.0, 0.9))}

    def shear(side: float, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        top, low, deep = draw(number(2, 12)), draw(number(16, 26)), draw(number(35, 65))
        return (line(f"{name} plane", [side * top, 0], [side * (low + 6), -deep]),
                {"name": name, "inside_mm": [side * 27, -9]})

    if kind == "level":
        y, tilt = draw(number(-75, -30)), draw(number(-12, 12))
        return {"fracture": [line("cut", [-60, y - tilt], [60, y + tilt])],
                "fragment": [{"name": "top", "inside_mm": [0, -6]}]}
    if kind == "depression":
        deep = draw(number(9, 10.5))
        return {"fracture": [line("inner", [13, 0], [12, -deep]), line("outer", [27, 0], [28, -deep])],
                "void": [{"name": "hole", "points_mm": [[12, -deep], *VOID[1:3], [28, -deep]]}],
                "fragment": [{"name": "piece", "inside_mm": [20, -4]}]}
    if kind == "posterior":
        return {"fracture": [line("coronal plane", [draw(number(-3, 6)), 3], [draw(number(8, 14)), -60])],
                "fragment": [{"name": "posterior", "inside_mm": [14, -9]}]}
    found = [shear(side, name) for side, name in ((-1.0, "medial"), (1.0, "lateral"))
             if kind in (name, "both")]
    out: dict[str, Any] = {"fracture": [f for f, _ in found], "fragment": [p for _, p in found]}
    if often(draw, 0.15):
        out["fragment"][0]["depth_mm"] = draw(number(12, 40))
    return out


def _construct(draw: Draw, kind: str) -> dict[str, Any]:
    sides = ("anterior", "posterior") if kind == "posterior" else ("medial", "lateral")
    side = st.sampled_from(sides)
    plates = [{"name": f"plate {i}", "section": draw(st.sampled_from(
        ["one-third tubular", "3.5 straight", "T buttress", "L buttress"])), "side": draw(side),
        "top_mm": draw(number(-45, -2)), "length_mm": draw(number(45, 90)),
        "friction": draw(number(0.0, 0.6)), "mismatch_mm": draw(st.sampled_from([0.0, 0.0, 0.0, 0.4]))}
        for i in range(draw(st.sampled_from([0, 0, 1, 1, 1, 2])))]
    screws: list[dict[str, Any]] = []
    for i in range(draw(st.integers(0, 4))):
        form = draw(st.sampled_from(["HA 3.5", "HA 4.5", "HB 4.0", "HB 6.5"]))
        screw: dict[str, Any] = {
            "name": f"screw {i}", "form": form, "angle_deg": draw(number(-20, 20, 0)),
            "length_mm": draw(st.one_of(st.just("bicortical"), number(20, 75, 0)))}
        if plates and often(draw, 0.6):
            screw |= {"plate": draw(st.sampled_from(plates))["name"], "hole": draw(st.integers(1, 3)),
                      "locked": often(draw, 0.3)}
        else:
            screw |= {"side": draw(side), "height_mm": draw(number(-60, -5)),
                      "washer": often(draw, 0.2), "count": draw(st.sampled_from([1, 1, 1, 2, 3]))}
        if often(draw, 0.4):
            screw |= {"use": "lag", "tension_N": draw(number(0, 700, 0))}
        screws.append(screw)
    wires = [{"name": "wire", "diameter_mm": draw(st.sampled_from([1.25, 1.6, 2.0])),
              "side": draw(side), "height_mm": draw(number(-20, -3)), "length_mm": draw(number(30, 70)),
              "count": draw(st.integers(1, 4))}] if often(draw, 0.25) else []
    made: dict[str, Any] = {"name": "c", "plate": plates, "screw": screws, "wire": wires}
    if kind == "depression" and often(draw, 0.6):
        material = st.sampled_from(["impacted graft", "structural block", "calcium phosphate cement"])
        made["fill"] = [{"name": "graft", "void": "hole", "material": draw(material)}]
    if often(draw, 0.1):
        made["model"] = "bonded inclusions"
    elif often(draw, 0.2) and screws:
        parts = [p["name"] for p in (*plates, *screws, *wires, *made.get("fill", []))]
        made["stage"] = [{"do": "place", "what": parts}] + [
            {"do": "tighten", "what": [s["name"]], "force_N": draw(number(50, 500, 0))}
            for s in screws if not s.get("locked")] + [
            {"do": "load", "total_N": draw(number(100, 900, 0))}, {"do": "unload"}]
    return {k: v for k, v in made.items() if v}


@st.composite
def studies(draw: Draw) -> dict[str, Any]:
    """The content of a study file."""
    kind = draw(st.sampled_from(KINDS))
    size = draw(number(6, 9, 1))
    section: dict[str, Any] = {"bone": draw(st.sampled_from(["soft", "soft", "dense", "dense", "foam"])),
                               "width_mm": draw(number(70, 84, 0)),
                               "side": draw(st.sampled_from(["left", "right"]))}
    if section["bone"] == "foam":
        section["foam_grade"] = draw(st.sampled_from([10, 15, 20]))
    else:
        section["modulus_scale"] = draw(number(0.4, 1.8))
        section["cortex_scale"] = draw(number(0.5, 1.5))
    load: dict[str, Any] = {"total_N": sorted({draw(number(50, 4000, 0)) for _ in range(2)}),
                            "medial_share": draw(number(0.1, 0.9)),
                            "direction_deg": draw(st.sampled_from([0.0, 0.0, -8.0, 12.0]))}
    if kind == "posterior":
        section |= {"plane": "sagittal", "condyle": draw(st.sampled_from(["medial", "lateral"]))}
    elif often(draw, 0.2):
        load["shift_mm"] = draw(number(-5, 5, 1))
    out: dict[str, Any] = {
        "name": "drawn", "mesh": {"size_mm": size, "coarse_mm": 2 * size},
        "section": {"outline": "simple"} | section,
        "load": load, "construct": [_construct(draw, kind)], **_broken(draw, kind)}
    if often(draw, 0.3):
        out["hardening"] = {"bone_share": draw(number(0.0, 0.3)), "metal_share": draw(number(0.0, 1.0))}
    return out
