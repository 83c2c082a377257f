"""A fracture whose faces are all bonded is no fracture: the parts together are the whole bone.

The bicondylar section is meshed and parted; its parts, tied by bonded links node by node, must
move as the one body that the same triangles make when their nodes are merged. A point where k
parts meet gets k - 1 ties, so that no tie is one too many. The tool's own intact bone (every face
bonded, a thin layer where faces meet) and a mesh that knows of no fracture are compared with it.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from scipy.spatial import cKDTree

from buttress.bone.bone import Bone, build_bone, make_solid
from buttress.bone.pieces import Made
from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.mesh.t6 import Mesh
from buttress.fe.solve.recover import displacements
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.model.model import intact_measures
from buttress.verification.studies import coarse

STUDY, PLAIN_SIZE = "bicondylar", 2.0


def parts_of(bone: Bone) -> list[Continuum]:
    """All bodies of the bone, its voids filled with bone."""
    piece = bone.solids[bone.shaft].piece
    return [*bone.bodies, *(make_solid(mesh, Made.BONE, piece).body for mesh in bone.regions)]


@cache
def setting() -> tuple[Bone, tuple[Continuum, ...], IntArray]:
    """The bone, its parts, and the number of each part's nodes in the merged body, end to end."""
    bone = build_bone(coarse(STUDY))
    parts = tuple(parts_of(bone))
    points = np.concatenate([p.points for p in parts])
    pairs = cKDTree(points).query_pairs(1e-9, output_type="ndarray")
    first = np.arange(len(points))
    for a, b in pairs[np.lexsort(pairs.T[::-1])]:  # ordered, so that the least number comes first
        first[max(a, b)] = min(first[a], first[b], first[max(a, b)])
    return bone, parts, np.unique(first, return_inverse=True)[1]


def merged_motion(load: FloatArray) -> list[FloatArray]:
    """Displacements of every part's nodes when all parts are one body, mm."""
    bone, parts, number = setting()
    starts = np.concatenate([[0], np.cumsum([len(p.points) for p in parts])])
    kept = np.zeros((number.max() + 1, 2))
    kept[number] = np.concatenate([p.points for p in parts])
    triangles = np.concatenate([number[s + p.mesh.triangles]
                                for s, p in zip(starts, parts, strict=False)])
    sheets = np.concatenate([p.sheets for p in parts])
    start = starts[bone.shaft]
    held = number[start + np.unique(parts[bone.shaft].mesh.edges["base"])]
    whole = Continuum(Mesh("whole", kept, triangles, {}), sheets,
                      np.concatenate([2 * held, 2 * held + 1]))
    force = np.zeros(whole.n_dof)
    for factor, case in zip(load, bone.loads, strict=True):
        for body, column in case:
            k = next(i for i, p in enumerate(parts) if p is body)
            node, axis = column.dofs // 2, column.dofs % 2
            np.add.at(force, 2 * number[starts[k] + node] + axis, factor * column.values)
    u = whole.solve(force).reshape(-1, 2)
    return [u[number[a:b]].ravel() for a, b in zip(starts[:-1], starts[1:], strict=True)]


def tied_motion(load: FloatArray) -> list[FloatArray]:
    """The same when the parts are tied by bonded links, through the condensed problem."""
    bone, parts, number = setting()
    links, seen = LinkList(), dict[int, tuple[Continuum, int]]()
    owner = [(p, i) for p in parts for i in range(len(p.points))]
    for (body, node), place in zip(owner, number.tolist(), strict=True):
        if place not in seen:
            seen[place] = (body, node)
            continue
        other, its = seen[place]
        for axis in (0, 1):
            links.add(Link(Kind.BOND, "tie", End(other, Column.of([2 * its + axis], [1.0])),
                           End(body, Column.of([2 * node + axis], [1.0]))))
    bodies: list[Body] = list(parts)
    problem = condense(bodies, links, bone.loads)
    return displacements(problem, Solver(problem).answer(load))


def difference(condyle: int) -> float:
    """Largest difference of a displacement under 1 kN on one condyle, over the largest."""
    load = np.zeros(2)
    load[condyle] = 1000.0
    tied, merged = tied_motion(load), merged_motion(load)
    worst = max(float(np.abs(a - b).max()) for a, b in zip(tied, merged, strict=True))
    return worst / max(float(np.abs(b).max()) for b in merged)


@cache
def under_load(kind: str) -> float:
    """Mean displacement of the contact patches along the load, mm per newton.

    ``kind``: "merged"; "tool" (the intact bone that results are net of); "plain" (its own mesh
    without a fracture, finer by half).
    """
    bone, parts, _ = setting()
    share = bone.load_vector(1.0)
    if kind == "merged":
        moved = merged_motion(share)
        column = {id(p): u for p, u in zip(parts, moved, strict=True)}
        return float(sum(w * column[id(body)][c.dofs] @ c.values
                         for w, case in zip(share, bone.loads, strict=True) for body, c in case))
    if kind == "plain":
        bone = build_bone(coarse(STUDY, size_mm=PLAIN_SIZE, fractured=False))
    values = intact_measures(bone)
    return float(share @ [values["under load medial"], values["under load lateral"]])


def relative(kind: str) -> float:
    """The tool's intact bone, or a plain mesh, over the merged body."""
    return under_load(kind) / under_load("merged")


SOURCE = "bonded faces are no faces: the same triangles as one body"
# The last two differ by the layer of 1e-6 mm/N at points where faces meet, and by the mesh.
CASES = register(
    *(Case(f"bicondylar, all faces bonded, load on the {side} condyle", SOURCE, "derived",
           "largest difference of displacements, over the largest", "-", 0.0, 1e-9,
           partial(difference, k), basis="self-consistency")
      for k, side in enumerate(("medial", "lateral"))),
    Case("bicondylar, intact bone of the tool", SOURCE, "derived",
         "displacement under the load over that of the merged body", "-", 1.0, 2e-5,
         partial(relative, "tool"), basis="self-consistency"),
    Case("bicondylar, section meshed without fractures at half the size", SOURCE, "derived",
         "displacement under the load over that of the merged body", "-", 1.0, 5e-3,
         partial(relative, "plain"), basis="self-consistency"))
