"""Interactive answers, for sliders and animations: only what has changed is recomputed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from buttress.display import Displayed
from buttress.fe.errors import InputError
from buttress.fe.threads import one_thread
from buttress.model.model import Model
from buttress.results.capacity import bracket
from buttress.results.picture import Picture, take_picture
from buttress.results.read import read
from buttress.results.reader import Reader
from buttress.results.records import LoadResult
from buttress.results.stress import TissueField
from buttress.study.case import Case
from buttress.study.checked import require_known
from buttress.study.read import AnyStudy, as_study
from buttress.sweeps.vary import Varier
from buttress.sweeps.workshop import Frame, Law, Workshop, share_key


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


class Explorer:
    """Answers any construct of a study under any load, with other values at its keys.

    The first question about a construct meshes and condenses it. After that, other loads,
    frictions, strengths and tensions are answered from the condensed problem in tens of
    milliseconds; another geometry or bone costs a new factorisation. Not thread-safe.

    ``study``: see `compare`. Raises InputError where there is no such study.
    """

    def __init__(self, study: AnyStudy) -> None:
        self.study = study = as_study(study)
        self._varier, self._workshop = Varier(study), Workshop()

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
        if not 0.0 < load_N <= 20_000.0:
            raise InputError("not a valid load", value=f"{load_N:g}",
                             expected="a total joint force above 0 and up to 20000 N")
        with one_thread():
            case, _, model, _ = self._model(construct, values)
            reader = Reader.of(model.bone, self._workshop.intact(case.study))
            found = model.answer(load_N)
            result, fields = read(reader, model, found, load_N)
            return Live(construct, result, take_picture(model, found, load_N, fields))

    def capacity(self, construct: str, values: Mapping[str, Any] | None = None
                 ) -> tuple[float | None, float | None]:
        """Holding capacity without and with friction [N]; None: not limited by this model."""
        with one_thread():
            case, frame, model, law = self._model(construct, values)
            return bracket(*frame.capacities(model, law, share_key(case.study)))

    def _model(self, construct: str, values: Mapping[str, Any] | None
               ) -> tuple[Case, Frame, Model, Law]:
        case = self._varier.case(values or {})
        found = {c.name: c for c in case.study.constructs}
        require_known(construct, found, "construct")
        return (case, *self._workshop.model(case, found[construct]))
