"""The search for a placement that does better: rounds of a design that grows in one store.

Points of a Sobol sequence come first, then those that an estimate between the solved ones finds
promising. Placements that cannot be built or break a rule of the trade are refused before they are
solved. Everything tried is a case of a sweep's store, so the same call resumes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from sqlite3 import Connection
from typing import Any

import numpy as np

from buttress.fe.errors import InputError
from buttress.improving.estimate import Estimate, next_points, spread_points
from buttress.improving.free import Free, free_keys, shares_of
from buttress.improving.records import (
    LEFT,
    REFUSED,
    SOLVED,
    UNKNOWN,
    WORDS,
    Improved,
    Placement,
    known,
    values_of,
)
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.model.resolve import resolved
from buttress.ranking.inputs import inputs_of
from buttress.ranking.outcomes import MERITS
from buttress.results.order import AT_LEAST
from buttress.results.records import BEYOND, ENDED, FOUND
from buttress.study.case import Case
from buttress.study.complaint import show
from buttress.study.paths import there
from buttress.study.read import AnyStudy, as_study, only
from buttress.study.study import Study
from buttress.sweeps.checking import Checker
from buttress.sweeps.design import Design, unit_samples
from buttress.sweeps.evaluate import Evaluator, Options
from buttress.sweeps.keys import Planned, digest, planned
from buttress.sweeps.store import read_meta, reading
from buttress.sweeps.sweep import STORE, STORES, Plan, Say, run_plan
from buttress.sweeps.vary import Varier, addresses, plain

BONE = ("section.modulus_scale", "scale.cancellous_strength", "section.cortex_scale")
"""Inputs of a ranking that are of the bone: what its samples vary."""
FIRST = 2
"""Points of the Sobol sequence for each key, and one more of them, before there is an estimate."""
ROUND = 4
"""Placements that are solved between two estimates."""
MOST_REFUSED = 400
"""Refused placements after which a search ends: the bounds hold too little that can be built."""
SAME = 1e-6
"""Difference of a coupled key's value at the start that is rounding [mm, degrees]."""


def improve(study: AnyStudy, construct: str, free: Sequence[str], *, by: str = "reserve",
            cases: int = 24, samples: int = 1, seed: int = 0, out: Path | None = None,
            workers: int = 0, say: Say = lambda text: None) -> Improved:
    """Search placements of a construct for one that does better; the same call resumes.

    ``study``: see `compare`. ``construct``: its name. ``free``: texts KEY=low:high with the bounds
    of each free key, and KEY={expression} for coupled keys, as in a sweep. ``by``: "reserve",
    "peak" or "stiffness". ``cases``: placements to solve, the start among them; more of them
    continue a search. ``samples``: of uncertain bone (a power of two), of which the worst counts;
    1 is the study's own bone. ``seed``: of the points. ``out``: the store (default:
    ``results/STUDY-improve-*.sqlite``). ``workers``: local processes; 0 solves in this one.
    ``say``: called with lines of progress.

    Returns an `Improved`; `figures.landscape` draws it. It is an educational search, and no
    recommendation. Raises InputError where the input is wrong.
    """
    given = only(as_study(study), construct)
    if by not in WORDS:
        raise InputError("unknown quantity", key="--by", value=by, expected=", ".join(WORDS))
    if cases < 2:
        raise InputError("too few placements", key="--cases", value=str(cases),
                         expected="a whole number of at least 2")
    keys, coupled = free_keys(given, free)
    search = _Search(given, keys, coupled, by, samples, seed)
    path = search.store(out)
    rows = _stored(path, search) or [tuple(int(f.start) if f.whole else f.start for f in keys)]
    while True:
        stopped = search.run(rows, path, workers, say)
        found = search.read(rows, path)
        solved = sum(p.status in (SOLVED, UNKNOWN) for p in found)
        best = max((p.value or 0.0 for p in found if p.status == SOLVED), default=None)
        say(f"{solved} of {cases} placements solved"
            + ("" if best is None else f", largest so far {best:.0f} {WORDS[by][1]}"))
        if stopped or solved >= cases:
            break
        more = list(search.more(found, min(ROUND, cases - solved)))
        if not more:
            say("no further placement within the bounds can be built and keeps the rules")
            break
        rows += more
    places = shares_of(keys, [rows[i] for i in known(found)])
    estimate = Estimate.of(places, values_of(found))
    return Improved(
        study=given.name, construct=construct, by=by, free=keys, coupled=coupled,
        placements=tuple(found), bones=samples, seed=seed, broken=search.broken(rows[0]),
        misses=None if estimate is None else estimate.misses(), path=path, interrupted=stopped)


class _Search:
    """A study with one construct, its free keys, and the samples of its bone."""

    def __init__(self, study: Study, free: tuple[Free, ...], coupled: dict[str, str], by: str,
                 samples: int, seed: int) -> None:
        self.study, self.free, self.coupled, self.by = study, free, coupled, by
        self.seed, self.samples = seed, samples
        self.bone: tuple[str, ...] = ()
        self.bones: list[tuple[Any, ...]] = [()]
        if samples != 1:
            inputs = [entry for entry in inputs_of(study) if entry.key in BONE]
            u = unit_samples(len(inputs), "sobol", samples, seed)
            self.bone = tuple(entry.key for entry in inputs)
            columns = [entry.values(u[:, j]) for j, entry in enumerate(inputs)]
            self.bones = list(zip(*columns, strict=True))
        self._varier, self._checker = Varier(study), Checker()
        self.options = Options(capacity=False, path=True, only=MERITS[by].needs)
        self._evaluator = Evaluator(self.options)
        self._planned: dict[tuple, list[Planned] | str] = {}
        self._keep_start()

    def _keep_start(self) -> None:
        """Raise InputError where a coupled key is not at the start what the study has there."""
        if not self.coupled:
            return
        row = tuple(int(f.start) if f.whole else f.start for f in self.free)
        own, now = resolved(self.study), resolved(self._case(row).study)
        for key in self.coupled:
            for place in addresses(self.study, key):
                a, b = there(own, place), there(now, place)
                if a != b and not (isinstance(a, int | float) and isinstance(b, int | float)
                                   and abs(a - b) < SAME):
                    raise InputError("a coupled key that changes the start", file="--free", key=key,
                                     value=f"{show(b)}, in the study {show(a)}",
                                     expected="an expression that gives the study's own value "
                                              "where the free keys have theirs")

    def store(self, out: Path | None) -> Path:
        """Path of the store; by default one with a hash of all that is asked in its name."""
        if out is not None:
            return out if out.suffix in STORES else out / STORE
        mark = digest([plain(self.study), self.design([]).described()])[:8]
        return Path("results") / f"{self.study.name}-improve-{mark}.sqlite"

    def design(self, rows: Sequence[tuple]) -> Design:
        """The cases of placements: each with every sample of bone."""
        texts = tuple(self.coupled.values())
        return Design(
            keys=(*(f.key for f in self.free), *self.coupled, *self.bone),
            ranges=(*(f"{f.low:g}:{f.high:g}" for f in self.free), *texts,
                    *("sampled" for _ in self.bone)),
            method=f"improve by {self.by}, {self.samples} of bone", samples=len(rows),
            seed=self.seed,
            rows=tuple((*row, *texts, *bone) for row in rows for bone in self.bones))

    def run(self, rows: Sequence[tuple], path: Path, workers: int, say: Say) -> bool:
        """Solve what is not yet stored; whether it was stopped before its end."""
        cases: list[Planned] = []
        refused: dict[int, str] = {}
        hashes: list[str] = []
        for row in rows:
            found = self._plan(row)
            for i in range(len(self.bones)):
                number = len(hashes) + 1
                if isinstance(found, str):
                    refused[number] = found
                    hashes.append("")
                else:
                    cases.append(replace(found[i], number=number))
                    hashes.append(found[i].hash)
        plan = Plan(study=self.study, design=self.design(rows), options=self.options,
                    cases=tuple(cases), refused=refused, hashes=tuple(hashes))
        done = run_plan(plan, path, workers=workers, say=say, brief=True,
                        evaluate=self._evaluator.evaluate)
        return done.interrupted

    def _plan(self, row: tuple) -> list[Planned] | str:
        """The cases of a placement, or why it is refused; the start may break rules."""
        if row not in self._planned:
            reason = self.refused(row) if self._planned else ""
            self._planned[row] = reason or [
                planned(0, self._case(row, bone), self.options.described()) for bone in self.bones]
        return self._planned[row]

    def _case(self, row: tuple, bone: tuple = ()) -> Case:
        values: dict[str, Any] = dict(zip((f.key for f in self.free), row, strict=True))
        return self._varier.case(values | self.coupled | dict(zip(self.bone, bone, strict=False)))

    def broken(self, row: tuple) -> tuple[str, ...]:
        """Rules of the trade that a placement breaks. Raises InputError where it is no study."""
        study = self._case(row).study
        return self._checker.broken(study, study.constructs[0])

    def refused(self, row: tuple) -> str:
        """Why a placement is not solved; empty where it is."""
        try:
            broken = self.broken(row)
        except InputError as error:
            return str(error)
        return f"breaks a rule of the trade: {'; '.join(broken)}" if broken else ""

    def more(self, found: Sequence[Placement], count: int) -> Iterator[tuple]:
        """Placements to try next, ``count`` of which are to be solved; the others are refused."""
        taken = {p.values for p in found}
        refused = sum(p.status == REFUSED for p in found)
        for place in self._points(found):
            row = tuple(f.value(float(x)) for f, x in zip(self.free, place, strict=True))
            if row in taken or refused > MOST_REFUSED:
                continue
            taken.add(row)
            yield row
            if isinstance(self._plan(row), str):
                refused += 1
                continue
            count -= 1
            if count == 0:
                return

    def _points(self, found: Sequence[Placement]) -> Iterator[np.ndarray]:
        """Places between the bounds: spread at first, then by the estimate."""
        numbers, d = known(list(found)), len(self.free)
        answered = sum(p.status in (SOLVED, UNKNOWN) for p in found)
        if answered > FIRST * (d + 1):
            places = shares_of(self.free, [found[i].values for i in numbers])
            turn = (answered - FIRST * (d + 1)) // ROUND
            yield from next_points(Estimate.of(places, values_of(list(found))),
                                   shares_of(self.free, [p.values for p in found]), self.seed, turn)
            return
        for i, place in enumerate(spread_points(d, self.seed)):
            if i > 2 * MOST_REFUSED:
                return
            yield place

    def read(self, rows: Sequence[tuple], path: Path) -> list[Placement]:
        """What the store holds of the placements."""
        with reading(path) as db:
            cases = [self._result(db, number, row) for number, row in enumerate(
                (row for row in rows for _ in self.bones), 1)]
        n = len(self.bones)
        return [_worst(cases[i:i + n]) for i in range(0, len(cases), n)]

    def _result(self, db: Connection, number: int, row: tuple) -> Placement:
        failed = db.execute("SELECT status, reason FROM failures WHERE case_id = ? AND "
                            "total_load_N IS NULL", (number,)).fetchone()
        if failed is not None:
            return Placement(row, REFUSED if failed[0] == "refused" else UNKNOWN,
                             reason=str(failed[1]))
        value = db.execute(
            "SELECT reserve_N, reserve_is, peak_N, peak_status, secant_stiffness_N_per_mm "
            "FROM capacities WHERE case_id = ?", (number,)).fetchone()
        return Placement(row, LEFT) if value is None else _read(row, self.by, *value)


def _read(row: tuple, by: str, reserve: float | None, kind: str, peak: float | None, status: str,
          stiffness: float | None) -> Placement:
    """A placement by what the store has of it; a lower bound counts where the path was pressed to
    its end, and is not known where answers did not converge."""
    if by == "reserve":
        value, bound = reserve, kind == AT_LEAST
        sure = not bound or (reserve or 0.0) >= SEARCH_LIMIT_N
    elif by == "peak":
        bound = status == BEYOND
        value, sure = peak or 0.0, bound or status in (FOUND, ENDED)
    else:
        value, bound, sure = stiffness, False, stiffness is not None
    if value is None or not sure:
        return Placement(row, UNKNOWN, reason="answers did not converge")
    return Placement(row, SOLVED, float(value), bound)


def _worst(cases: Sequence[Placement]) -> Placement:
    """A placement by its samples of bone: the least value, if all are known."""
    for status in (REFUSED, LEFT, UNKNOWN):
        for case in cases:
            if case.status == status:
                return case
    return min(cases, key=lambda p: p.value or 0.0)


def _stored(path: Path, search: _Search) -> list[tuple]:
    """Placements of a search that was begun in a store; none where it has another or none."""
    if not path.exists():
        return []
    with reading(path) as db:
        stored = read_meta(db)["design"]
        asked = search.design([]).described()
        if any(stored[part] != asked[part] for part in ("vary", "method", "seed")):
            return []
        n = len(search.free)
        rows = db.execute("SELECT * FROM design ORDER BY case_id").fetchall()
    return list(dict.fromkeys(row[1:1 + n] for row in rows))


