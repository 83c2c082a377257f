"""Records of one answer, made from the rows of the catalogue."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from buttress.fe.bodies.stress import to_nodes
from buttress.fe.solve.answer import Answer
from buttress.model.model import Model
from buttress.results.figures import Figures, Level
from buttress.results.quantities import read_level
from buttress.results.reader import Reader
from buttress.results.records import (
    BoneResult,
    CondyleResult,
    EdgeResult,
    FractureResult,
    FragmentResult,
    LoadResult,
    MemberResult,
    Vector,
)
from buttress.results.stress import Fields

FloatArray = np.ndarray
T = TypeVar("T")


def read(reader: Reader, model: Model, answer: Answer, total: float
         ) -> tuple[LoadResult, Fields | None]:
    """All quantities of an answer, and its fields of strain and stress for pictures and files.

    Without equilibrium nothing but what is known then: the load on each fragment, what moves.
    """
    f = Figures(reader, model, answer, total)

    def records(kind: type[T], level: Level) -> dict[str, T]:
        return {name: record(kind, f, level, name) for name in f.places(level)}

    result = record(
        LoadResult, f, Level.LOAD, "", total_load_N=total, notes=answer.notes,
        edges=records(EdgeResult, Level.EDGE),
        fragments={name: record(FragmentResult, f, Level.FRAGMENT, name, **_forces(f, name))
                   for name in f.places(Level.FRAGMENT)},
        fractures=records(FractureResult, Level.FRACTURE),
        members={p.name: record(MemberResult, f, Level.PART, p.name, kind=p.kind,
                                count=p.count)
                 for p in model.hardware.parts},
        condyles=records(CondyleResult, Level.CONDYLE), bone=records(BoneResult, Level.PIECE),
        contacts={k: _more(v, f, Level.CONTACT, k) for k, v in f.contacts.items()},
        grafts={k: _more(v, f, Level.GRAFT, k) for k, v in f.grafts.items()})
    if not answer.held:
        return result, None
    ratios = [to_nodes(b.mesh, r.max(axis=-1)) for b, r in zip(
        reader.bone.bodies, f.strains[0], strict=True)]
    return result, Fields(ratios, tuple(f.tissues.values()))


def record(made: Callable[..., T], f: Figures, level: Level, place: str, **given: Any) -> T:
    """A record of one place: its fields from the catalogue's rows or as given, all else in `more`.
    """
    values, names = read_level(f, level, place), _names(made)
    return made(**{k: v for k, v in values.items() if k in names}, **given,
                more={k: v for k, v in values.items() if k not in names})


def _more(found: T, f: Figures, level: Level, place: str) -> T:
    """A record that is there already, with what the catalogue has more of."""
    values, names = read_level(f, level, place), _names(type(found))
    more = {k: v for k, v in values.items() if k not in names}
    return replace(found, more=more) if more else found  # type: ignore[type-var]


def _names(made: Any) -> set[str]:
    return {x.name for x in fields(made)}


def _forces(f: Figures, name: str) -> dict[str, Any]:
    """The forces on a fragment, as its record holds them."""
    applied, sources = f.pushes(name)
    square = float(applied[:2] @ applied[:2])
    carried = None if square < (1e-9 * f.total) ** 2 or not f.held else {
        k: -float(v[:2] @ applied[:2]) / square for k, v in sources.items()}
    return {"applied_N": _pair(applied), "applied_moment_Nmm": float(applied[2]),
            "centroid_mm": _pair(f.centre(name)), "carried_by": carried,
            "forces_N": {k: _pair(v) for k, v in sources.items()} if f.held else None,
            "moments_Nmm": {k: float(v[2]) for k, v in sources.items()} if f.held else None}


def _pair(vector: FloatArray) -> Vector:
    return float(vector[0]), float(vector[1])
