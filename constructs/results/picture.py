"""What is drawn of one construct under one load, as plain arrays that a worker can be sent."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from buttress.bone.bone import SHAFT
from buttress.bone.patches import patches
from buttress.bone.pieces import Made
from buttress.display import Brief
from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import sliding_motion
from buttress.fe.solve.recover import displacements, escape_motion, pushes
from buttress.fe.solve.step import LINEAR_PROGRAM
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.results.backdrop import NO_BACKDROP, Backdrop, backdrop
from buttress.results.contacts import ContactLine, contact_lines
from buttress.results.details import NO_DETAILS, Details, details
from buttress.results.escape import escaping
from buttress.results.stress import Fields, TissueField
from buttress.rules.study import left_by_reduction
from buttress.study.activities import LoadCase
from buttress.study.view import View
from buttress.words import marked

OFF_MM = 3.0
"""A line of action that passes farther than this from its source is told as force and couple."""
SPECK_N = 1e-6
"""Forces up to this are rounding, also where there is no load."""


@dataclass(frozen=True, repr=False)
class BodyPicture(Brief):
    """Mesh of a piece of bone and its displacement [mm]; ``value`` is a nodal field, if any."""

    brief = ("name", "kind")

    name: str
    points: FloatArray        # (n, 2)
    triangles: np.ndarray     # (m, 6)
    displacement: FloatArray  # (n, 2)
    value: FloatArray | None = None   # (n,)
    kind: Made = Made.BONE


@dataclass(frozen=True, repr=False)
class MemberPicture(Brief):
    """Line of a plate or screw, its displacement and its drawn width [mm]."""

    brief = ("name", "kind")

    name: str
    kind: str
    points: FloatArray        # (k, 2)
    displacement: FloatArray  # (k, 2)
    width: FloatArray         # (k - 1,)
    details: Details = NO_DETAILS


@dataclass(frozen=True)
class Arrow:
    """A force [N] on a fragment and the point where it acts [mm].

    The point lies on the line of action, next to where the source acts on the fragment; where that
    line passes farther than `OFF_MM` from there, the point is that place itself, and
    ``couple_Nmm`` the moment about it that the source exerts beside its force (positive from x
    lateral to y proximal).
    """

    source: str
    kind: str                 # "load" | "fracture" | "plate" | "screw" | "wire" | "graft"
    point: tuple[float, float]
    force: tuple[float, float]
    couple_Nmm: float = 0.0


@dataclass(frozen=True)
class FreeBody:
    """The free body of a fragment: all forces on it, which sum to zero within ``error`` [N]."""

    fragment: str
    body: int
    arrows: tuple[Arrow, ...]
    error: float


@dataclass(frozen=True, repr=False)
class LinkForces(Brief):
    """Forces of the links on bone, for the deformed picture: places, vectors, kinds, sources."""

    brief = ("sources",)

    places: FloatArray        # (l, 2)
    forces: FloatArray        # (l, 2) on the fragment's side of a fracture
    kinds: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, repr=False)
class Picture(Brief):
    """One construct under one load.

    ``held``: displacements are the answer's, from the tightened state. Else they are the motion
    of the failure mechanism, scaled to a largest amplitude of 1 mm: a direction only.
    """

    brief = ("construct", "load_words", "status")

    construct: str
    load_N: float
    held: bool
    status: str
    bodies: tuple[BodyPicture, ...]
    members: tuple[MemberPicture, ...]
    links: LinkForces
    free_bodies: tuple[FreeBody, ...]
    patches: tuple[tuple[float, float, float], ...]   # (x from, x to, force N) of each
    view: View                # which knee, seen from where
    contacts: tuple[ContactLine, ...] = ()
    load_name: str = ""       # as of an activity
    verdict: str = ""         # as that of the load, empty for an answer by itself
    verdict_words: str = ""   # with its load and what has yielded or been crushed below it
    breaks_rule: bool = False
    escapes: str | None = None    # the body that moves freely without equilibrium
    backdrop: Backdrop = NO_BACKDROP
    fields: tuple[TissueField, ...] = ()   # strain and stress of each tissue of each body, if held
    left: bool = False        # whether reduction leaves gaps or steps, which are not drawn

    @property
    def fragments(self) -> tuple[str, ...]:
        """Names of the pieces of bone that are not the shaft."""
        return tuple(b.name for b in self.bodies if b.kind == Made.BONE and b.name != SHAFT)

    @property
    def load_words(self) -> str:
        """The load in words, with its name where it has one: ``1920 N (walking)``."""
        return LoadCase(self.load_name, self.load_N, "", "").words

    @property
    def marked_name(self) -> str:
        """The construct's name, marked where it breaks a rule of the trade."""
        return marked(self.construct, self.breaks_rule)


def unloaded(picture: Picture, status: str) -> Picture:
    """The picture of what cannot be loaded, as it lies there; ``status`` says why."""
    return replace(picture, status=status, bodies=tuple(
        replace(b, displacement=np.zeros_like(b.displacement)) for b in picture.bodies),
        members=tuple(replace(m, displacement=np.zeros_like(m.displacement))
                      for m in picture.members))


def source_kind(model: Model, source: str) -> str:
    """Whether a source of force is a fracture, a plate or a screw."""
    for part in model.hardware.parts:
        if part.name == source:
            return part.kind
    if any(fill.name == source for fill in model.hardware.fills):
        return "graft"
    return "fracture"


def take_picture(model: Model, answer: Answer, total: float, fields: Fields | None = None
                 ) -> Picture:
    """Picture of an answer, with its fields of strain and stress, if computed."""
    problem = model.problem
    count = len(model.solids)
    if answer.held:
        moved = displacements(problem, answer)
        if model.tightened is not None:
            before = displacements(problem, model.tightened)
            moved = [u - v for u, v in zip(moved, before, strict=True)]
        forces = answer.force
    else:
        escape = answer.escape
        if answer.method == LINEAR_PROGRAM:
            escape = sliding_motion(problem, model.bone.load_vector(total),
                                    model.hardware.tighten)
        moved = escape_motion(problem, escape)
        forces = np.zeros(problem.n)
    values = dict(enumerate(fields.strain_ratio if fields is not None else []))
    bodies = tuple(
        BodyPicture(
            name=d.name, points=d.body.points, triangles=d.mesh.triangles,
            displacement=u.reshape(-1, 2), value=values.get(i), kind=d.kind)
        for i, (d, u) in enumerate(zip(model.solids, moved[:count], strict=True)))
    known = details(model)
    members = tuple(
        MemberPicture(
            name=p.name, kind=p.kind, points=p.member.points, displacement=u.reshape(-1, 3)[:, :2],
            width=np.array([s.outer + s.inner for s in p.sections]),
            details=known.get(p.name, NO_DETAILS))
        for p, u in zip(model.hardware.parts, moved[count:], strict=True))
    members += _bonded_metal(model, bodies)
    return Picture(
        construct=model.construct.name, load_N=total, held=answer.held, status=answer.status,
        bodies=bodies, members=members, links=_link_forces(model, forces),
        free_bodies=_free_bodies(model, answer, total), patches=_patches(model, total),
        view=model.bone.study.section.view, backdrop=backdrop(model.bone.section),
        contacts=contact_lines(model, answer) if answer.held else (),
        load_name=model.bone.study.load.name(total),
        escapes=None if answer.held else escaping(model, answer),
        fields=() if fields is None else fields.tissues,
        left=bool(left_by_reduction(model.bone.study)))


def _bonded_metal(model: Model, bodies: tuple[BodyPicture, ...]) -> tuple[MemberPicture, ...]:
    """Screws and wires that are part of the bone, moved as the nearest node of bone or graft."""
    points = np.concatenate([b.points for b in bodies])
    moved = np.concatenate([b.displacement for b in bodies])
    out = []
    for name in dict.fromkeys(bar.name for bar in model.bone.inclusions):
        bars = [bar for bar in model.bone.inclusions if bar.name == name]
        line = np.concatenate([bar.start + np.linspace(0.0, 1.0, 25)[:, None] * (
            bar.end - bar.start) for bar in bars])
        near = np.hypot(*(line[:, None] - points[None]).transpose(2, 0, 1)).argmin(axis=1)
        wide = np.repeat([bar.diameter for bar in bars], 25)[:-1]
        out.append(MemberPicture(
            name=name, kind=bars[0].kind, points=line, displacement=moved[near], width=wide))
    return tuple(out)


def _link_forces(model: Model, force: FloatArray) -> LinkForces:
    places, vectors, kinds, sources = [], [], [], []
    fragments = {id(model.bone.bodies[i]) for i in model.bone.fragments}
    grafts = {id(s.body) for s in model.solids if s.kind == Made.GRAFT}
    for value, link in zip(force, model.problem.links.links, strict=True):
        if value == 0.0 or not np.isfinite(link.place[0]):
            continue
        # The force that bone receives: bodies of bone are end b of screws, end a of plates. Of a
        # fracture it is the one on the fragment, of two fragments on the first.
        on_a = link.kind.startswith((Hold.PLATE_ON_BONE, Hold.BONDED_PLATE)) or id(
            link.b.body) in grafts or (
            link.kind.startswith("contact") and id(link.a.body) in fragments)
        sign = -1.0 if on_a else 1.0
        places.append(link.place)
        vectors.append(sign * value * np.array(link.direction))
        kinds.append(link.kind)
        sources.append(link.source)
    return LinkForces(np.array(places).reshape(-1, 2), np.array(vectors).reshape(-1, 2),
                      tuple(kinds), tuple(sources))


def _patches(model: Model, total: float) -> tuple[tuple[float, float, float], ...]:
    study = model.bone.study
    half = study.load.patch_width_mm / 2
    return tuple((p.centre - half, p.centre + half, total * p.share) for p in patches(study))


def centroid(points: FloatArray, triangles: np.ndarray) -> FloatArray:
    """Centroid ``(2,)`` of straight-sided triangles [mm]."""
    corner = points[triangles[:, :3]]
    a, b = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return (area[:, None] * corner.mean(axis=1)).sum(axis=0) / area.sum()


def _free_bodies(model: Model, answer: Answer, total: float) -> tuple[FreeBody, ...]:
    if not answer.held:
        return ()
    out = []
    bone = model.bone
    for i in bone.fragments:
        body = bone.bodies[i]
        about = centroid(body.points, body.mesh.triangles)
        applied, sources = pushes(model.problem, answer, body, about)
        near = _near(model, answer, i)
        arrows = []
        for name, push in {"load": applied, **sources}.items():
            size = float(np.hypot(push[0], push[1]))
            if size <= max(1e-3 * total, SPECK_N):
                continue
            kind = "load" if name == "load" else source_kind(model, name)
            start = near.get(name, about)
            arrows.append(Arrow(name, kind, *_acts(push, about, start)))
        error = applied + sum(sources.values(), np.zeros(3))
        out.append(FreeBody(body.name, i, tuple(arrows), float(np.hypot(error[0], error[1]))))
    return tuple(out)


def _acts(push: FloatArray, about: FloatArray, near: FloatArray
          ) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Point, force and couple of an `Arrow`, for a source that acts at ``near``."""
    fx, fy = float(push[0]), float(push[1])
    arm = near - about
    couple = float(push[2] - (arm[0] * fy - arm[1] * fx))
    aside = couple / (fx * fx + fy * fy) * np.array([fy, -fx])
    if np.hypot(*aside) > OFF_MM:
        return (float(near[0]), float(near[1])), (fx, fy), couple
    x, y = near + aside
    return (float(x), float(y)), (fx, fy), 0.0


def _near(model: Model, answer: Answer, number: int) -> dict[str, FloatArray]:
    """Where each source acts on a body: places of its links, weighted by their forces."""
    body = model.bone.bodies[number]
    sums: dict[str, tuple[float, FloatArray]] = {}
    for value, link in zip(answer.force, model.problem.links.links, strict=True):
        if body is link.a.body or body is link.b.body:
            weight, place = sums.get(link.source, (0.0, np.zeros(2)))
            sums[link.source] = (weight + abs(value),
                                 place + abs(value) * np.array(link.place))
    out = {name: place / weight for name, (weight, place) in sums.items() if weight > 0}
    nodes, shares = model.bone.articular(number)
    force = np.zeros(2)
    centre = np.zeros(2)
    for factor, case in zip(answer.load, model.problem.loads, strict=True):
        for loaded, column in case:
            if loaded is body:
                size = abs(factor) * np.abs(column.values)
                force += size.sum()
                centre += (size[:, None] * body.points[column.dofs // 2]).sum(axis=0)
    if force[0] > 0:
        out["load"] = centre / force
    elif nodes.size:
        out["load"] = shares @ body.points[nodes]
    return out
