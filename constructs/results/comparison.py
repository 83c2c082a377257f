"""All constructs of a study and their answers, with what is needed to reproduce and trust them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from buttress import LABEL
from buttress.bone.section import Section
from buttress.display import Displayed
from buttress.results.order import best_first
from buttress.results.probe import COLUMNS, NUMBERS, Points, as_points, in_outline, probed
from buttress.results.records import ConstructResult
from buttress.results.rows import csv_columns, rows
from buttress.results.soft import SoftBone
from buttress.results.spread import ModelSpread
from buttress.results.stages import StagedResult
from buttress.study.checked import require_known
from buttress.study.study import Study

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Meshes:
    """The meshes of the error bars, the study's first: sizes asked for at faces and elsewhere
    [mm], numbers of elements, and the root of their mean area [mm], which stands for the mesh."""

    asked_mm: tuple[tuple[float, float], ...]
    elements: tuple[int, ...]
    size_mm: tuple[float, ...]


@dataclass(frozen=True, repr=False)
class Comparison(Displayed):
    """All constructs of a study, with what is needed to reproduce and to trust them.

    Iterates over the constructs in the order of the study and finds one by its name:
    ``comparison["antiglide"]``. ``mesh``: elements, unknowns, sizes of each body; ``trust``: the
    worst residuals of all answers, and how they were found; ``seconds``: wall time of each
    construct. ``soft``: the constructs in soft bone, where the study gives a body mass. ``lost``:
    a sentence on each construct that was not solved, since worker processes died on it.
    ``meshes``: those of the error bars, where these were asked for; ``alternatives``: the
    constructs with other choices of the model, likewise.
    """

    brief = ("name", "names", "loads_N")

    study: Study
    constructs: tuple[ConstructResult, ...]
    versions: dict[str, str]
    mesh: dict[str, Any]
    trust: dict[str, Any]
    seconds: dict[str, float] = field(default_factory=dict)
    stages: tuple[StagedResult, ...] = ()
    soft: SoftBone | None = None
    lost: tuple[str, ...] = ()
    meshes: Meshes | None = None
    alternatives: ModelSpread | None = None

    def __getitem__(self, name: str) -> ConstructResult:
        """A construct by its name. Raises InputError with the closest one if there is none."""
        found = {c.name: c for c in self.constructs}
        require_known(name, found, "construct")
        return found[name]

    def __iter__(self) -> Iterator[ConstructResult]:
        return iter(self.constructs)

    def __len__(self) -> int:
        return len(self.constructs)

    def __contains__(self, name: object) -> bool:
        """Whether there is a construct of that name (or that very result)."""
        return name in self.names or any(c is name for c in self.constructs)

    @property
    def name(self) -> str:
        """Name of the study."""
        return self.study.name

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the constructs, in the order of the study."""
        return tuple(c.name for c in self.constructs)

    @property
    def loads_N(self) -> tuple[float, ...]:
        """The total joint forces [N] that were asked for."""
        return self.study.load.total_N

    @property
    def fragments(self) -> tuple[str, ...]:
        """Names of the fragments, in the order of the results."""
        return tuple(dict.fromkeys(f for c in self.constructs for f in c.curve_subsidence_mm))

    @property
    def own(self) -> dict[str, ConstructResult]:
        """The constructs without bonded twins, by name."""
        return {c.name: c for c in self.constructs if c.twin_of is None}

    @property
    def best_first(self) -> tuple[ConstructResult, ...]:
        """The constructs in order: by the load at which the joint has moved, the largest first.

        Loads within 5 % share a rank: see the columns ``rank`` and ``reserve_N`` of `to_frame`. A
        bonded twin stands right after its construct.
        """
        return tuple(best_first(self.constructs))

    def at(self, points: Points) -> pd.DataFrame:
        """Strain, stress and strain over yield strain at points of the section, as a table.

        ``points``: [(x, y), ...] in mm, x lateral (posterior in a sagittal section) and y negative
        below the joint line, as before loading. One row per construct, load, point and tissue
        there ("core", which is cancellous bone, "cortex", "fill"); without a tissue in an empty
        void and where a load is not held. Tensors are in the frame of the section, the xy of strain
        half of the engineering shear; stress is positive in tension, tightening is included. The
        label stands in ``attrs["label"]``.

        Raises InputError for a point outside of the bone or what is none, and where the study was
        compared without pictures.
        """
        import pandas as pd

        points = as_points(points)
        section = Section(self.study.section)
        in_outline(section, points)
        found = [row for c in self.constructs for load in c.loads_N
                 for row in probed(section, c.picture(load), points)]
        frame = pd.DataFrame(found, columns=list(COLUMNS)).astype(dict.fromkeys(NUMBERS, float))
        frame.attrs["label"] = LABEL
        return frame

    def to_frame(self) -> pd.DataFrame:
        """A table with one row per construct, load and fragment, as ``comparison.csv``.

        Units stand in the names of the columns (``subsidence_net_mm``, ``capacity_upper_N``); a
        number that does not exist is NaN, a text None. ``status``, ``residual``,
        ``complementarity``, ``balance_error`` and ``method`` say how far to trust a row. The label,
        in the file a column, stands in ``attrs["label"]``.
        """
        import pandas as pd

        kinds = {name: object if q.kind is str else float for name, q, _ in csv_columns()}
        frame = pd.DataFrame(rows(self.constructs), columns=list(kinds)).astype(kinds)
        frame.attrs["label"] = LABEL
        return frame
