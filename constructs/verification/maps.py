"""Bars whose modulus is read from a map, pulled at one end, against closed forms.

A bar with modulus E(y) along it and Poisson's ratio 0 (so that the stress is uniform and the
strain compatible) stretches by the integral of P / (t w E). With E = E1 + a y that is
P / (t w a) ln(E2 / E1); with the density-modulus law E = c rho^n and a density linear in y,
P / (t w c b (1 - n)) (rho2^(1 - n) - rho1^(1 - n)), where b is the slope of the density.
"""

from __future__ import annotations

import numpy as np

from buttress.bone.field import Law, ModulusField, make_field
from buttress.fe.bodies.assembly import edge_load, quadrature_points, sheet, stiffness
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.problem import solve

LENGTH, WIDTH, DEPTH, PULL = 60.0, 24.0, 5.0, 1000.0
SOFT, STIFF = 200.0, 1200.0        # MPa at the two ends
LIGHT, HEAVY = 0.15, 0.45          # g/cm3 at the two ends
LAW = "Morgan 2003 tibia"
CELL, MARGIN = 0.5, 4.0
TILT = 0.15                        # of the range, across the bar


def mapped(low: float, high: float, law: Law | None = None, across: float = 0.0) -> ModulusField:
    """A map that is `low` at y = 0 and `high` at the end of the bar, with a margin round it."""
    rows = int((LENGTH + 2 * MARGIN) / CELL)
    columns = int((WIDTH + 2 * MARGIN) / CELL)
    x = -WIDTH / 2 - MARGIN + (np.arange(columns) + 0.5) * CELL
    y = (np.arange(rows) + 0.5) * CELL - MARGIN
    values = low + (high - low) * (y[:, None] / LENGTH + across * x[None, :] / WIDTH)
    outline = np.array([[-WIDTH / 2, 0], [WIDTH / 2, 0], [WIDTH / 2, LENGTH], [-WIDTH / 2, LENGTH]])
    return make_field(values[::-1], outline, name="bar", scale=CELL,
                      corner=(-WIDTH / 2 - MARGIN, -MARGIN), law=law, smoothing=0.0, least=0.0)


def stretch(field: ModulusField, along: int = 24, poisson: float = 0.0) -> float:
    """How far the mean of the pulled end moves, mm; the other end is held against moving along."""
    mesh = rectangle(max(2, along // 3), along, WIDTH, LENGTH, left=-WIDTH / 2)
    sheets = sheet(field.modulus(quadrature_points(mesh)), poisson, DEPTH)
    load = edge_load(mesh, mesh.edges["top"], lambda xy, normal: np.stack(
        [np.zeros(xy.shape[:-1]), np.full(xy.shape[:-1], PULL / WIDTH)], axis=-1))
    base = np.unique(mesh.edges["bottom"])
    held = np.append(2 * base + 1, 2 * base[:1])
    u = solve(stiffness(mesh, np.asarray(sheets)), load, held, np.zeros(len(held)))
    return float(u @ load) / PULL


def logarithm() -> float:
    """Closed form of the bar with a linear modulus."""
    slope = (STIFF - SOFT) / LENGTH
    return PULL / (DEPTH * WIDTH * slope) * float(np.log(STIFF / SOFT))


def power() -> float:
    """Closed form of the bar with a linear density."""
    law, slope = Law.of(LAW), (HEAVY - LIGHT) / LENGTH
    n = 1.0 - law.exponent
    return PULL / (DEPTH * WIDTH * law.factor * slope * n) * float(HEAVY**n - LIGHT**n)


def converged() -> float:
    """A map that is linear in both directions, nu 0.3: a coarse mesh over one four times finer."""
    field = mapped(SOFT, STIFF, across=TILT)
    return stretch(field, 24, 0.3) / stretch(field, 96, 0.3)


CASES = register(
    Case("map: bar of linear modulus", "integral of P / (t w E) along the bar, E linear in y",
         "derived", "stretch", "mm", logarithm(), 1e-5, lambda: stretch(mapped(SOFT, STIFF))),
    Case("map: bar of linear density", "integral of P / (t w E) along the bar, E by the law "
         f"{LAW} of a density linear in y", "derived", "stretch", "mm", power(), 1e-5,
         lambda: stretch(mapped(LIGHT, HEAVY, Law.of(LAW)))),
    Case("map: uniform", "P L / (t w E): a map of one value is that value", "derived", "stretch",
         "mm", PULL * LENGTH / (DEPTH * WIDTH * SOFT), 1e-10,
         lambda: stretch(mapped(SOFT, SOFT), 12)),
    Case("map: linear both ways on a coarse mesh", "the same map on a mesh four times finer",
         "derived", "stretch, coarse over fine", "-", 1.0, 1e-3, converged,
         basis="self-consistency"),
)
