"""All constructs of a study and their answers, with what is needed to reproduce and trust them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from buttress.display import Displayed
from buttress.results.records import ConstructResult
from buttress.results.stages import StagedResult
from buttress.study.checked import require_known
from buttress.study.study import Study


@dataclass(frozen=True)
class Comparison(Displayed):
    """All constructs of a study, with what is needed to reproduce and to trust them."""

    study: Study
    constructs: tuple[ConstructResult, ...]
    versions: dict[str, str]
    mesh: dict[str, Any]
    trust: dict[str, Any]
    seconds: dict[str, float] = field(default_factory=dict)
    stages: tuple[StagedResult, ...] = ()

    def __getitem__(self, name: str) -> ConstructResult:
        """A construct by its name. Raises InputError with the closest one if there is none."""
        found = {c.name: c for c in self.constructs}
        require_known(name, found, "construct")
        return found[name]
