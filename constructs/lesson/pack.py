"""Solved states as the page holds them: columns rounded to sixteen bits, in base64."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from buttress.bone.patches import patches
from buttress.fe.arrays import FloatArray
from buttress.fe.status import Status
from buttress.lesson.grid import AXES, Scene
from buttress.lesson.solve import Solved
from buttress.study.view import View

STEPS = 65535
STATUSES = ("ok", "no place", "not tightened", Status.UNCONVERGED)


def table(rows: FloatArray) -> dict[str, Any]:
    """Rows ``(n, columns)`` with every column in steps of its own range over 65535."""
    if not rows.size:
        return {"bytes": "", "low": [0.0] * rows.shape[1], "step": [0.0] * rows.shape[1]}
    low, step = _range(rows)
    whole = np.rint((rows - low) / np.where(step > 0, step, 1.0)).astype("<u2")
    return {"bytes": base64.b64encode(whole.tobytes()).decode("ascii"),
            "low": [float(f"{x:.9g}") for x in low], "step": [float(f"{x:.9g}") for x in step]}


def _range(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    low = rows.min(axis=0)
    return low, (rows.max(axis=0) - low) / STEPS


def rounded(rows: FloatArray) -> FloatArray:
    """Rows as the page reads them back."""
    low, step = _range(rows)
    return low + np.rint((rows - low) / np.where(step > 0, step, 1.0)) * step


def round_states(solved: Solved) -> None:
    """Round the states of a family as the page does, so that what is measured is what is shown."""
    paths = [p for p in solved.paths.values() if p.states]
    if not paths:
        return
    rows = iter(rounded(np.array([s for p in paths for s in p.states])))
    for path in paths:
        path.states = [next(rows) for _ in path.states]
        path.loads = [round(x, 2) for x in path.loads]
        path.knee_N = None if path.knee_N is None else round(path.knee_N, 2)


def family_data(solved: Solved) -> dict[str, Any] | None:
    """A family for the page; None where nothing of it could be placed."""
    family, lay = solved.family, solved.layout
    if lay is None:
        return None
    paths = [solved.paths[i] for i in family.nodes()]
    states = [s for p in paths for s in p.states]
    words = list(dict.fromkeys(p.lets_go for p in paths))
    slopes, places = len(family.axes["slope"]), len(family.axes["position"])
    keys = [(s, p) for s in range(slopes) for p in range(places)]
    found = [k for k in keys if k in solved.geometry]
    rows = {k: i for i, k in enumerate(found)}
    first = solved.geometry[found[0]]
    blank = np.zeros(3 * len(lay.fragments))
    escapes = [p.escape if p.escape.size else blank for p in paths]
    own = [s for s in (*family.construct.screws, *family.construct.wires)
           if getattr(s, "plate", None) is None]
    return {
        "axes": [list(family.axes[a]) for a in AXES],
        "paths": {"count": [len(p.states) for p in paths],
                  "status": [STATUSES.index(p.status) for p in paths],
                  "end": [None if p.end_N is None else round(p.end_N, 1) for p in paths],
                  "knee": [p.knee_N for p in paths],
                  "need": [None if p.need is None else round(p.need, 4) for p in paths],
                  "go": [words.index(p.lets_go) for p in paths],
                  "escape": [[float(f"{x:.4g}") for x in e] for e in escapes]},
        "go": words,
        "loads": [x for p in paths for x in p.loads],
        "states": table(np.array(states).reshape(-1, lay.columns)),
        "geometry": table(np.array([solved.geometry[k].columns() for k in found])),
        "rows": [rows.get(k, -1) for k in keys],
        "rings": [{"name": n, "kind": k, "points": len(r)} for n, k, r in first.rings],
        "parts": {"screws": sum(s.count for s in own),
                  "plates": [p.name for p in family.construct.plates],
                  "grafts": [f.name for f in family.construct.fills]},
        "layout": {
            "fragments": list(lay.fragments),
            "sources": [{"name": n, "kind": k} for n, k in lay.sources],
            "edges": list(lay.edges),
            "members": [{"name": n, "kind": k, "points": c, "width": w,
                         "at": lay.member(i)} for i, (n, k, c, w) in enumerate(lay.members)],
            "rigid": [lay.rigid(k) for k in range(len(lay.fragments))],
            "sunk": [lay.sunk(k) for k in range(len(lay.fragments))],
            "edge": [lay.edge(k) for k in range(len(lay.edges))],
            "force": [[lay.force(k, j) for j in range(len(lay.sources))]
                      for k in range(len(lay.fragments))]}}


def _view(view: View) -> dict[str, Any]:
    """What `draw.js` needs to draw a section as seen."""
    return {"sign": view.sign, "hands": list(view.hands), "mark": view.mark, "words": view.words}


def scene_data(scene: Scene, solved: tuple[Solved, ...]) -> dict[str, Any]:
    """A scene for the page: sliders, switches, families."""
    load = scene.study.load
    half = load.patch_width_mm / 2.0
    return {
        "title": scene.title, "scenario": scene.study.scenario.strip(),
        "base": [scene.base[a] for a in AXES], "load": list(scene.load_N),
        "load_base": scene.load_base_N, "step_off_limit": scene.study.limits.step_off_mm,
        "patches": [[p.centre - half, p.centre + half, p.share] for p in patches(scene.study)],
        "sides": list(scene.study.section.sides), "view": _view(scene.study.section.view),
        "bone": "" if scene.study.section.map is not None else scene.study.section.bone,
        "direction": load.direction_deg,
        "choices": [{"name": c.name, "note": c.note, "has": list(c.has),
                     "families": {"".join("01"[x] for x in on): n
                                  for on, n in c.families.items()}} for c in scene.choices],
        "families": [family_data(f) for f in solved]}
