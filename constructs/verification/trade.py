"""Facts of the trade: common practice without a source, beside the tables and the rules of `check`.

They are a group of their own in the table. A number is compared with the data table that holds it;
a rule must find the construct that breaks it and leave the one that does not in peace.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from buttress.fe.verification import Case, register
from buttress.rules.check import check
from buttress.study.read import example, study_from
from buttress.study.tables import number
from buttress.sweeps.vary import plain

SOURCE = "common practice of the trade, no source"
NUMBERS = {
    "drill for the core of a 3.5 mm screw": ("HA 3.5", "pilot", 2.5),
    "drill for the core of a 4.5 mm screw": ("HA 4.5", "pilot", 3.2),
    "drill for the core of a 4.0 mm screw": ("HB 4.0", "pilot", 2.5),
    "drill for the core of a 6.5 mm screw": ("HB 6.5", "pilot", 3.2),
    "gliding hole of a 3.5 mm screw, as wide as its thread": ("HA 3.5", "gliding", 3.5),
    "gliding hole of a 4.5 mm screw, as wide as its thread": ("HA 4.5", "gliding", 4.5),
    "long thread of a 6.5 mm cancellous screw": ("HB 6.5", "long_thread", 32.0),
    "raft no deeper below the joint than": ("in use", "raft_most", 10.0),
    "tip no further beyond the far cortex than": ("in use", "tip_excess", 2.0)}
"""Row and number of the table `screws`, and what practice says in mm."""

LAG = {"name": "lag", "form": "HB 6.5", "side": "medial", "height_mm": -14, "length_mm": 76.5,
       "thread_mm": 32, "use": "lag", "tension_N": 300}
COVERING = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -27.5,
            "length_mm": 70}
WIRE = {"name": "wires", "diameter_mm": 1.6, "side": "lateral", "height_mm": -6, "length_mm": 60,
        "count": 3}
RAFT = {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -4.4, "angle_deg": -4.5,
        "length_mm": 70, "count": 4}


def _hole(hole: int) -> dict[str, Any]:
    return {"name": f"hole {hole}", "form": "HA 3.5", "plate": "plate", "hole": hole,
            "length_mm": "bicortical"}


PLATED = {"plate": [COVERING], "screw": [_hole(3), _hole(4)]}
RULES: dict[str, tuple[str, dict[str, Any], dict[str, Any]]] = {
    "wires close to the joint lie parallel to it": (
        "wires parallel to the joint", {"wire": [WIRE | {"angle_deg": -14}]}, {"wire": [WIRE]}),
    "a raft lies close under the joint": (
        "raft below the joint", {"screw": [RAFT | {"height_mm": -10.4}]}, {"screw": [RAFT]}),
    "a tip ends short of the tissue behind the far cortex": (
        "tip beyond the cortex", {"screw": [LAG | {"length_mm": 79}]}, {"screw": [LAG]}),
    "two screws at least below an apex": (
        "two screws below the apex", {**PLATED, "screw": [_hole(3)]}, PLATED),
    "the thread of a lag screw lies beyond the fracture": (
        "lag thread beyond", {"screw": [LAG | {"thread_mm": 60}]}, {"screw": [LAG]}),
    "a drill is narrower than the thread": (
        "pilot drill", {"screw": [LAG | {"pilot_mm": 6.5}]}, {"screw": [LAG]})}
"""The rule of `check`, a construct that breaks it and one that does not."""


def told(rule: str, construct: dict[str, Any]) -> bool:
    """Whether `check` names a rule for a construct on a sheared or a depressed fragment."""
    depressed = construct.get("wire") or construct.get("screw", [{}])[0].get("name") == "raft"
    data = plain(example("lateral-depression" if depressed else "medial-shear"))
    data["construct"] = [{"name": "c", **construct}]
    return any(f.rule == rule for f in check(study_from(data)))


def kept(name: str) -> float:
    """1 where the rule finds what breaks it and nothing else, or 0."""
    rule, broken, sound = RULES[name]
    return float(told(rule, broken) and not told(rule, sound))


CASES = register(
    *(Case(name, SOURCE, "practice", f"{row}: {field.replace('_', ' ')}", "mm", reference, 0.0,
           partial(number, "screws", row, field), basis="common practice")
      for name, (row, field, reference) in NUMBERS.items()),
    *(Case(name, SOURCE, "practice", f"rule “{rule}”: found where broken, silent where kept", "-",
           1.0, 0.0, partial(kept, name), basis="common practice")
      for name, (rule, _, _) in RULES.items()))
