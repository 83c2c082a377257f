"""Interactive answers, for sliders and animations: only what has changed is recomputed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf
from numbers import Real
from typing import Any

from buttress.display import Displayed
from buttress.fe.errors import InputError
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.path import FAR, LOAD_LIMIT, PLATEAU
from buttress.fe.solve.reached import at_place
from buttress.fe.threads import one_thread
from buttress.model.model import Model
from buttress.results.capacity import bracket
from buttress.results.picture import Picture, take_picture
from buttress.results.read import read
from buttress.results.reader import Reader
from buttress.results.records import LoadResult
from buttress.results.search import without_load
from buttress.results.stress import Fields, TissueField
from buttress.study.case import Case
from buttress.study.checked import require_known
from buttress.study.read import AnyStudy, as_study
from buttress.sweeps.checking import Checker
from buttress.sweeps.vary import Varier
from buttress.sweeps.workshop import Frame, Law, Workshop, share_key

LARGEST_N = 20_000.0
"""Largest load that is answered."""
KEPT = 2
"""Of so many constructs or values, the last ones, the path is kept: a film shows two."""
LEAST_N = 1.0
"""A path that never carries this [N] carries nothing: there is nothing to press on."""


@dataclass(frozen=True, repr=False)
class Live(Displayed):
    """One construct under one load: its figures and the data for its drawing."""

    brief = ("construct", "result")

    construct: str
    result: LoadResult
    picture: Picture

    @property
    def fields(self) -> tuple[TissueField, ...]:
        """Strain and stress of every tissue of every body, as arrays: see `TissueField`.

        Empty where the load is not held.
        """
        return self.picture.fields


@dataclass(frozen=True)
class Way:
    """How far the joint of a construct can be pressed [mm]; where its peak is, and None where none
    is found; its largest load [N]; whether it ends since the construct gives way, with a peak
    before or with movements larger than this model follows; its end in words."""

    ends_mm: float
    peak_mm: float | None
    largest_N: float
    gives_way: bool
    ends: str


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, Real) else repr(value)


class Explorer:
    """Answers any construct of a study under any load, with other values at its keys.

    The first question about a construct meshes and condenses it. After that, other loads,
    frictions, strengths and tensions are answered from the condensed problem in tens of
    milliseconds; another geometry or bone costs a new factorisation. Not thread-safe.

    ``study``: see `compare`. Raises InputError where there is no such study.
    """

    def __init__(self, study: AnyStudy) -> None:
        self.study = study = as_study(study)
        self._varier, self._workshop, self._checker = Varier(study), Workshop(), Checker()
        self._last: list[tuple[str, tuple[Case, Frame, Model, Law]]] = []

    @property
    def counts(self) -> dict[str, int]:
        """Work done so far: bones meshed, bodies factorised, constructs condensed."""
        return dict(self._workshop.counts)

    def answer(self, construct: str, load_N: float, values: Mapping[str, Any] | None = None
               ) -> Live:
        """The answer of a construct under a total joint force ``load_N`` [N].

        ``values``: other values by dotted key, as in a sweep. Returns a `Live` with the figures
        (``result``), what `figures` draw (``picture``) and arrays of strain and stress
        (``fields``). Raises InputError for a construct or key that the study has not, and for a
        load that is not positive or over 20000 N.
        """
        if not isinstance(load_N, Real) or not 0.0 < load_N <= LARGEST_N:
            raise InputError("not a valid load", value=_shown(load_N),
                             expected="a total joint force above 0 and up to 20000 N")
        with one_thread():
            case, _, model, _ = self._model(construct, values)
            reader = Reader.of(model.bone, self._workshop.intact(case.study))
            found = model.answer(load_N)
            result, fields = read(reader, model, found, load_N)
            return Live(construct, result, self._picture(case, model, found, load_N, fields))

    def way(self, construct: str) -> Way:
        """How far a construct can be pressed, from the tightened state. Raises InputError for a
        construct that the study has not."""
        with one_thread():
            _, _, model, _ = self._model(construct, None)
            if not model.stands:
                return Way(0.0, None, 0.0, False, without_load(model))
            path = model.pressing.whole
            largest = max(p.load_N for p in path.points)
            # On a plateau the largest of nearly equal loads may be anywhere.
            top = next(p for p in path.points if p.load_N >= (1 - PLATEAU) * largest)
            found = path.peak_status == "found"
            if found:
                ends = f"has given way after its peak of {largest:.0f} N"
            elif path.stopped in FAR:
                ends = f"movements larger than followed beyond {largest:.0f} N"
            else:
                ends = (f"no peak up to {largest:.0f} N" if path.stopped == LOAD_LIMIT
                        else "farther on it is not known")
            return Way(path.points[-1].ram_mm, top.ram_mm if found else None, largest,
                       found or path.stopped in FAR, ends)

    def pressed(self, construct: str, ram_mm: float) -> Live:
        """The answer of a construct where its joint has been pressed by ``ram_mm``, along the load
        and from the tightened state: also past the peak, where the load falls.

        A displacement beyond the end of its path (see `way`) has the answer of that end; one that
        has no answer that of the point of the path before it. What carries nothing at all, or
        cannot be tightened, has the answer of the study's largest load. Raises InputError as
        `answer` does, and for a displacement that is no number or negative.
        """
        if not isinstance(ram_mm, Real) or not 0.0 <= ram_mm < inf:
            raise InputError("not a valid displacement", value=_shown(ram_mm),
                             expected="a displacement of the joint in mm, 0 or more")
        with one_thread():
            case, _, model, _ = self._model(construct, None)
            reader = Reader.of(model.bone, self._workshop.intact(case.study))
            load, path = max(self.study.load.total_N), None
            if model.stands:
                path = model.pressing.whole
            if path is None or path.peak_N < LEAST_N:
                found = model.answer(load)
            else:
                after = next((i for i, p in enumerate(path.points) if p.ram_mm >= ram_mm), None)
                if after is None:
                    point = path.points[-1]
                elif after == 0:
                    point = path.points[0]
                else:
                    point = at_place(path, after, ram_mm) or path.points[after - 1]
                found, load = model.pressing.since_tightened(point), point.load_N
            result, fields = read(reader, model, found, load)
            return Live(construct, result, self._picture(case, model, found, load, fields))

    def capacity(self, construct: str, values: Mapping[str, Any] | None = None
                 ) -> tuple[float | None, float | None]:
        """Holding capacity without and with friction [N]; None: not limited by this model."""
        with one_thread():
            case, frame, model, law = self._model(construct, values)
            return bracket(*frame.capacities(model, law, share_key(case.study)))

    def _picture(self, case: Case, model: Model, found: Answer, load_N: float,
                 fields: Fields | None) -> Picture:
        """What is drawn, marked where the construct breaks a rule of the trade as it is placed."""
        broken = self._checker.broken(case.study, model.construct)
        return replace(take_picture(model, found, load_N, fields), breaks_rule=bool(broken))

    def _model(self, construct: str, values: Mapping[str, Any] | None
               ) -> tuple[Case, Frame, Model, Law]:
        if not isinstance(values, Mapping | None):
            raise InputError("not values by key", value=repr(values)[:60],
                             expected='{"fracture.NAME.friction": 0.4}, keys as in a sweep')
        case = self._varier.case(values or {})
        found = {c.name: c for c in case.study.constructs}
        require_known(construct, found, "construct")
        for name, known in self._last:
            if name == construct and known[0] == case:
                return known                # with as much of its path as was pressed
        made = (case, *self._workshop.model(case, found[construct]))
        self._last = [(construct, made), *self._last[:KEPT - 1]]
        return made
