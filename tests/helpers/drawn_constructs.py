"""Constructs drawn at random: plates, screws, wires, fills and the order of their steps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import strategies as st

Draw = Callable[[st.SearchStrategy[Any]], Any]
METALS = ("steel", "steel", "titanium")
FORMS = ("HA 2.7", "HA 3.5", "HA 3.5", "HA 4.5", "HB 4.0", "HB 6.5")
SECTIONS = ("one-third tubular", "3.5 straight", "T buttress", "L buttress")
GRAFTS = ("loose chips", "impacted graft", "structural block", "calcium phosphate cement",
          "bone cement")
OWN: dict[str, list[dict[str, Any]]] = {
    "metal": [{"name": "soft metal", "source": "made up for a test", "modulus_MPa": 70000.0,
               "yield_strength_MPa": 250.0, "ultimate_strength_MPa": 300.0, "elongation": 0.1}],
    "screw_form": [{"name": "own form", "source": "made up for a test", "kind": "cortical",
                    "thread_mm": 3.8, "core_mm": 2.6, "pitch_mm": 1.2, "head_mm": 6.5,
                    "pilot_mm": 2.7, "gliding_mm": 3.8, "lag_tension_N": 400.0}],
    "plate_section": [{"name": "own section", "source": "made up for a test", "kind": "flat",
                       "width_mm": 11.0, "thickness_mm": 2.2, "hole_mm": 4.4, "thread_mm": 3.5,
                       "pitch_mm": 11.0, "edge_mm": 6.0}],
    "fill": [{"name": "own fill", "source": "made up for a test", "kind": "graft",
              "modulus_MPa": 120.0, "strength_MPa": 2.0, "friction": 0.4}]}
"""Rows of a study's own, one of each kind."""


def number(low: float, high: float, digits: int = 2) -> st.SearchStrategy[float]:
    """A number as a user would write it."""
    return st.floats(low, high).map(lambda x: round(x, digits))


def often(draw: Draw, share: float) -> bool:
    return bool(draw(st.floats(0.0, 1.0)) > 1.0 - share)


def _named(draw: Draw, names: Sequence[str], own: bool, mine: str) -> str:
    """One of the tables' names, or the study's own where it has rows of its own."""
    return mine if own and often(draw, 0.4) else str(draw(st.sampled_from(names)))


def _plate(draw: Draw, i: int, sides: Sequence[str], apices: Sequence[str], own: bool
           ) -> dict[str, Any]:
    plate: dict[str, Any] = {
        "name": f"plate {i}", "side": draw(st.sampled_from(sides)), "top_mm": draw(number(-45, -2)),
        "friction": draw(number(0.0, 0.6)), "material": _named(draw, METALS, own, "soft metal"),
        "mismatch_mm": draw(st.sampled_from([0.0, 0.0, 0.0, 0.4, -0.3]))}
    if apices and often(draw, 0.3):
        plate["top_mm"] = f"{{fracture.{draw(st.sampled_from(apices))}.apex.y}} + {draw(number(5, 30))}"
    if often(draw, 0.15):
        plate["segments"] = [{"length_mm": draw(number(12, 30)), "width_mm": draw(number(8, 14)),
                              "thickness_mm": draw(number(1, 4))} for _ in range(3)]
        plate["holes_mm"] = [5.0, 15.0, 30.0]
    else:
        plate |= {"section": _named(draw, SECTIONS, own, "own section"),
                  "length_mm": draw(number(30, 90))}
        if often(draw, 0.15):
            plate["thickness_mm"] = draw(number(1.0, 3.0))
    return plate


def _screw(draw: Draw, i: int, sides: Sequence[str], plates: Sequence[dict[str, Any]], own: bool
           ) -> dict[str, Any]:
    screw: dict[str, Any] = {
        "name": f"screw {i}", "form": _named(draw, FORMS, own, "own form"),
        "angle_deg": draw(number(-25, 25, 0)), "material": _named(draw, METALS, own, "soft metal"),
        "length_mm": draw(st.one_of(st.just("bicortical"), number(20, 75, 0)))}
    if plates and often(draw, 0.6):
        screw |= {"plate": draw(st.sampled_from(plates))["name"], "hole": draw(st.integers(1, 3)),
                  "locked": often(draw, 0.3)}
    else:
        screw |= {"side": draw(st.sampled_from(sides)), "height_mm": draw(number(-60, -1)),
                  "washer": often(draw, 0.2), "count": draw(st.sampled_from([1, 1, 1, 2, 3]))}
    if often(draw, 0.4):
        screw["use"] = "lag"
        if often(draw, 0.8):
            screw["tension_N"] = draw(number(0, 700, 0))
    if often(draw, 0.2):
        screw["thread_mm"] = draw(number(5, 40, 0))
    if often(draw, 0.15):
        screw["position_in_depth_mm"] = draw(number(-15, 15, 0))
    if often(draw, 0.1):
        screw["gliding_mm"] = draw(number(2.5, 6.5, 1))
    if often(draw, 0.1):
        screw["pilot_mm"] = draw(number(1.5, 4.5, 1))
    return screw


def _fill(draw: Draw, own: bool) -> dict[str, Any]:
    fill: dict[str, Any] = {"name": "graft", "void": "hole"}
    kind = draw(st.sampled_from(["whole", "whole", "layers", "block"]))
    if kind == "layers":
        share = draw(number(0.2, 0.8))
        fill["layers"] = [{"material": draw(st.sampled_from(GRAFTS[:3])), "share": share},
                          {"material": draw(st.sampled_from(GRAFTS[:3])), "share": 1.0 - share}]
    else:
        fill["material"] = _named(draw, GRAFTS, own, "own fill")
    if kind == "block":
        fill["points_mm"] = [[15.0, -11.5], [15.5, -18.5], [24.0, -18.5], [25.0, -11.5]]
    if often(draw, 0.2):
        fill["depth_mm"] = draw(number(10, 40))
    if often(draw, 0.15):
        fill["modulus_MPa"] = draw(number(20, 2000))
    return fill


def _stages(draw: Draw, made: dict[str, Any]) -> list[dict[str, Any]]:
    """An order of steps: put in place, tighten, lock, relax, load, cycle, release."""
    screws = made.get("screw", [])
    parts = [p["name"] for kind in ("plate", "screw", "wire", "fill") for p in made.get(kind, [])]
    loose = [s["name"] for s in screws if not s.get("locked")]
    stages: list[dict[str, Any]] = []
    if often(draw, 0.7):
        stages.append({"do": "place", "what": parts})
    for name in loose:
        stages.append({"do": "tighten", "what": [name], "force_N": draw(number(50, 500, 0))})
        if often(draw, 0.3):
            stages[-1]["steps"] = draw(st.integers(2, 4))
    if loose and often(draw, 0.3):
        stages.append({"do": "relax", "what": loose[:1], "lost_share": draw(number(0, 0.9))})
    if often(draw, 0.25):
        stages.append({"do": "relax", "friction_factor": draw(number(0.0, 1.0))})
    on_plate = [s["name"] for s in screws if s.get("plate") and not s.get("locked")]
    if on_plate and often(draw, 0.3):
        stages.append({"do": "lock", "what": on_plate})
    load = draw(number(100, 900, 0))
    stages.append({"do": "load", "total_N": load})
    if often(draw, 0.3):
        stages[-1]["steps"] = 2
    if often(draw, 0.2):
        stages.append({"do": "cycle", "total_N": load, "low_N": 20.0, "times": 4})
        if often(draw, 0.5):
            stages[-1] |= {"friction_factor": draw(number(0.3, 1.0)), "wear_cycles": 2}
    if often(draw, 0.6):
        stages.append({"do": "unload"})
    if len(parts) > 1 and screws and often(draw, 0.2):
        stages.append({"do": "release", "what": [screws[-1]["name"]]})
    return stages


def construct(draw: Draw, kind: str, apices: Sequence[str], own: bool) -> dict[str, Any]:
    """A construct for a kind of fracture; ``apices``: fractures over which a plate may be put."""
    sides = ("anterior", "posterior") if kind == "posterior" else ("medial", "lateral")
    plates = [_plate(draw, i, sides, apices, own)
              for i in range(draw(st.sampled_from([0, 0, 1, 1, 1, 2])))]
    screws = [_screw(draw, i, sides, plates, own) for i in range(draw(st.integers(0, 4)))]
    if len(screws) > 1 and often(draw, 0.15):
        angle = draw(number(-20, 20, 0))
        screws[-1] = {"name": screws[-1]["name"], "like": screws[0]["name"], "angle_deg": angle}
    wires = [{"name": "wire", "diameter_mm": draw(st.sampled_from([1.25, 1.6, 2.0])),
              "side": draw(st.sampled_from(sides)), "height_mm": draw(number(-20, -3)),
              "angle_deg": draw(number(-30, 30, 0)), "length_mm": draw(number(30, 70)),
              "count": draw(st.integers(1, 4))}] if often(draw, 0.25) else []
    made: dict[str, Any] = {"name": "c", "plate": plates, "screw": screws, "wire": wires}
    if kind == "depression" and often(draw, 0.6):
        made["fill"] = [_fill(draw, own)]
    made = {k: v for k, v in made.items() if v}
    if often(draw, 0.1):
        made["model"] = "bonded inclusions"
    elif often(draw, 0.2) and screws:
        made["stage"] = _stages(draw, made)
    return made


def another(draw: Draw, first: dict[str, Any]) -> dict[str, Any]:
    """A second construct like the first, without one of its parts or with a screw changed."""
    out: dict[str, Any] = {"name": "other", "like": "c"}
    screws = [s["name"] for s in first.get("screw", [])]
    if screws and often(draw, 0.5):
        out["remove"] = [draw(st.sampled_from(screws))]
    elif screws:
        out["screw"] = [{"name": draw(st.sampled_from(screws)), "angle_deg": draw(number(-20, 20, 0))}]
    return out
