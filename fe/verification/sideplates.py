"""Side plates over a core: sheets are summed through the depth, not E and t apart."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import strain, stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle, scattered
from buttress.fe.verification.problem import solve, symmetry

CORE, SKIN = (1000.0, 0.3, 20.0), (110e3, 0.33, 2.0)  # MPa, -, mm
PULL = 100.0  # N/mm


def theory() -> dict[str, float]:
    """Worked from stiffness sums: both sheets share exx and eyy, the sum carries (PULL, 0)."""
    q11, q12 = (sum(e * t / (1 - nu**2) * factor for e, nu, t, factor in
                    ((*CORE, k[0]), (*SKIN, k[1]))) for k in ((1, 1), (CORE[1], SKIN[1])))
    nu = q12 / q11
    et = q11 - q12**2 / q11
    exx = PULL / et
    core, skin = (e / (1 - n**2) * (exx - n * nu * exx) for e, n, _ in (CORE, SKIN))
    return {"modulus times thickness": et, "Poisson's ratio": nu, "core": core, "skin": skin}


@cache
def pulled() -> dict[str, float]:
    """The same four numbers from a distorted mesh under the pull."""
    mesh = scattered(rectangle(4, 3, 2.0, 1.0), 0.08)
    load = edge_load(mesh, mesh.edges["right"], lambda xy, normal: PULL * normal)
    u = solve(stiffness(mesh, sheet(*CORE) + sheet(*SKIN)), load,
              symmetry(mesh.edges["left"], mesh.edges["bottom"]))
    strains = strain(mesh, u).reshape(-1, 3)

    def worst(values: FloatArray, expected: float) -> float:
        return float(values[np.argmax(np.abs(values - expected))])

    exact = theory()
    nu = worst(-strains[:, 1] / strains[:, 0], exact["Poisson's ratio"])
    et = worst(PULL / strains[:, 0], exact["modulus times thickness"])
    core, skin = (worst(stress(strains, sheet(e, n))[:, 0], exact[name])
                  for name, (e, n, _) in (("core", CORE), ("skin", SKIN)))
    return {"modulus times thickness": et, "Poisson's ratio": nu, "core": core, "skin": skin}


UNITS = {"modulus times thickness": "N/mm", "Poisson's ratio": "-", "core": "MPa", "skin": "MPa"}

CASES = register(*(
    Case(f"side plates, {name}", "sum of plane-stress sheets sharing one strain", "derived",
         f"{name} (worst point)", UNITS[name], reference, 1e-6,
         partial(lambda key: pulled()[key], name))
    for name, reference in theory().items()))
