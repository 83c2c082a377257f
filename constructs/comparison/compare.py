"""Solve every construct of a study for every load, and rank what holds."""

from __future__ import annotations

import platform
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import version
from time import perf_counter

import numpy as np

from buttress.bone.bone import Bone
from buttress.comparison.stages import staged_result
from buttress.comparison.twins import with_twins
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Capacity
from buttress.fe.solve.strategy import FEW_LINKS
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, Model, intact_measures
from buttress.results.comparison import Comparison
from buttress.results.limits import (
    NOT_FOUND,
    Gauge,
    Reading,
    find_limit,
    find_limits,
    first_words,
    gauges,
    lowest,
    moved_joint,
)
from buttress.results.picture import take_picture, unloaded
from buttress.results.read import Reader, intact_subsidence, read
from buttress.results.records import (
    BEYOND,
    CANNOT_TIGHTEN,
    FOUND,
    HELD_BY_NOTHING,
    NOT_KNOWN,
    NOT_TIGHTENED,
    ConstructResult,
    LetsGo,
    LoadResult,
    Where,
    not_tightened,
)
from buttress.rules.check import check
from buttress.rules.screw import PLATE_ACROSS
from buttress.study.activities import newtons
from buttress.study.study import Study

SEARCH_LIMIT_N = 10_000.0
"""Loads are searched up to here: about ten times body weight, beyond any activity of the knee."""
CURVE_POINTS = 12
BISECTIONS = 12
VALUE_TOLERANCE, LOAD_TOLERANCE, REACHES = 1e-4, 1e-6, 40
"""A limit is reached where its figure is this close to it, or this much of the load over it."""
CLOSE = 1e-3
"""Share of the bound of limit analysis within which that proves the end of equilibrium."""
LEAST_N = 1.0
"""A construct that does not hold this load is held by nothing."""
Say = Callable[[str], None]


def compare(study: Study, say: Say = lambda text: None, pictures: bool = True,
            also_bonded: bool = False) -> Comparison:
    """Answers of all constructs of a study. ``say`` is told what is being done.

    ``also_bonded`` adds each construct's bonded twin: see `buttress.comparison.twins`.

    Raises `InputError` where the study cannot be built; an answer without equilibrium is a result.
    """
    clock = perf_counter()
    study, twins = with_twins(study) if also_bonded else (study, {})
    findings = check(study)    # refuses what cannot be solved, in the words of the study file
    with one_thread():
        say("meshing and factorising the bone")
        bones = Bones(study)
        intact = intact_subsidence(bones.base, intact_measures(bones.base))
        readers: dict[int, Reader] = {}
        seconds = {"bone": perf_counter() - clock}
        broken = {f.construct for f in findings if f.level == "broken"} - set(twins)
        warned, remarks = defaultdict(list), defaultdict(list)
        for finding in findings:
            if finding.level != "note" and finding.construct not in twins:
                warned[finding.construct].append(f"{finding.part}: {finding.message}")
            elif finding.rule == PLATE_ACROSS and finding.construct not in twins:
                remarks[finding.construct].append(f"{finding.part}: {finding.message}")
        done, staged = [], []
        for construct in study.constructs:
            start = perf_counter()
            say(f"solving '{construct.name}'")
            bone = bones.of(construct)
            reader = readers.setdefault(id(bone), Reader.of(bone, intact))
            model = build_model(bone, construct)
            if model.whole is not None:
                staged.append(staged_result(reader, model.whole, pictures))
                warned[construct.name] += staged[-1].warnings
                remarks[construct.name] += staged[-1].left_off
            solved = _solve(reader, model, tuple(warned[construct.name]), pictures)
            done.append(replace(solved, twin_of=twins.get(construct.name),
                                breaks_rule=construct.name in broken,
                                remarks=tuple(remarks[construct.name])))
            seconds[construct.name] = perf_counter() - start
    return Comparison(study, tuple(done), versions(), mesh_facts(bones.base),
                      trust(done), seconds, tuple(staged))


def _solve(reader: Reader, model: Model, warnings: tuple[str, ...], pictures: bool
           ) -> ConstructResult:
    study = model.bone.study
    upper, lower = model.capacity(), model.capacity(frictionless=True)
    loads, shots = [], []
    answers: dict[float, Answer] = {}
    for total in study.load.total_N:
        answer = answers[total] = model.answer(total)
        result, fields = read(reader, model, answer, total)
        loads.append(replace(result, load_name=study.load.name(total)))
        if pictures:
            shots.append(replace(take_picture(model, answer, total, fields), friction_only=(
                lower.factor is not None and total > lower.factor)))
    bound = model.capacity(rising=True) if model.hardware.tighten else upper
    search = Search(reader, model, bound.factor, answers)
    curve, sunk = _curve(search, study.load.total_N)
    letting_go = lets_go(model, upper)
    limits = find_limits(search, gauges(reader, model, study.limits, loads),
                         lets_go(model, bound) or letting_go or lets_go(model, lower),
                         next((r.escapes for r in loads if r.escapes), None))
    found = ConstructResult(
        model.construct.name, model.construct.note, _status(model, loads), bracket(lower, upper),
        upper.status, letting_go, search.ends, limits["step-off"].load_N, SEARCH_LIMIT_N,
        first_words(limits, SEARCH_LIMIT_N, without_load(model)), curve, sunk, tuple(loads),
        model.problem.n, (*warnings, *model.hardware.warnings), tuple(shots), limits,
        lowest(limits), ends_status=search.ends_status, known_to_N=search.known_to,
        moved=find_limit(search, moved_joint(reader, model)))
    if why := not_tightened(found):
        # What strips while it is tightened is no escape under the load: it is drawn unloaded.
        return replace(found, pictures=tuple(unloaded(p, why) for p in shots))
    return found


def bracket(lower: Capacity, upper: Capacity) -> tuple[float | None, float | None]:
    """Capacity in newtons of total force: without friction, with friction; None is unlimited."""
    def value(c: Capacity) -> float | None:
        return None if c.factor is None else max(0.0, c.factor) + 0.0

    return value(lower), value(upper)


def _status(model: Model, loads: list[LoadResult]) -> str:
    if not model.stands:
        return NOT_TIGHTENED
    held = sum(r.status == "held" for r in loads)
    if held == len(loads):
        return "held"
    if any(r.status == "unconverged" for r in loads):
        return "unconverged"
    return "no equilibrium" if held == 0 else f"holds {held} of {len(loads)} loads"


def _ending(answer: Answer) -> str:
    return FOUND if answer.status == "no equilibrium" else NOT_KNOWN


def without_load(model: Model) -> str:
    """Why a construct that holds no load at all does not, in words."""
    if model.tightened is None or model.tightened.held:
        return HELD_BY_NOTHING
    return (CANNOT_TIGHTEN if model.tightened.status == "no equilibrium"
            else "tightening did not converge")


class Search:
    """Loads at which something happens, found from the study's own ``answers`` on.

    Only an answer of no equilibrium ends the search: while it is narrowed down, a load that a
    neighbour's states do not answer counts as not held, but where that ends, all starts have
    their say, Lemke's method only where links are few. If none converges, the end is not known.
    It starts at the largest load of the study that is held. ``known_to``: largest load held [N].
    """

    def __init__(self, reader: Reader, model: Model, upper: float | None,
                 answers: dict[float, Answer]) -> None:
        self.reader, self.model, self.upper = reader, model, upper
        self.held = [p for p, a in answers.items() if a.held]
        self.known: dict[float, Answer] = {p: answers[p] for p in self.held}
        self.ends_status, self.known_to = self._find_end(max(self.held, default=0.0))

    @property
    def ends(self) -> float | None:
        """Largest load held by stepwise loading [N], None if beyond the search or not known."""
        return self.known_to if self.ends_status == FOUND else None

    def answer(self, total: float, quick: bool = True, brief: bool = False) -> Answer:
        """Answer at a load, followed from the nearest one that is known to hold."""
        if total not in self.known:
            nearest = min(self.known, key=lambda p: abs(p - total), default=None)
            near = None if nearest is None else self.known[nearest]
            found = self.model.answer(total, near, quick, brief)
            if not found.held:
                return found
            self.known[total] = found
        return self.known[total]

    def _find_end(self, good: float) -> tuple[str, float]:
        """What is known of the end of equilibrium, and the largest load known to be held [N]."""
        if good == 0.0:
            found = self.answer(good := LEAST_N, quick=False)
            if not found.held:
                return _ending(found), 0.0
        # Limit analysis bounds the load from above, so the search ends there at the latest.
        bound = max(good, np.inf if self.upper is None else self.upper)
        if bound > SEARCH_LIMIT_N and self.answer(SEARCH_LIMIT_N).held:
            return BEYOND, SEARCH_LIMIT_N
        top = min(bound, max(good, SEARCH_LIMIT_N))
        while True:
            good, bad = self._bisect(good, top, lambda p: self.answer(p, brief=True).held)
            if good >= (1.0 - CLOSE) * bound:
                return FOUND, good
            found = self._decided(bad)
            if not found.held:
                return _ending(found), good
            good = bad
            if good >= top:
                return BEYOND, good

    def _decided(self, total: float) -> Answer:
        """The answer where the search would end; with many links Lemke's method takes too long."""
        if self.model.problem.n > FEW_LINKS:
            return self.answer(total)
        found = self.answer(total, quick=False, brief=True)
        return found if found.status != "unconverged" else self.answer(total, quick=False)

    def _bisect(self, good: float, bad: float, is_good: Callable[[float], bool]
                ) -> tuple[float, float]:
        for _ in range(BISECTIONS):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if is_good(middle) else (good, middle)
        return good, bad

    def reach(self, gauge: Gauge) -> tuple[float, Reading] | str:
        """Least load [N] at which a gauge that rises with the load reaches its limit, and its
        reading there; the words why there is none.

        Bracketed between loads of the study and the end of the search, then false position
        (Illinois): exact in one step where the figure is linear in the load.
        """
        top = self.known_to
        if top == 0.0 and self.ends_status == FOUND:
            return without_load(self.model)
        low, below = 0.0, -1.0
        for load in sorted({0.0, top, *(p for p in self.held if p < top)}):
            over = self._over(gauge, load)
            if isinstance(over, str):
                return over
            if over >= 0.0:
                return self._between(gauge, (low, below), (load, over))
            low, below = load, over
        return {BEYOND: f"not reached below {newtons(top)} N",
                FOUND: f"not reached before it lets go at {newtons(top)} N",
                NOT_KNOWN: f"not reached up to {newtons(round(top))} N, above which equilibrium is "
                           "not known"}[self.ends_status]

    def kept_to(self, gauge: Gauge) -> float:
        """Largest load [N] that was solved up to which a gauge is within its limit."""
        kept = 0.0
        for load in sorted(self.known):
            over = self._over(gauge, load)
            if isinstance(over, str) or over >= 0.0:
                break
            kept = load
        return kept

    def _between(self, gauge: Gauge, low: tuple[float, float], high: tuple[float, float]
                 ) -> tuple[float, Reading] | str:
        (a, fa), (b, fb), kept = low, high, 0
        for step in range(REACHES):
            if fb <= VALUE_TOLERANCE or b - a <= LOAD_TOLERANCE * b:
                break
            middle = 0.5 * (a + b) if step % 4 == 3 else (a * fb - b * fa) / (fb - fa)
            for _ in range(3):
                over = self._over(gauge, middle)
                if not isinstance(over, str):
                    break
                middle = 0.5 * (a + middle)   # a load without an answer: nearer to one that has it
            if isinstance(over, str):
                return over
            if abs(over) <= VALUE_TOLERANCE:
                b = middle
                break
            if over < 0.0:
                a, fa, fb, kept = middle, over, fb / 2 if kept < 0 else fb, -1
            else:
                b, fb, fa, kept = middle, over, fa / 2 if kept > 0 else fa, 1
        reading = self._read(gauge, b)
        return reading if isinstance(reading, str) else (b, reading)

    def _over(self, gauge: Gauge, load: float) -> float | str:
        """A gauge over its limit less 1 at a load; words where there is none."""
        if load not in gauge.known:
            reading = self._read(gauge, load)
            if isinstance(reading, str):
                return reading
            gauge.known[load] = reading.value
        return gauge.known[load] / gauge.limit - 1.0

    def _read(self, gauge: Gauge, load: float) -> Reading | str:
        """The reading of a gauge at a load, at 0 N that of the tightened construct."""
        if load == 0.0:
            if self.model.tightened is None:
                return Reading(0.0, Where("", None))
            answer = self.model.tightened
        else:
            answer = self.answer(load)
            if not answer.held:
                return f"{NOT_FOUND}: answers did not converge near it"
        return gauge.read(answer) or "no such figure in this section or construct"


def _curve(search: Search, asked: tuple[float, ...]) -> tuple[tuple[float, ...], dict]:
    """Mean subsidence of each fragment over the load, up to a fifth beyond the largest load.

    The study's own loads are among its points, so that it passes through the table's figures; so
    are the end of equilibrium, if within them, and what the search has solved just before it.
    """
    bone, reader = search.reader.bone, search.reader
    even = np.linspace(0.0, 1.2 * max(asked), CURVE_POINTS + 1)
    end = 0.0 if search.ends_status == BEYOND else search.known_to
    last = max((p for p in (*even, *asked) if p <= end), default=0.0)
    near = [p for p in search.known if last < p <= min(end, even[-1])]
    loads = tuple(float(x) for x in np.unique([*even, *asked, *near]))
    sunk: dict[str, list[float | None]] = {bone.bodies[i].name: [] for i in bone.fragments}
    for total in loads:
        values = None
        if 0.0 < total <= (np.inf if search.ends_status == BEYOND else search.known_to):
            answer = search.answer(total, quick=False)
            values = reader.measures(search.model, answer) if answer.held else None
        for i in bone.fragments:
            sunken: float | None = 0.0 if total == 0.0 else None
            if (values is not None and bone.articular(i)[0].size
                    and bone.bodies[i].name not in search.model.hardware.loose):
                surface, share = reader.surface(values, i)
                sunken = float(surface @ share)
            sunk[bone.bodies[i].name].append(sunken)
    return loads, {k: tuple(v) for k, v in sunk.items()}


def lets_go(model: Model, upper: Capacity) -> tuple[LetsGo, ...]:
    """What is at its bound at capacity, by kind and source, most telling first."""
    if upper.factor is None:
        return ()
    links = model.problem.links
    groups: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for i in upper.at_bound:
        link = links.links[i]
        if link.opens:
            continue   # a face that opens is not what limits
        groups[link.kind, link.source].append(link.place)
    for i in upper.turning:
        groups["plastic hinge", links.hinges[i].source].append(links.hinges[i].place)
    rank = ["plastic hinge", "thread", "bearing"]
    order = sorted(groups, key=lambda k: (rank.index(k[0]) if k[0] in rank else 9, k))
    return tuple(LetsGo(kind, source, len(groups[kind, source]), _mean(groups[kind, source]))
                 for kind, source in order)


def _mean(places: list[tuple[float, float]]) -> tuple[float, float]:
    x, y = np.nanmean(np.array(places), axis=0)
    return float(x), float(y)


def versions() -> dict[str, str]:
    """Versions that a result depends on."""
    names = ("numpy", "scipy", "shapely", "pythoncdt")
    out = {"buttress": version("buttress"), "python": platform.python_version()}
    return out | {n: version(n) for n in names}


def mesh_facts(bone: Bone) -> dict:
    """Elements, unknowns, sizes and worst angle of each body."""
    return {b.name: {"elements": len(b.mesh.triangles), "unknowns": b.n_dof,
                     "median_edge_mm": round(b.mesh.size, 3),
                     "smallest_angle_deg": round(b.mesh.quality, 2),
                     "area_mm2": round(b.mesh.area, 3)} for b in bone.bodies}


def trust(results: list[ConstructResult]) -> dict:
    """Worst residuals over all held answers, and how answers were found."""
    held = [r for c in results for r in c.loads if r.status == "held"]
    balance = [f.balance_error for r in held for f in r.fragments.values()
               if f.balance_error is not None]
    return {"worst_residual": max((r.residual or 0.0 for r in held), default=None),
            "worst_complementarity": max((r.complementarity or 0.0 for r in held), default=None),
            "worst_balance_error": max(balance, default=None),
            "methods": dict(Counter(r.method for c in results for r in c.loads)),
            "statuses": dict(Counter(r.status for c in results for r in c.loads))}
