"""Results of stages: immutable records, one per stage, units in the names.

Displacements are in the frame of the shaft and count from the start: the fracture reduced, nothing
placed and nothing loaded. None stands for a number that does not exist.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from buttress.display import Brief, Displayed
from buttress.fe.status import Status
from buttress.results.picture import Picture
from buttress.results.records import EdgeResult, Vector, largest
from buttress.study.checked import require_known
from buttress.study.stages import LOADING, Stage
from buttress.words import fixed, listed, marked

NOT_RUN = "not run"
OFF_MM = 0.1
"""A fragment that building leaves farther off its place than this is warned of (practice)."""


@dataclass(frozen=True)
class FragmentStage:
    """One fragment after a stage.

    Subsidence: how far its joint surface lies distally of the start, mean over its length and
    worst node (negative: it was pushed up); ``change_mm``: mean less that after the stage before;
    tilt positive where its lateral (posterior) end rises. ``forces_N``: on it from each source;
    with the load they close to ``balance_error``, relative to the largest force of any link or
    load (moments over the drawn width of the section). A loose piece, left where it is, has no
    figures.
    """

    subsidence_mean_mm: float | None
    subsidence_max_mm: float | None
    change_mm: float | None
    tilt_deg: float | None
    applied_N: Vector
    forces_N: dict[str, Vector]
    balance_error: float | None


@dataclass(frozen=True)
class FaceStage:
    """Largest slip so far (all stages, not taken back) and opening now along a fracture, mm."""

    slip_mm: float
    opening_mm: float


@dataclass(frozen=True)
class ScrewStage:
    """Force between head and plate or bone (of all pieces, pressing positive), the force to which
    the screw was last tightened, and the share of it that is left."""

    force_N: float
    tightened_N: float | None
    kept: float | None


@dataclass(frozen=True)
class CycleStage:
    """How a cyclic load ended.

    ``verdict``: "settled", "not settled" (falls off still), "ratchets" (grows without falling
    off) or the status of a step that was not held. ``count`` of at most ``limit`` complete cycles.
    ``change_mm``: largest change of the joint surface from one cycle to the next, from the second
    cycle on; ``ratio``: what is left of a change one cycle later (mean of the last five).
    ``slip_mm``: largest slip or crushing within the last cycle (0: elastic shakedown).
    Subsidence: mean of each fragment in the last cycle.
    """

    verdict: str
    count: int
    limit: int
    settle_mm: float
    change_mm: tuple[float, ...]
    ratio: float | None
    slip_mm: float | None
    subsidence_loaded_mm: dict[str, float | None]
    subsidence_unloaded_mm: dict[str, float | None]

    @property
    def words(self) -> str:
        """The end in words."""
        last = self.change_mm[-1] if self.change_mm else None
        if self.verdict == "settled":
            how = ("is elastic from then on (shakedown)" if (self.slip_mm or 0.0) <= self.settle_mm
                   else f"slips to and fro by {self.slip_mm:.3f} mm in each, without growing")
            lies = "; ".join(
                f"{name} then lies at {fixed(sunk, 3)} mm loaded, {fixed(rest, 3)} mm unloaded"
                for name, sunk in self.subsidence_loaded_mm.items()
                if sunk is not None and (rest := self.subsidence_unloaded_mm[name]) is not None)
            return (f"settles after {self.count} cycles and {how}"
                    + (f": {lies}" if lies else ""))
        if self.verdict == "ratchets":
            return (f"ratchets: still grows by {last:.2g} mm per cycle, without falling off, at "
                    f"its limit of {self.limit} cycles")
        if self.verdict == "not settled":
            said = "no two to compare" if last is None else f"the last one changes {last:.2g} mm"
            return f"not settled at its limit of {self.limit} cycles: {said}"
        return f"{self.verdict} in cycle {self.count + 1}"


@dataclass(frozen=True, repr=False)
class StageResult(Brief):
    """One stage: what was done, whether it was held, how all lies afterwards.

    ``status``: "held", "no equilibrium", "unconverged", or "not run" after a stage that was not
    held. ``slip_mm``: largest slip or crushing [mm] under force within this stage.
    ``yield_ratios``: largest von Mises stress of each plate, screw and wire over its yield.
    ``loosens``: which screws it tightens to less than they carried before it, in words.
    """

    brief = ("number", "words", "status", "total_load_N")

    number: int
    do: str
    what: tuple[str, ...]
    words: str
    status: str
    method: str
    residual: float | None
    complementarity: float | None
    total_load_N: float | None
    slip_mm: float | None
    fragments: dict[str, FragmentStage] = field(default_factory=dict)
    edges: dict[str, EdgeResult] = field(default_factory=dict)
    fractures: dict[str, FaceStage] = field(default_factory=dict)
    screws: dict[str, ScrewStage] = field(default_factory=dict)
    yield_ratios: dict[str, float] = field(default_factory=dict)
    cycle: CycleStage | None = None
    escapes: str | None = None
    loosens: str = ""
    notes: tuple[str, ...] = ()

    @property
    def held(self) -> bool:
        """Whether there is an equilibrium after this stage."""
        return self.status == Status.HELD

    @property
    def worst(self) -> FragmentStage | None:
        """The fragment that has sunk most; None where none has a joint surface."""
        found = [f for f in self.fragments.values() if f.subsidence_mean_mm is not None]
        return max(found, key=lambda f: f.subsidence_mean_mm or 0.0, default=None)


@dataclass(frozen=True, repr=False)
class StagedResult(Displayed):
    """All stages of a construct. ``status``: "held" or what stopped it, and at which stage.

    ``same_steps_as``: constructs of the study with the same parts and steps in another order.
    """

    brief = ("name", "status", "stages")

    name: str
    note: str
    status: str
    stages: tuple[StageResult, ...]
    same_steps_as: tuple[str, ...] = ()
    pictures: tuple[Picture | None, ...] = field(default=(), repr=False)
    breaks_rule: bool = False

    @property
    def marked_name(self) -> str:
        """Its name, marked where it breaks a rule of the trade."""
        return marked(self.name, self.breaks_rule)

    @property
    def last_held(self) -> StageResult | None:
        """The last stage that was held."""
        return next((s for s in reversed(self.stages) if s.held), None)

    @property
    def warnings(self) -> tuple[str, ...]:
        """Where building leaves a fragment off its place: figures under load count from there."""
        return tuple(f"stages: {said}; movements under load count from there"
                     for said in self.left_off)

    @property
    def left_off(self) -> tuple[str, ...]:
        """Fragments that building leaves off their place before any load, in words."""
        built = None
        for stage in self.stages:
            if stage.do in LOADING or not stage.held:
                break
            built = stage
        if built is None:
            return ()
        step = max((e.step_off_mm or 0.0 for e in built.edges.values()), default=0.0)
        return tuple(
            f"before it is loaded, '{name}' lies {abs(f.subsidence_mean_mm):.2f} mm too "
            f"{'high' if f.subsidence_mean_mm < 0 else 'low'}, with a step-off of up to "
            f"{step:.2f} mm"
            for name, f in built.fragments.items()
            if f.subsidence_mean_mm is not None
            and max(abs(f.subsidence_mean_mm), step) > OFF_MM)

    def beyond(self, step_off_mm: float, depression_mm: float) -> str:
        """Which of two limits was passed most in the stages, in words; empty where none was."""
        found = [(value / limit, value, limit, words, s.number) for s in self.stages if s.held
                 for words, limit, values in (
                     ("step-off", step_off_mm, [e.step_off_mm for e in s.edges.values()]),
                     ("depression", depression_mm,
                      [f.subsidence_max_mm for f in s.fragments.values()]))
                 for value in [largest(values)] if value is not None]
        share, value, limit, words, number = max(found, default=(0.0, 0.0, 0.0, "", 0))
        return "" if share <= 1.0 else (f"in its stages the {words} came to {value:.2f} mm (stage "
                                        f"{number}), over the limit of {limit:g} mm")


@dataclass(frozen=True, repr=False)
class StagedStudy(Displayed):
    """The staged constructs of a study; iterates over them, and finds one by its name."""

    brief = ("title", "names")

    title: str
    constructs: tuple[StagedResult, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the constructs with stages, in the order of the study."""
        return tuple(c.name for c in self.constructs)

    def __iter__(self) -> Iterator[StagedResult]:
        return iter(self.constructs)

    def __len__(self) -> int:
        return len(self.constructs)

    def __getitem__(self, name: str) -> StagedResult:
        """A construct by its name. Raises InputError with the closest one if there is none."""
        found = {c.name: c for c in self.constructs}
        require_known(name, found, "construct with stages")
        return found[name]


def words(stage: Stage, own_force: float | None = None, rows: bool = False) -> str:
    """A stage in words; ``own_force``: tension of its screw where the stage gives none, ``rows``:
    whether it tightens several screws side by side, each to that force."""
    names = ", ".join(stage.what or ())
    if stage.do == "tighten":
        force = stage.force_N if stage.force_N is not None else own_force
        each = " each" if rows else ""
        return f"tighten {names}" + (f" to {force:g} N{each}" if force is not None else "")
    if stage.do == "relax":
        when = "relax" if stage.hours is None else f"hour {stage.hours:g}"
        lost = [f"{names} {'lose' if len(stage.what) > 1 else 'loses'} "
                f"{100 * (stage.lost_share or 0.0):.3g} %"] if stage.what else []
        worn = [] if stage.friction_factor is None else [f"friction × {stage.friction_factor:g}"]
        return f"{when}: " + ", ".join([*lost, *worn])
    if stage.do == "load":
        share = "" if stage.medial_share is None else f", {100 * stage.medial_share:g} % medial"
        return f"load to {stage.total_N:g} N{share}"
    if stage.do == "cycle":
        share = ""
        if stage.medial_share is not None or stage.low_medial_share is not None:
            share = ", medial share changing"
        wears = "" if stage.friction_factor is None else (
            f", friction wearing to × {stage.friction_factor:g} over {stage.wear_cycles} cycles")
        return f"cycle {stage.low_N or 0.0:g} to {stage.total_N:g} N{share}{wears}"
    return f"{stage.do} {names}".strip()


def loosened(before: StageResult | None, aims: Mapping[str, float]) -> str:
    """Which screws are tightened to a force [N] below that which they carried, in words."""
    found = [(name, before.screws[name].force_N, aim) for name, aim in aims.items()
             if before is not None and name in before.screws]
    each = [(f"'{name}'" if len(aims) > 1 else "it") + f" from {was:.0f} to {aim:.0f} N"
            for name, was, aim in found if round(was) > round(aim)]
    return f"this loosens {listed(each)}" if each else ""


def screw_names(constructs: Sequence[StagedResult]) -> list[str]:
    """Names of all screws, in the order in which they come."""
    return list(dict.fromkeys(n for c in constructs for s in c.stages for n in s.screws))
