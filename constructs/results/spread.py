"""The model spread of a comparison: its constructs with other choices of the model, as records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from buttress.results.records import ConstructResult


@dataclass(frozen=True)
class Alternative:
    """A change of the model and what comes of it.

    ``values``: what is set, by dotted key; ``constructs`` by name; ``refused``: the constructs that
    cannot be built with it, and why; ``left_out``: those on which it does not act, and why.
    """

    name: str
    group: str
    words: str
    source: str
    status: str
    values: Mapping[str, Any]
    constructs: Mapping[str, ConstructResult] = field(default_factory=dict)
    refused: Mapping[str, str] = field(default_factory=dict)
    left_out: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ModelSpread:
    """The alternatives that were solved; ``left_out``: the others by name, and why."""

    tried: tuple[Alternative, ...]
    left_out: Mapping[str, str] = field(default_factory=dict)
