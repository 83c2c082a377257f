"""A scene for the page: its controls, and the condensed problems of its families."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from buttress.bone.patches import patches
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.solve.path import FIRST_MM, GROWTH
from buttress.implants.sections import screw_form
from buttress.lesson.grid import FREE, Choice, Family, Kinds, Place, Scene, has, kind_name
from buttress.lesson.look import MOST_FRICTION, Asked, Facts, least_friction
from buttress.lesson.problem import problem_data
from buttress.lesson.states import Geometry, Layout, geometry_of, layout_of
from buttress.model.model import Model
from buttress.model.pressing import FARTHEST_MM, SEARCH_LIMIT_N
from buttress.results.details import details
from buttress.study.implants import Screw
from buttress.study.study import Construct
from buttress.study.view import CORONAL, View

DRAWN = 2
"""Decimals of coordinates that are only drawn [mm]."""


@dataclass(frozen=True)
class Embedded:
    """The condensed problem of a family at a place, for the page; None where it does not fit the
    bone there, for the ``reason``."""

    place: Place
    data: dict[str, Any] | None
    reason: str = ""


def embedded_problem(facts: Facts, scene: int, family: Family, place: Place) -> Embedded:
    """Condense a family at a place."""
    here = facts.scenes[scene]
    point = {**here.base, "slope": place[0], "position": place[1]}
    try:
        case = here.case(family.at(place), point)
        frame, model, _ = facts.workshops[scene].model(case, case.study.constructs[0])
    except InputError as error:
        return Embedded(place, None, error.message)
    layout = layout_of(model)
    plain = model.problem.lower, model.problem.upper
    bounds = (lambda _: plain) if family.construct.stages else frame.bounds
    data = problem_data(model, layout, bounds)
    if not (model.hardware.parts or model.hardware.fills):
        data["need"] = least_friction(model.problem, model.bone.load_vector(here.load_N[1]))
        data["most_friction"] = MOST_FRICTION
    choice = _choice_of(here, family, place)
    kinds = choice.kinds if choice is not None else {}
    data["base"] = [p["body"] for p in data["parts"]
                    if p["name"] != _shown(p["name"], kinds)["name"]]
    for part in data["parts"]:
        part |= _shown(part["name"], kinds)
        if "variant" in part:
            part["kinds"] = [kind for kind, _ in kinds[part["name"]]]
    return Embedded(place, data | {
        "place": list(place), "geometry": _drawn(geometry_of(model, layout)),
        "layout": _columns(layout, choice), "screws": screws_of(model)})


def _choice_of(scene: Scene, family: Family, place: Place) -> Choice | None:
    """The choice whose screws stand side by side in the problem of a family at a place."""
    if family.at(place) is family.construct:
        return None
    number = scene.families.index(family)
    return next(c for c in scene.choices if c.kinds and number in c.families.values())


def _shown(name: str, kinds: Kinds) -> dict[str, str]:
    """A part's own name, and of which kind it is where there are several."""
    for own, all_ in kinds.items():
        for i, (kind, _) in enumerate(all_):
            if name == (kind_name(own, kind) if i else own):
                return {"name": own, "variant": kind}
    return {"name": name}


def _drawn(geometry: Geometry) -> dict[str, Any]:
    return {"rings": [{"name": n, "kind": k, "points": _points(r)} for n, k, r in geometry.rings],
            "members": [_points(m) for m in geometry.members],
            "near": [_points(near) for near in geometry.near]}


def screws_of(model: Model) -> list[dict[str, Any] | None]:
    """How each member is drawn where it is a screw, else None: what it acts as, diameters of head,
    washer, shaft and core, and from where to where its thread runs, with its pitch [mm]."""
    shown, given = details(model), {s.name: s for s in model.construct.screws}
    out: list[dict[str, Any] | None] = []
    for part in model.hardware.parts:
        screw, d = given.get(part.name), shown.get(part.name)
        if screw is None or d is None or d.thread is None:
            out.append(None)
            continue
        form, (start, end, pitch, _) = screw_form(screw.form), d.thread
        out.append({"acts": acts_as(screw), "head": d.head, "washer": d.washer,
                    "shaft": form.shaft or form.core, "core": form.core,
                    "thread": [round(start, DRAWN), round(end, DRAWN)], "pitch": pitch})
    return out


def acts_as(screw: Screw) -> str:
    """What a screw does, as a key of the catalogue (after ``legend.``)."""
    if screw.use == "lag":
        return "lag"
    if screw.plate is None:
        return "position"
    return "locked" if screw.locked else "unlocked"


def _points(points: FloatArray) -> list[list[float]]:
    return np.round(points, DRAWN).tolist()


def _columns(lay: Layout, choice: Choice | None) -> dict[str, Any]:
    """Where things stand in a state's columns."""
    kinds = choice.kinds if choice is not None else {}
    return {
        "fragments": list(lay.fragments),
        "sources": [{**_shown(n, kinds), "kind": k} for n, k in lay.sources],
        "edges": list(lay.edges),
        "members": [{**_shown(n, kinds), "kind": k, "points": c, "width": w,
                     "at": lay.member(i)}
                    for i, (n, k, c, w) in enumerate(lay.members)],
        "rigid": [lay.rigid(k) for k in range(len(lay.fragments))],
        "sunk": [lay.sunk(k) for k in range(len(lay.fragments))],
        "edge": [lay.edge(k) for k in range(len(lay.edges))],
        "force": [[lay.force(k, j) for j in range(len(lay.sources))]
                  for k in range(len(lay.fragments))]}


def scene_data(scene: Scene, problems: tuple[tuple[Embedded, ...], ...]) -> dict[str, Any]:
    """A scene for the page: sliders, switches, problems by family."""
    load = scene.study.load
    half = load.patch_width_mm / 2.0
    return {
        "title": scene.title, "scenario": scene.study.scenario.strip(), "base": scene.base,
        "free": {k: list(v) for k, v in FREE.items()}, "turned": scene.turned is not None,
        "load": list(scene.load_N), "load_base": scene.load_base_N, "bare": scene.bare,
        "limits": {"first": FIRST_MM, "growth": GROWTH, "farthest": FARTHEST_MM,
                   "load": SEARCH_LIMIT_N},
        "patches": [[p.centre - half, p.centre + half, p.share] for p in patches(scene.study)],
        "movement": scene.study.limits.movement_mm, "limit": scene.study.limits.step_off_mm,
        "times": [{"id": x.key, "friction": x.friction, "tension": x.tension}
                  for x in scene.times],
        "sides": list(scene.study.section.sides), "view": _view(scene.study.section.view),
        "rubs": bool(scene.study.fractures), "direction": load.direction_deg,
        "choices": [{"name": c.name, "note": c.note, "has": list(c.has),
                     "breaks": bool(c.broken),
                     "parts": _parts(scene.study.constructs[i], c.kinds),
                     "families": [c.families.get(False), c.families[True]]}
                    for i, c in enumerate(scene.choices)],
        "families": [[e.data for e in family if e.data is not None] for family in problems]}


def _parts(construct: Construct, kinds: Kinds) -> list[dict[str, Any]]:
    """What may be taken out, one by one; ``group`` is the switch of the tour that it belongs to."""
    plates = [{"name": p.name, "group": 1, "count": 1} for p in construct.plates]
    screws = [{"name": s.name, "group": 1 if s.plate else 0, "plate": s.plate, "count": s.count}
              | ({"kinds": [k for k, _ in kinds[s.name]]} if s.name in kinds else {})
              for s in construct.screws]
    wires = [{"name": w.name, "group": 0, "plate": None, "count": w.count} for w in construct.wires]
    return [*plates, *screws, *wires]


def controls(shows: tuple[Asked, ...], facts: Facts) -> dict[str, Any]:
    """Where a step of the tour puts the controls: one construct, or two side by side."""
    first = shows[0]
    return {"scene": first.scene, "point": first.point, "load": first.load_N,
            "sides": [side(asked, facts) for asked in shows]}


def side(asked: Asked, facts: Facts) -> dict[str, Any]:
    """One construct as the page holds it."""
    whole = facts.scenes[asked.scene].study.constructs[asked.choice]
    kept = {part["name"] for part in _parts(facts.construct(asked), {})}
    out = [part["name"] for part in _parts(whole, {}) if part["name"] not in kept]
    return {"choice": asked.choice, "out": out, "graft": asked.on[2] or not has(whole)[2],
            "kinds": dict(asked.kinds)}


def _view(view: View) -> dict[str, Any]:
    """What `draw.js` needs to draw a section as seen; ``seen`` is a key of the catalogue."""
    seen = f"front.{view.knee}" if view.sides == CORONAL else f"side.{view.knee}.{view.condyle}"
    return {"sign": view.sign, "hands": list(view.hands), "mark": view.mark, "seen": seen}
