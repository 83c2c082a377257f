"""Fillings of voids: materials of the data table, overrides, level layers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.study.implants import Fill
from buttress.study.tables import fields, kind, number


@dataclass(frozen=True, eq=False)
class FillMaterial:
    """Material of a fill from the bottom up: shares of the height, moduli and strengths [MPa].

    ``crushable``: modulus of what carries more as it is crushed, 0 for cement, which breaks.
    ``bond`` is the strength [MPa] of a bonded face in tension and shear, None for frictional
    contact only.
    """

    shares: FloatArray
    modulus: FloatArray
    poisson: FloatArray
    strength: FloatArray
    crushable: FloatArray
    friction: float
    bond: float | None

    @property
    def key(self) -> tuple:
        """Everything on which the stiffness depends."""
        return (*self.shares.tolist(), *self.modulus.tolist(), *self.poisson.tolist())


def fill_material(fill: Fill) -> FillMaterial:
    """The material of a fill, with its overrides."""
    layers = [(fill.material, 1.0)] if fill.layers is None else [
        (layer.material, layer.share) for layer in fill.layers]
    rows = [name or "" for name, _ in layers]    # not str(): the name may carry its row

    def column(field: str, override: float | None) -> FloatArray:
        return np.array([number("grafts", row, field) if override is None else override
                         for row in rows])

    bonded = fill.bonded
    if bonded is None:
        bonded = all(kind("grafts", row) == "cement" for row in rows)
    bond = None
    if bonded:
        bond = fill.bond_MPa
        if bond is None and all("bond_strength" in fields("grafts", row) for row in rows):
            bond = min(number("grafts", row, "bond_strength") for row in rows)
        if bond is None:
            raise InputError("this material has no default bond strength",
                             key=f"fill.{fill.name}.bond_MPa", expected="the bond strength in MPa")
    friction = fill.friction
    if friction is None:
        friction = min(number("grafts", row, "friction") for row in rows)
    modulus = column("modulus", fill.modulus_MPa)
    soft = np.array([kind("grafts", row) != "cement" for row in rows])
    return FillMaterial(
        shares=np.array([share for _, share in layers]),
        modulus=modulus, crushable=np.where(soft, modulus, 0.0), poisson=column("poisson", None),
        strength=column("strength", fill.strength_MPa), friction=friction, bond=bond)
