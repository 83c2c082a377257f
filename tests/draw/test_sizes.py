"""Figures in axes of one's own: the bone stands upright and faces its side at any size."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from made_up import LOADS, usual
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from buttress.draw.contact import contact_pressure
from buttress.draw.section import deformed
from buttress.results.picture import Picture
from buttress.results.records import LoadResult

DRAWN: dict[str, Callable[[Picture, LoadResult, Axes], Axes]] = {
    "contact": lambda picture, load, ax: contact_pressure(picture, load, ax=ax),
    "deformed": lambda picture, load, ax: deformed(picture, ax=ax)}


@pytest.mark.parametrize("name", DRAWN)
@pytest.mark.parametrize("inches", [(13.0, 7.0), (7.1, 5.0), (3.3, 3.0), (2.0, 4.0)])
def test_the_bone_stands_upright_in_axes_of_any_size(name: str, inches: tuple[float, float]) -> None:
    construct = usual().constructs[0]
    load = next(x for x in construct.loads if x.total_load_N == LOADS[-1])
    picture = construct.picture(LOADS[-1])
    ax = DRAWN[name](picture, load, Figure(figsize=inches).subplots())
    assert ax.get_ylim()[0] < ax.get_ylim()[1]
    assert ax.xaxis_inverted() == picture.view.mirrored
    # Some of the bone's height is seen, not a speck of it.
    assert ax.get_ylim()[1] - ax.get_ylim()[0] < 1500.0
