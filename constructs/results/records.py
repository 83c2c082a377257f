"""What a comparison says: immutable records, one field per reported figure, units in the names.

None stands for a number that does not exist (no equilibrium, not limited by the model). ``more``
holds quantities of the catalogue that have no field of their own; JSON shows them like the others.
Displacements are in the frame of the shaft, zero after the last tightening.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from buttress.display import Brief, Displayed
from buttress.fe.errors import InputError
from buttress.fe.status import Status
from buttress.results.path import Derived, Where
from buttress.results.picture import Picture
from buttress.rules.screw import PULLS_OUT
from buttress.study.activities import LoadCase
from buttress.study.checked import closest, did_you_mean
from buttress.words import marked

Vector = tuple[float, float]
NOT_TIGHTENED, GAVE_WAY = "tightening has no equilibrium", "a stage has no equilibrium"
CANNOT_TIGHTEN, GIVES_WAY = "cannot be tightened", "gives way in its stages"
NOT_LOADED = {NOT_TIGHTENED: CANNOT_TIGHTEN, GAVE_WAY: GIVES_WAY}
"""Why a construct is not loaded, by status, in words; a stage may have let it give way."""
UNDECIDED = "tightening did not converge", "a stage did not converge"
"""Statuses of constructs of which that is not known."""
HELD_BY_NOTHING = "unsupported"
FOUND, BEYOND, NOT_KNOWN = "found", "beyond the search", "not known"
ENDED = "movements larger than followed"
"""What the path says of the peak; `ENDED`: it rises to where what is above counts as not held."""


def largest(values: Any) -> float | None:
    """Largest of the values that exist, None where none does."""
    return max((v for v in values if v is not None), default=None)


@dataclass(frozen=True)
class FragmentResult(Displayed):
    """One fragment under one load.

    Subsidence: how far the joint surface moves distally, mean over its length and worst node;
    ``net`` is the mean less that of the intact bone (may be negative). Tilt: least-squares
    rotation, positive where the lateral (posterior) end rises. ``forces_N`` are the forces on the
    fragment from each source, ``moments_Nmm`` their moments about its centroid; together with the
    load they close to ``balance_error`` (over the total load, moments over load times section
    width).
    ``carried_by``: the share of the fragment's own load that each source carries, measured along
    that load (sum 1; below 0 pushes it further down), None where the fragment has no load.
    """

    subsidence_mean_mm: float | None
    subsidence_max_mm: float | None
    subsidence_net_mm: float | None
    tilt_deg: float | None
    applied_N: Vector
    applied_moment_Nmm: float
    centroid_mm: Vector
    forces_N: dict[str, Vector] | None
    moments_Nmm: dict[str, float] | None
    balance_error: float | None
    carried_by: dict[str, float] | None = None
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def applied_x_N(self) -> float:
        """Joint force on it towards +x [N]."""
        return self.applied_N[0]

    @property
    def applied_y_N(self) -> float:
        """Joint force on it, proximal positive [N]."""
        return self.applied_N[1]

    @property
    def carried_most_by(self) -> str | None:
        """What carries most of its own load."""
        shares = self.carried_by or {}
        return max(shares, key=lambda k: shares[k], default=None)

    @property
    def carried_most_share(self) -> float | None:
        """The share that this one carries."""
        return largest((self.carried_by or {}).values())


@dataclass(frozen=True)
class EdgeResult:
    """Lips of a fracture at the joint: relative displacement across it (unsigned) and along it."""

    step_off_mm: float | None
    gap_mm: float | None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class FractureResult:
    """Largest slip and opening along a fracture; ``slip_beyond_element`` questions small slip."""

    slip_max_mm: float | None
    opening_max_mm: float | None
    slip_beyond_element: bool | None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class CondyleResult:
    """Joint surface medial or lateral of the midline, whatever pieces it consists of.

    ``load_N``: joint force on it. Subsidence: mean over its length, and the worst node; net of
    the intact bone's mean. ``widening_mm``: how far its rim moves outwards from the joint
    surface's point at the midline; both together are the widening of the plateau.
    """

    load_N: float
    subsidence_mean_mm: float | None
    subsidence_max_mm: float | None
    subsidence_net_mm: float | None
    widening_mm: float | None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, repr=False)
class ContactProfile(Brief):
    """Pressure node by node along a line of contact; all of one length, ordered by pair of bodies.

    ``position_mm``: along the fracture as drawn, from a plate's proximal end, or round a fill.
    ``pressure_MPa`` and ``shear_MPa``: nodal force over its share of the length and over
    ``depth_mm`` (the bone's chord there, at a plate the plate's width), tightening included.
    ``opening_mm`` is NaN (null in JSON) where a node has slid beyond the end of the other face.
    ``between``: the two bodies; with x to the right (pictures of a right knee have it to the left)
    shear is positive where it drives the second one to the left of the normal from the first.
    """

    brief = ("between", "position_mm")

    position_mm: tuple[float, ...]
    x_mm: tuple[float, ...]
    y_mm: tuple[float, ...]
    depth_mm: tuple[float, ...]
    pressure_MPa: tuple[float, ...]
    shear_MPa: tuple[float, ...]
    opening_mm: tuple[float, ...]
    between: tuple[str, ...]


@dataclass(frozen=True)
class ContactResult:
    """Contact along a fracture, under a plate, or round a fill (``kind`` "graft").

    ``force_N``: sum of the normal forces, ``friction_N``: of the sizes of the friction forces.
    ``contact_share``: share of the length in contact. Mean and 95th percentile are taken over
    all of the length, open parts at 0; the nodal maximum depends on the mesh where it lies
    at the end of a line. Below 0 bonded faces pull. The place is None where nothing presses.
    """

    kind: str
    force_N: float | None = None
    friction_N: float | None = None
    length_mm: float | None = None
    contact_share: float | None = None
    pressure_mean_MPa: float | None = None
    pressure_p95_MPa: float | None = None
    pressure_max_MPa: float | None = None
    pressure_max_at_mm: Vector | None = None
    profile: ContactProfile | None = None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class GraftResult:
    """A fill: how far its faces are crushed, how much its body is compressed, who presses on it.

    ``crushed``: how far the bone next to it has sunk into it beyond what is elastic, mean over the
    length of its faces and largest with its place; ``at_strength``: share of that length which
    carries the crushing strength. ``compression``: largest compressive strain, mean and 95th
    percentile by volume. ``forces_N`` on it from each piece of bone, screw and wire.
    """

    crushed_mean_mm: float | None = None
    crushed_max_mm: float | None = None
    crushed_max_at_mm: Vector | None = None
    at_strength: float | None = None
    compression_mean: float | None = None
    compression_p95: float | None = None
    forces_N: dict[str, Vector] | None = None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class BoneResult:
    """A piece of bone: its volume, the share of it over yield strain, and percentiles by volume
    of strain over yield strain."""

    volume_mm3: float
    over_yield: float | None = None
    strain_ratio_p95: float | None = None
    strain_ratio_p99: float | None = None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class MemberResult:
    """Largest elastic von Mises stress of the outer fibres of a plate or screw, over its yield.

    A ratio over 1: fibres have yielded; the section turns as a hinge at its plastic moment.
    ``count``: how many of its kind lie side by side.
    """

    kind: str
    von_mises_MPa: float | None
    yield_ratio: float | None
    axial_N: float | None
    hinges: int | None
    count: int = 1
    more: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, repr=False)
class LoadResult(Displayed):
    """One construct under one total joint force.

    ``stiffness_N_per_mm``: total force over the mean displacement of the contact patches along
    it (work-conjugate). ``bone_over_yield``: share of bone volume whose principal strain is over
    yield; ``strain_ratio_p95`` and ``p99``: percentiles by volume of strain over yield strain.
    ``load_name``: name of an activity or of a mass on the ground, empty for a load given in N.
    ``verdict``: what it means in words (`judged.Cell`), empty for an answer by itself;
    ``verdict_words``: with its load, and with what has yielded or been crushed below it.
    """

    brief = ("load_words", "status", "verdict", "escapes", "fragments", "members")

    total_load_N: float
    status: Status
    method: str
    residual: float | None
    complementarity: float | None
    steps: int
    edges: dict[str, EdgeResult]
    fragments: dict[str, FragmentResult]
    fractures: dict[str, FractureResult]
    members: dict[str, MemberResult]
    widening_mm: float | None
    stiffness_N_per_mm: float | None
    bone_over_yield: float | None
    strain_ratio_p95: float | None
    strain_ratio_p99: float | None
    stations_at_capacity: int | None
    escapes: str | None
    notes: tuple[str, ...] = ()
    load_name: str = ""
    verdict: str = ""
    verdict_words: str = ""
    condyles: dict[str, CondyleResult] = field(default_factory=dict)
    contacts: dict[str, ContactResult] = field(default_factory=dict)
    grafts: dict[str, GraftResult] = field(default_factory=dict)
    bone: dict[str, BoneResult] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def load_words(self) -> str:
        """The load in words, with its name where it has one: ``1920 N (walking)``."""
        return LoadCase(self.load_name, self.total_load_N, "", "").words


@dataclass(frozen=True)
class LetsGo:
    """What is at its bound when capacity is reached: a kind of link of one source, and where."""

    kind: str
    source: str
    count: int
    place_mm: Vector


@dataclass(frozen=True)
class LimitResult:
    """The load at which a limit is reached, and where: ``limit`` of a figure in its ``unit``.

    ``key`` is that of `[limits]`. ``load_N`` is None where the limit is not reached; ``missing``
    then says why. That is the first place on the path where the figure is at its limit, within
    `search.VALUE_TOLERANCE`. Where that place was not found, the limit is met up to ``kept_to_N``,
    and not from ``over_from_N`` on, if any point of the path tells.
    """

    load_N: float | None
    where: Where | None
    key: str
    limit: float | None
    unit: str
    missing: str = ""
    kept_to_N: float | None = None
    over_from_N: float | None = None


@dataclass(frozen=True, repr=False)
class ConstructResult(Derived, Displayed):
    """A construct: its capacity as a bracket, its limits, its answer for each load.

    ``capacity_N``: lower bound (no friction) and upper bound (friction) of limit analysis.
    ``equilibrium_ends_N``: the largest load of the path, None where it is not the end;
    ``known_to_N``: largest load known to be held. ``limits``: the load at which each is reached,
    of which ``lowest_limit`` is first. ``tightened_N``: tension of its screws before it is loaded.
    ``limits_without_friction``: as ``limits``, with friction lost after tightening, as far as the
    first of them. ``without_friction_N``: where none is reached, what that path carries;
    ``without_friction_to_N``: up to where it is known, if it is not to its end. ``twin_of``: whose
    twin this is; ``bonded``: its metal and graft are stuck fast. ``remarks``: on its parts.
    ``begins``: state that its stages have loaded it to. ``left``: see `Bears`.
    """

    brief = ("name", "status", "capacity_N", "lowest_limit", "loads_N", "warnings")

    name: str
    note: str
    status: str
    capacity_N: tuple[float | None, float | None]
    capacity_status: str
    lets_go: tuple[LetsGo, ...]
    equilibrium_ends_N: float | None
    step_off_limit_N: float | None
    search_limit_N: float
    first_limit: str
    curve_load_N: tuple[float, ...]
    curve_subsidence_mm: dict[str, tuple[float | None, ...]]
    loads: tuple[LoadResult, ...]
    links: int
    warnings: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = field(default=(), repr=False)
    limits: dict[str, LimitResult] = field(default_factory=dict)
    lowest_limit: str | None = None
    twin_of: str | None = None
    bonded: bool = False
    breaks_rule: bool = False
    rule_findings: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    ends_status: str = FOUND
    known_to_N: float | None = None
    tightened_N: float = 0.0
    without_friction_N: float | None = None
    without_friction_to_N: float | None = None
    limits_without_friction: dict[str, LimitResult] = field(default_factory=dict)
    begins: str = ""
    left: str = ""

    @property
    def loads_N(self) -> tuple[float, ...]:
        """The total joint forces [N] that were asked for."""
        return tuple(r.total_load_N for r in self.loads)

    @property
    def marked_name(self) -> str:
        """Its name, marked where it breaks a rule of the trade."""
        return marked(self.name, self.breaks_rule)

    def load(self, asked: float | str) -> LoadResult:
        """The answer under a total joint force [N], or under a load by its name ("walking").

        Raises InputError, with the loads that there are, where it was not asked for.
        """
        for found in self.loads:
            if asked in (found.total_load_N, *found.load_name.split(" / ")) and asked != "":
                return found
        raise InputError("this load was not asked for" + did_you_mean(self._near(asked)),
                         value=f"{asked:g} N" if isinstance(asked, int | float) else str(asked),
                         expected=", ".join(r.load_words for r in self.loads))

    def picture(self, asked: float | str) -> Picture:
        """What is drawn of it under a load, by total joint force [N] or by name, as in `load`.

        Raises InputError where the load was not asked for, or the study was compared without
        pictures.
        """
        total_N = self.load(asked).total_load_N
        for found in self.pictures:
            if found.load_N == total_N:
                return found
        raise InputError("this comparison was made without pictures", value=f"{total_N:g} N",
                         expected="compare(study, pictures=True)")

    def _near(self, asked: float | str) -> str:
        """The closest load, as it can be asked for."""
        if isinstance(asked, int | float):
            return f"{min(self.loads_N, key=lambda load: abs(load - asked), default=0.0):g}"
        return closest(str(asked), [n for r in self.loads for n in r.load_name.split(" / ") if n])


def not_loaded(construct: ConstructResult) -> str:
    """Why a construct is not loaded, in words, and what moves freely then; empty where it is."""
    said = NOT_LOADED.get(construct.status, "")
    escapes = next((r.escapes for r in construct.loads if r.escapes), None)
    if not said or escapes is None:
        return said
    why = next((w for w in construct.warnings if w.startswith(f"{escapes}: ") and PULLS_OUT in w),
               f"'{escapes}' moves freely")
    return f"{said}: {why}"
