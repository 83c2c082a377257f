"""Displacements read from every solution: reference frame, joint surfaces, lips, rims."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.errors import InputError
from buttress.fe.links.condense import Measure
from buttress.fe.mesh.bodies import Interface
from buttress.fe.mesh.t6 import Mesh
from buttress.study import tables
from buttress.study.study import Study

Node = tuple[int, int]
"""Number of a body, and of a node of it."""
TIED = 1e-3
"""Places that differ by less than this [mm] are equally far out: which of them a mesher lists first
must not matter, or a mirrored study would be measured elsewhere."""


@dataclass(frozen=True)
class Edge:
    """Where a fracture meets the joint surface: the two lips, nodes of the two bodies."""

    name: str
    body_a: int
    node_a: int
    body_b: int
    node_b: int


def articular(mesh: Mesh) -> tuple[np.ndarray, FloatArray]:
    """Nodes of a mesh on the joint surface and their shares of its length there (sum 1)."""
    weight = edge_lengths(mesh, "joint")
    nodes = np.flatnonzero(weight)
    return nodes, weight[nodes] / max(weight.sum(), 1e-300)


def edge_lengths(mesh: Mesh, name: str) -> FloatArray:
    """Tributary length [mm] of each node ``(n,)`` along the straight edges of a name."""
    weight = np.zeros(len(mesh.points))
    edges = mesh.edges.get(name)
    if edges is not None:
        length = np.hypot(*(mesh.points[edges[:, 2]] - mesh.points[edges[:, 0]]).T)
        np.add.at(weight, edges, length[:, None] * np.array([1.0, 4.0, 1.0]) / 6.0)
    return weight


def lips(interfaces: Sequence[Interface], meshes: Sequence[Mesh]) -> tuple[Edge, ...]:
    """Ends of fractures on the joint surface; the second end of a fracture is called "NAME #2"."""
    edges: list[Edge] = []
    for face in interfaces:
        for end in (0, -1):
            a, b = int(face.nodes_a[end]), int(face.nodes_b[end])
            joint = meshes[face.body_a].edges.get("joint")
            if joint is None or a not in joint:
                continue
            count = sum(e.name.split(" #")[0] == face.name for e in edges)
            name = face.name if not count else f"{face.name} #{count + 1}"
            edges.append(Edge(
                name=name, body_a=face.body_a, node_a=a, body_b=face.body_b, node_b=b))
    return tuple(edges)


def measures(bodies: Sequence[Continuum], shaft: int, band: tuple[float, float],
             edges: Sequence[Edge], loads: Mapping[str, Sequence[tuple[Body, Column]]],
             sides: tuple[str, str]) -> tuple[Measure, ...]:
    """All measures of a bone; `buttress.results.read` looks them up by name.

    ``loads``: load case of each condyle; ``sides``: names of the surfaces at -x and at +x.
    """
    found: list[Measure] = []

    def point(name: str, *nodes: Node) -> None:
        for axis, letter in ((0, "x"), (1, "y")):
            found.append(Measure(f"{name} {letter}", tuple(
                (bodies[body], Column.of([2 * node + axis], [1.0 / len(nodes)]))
                for body, node in nodes)))

    frame = bodies[shaft]
    nodes = band_nodes(frame, band)
    for name, column in zip(("frame x", "frame y", "frame turn"),
                            frame_columns(frame.points, nodes), strict=True):
        found.append(Measure(name, ((frame, column),)))
    for i, body in enumerate(bodies):
        for node in articular(body.mesh)[0]:
            point(f"joint {i} {node}", (i, int(node)))
        if i != shaft:
            turn = frame_columns(body.points, np.arange(len(body.points)))[2]
            found.append(Measure(f"turn {i}", ((body, turn),)))
    for edge in edges:
        point(f"lip a {edge.name}", (edge.body_a, edge.node_a))
        point(f"lip b {edge.name}", (edge.body_b, edge.node_b))
    for side, points in (rims(bodies, sides) | {"middle": joint_middle(bodies)}).items():
        point(f"rim {side}", *points)
    for condyle, case in loads.items():
        found.append(Measure(f"under load {condyle}", tuple(case)))
    return tuple(found)


def band_nodes(shaft: Continuum, band: tuple[float, float]) -> np.ndarray:
    """Nodes of the shaft in the reference band. Raises `InputError` where there are too few."""
    y = shaft.points[:, 1]
    nodes = np.flatnonzero((y >= band[0]) & (y <= band[1]))
    if nodes.size < 3:
        raise InputError("the reference band contains no bone of the shaft",
                         key="section.reference_band_mm", value=str(list(band)),
                         expected="a segment of the shaft below every fracture")
    return nodes


def frame_columns(points: FloatArray, nodes: np.ndarray) -> tuple[Column, Column, Column]:
    """Least-squares rigid motion of nodes: translation of their centre (x, y) and rotation."""
    centre = points[nodes].mean(axis=0)
    arm = points[nodes] - centre
    inertia = float((arm**2).sum())
    mean = np.full(nodes.size, 1.0 / nodes.size)
    turn = Column.of(np.concatenate([2 * nodes, 2 * nodes + 1]),
                     np.concatenate([-arm[:, 1], arm[:, 0]]) / inertia)
    return Column.of(2 * nodes, mean), Column.of(2 * nodes + 1, mean), turn


def rims(bodies: Sequence[Continuum], sides: tuple[str, str]) -> dict[str, tuple[Node, ...]]:
    """The outermost point of the plateau by side; on a straight wall the highest of them.

    It has two nodes where a fracture ends there; their mean is the point.
    """
    out = {}
    for side, sign in zip(sides, (-1.0, 1.0), strict=True):
        nodes = [(i, int(node)) for i, body in enumerate(bodies) for name in (side, "joint")
                 for node in np.unique(body.mesh.edges.get(name, np.zeros(0, dtype=int)))]
        place = {(i, node): bodies[i].points[node] for i, node in nodes}
        outermost = _least({key: -sign * float(xy[0]) for key, xy in place.items()})
        out[side] = _least({key: -float(place[key][1]) for key in outermost})
    return out


def joint_middle(bodies: Sequence[Continuum]) -> tuple[Node, ...]:
    """The nodes of the joint surface nearest to the midline: one, or some equally near to it."""
    return _least({(i, int(node)): abs(float(body.points[node, 0]))
                   for i, body in enumerate(bodies) for node in articular(body.mesh)[0]})


def _least(values: Mapping[Node, float]) -> tuple[Node, ...]:
    """The nodes of least value, all of those that differ by less than `TIED`."""
    least = min(values.values(), default=0.0)
    return tuple(key for key, value in values.items() if value <= least + TIED) or ((0, 0),)


def reference_band(study: Study) -> tuple[float, float]:
    """Heights (low, high) of the band of shaft that is the frame of reference of movements, mm.

    As given, else a band a little above the clamp. Raises InputError where a fracture reaches into
    it or leaves no room for it.
    """
    lowest = min((y for f in study.fractures for _, y in f.points_mm), default=0.0)
    given = study.section.reference_band_mm
    if given is not None:
        if given[1] >= lowest:
            raise InputError("the reference band is at the level of a fracture",
                             key="section.reference_band_mm", value=f"[{given[0]:g}, {given[1]:g}]",
                             expected=f"heights below {lowest:g} mm")
        return given
    low = -study.section.height_mm + tables.number("anatomy", "reference band", "above_clamp")
    high = min(low + tables.number("anatomy", "reference band", "height"),
               lowest - tables.number("anatomy", "reference band", "below_fracture"))
    if high - low < tables.number("anatomy", "reference band", "least_height"):
        raise InputError("no room for the reference band between the lowest fracture and the clamp",
                         key="section.height_mm", value=f"{study.section.height_mm:g}",
                         expected=f"more than {-lowest + 17:g} mm, or reference_band_mm")
    return low, high
