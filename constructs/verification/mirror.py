"""A mirrored study answers with the mirror image; names and the order of fragments do not matter.

Mirrored twice over: with the meshes themselves mirrored node for node, where only rounding may
differ, and through the study alone, where the mesher makes another mesh and the difference is one
of discretisation. The figures that are compared, each over the largest of its kind: subsidence
and tilt of each fragment, step-offs, widening of the plateau, forces on each fragment, stress of
each plate and screw, and the capacity with and without friction.
"""

from __future__ import annotations

from collections import defaultdict
from functools import cache, partial

import numpy as np

from buttress.bone.bone import build_bone, build_meshes
from buttress.fe.mesh.bodies import Interface
from buttress.fe.mesh.t6 import Mesh
from buttress.fe.verification import Case, register
from buttress.model.install import build_model
from buttress.model.model import intact_measures
from buttress.results.read import read
from buttress.results.reader import Reader, intact_subsidence
from buttress.study.study import Study
from buttress.verification.studies import coarse, mirrored, mirrored_meshes, relabelled

#: Study, its constructs, and the mesh of the comparison through the study file [mm].
STUDIES: dict[str, tuple[tuple[str, ...], float]] = {
    "lateral-split": (("two lag screws", "lag screws + apex screw", "buttress plate"), 1.5),
    "lateral-depression": (("screws below", "raft + wires + impacted graft", "raft plate"), 2.0),
    "bicondylar": (("both plates + lag screws",), 2.5),
}
KINDS = ("subsidence", "tilt", "step-off", "widening", "force", "stress", "capacity")
Figures = dict[str, dict[tuple, float]]


def figures(study: Study, meshed: tuple[list[Mesh], list[Interface]] | None = None, *,
            turn: float = 1.0, names: dict[str, str] | None = None) -> Figures:
    """Figures of every construct and load by kind and name; ``turn`` -1 reads them in a mirror.

    ``names``: what the fragments are called in the answer, by the name under which they are
    listed here.
    """
    bone = build_bone(study, meshed=meshed)
    reader = Reader.of(bone, intact_subsidence(bone, intact_measures(bone)))
    back = {new: old for old, new in (names or {}).items()}
    out: Figures = defaultdict(dict)
    for construct in study.constructs:
        model = build_model(bone, construct)
        for friction in (True, False):
            factor = model.capacity(frictionless=not friction).factor
            out["capacity"][construct.name, friction] = np.inf if factor is None else factor
        for total in study.load.total_N:
            answer = model.answer(total)
            found, _ = read(reader, model, answer, total)
            here = (construct.name, total)
            if not answer.held:
                out["subsidence"][*here, found.status] = 0.0
                continue
            out["widening"][here] = found.widening_mm or 0.0
            for name, edge in found.edges.items():
                out["step-off"][*here, name] = edge.step_off_mm or 0.0
            for name, f in found.fragments.items():
                name = back.get(name, name)
                out["subsidence"][*here, name, "max"] = f.subsidence_max_mm or 0.0
                out["subsidence"][*here, name, "mean"] = f.subsidence_mean_mm or 0.0
                out["tilt"][*here, name] = turn * (f.tilt_deg or 0.0)
                for source, (x, y) in (f.forces_N or {}).items():
                    out["force"][*here, name, source] = turn * x / total
                    out["force"][*here, name, source, "y"] = y / total
            for name, m in found.members.items():
                out["stress"][*here, name] = m.von_mises_MPa or 0.0
    return dict(out)


def differences(one: Figures, two: Figures) -> dict[str, float]:
    """Largest difference of each kind over its largest value; infinite where a name is missing."""
    out = {}
    for kind in KINDS:
        a, b = one[kind], two[kind]
        if set(a) != set(b):
            out[kind] = np.inf
            continue
        size = max(abs(v) for v in a.values() if np.isfinite(v))
        out[kind] = max(0.0 if v == b[k] else abs(v - b[k]) / size for k, v in a.items())
    return out


@cache
def straight(name: str, size_mm: float
             ) -> tuple[Study, tuple[list[Mesh], list[Interface]], Figures]:
    """The study as it is, its meshes and its figures."""
    study = coarse(name, *STUDIES[name][0], size_mm=size_mm)
    meshed = build_meshes(study)
    return study, meshed, figures(study, meshed)


@cache
def turned(name: str, way: str) -> dict[str, float]:
    """Differences by kind; ``way`` "meshes", "study file" or "names"."""
    study, meshed, one = straight(name, STUDIES[name][1] if way == "study file" else 4.0)
    if way == "names":
        other, names = relabelled(study)
        return differences(one, figures(other, names=names))
    given = mirrored_meshes(meshed) if way == "meshes" else None
    return differences(one, figures(mirrored(study), given, turn=-1.0))


def difference(name: str, way: str) -> float:
    """The largest of them."""
    return max(turned(name, way).values())


WAYS = {"meshes": ("mirrored node for node", 1e-9), "names": ("fragments relabelled", 1e-9),
        "study file": ("mirrored through its file, another mesh", 0.03)}
CASES = register(*(
    Case(f"{name}, {words}", "a mirror, a name or an order changes no mechanics", "derived",
         f"largest difference in {', '.join(KINDS)}, each over the largest", "-", 0.0, tolerance,
         partial(difference, name, way), basis="self-consistency")
    for way, (words, tolerance) in WAYS.items() for name in STUDIES))
