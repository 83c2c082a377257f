"""The error bar of a figure: its values on several meshes and where its limit is expected."""

from __future__ import annotations

from dataclasses import dataclass

NOT_ON_ALL = "not on every mesh"
"""Basis of a figure that does not exist on one of the meshes: it has no interval."""


@dataclass(frozen=True)
class Bar:
    """A figure of a construct (of a load and fragment, where it is of those) on several meshes.

    ``key``: its column in comparison.csv; ``values``: on each mesh, the study's first, None where
    it does not exist. ``basis``: as of `fe.richardson.Estimate`, or "not on every mesh"; ``why`` in
    words, where nothing is extrapolated. ``low`` and ``high``: the interval; ``high`` is None where
    the figure is only known from below on one of the meshes. ``order``, ``limit`` and ``gci`` where
    it is extrapolated.
    """

    key: str
    unit: str
    load_N: float | None
    fragment: str
    values: tuple[float | None, ...]
    basis: str
    low: float | None
    high: float | None
    order: float | None = None
    limit: float | None = None
    gci: float | None = None
    why: str = ""

    @property
    def share(self) -> float | None:
        """Width of the interval over the value on the study's mesh; None where there is neither."""
        value = self.values[0]
        if self.low is None or self.high is None or not value:
            return None
        return (self.high - self.low) / abs(value)
