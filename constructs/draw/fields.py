"""What the bodies of a section are coloured by: strain over yield strain, or a stress."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize

from buttress.draw import primitives as d
from buttress.draw.text import SIZE
from buttress.fe.arrays import FloatArray
from buttress.results.picture import BodyPicture, Picture
from buttress.results.stress import BONE_TISSUES, FIELDS, LEAST, STRAIN_RATIO
from buttress.study.checked import require_known


@dataclass(frozen=True)
class Colours:
    """A field, the tissue of bone of which a stress is shown, and the end of its scale.

    ``top``: largest size on the scale, strain over yield strain or MPa.
    """

    field: str
    tissue: str
    top: float

    @property
    def strain(self) -> bool:
        """Whether it is strain over yield strain, of which what is over 1 is drawn black."""
        return self.field == STRAIN_RATIO

    @property
    def scale(self) -> ScalarMappable:
        """Its colours: light at 0, dark at the end, for compression as for tension."""
        if self.field == LEAST:
            return ScalarMappable(Normalize(-self.top, 0.0), mpl.colormaps[f"{d.STRAINS}_r"])
        return d.strain_scale(self.top) if self.strain else ScalarMappable(
            Normalize(0.0, self.top), mpl.colormaps[d.STRAINS])

    @property
    def extend(self) -> str:
        """At which end of the scale values may lie beyond it."""
        if self.strain:
            return "max" if self.top < 1.0 else "neither"
        return "both" if self.field == LEAST else "max"

    @property
    def label(self) -> str:
        """The field with its unit, in one line."""
        return "strain / yield strain [-]" if self.strain else f"{self.field} [MPa]"

    @property
    def note(self) -> str:
        """What else to know of it."""
        if self.strain:
            return "black: over 1" if self.top == 1.0 else "1 is yield"
        of = {"core": "of cancellous bone", "cortex": "of the cortex"}[self.tissue] + " and fills"
        return of + ("\nnegative: compression" if self.field == LEAST else "")

    @property
    def without(self) -> str:
        """What bone without a value is."""
        return {"core": "cortex alone: no value", "cortex": "no cortex: no value"}[self.tissue]

    def of(self, picture: Picture) -> tuple[BodyPicture, ...]:
        """The bodies of a picture with the nodal values of the field."""
        if self.strain:
            return picture.bodies
        return tuple(replace(b, value=nodal(picture, b, self.field, self.tissue))
                     for b in picture.bodies)


def nodal(picture: Picture, body: BodyPicture, field: str, tissue: str) -> FloatArray | None:
    """Nodal values ``(n,)`` of a stress [MPa] of a body: of a tissue of bone, or of a fill.

    NaN where the body has no such tissue; None where nothing is known.
    """
    found = next((x for x in picture.fields
                  if x.body == body.name and x.tissue in (tissue, "fill")), None)
    return None if found is None else found.nodal(body, found.measure(field))


def colours_of(pictures: Sequence[Picture], field: str = STRAIN_RATIO, tissue: str = "core",
            top: float | None = None) -> Colours:
    """Colours of a field with one scale for some pictures: it ends at ``top``, by default at a
    round number over nearly all nodal values.

    Raises InputError for a field or a tissue that there is not.
    """
    require_known(field, FIELDS, "field")
    require_known(tissue, BONE_TISSUES, "tissue")
    if top is not None:
        return Colours(field, tissue, top)
    if field == STRAIN_RATIO:
        return Colours(field, tissue, d.strain_top(pictures))
    found = [v for p in pictures for b in p.bodies
             if (v := nodal(p, b, field, tissue)) is not None]
    size = np.concatenate([np.zeros(1), *found]) * (-1.0 if field == LEAST else 1.0)
    high = max(float(np.quantile(size[np.isfinite(size)], 0.995)), 1e-3)
    steps = [s * 10.0 ** k for k in range(-3, 7) for s in (1, 2, 5)]
    return Colours(field, tissue, next(s for s in steps if s >= high))


def colour_bar(ax: Axes, shown: Colours, ticks: int, label: str = "") -> None:
    """The scale of a field as a colour bar that fills some axes."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    bar = figure.colorbar(shown.scale, cax=ax, orientation="horizontal", extend=shown.extend)
    low, high = shown.scale.norm.vmin, shown.scale.norm.vmax
    assert low is not None
    assert high is not None
    bar.set_ticks(list(np.linspace(low, high, ticks)))
    bar.ax.tick_params(labelsize=SIZE)
    if label:
        bar.set_label(label, size=SIZE)
