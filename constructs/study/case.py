"""A study with some values changed, as sweeps and rankings solve it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from buttress.study.study import Study


@dataclass(frozen=True)
class Case:
    """A study with some values changed; ``scales`` are factors that belong to none of its keys."""

    study: Study
    scales: Mapping[str, float] = field(default_factory=dict)

    def scale(self, name: str) -> float:
        """A factor by its name, 1 where it is not given."""
        return self.scales.get(name, 1.0)
