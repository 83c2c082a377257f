"""The bone of a study as bodies: meshed once, factorised once, shared by all its constructs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from buttress.bone.joining import joined
from buttress.bone.measures import Edge, articular, band_nodes, lips, measures, reference_band
from buttress.bone.patches import patches
from buttress.bone.pieces import BonePiece, Inclusion, Made, Piece, Solid
from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.element import EDGE_POINTS, edge_shape
from buttress.fe.errors import InputError
from buttress.fe.links.condense import Measure
from buttress.fe.mesh.bodies import Interface, mesh_bodies
from buttress.fe.mesh.t6 import Mesh
from buttress.study.study import Study
from buttress.study.tables import number

SHAFT = "shaft"
Block = tuple[str, str, tuple[tuple[float, float], ...]]
"""A fill smaller than its void: name of the fill, of the void, and its polygon."""


@dataclass(frozen=True)
class Bone:
    """Bodies, faces, loads and measures of one geometry and one modulus field.

    ``loads``: unit load cases, 1 N total on each contact patch, in the order of `patches`.
    ``shaft`` numbers the body that is clamped; all others are fragments. ``regions`` are the
    meshes of voids (or of blocks in them) that a construct may fill; ``faces`` holds all matched
    faces, in which bodies from ``len(solids)`` on are the regions in their order.
    """

    study: Study
    section: Section
    solids: tuple[Solid, ...]
    regions: tuple[Mesh, ...]
    faces: tuple[Interface, ...]
    shaft: int
    loads: tuple[tuple[tuple[Body, Column], ...], ...]
    measures: tuple[Measure, ...]
    edges: tuple[Edge, ...]
    band: tuple[float, float]
    inclusions: tuple[Inclusion, ...] = ()
    fills: dict[object, Solid] = field(default_factory=dict, repr=False)
    """Fills made so far, by region and material: constructs share their factors."""
    grips: dict[Any, Any] = field(default_factory=dict, repr=False)
    """Anchorage of pins found so far, by axis and width (`buttress.implants.grips`)."""

    @property
    def bodies(self) -> tuple[Continuum, ...]:
        """Bodies of bone."""
        return tuple(s.body for s in self.solids)

    @property
    def interfaces(self) -> tuple[Interface, ...]:
        """Matched faces of fractures (bone on bone)."""
        return tuple(f for f in self.faces if max(f.body_a, f.body_b) < len(self.solids))

    @property
    def fragments(self) -> tuple[int, ...]:
        """Numbers of the bodies that are not clamped."""
        return tuple(i for i in range(len(self.solids)) if i != self.shaft)

    @property
    def frame_centre(self) -> FloatArray:
        """Centre of the reference band's nodes ``(2,)`` [mm], about which it turns."""
        shaft = self.bodies[self.shaft]
        return shaft.points[band_nodes(shaft, self.band)].mean(axis=0)

    def load_vector(self, total: float) -> FloatArray:
        """Force on each contact patch [N] at a total joint force."""
        return total * np.array([p.share for p in patches(self.study)])

    @property
    def unloaded(self) -> tuple[str, ...]:
        """Fragments on which no part of the joint force acts."""
        loaded = {body.name for factor, case in zip(self.load_vector(1.0), self.loads, strict=True)
                  if factor for body, _ in case}
        return tuple(name for name in (self.bodies[i].name for i in self.fragments)
                     if name not in loaded)

    def friction(self, name: str) -> float:
        """Friction coefficient of a fracture."""
        return next(f.friction for f in self.study.fractures if f.name == name)

    def articular(self, body: int) -> tuple[np.ndarray, FloatArray]:
        """Nodes of a body on the joint surface and their shares of its length (sum 1)."""
        return articular(self.bodies[body].mesh)


def mesh_size(study: Study) -> Callable[[FloatArray], FloatArray]:
    """Element size by position: fine near fractures, voids and the joint, coarse in the shaft."""
    fine, coarse = study.mesh.size_mm, study.mesh.coarse_mm
    section = Section(study.section)
    lines = [np.array(f.points_mm) for f in study.fractures]
    lines += [np.array([*v.points_mm, v.points_mm[0]]) for v in study.voids]

    def size(xy: FloatArray) -> FloatArray:
        distance = np.abs(section.below(xy))
        for line in lines:
            for a, b in zip(line[:-1], line[1:], strict=True):
                step = b - a
                t = np.clip((xy - a) @ step / float(step @ step), 0.0, 1.0)
                distance = np.minimum(distance, np.hypot(*(xy - a - t[:, None] * step).T))
        return np.clip(fine + 0.15 * (distance - 4.0 * fine), fine, coarse)

    return size


def build_meshes(study: Study, blocks: tuple[Block, ...] = ()
                 ) -> tuple[list[Mesh], list[Interface]]:
    """Checked geometry of a study, meshed: bodies and matched faces. Raises `InputError`.

    Every void is meshed as a region of its own, so that any construct may fill it; one with a
    block in it stays empty around the block.
    """
    taken = {void for _, void, _ in blocks}
    regions = {v.name: np.array(v.points_mm) for v in study.voids if v.name not in taken}
    regions |= {name: np.array(points) for name, _, points in blocks}
    voids = {v.name: np.array(v.points_mm) for v in study.voids if v.name in taken}
    planar = joined(study, voids, regions)
    names = {f.name: (float(f.inside_mm[0]), float(f.inside_mm[1])) for f in study.fragments}
    return mesh_bodies(planar, mesh_size(study), names)


def build_bone(study: Study, blocks: tuple[Block, ...] = (),
               inclusions: tuple[Inclusion, ...] = (),
               meshed: tuple[list[Mesh], list[Interface]] | None = None) -> Bone:
    """Mesh, stiffness and factors of a study's section. Raises `InputError` for its geometry.

    ``meshed``: the result of `build_meshes`, where the caller has it (or its mirror image).
    """
    section = Section(study.section)
    meshes, faces = meshed or build_meshes(study, blocks)
    count = len(meshes) - _region_count(study, blocks)
    shaft = _shaft(meshes[:count], study)
    depth = {f.name: f.depth_mm for f in study.fragments}
    solids = []
    for i, mesh in enumerate(meshes[:count]):
        if i == shaft:
            mesh = Mesh(SHAFT, mesh.points, mesh.triangles, mesh.edges)
        piece = BonePiece(section, depth.get(mesh.name), inclusions)
        solids.append(make_solid(mesh, Made.BONE, piece, held=i == shaft))
    bodies = tuple(s.body for s in solids)
    for body in bodies:
        body.keep_small(number("anatomy", "small movements", "move"),
                        np.radians(number("anatomy", "small movements", "turn")))
    edges = lips([f for f in faces if max(f.body_a, f.body_b) < count], meshes)
    loads, band = _loads(study, bodies), reference_band(study)
    return Bone(
        study=study, section=section, solids=tuple(solids), regions=tuple(meshes[count:]),
        faces=tuple(faces), shaft=shaft, loads=tuple(loads.values()),
        measures=measures(bodies, shaft, band, edges, loads, study.section.sides), edges=edges,
        band=band, inclusions=inclusions)


def under_load(bone: Bone, study: Study) -> Bone:
    """The same bodies under the loads of another study of equal geometry; nothing is solved."""
    loads = _loads(study, bone.bodies)
    return replace(bone, study=study, loads=tuple(loads.values()), measures=measures(
        bone.bodies, bone.shaft, bone.band, bone.edges, loads, study.section.sides))


def _region_count(study: Study, blocks: tuple[Block, ...]) -> int:
    return len(blocks) + sum(v.name not in {void for _, void, _ in blocks} for v in study.voids)


def make_solid(mesh: Mesh, kind: Made, piece: Piece, held: bool = False) -> Solid:
    """A meshed body of a material, factorised; ``held`` at its base."""
    fixed: list[int] = []
    if held:
        nodes = np.unique(mesh.edges["base"])
        fixed = [*(2 * nodes).tolist(), *(2 * nodes + 1).tolist()]
    return Solid(mesh.name, kind, Continuum(mesh, piece.sheets(quadrature_points(mesh)), fixed),
                 piece)


def _shaft(meshes: list[Mesh], study: Study) -> int:
    held = [i for i, mesh in enumerate(meshes) if "base" in mesh.edges]
    if len(held) != 1:
        raise InputError("a fracture reaches the clamp, where more than one piece is now fixed",
                         key="fracture", expected="fractures that end above the base")
    if meshes[held[0]].name in {f.name for f in study.fragments}:
        raise InputError("a fragment's point lies in the shaft, which is fixed at the clamp",
                         key=f"fragment.{meshes[held[0]].name}.inside_mm",
                         expected="a point on the other side of the fracture")
    return held[0]


def patch(mesh: Mesh, low: float, high: float, direction: FloatArray) -> tuple[Column, float]:
    """Pressure over ``low <= x <= high`` of the joint line, 1 N per full patch; its share."""
    force = np.zeros(mesh.n_dof)
    covered = 0.0
    for edge in mesh.edges.get("joint", ()):
        start, end = mesh.points[edge[0], 0], mesh.points[edge[2], 0]
        a, b = max(low, min(start, end)), min(high, max(start, end))
        if b <= a:
            continue
        # Gauss points of the covered part, in the edge's own coordinate from -1 to 1.
        x = 0.5 * (a + b) + 0.5 * (b - a) * EDGE_POINTS
        local = (2.0 * x - start - end) / (end - start)
        weight = np.array([5.0, 8.0, 5.0]) / 18.0 * (b - a) / (high - low)
        nodal = edge_shape(local)[0].T @ weight
        covered += float(weight.sum())
        for axis in (0, 1):
            np.add.at(force, 2 * edge + axis, nodal * direction[axis])
    return Column.dense(force), covered


def _loads(study: Study, bodies: tuple[Continuum, ...]
           ) -> dict[str, tuple[tuple[Body, Column], ...]]:
    """Unit load case of each patch, by condyle. Raises `InputError` for one off the bone."""
    load = study.load
    angle = np.radians(load.direction_deg)
    direction = np.array([np.sin(angle), -np.cos(angle)])
    cases = {}
    for where in patches(study):
        low, high = (where.centre + side * load.patch_width_mm / 2 for side in (-1.0, 1.0))
        parts: list[tuple[Body, Column]] = []
        total = 0.0
        for body in bodies:
            column, covered = patch(body.mesh, low, high, direction)
            if covered > 0:
                parts.append((body, column))
                total += covered
        if where.share > 0 and abs(total - 1.0) > 1e-9:
            raise InputError(f"the {where.name} contact patch does not lie on the joint surface",
                             key=f"load.{where.key}",
                             value=f"{low:g} to {high:g} mm, of which {100 * total:.0f} % on bone",
                             expected="a patch entirely on the joint line")
        cases[where.name] = tuple(parts)
    return cases
