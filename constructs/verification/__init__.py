"""Verification of whole constructs: what must hold of the shipped studies, on coarse meshes.

The same registry and table as `fe.verification`; these cases need the trade's part of the code.
"""

from __future__ import annotations

from importlib import import_module

from buttress.fe.verification import Case

#: Modules with cases, in the order of the table.
MODULES = ("balance", "whole", "mirror", "maps", "loading", "stresses", "planestrain", "trade")


def cases() -> list[Case]:
    """Every case, in the order of `MODULES`; the modules are imported on the first call."""
    return [case for name in MODULES for case in import_module(f"{__name__}.{name}").CASES]
