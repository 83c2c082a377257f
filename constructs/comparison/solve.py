"""Solve one construct under every load: the one path from a model to its record."""

from __future__ import annotations

from dataclasses import fields, replace

from buttress.fe.status import Status
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.capacity import bracket, friction_lost, lets_go
from buttress.results.derive import derive
from buttress.results.limits import (
    find_limits,
    first_words,
    first_yield,
    gauges,
    lowest,
)
from buttress.results.picture import take_picture, unloaded
from buttress.results.read import read
from buttress.results.reader import Reader
from buttress.results.records import (
    NOT_TIGHTENED,
    ConstructResult,
    LoadResult,
    not_tightened,
)
from buttress.results.search import Search, without_load


def solve_construct(reader: Reader, model: Model, warnings: tuple[str, ...] = (),
                    pictures: bool = False, others: bool = True) -> ConstructResult:
    """The record of a construct that is tightened: its loads, limits, path and peak.

    ``others``: also look for other answers from other starts, see `derive`.
    """
    study = model.bone.study
    upper, lower = model.capacity(), model.capacity(frictionless=True)
    # Friction lost costs another path, which the weight-bearing table asks for.
    least = (bracket(lower, upper)[0] if study.load.body_mass_kg is None
             else friction_lost(model))
    loads, shots = [], []
    for total in study.load.total_N:
        answer = model.answer(total)
        result, nodal = read(reader, model, answer, total)
        loads.append(replace(result, load_name=study.load.name(total)))
        if pictures:
            shots.append(replace(take_picture(model, answer, total, nodal), friction_only=(
                least is not None and total > least)))
    search = Search(model)
    found_gauges = gauges(reader, model, study.limits)
    letting_go = lets_go(model, upper)
    limits = find_limits(search, found_gauges, letting_go or lets_go(model, lower),
                         next((r.escapes for r in loads if r.escapes), None))
    derived = derive(search, reader, first_yield(reader, model), study.limits.movement_mm,
                     others=others)
    points = () if derived.path is None else derived.path.points
    found = ConstructResult(
        name=model.construct.name, note=model.construct.note, status=_status(model, loads),
        capacity_N=bracket(lower, upper), capacity_status=upper.status, lets_go=letting_go,
        equilibrium_ends_N=search.ends, step_off_limit_N=limits["step-off"].load_N,
        search_limit_N=SEARCH_LIMIT_N,
        first_limit=first_words(limits, SEARCH_LIMIT_N, without_load(model)),
        curve_load_N=tuple(p.load_N for p in points),
        curve_subsidence_mm={name: tuple(p.subsidence_mm[name] for p in points)
                             for name in (model.bone.bodies[i].name for i in model.bone.fragments)},
        loads=tuple(loads), links=model.problem.n,
        warnings=(*warnings, *model.hardware.warnings), pictures=tuple(shots), limits=limits,
        lowest_limit=lowest(limits), ends_status=search.ends_status, known_to_N=search.known_to,
        without_friction_N=least, tightened_N=sum(model.hardware.tighten.values()),
        **{x.name: getattr(derived, x.name) for x in fields(derived)})
    if why := not_tightened(found):
        # What strips while it is tightened is no escape under the load: it is drawn unloaded.
        return replace(found, pictures=tuple(unloaded(p, why) for p in shots))
    return found


def _status(model: Model, loads: list[LoadResult]) -> str:
    if not model.stands:
        return NOT_TIGHTENED
    held = sum(r.status == Status.HELD for r in loads)
    if held == len(loads):
        return Status.HELD
    if any(r.status == Status.UNCONVERGED for r in loads):
        return Status.UNCONVERGED
    return Status.NO_EQUILIBRIUM if held == 0 else f"holds {held} of {len(loads)} loads"
