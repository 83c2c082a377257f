"""What lines of contact and fills come to: the figures of `ContactResult` and `GraftResult`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from buttress.bone.pieces import Made, Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.stress import principal, strain
from buttress.fe.bodies.stress import weights as area_weights
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import pushes
from buttress.model.model import Model
from buttress.results.contacts import ContactLine, percentile
from buttress.results.records import ContactProfile, ContactResult, GraftResult


def contact_result(line: ContactLine) -> ContactResult:
    """The figures of a line of contact: see `ContactResult`."""
    pressure, long = line.pressure, float(line.length.sum())
    worst = int(np.argmax(pressure))
    touching = float(line.length[line.touching].sum()) / long
    between = [" | ".join(line.pairs[k]) for k in line.pair]
    profile = ContactProfile(
        position_mm=_short(line.position), x_mm=_short(line.places[:, 0]),
        y_mm=_short(line.places[:, 1]), depth_mm=_short(line.depth), pressure_MPa=_short(pressure),
        shear_MPa=_short(line.shear), opening_mm=_short(line.opening), between=tuple(between))
    return ContactResult(
        kind=line.kind, force_N=float(line.force.sum()), friction_N=float(np.abs(line.rub).sum()),
        length_mm=long, contact_share=touching,
        pressure_mean_MPa=float(pressure @ line.length) / long,
        pressure_p95_MPa=percentile(pressure, line.length, 0.95),
        pressure_max_MPa=float(pressure[worst]),
        pressure_max_at_mm=_place(line, worst) if touching > 0 else None, profile=profile)


def _place(line: ContactLine, node: int) -> tuple[float, float]:
    return float(line.places[node, 0]), float(line.places[node, 1])


def unknown_contacts(model: Model) -> dict[str, ContactResult]:
    """Lines of contact of a construct that has no answer: names and kinds, no numbers."""
    found: dict[str, str] = {f.name: "fracture" for f in model.bone.study.fractures}
    found |= {p.name: "plate" for p in model.hardware.parts if p.kind == "plate"}
    found |= {f.name: "graft" for f in model.hardware.fills}
    return {name: ContactResult(kind) for name, kind in found.items()}


def _short(values: FloatArray) -> tuple[float, ...]:
    """Six figures are more than the model knows."""
    return tuple(float(f"{v:.6g}") + 0.0 for v in values)


def graft_results(model: Model, answer: Answer, lines: tuple[ContactLine, ...],
                  fields: list[FloatArray]) -> dict[str, GraftResult]:
    """What each fill has crushed, how much it is compressed, and who presses on it.

    ``fields``: displacements ``(n_dof,)`` of all bodies.
    """
    out = {}
    faces = {x.name: x for x in lines}
    for solid, u in zip(model.solids, fields, strict=False):
        if solid.kind != Made.GRAFT or solid.name not in faces:
            continue
        line = faces[solid.name]
        worst = int(np.argmax(line.crushed))
        low = -principal(strain(solid.mesh, u))[..., 1].ravel()
        volume = _volume(solid)
        out[solid.name] = GraftResult(
            crushed_mean_mm=float(line.crushed @ line.length / line.length.sum()),
            crushed_max_mm=float(line.crushed[worst]),
            crushed_max_at_mm=_place(line, worst) if line.crushed[worst] > 0 else None,
            at_strength=float(line.length[line.at_strength].sum() / line.length.sum()),
            compression_mean=float(low @ volume / volume.sum()),
            compression_p95=percentile(low, volume, 0.95),
            forces_N=dict(_forces_on(model, answer, solid)))
    return out


def _volume(solid: Solid) -> FloatArray:
    return (area_weights(solid.mesh) * solid.piece.depth(quadrature_points(solid.mesh))).ravel()


def _forces_on(model: Model, answer: Answer, solid: Solid
               ) -> Iterator[tuple[str, tuple[float, float]]]:
    """Force (Fx, Fy) [N] on a fill from each body that it touches, screws and wires too."""
    names = {id(s.body): s.name for s in model.solids}
    names |= {id(p.member): p.name for p in model.hardware.parts}
    _, total = pushes(model.problem, answer, solid.body, np.zeros(2),
                      who=lambda link, other: names.get(id(other.body), "ground"))
    for name, force in total.items():
        yield name, (float(force[0]), float(force[1]))
