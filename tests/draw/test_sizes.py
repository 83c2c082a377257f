"""Figures in axes of one's own: at any size, upright, facing their side; and wrong names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from drawn_stages import staged
from made_up import LOADS, picture, usual
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from buttress.draw import figures
from buttress.draw.page import COLUMN_MM, paper
from buttress.fe.errors import InputError

MADE = usual()
SHOT, LOAD = MADE.constructs[0].picture(LOADS[-1]), MADE.constructs[0].load(LOADS[-1])
SECTIONS: dict[str, Callable[[Axes], Axes]] = {
    "contact_pressure": lambda ax: figures.contact_pressure(SHOT, LOAD, ax=ax),
    "deformed": lambda ax: figures.deformed(SHOT, ax=ax),
    "free_body": lambda ax: figures.free_body(SHOT, "medial", ax=ax),
    "free_body of nothing": lambda ax: figures.free_body(
        picture("nothing", 1500.0, held=False), "medial", ax=ax),
    "placed": lambda ax: figures.placed("medial-shear", "lag screws", ax=ax)}
CELLS: dict[str, Callable[[Axes], Axes]] = {
    "overview": lambda ax: figures.overview(MADE, LOADS[-1], ax=ax),
    "stage_pictures": lambda ax: figures.stage_pictures(staged("a"), ax=ax)}
PLOTS: dict[str, Callable[[Axes], Axes]] = {
    "capacity": lambda ax: figures.capacity(MADE, ax=ax),
    "curves": lambda ax: figures.curves(MADE, "medial", ax=ax),
    "weight_bearing": lambda ax: figures.weight_bearing(replace(MADE, study=MADE.study.model_copy(
        update={"load": MADE.study.load.model_copy(update={"body_mass_kg": 75.0})})), ax=ax),
    "stages_overview": lambda ax: figures.stages_overview([staged("a"), staged("b")], ax=ax),
    "screw_forces": lambda ax: figures.screw_forces(staged("a"), ax=ax)}
sizes = pytest.mark.parametrize("inches", [(13.0, 7.0), (7.1, 5.0), (3.3, 3.0), (2.0, 4.0),
                                           (1.2, 1.0)])


def upright(ax: Axes) -> None:
    assert ax.get_ylim()[0] < ax.get_ylim()[1]
    assert ax.xaxis_inverted() == SHOT.view.mirrored
    # Some of the bone's height is seen, not a speck of it.
    assert ax.get_ylim()[1] - ax.get_ylim()[0] < 1500.0


@pytest.mark.parametrize("name", SECTIONS)
@sizes
def test_the_bone_stands_upright_in_axes_of_any_size(name: str, inches: tuple[float, float]) -> None:
    upright(SECTIONS[name](Figure(figsize=inches).subplots()))


@pytest.mark.parametrize("name", CELLS)
@sizes
def test_every_bone_stands_upright_in_a_frame_of_any_size(name: str, inches: tuple[float, float]
                                                          ) -> None:
    ax = CELLS[name](Figure(figsize=inches).subplots())
    cells = [x for x in ax.child_axes if x.texts]
    assert len(cells) >= 3
    for cell in cells:
        upright(cell)


@pytest.mark.parametrize("name", PLOTS)
@sizes
def test_a_plot_draws_into_the_axes_that_are_given(name: str, inches: tuple[float, float]) -> None:
    figure = Figure(figsize=inches)
    ax = figure.subplots()
    place = ax.get_position().bounds
    assert PLOTS[name](ax) is ax
    assert ax.get_position().bounds == place
    assert tuple(figure.get_size_inches()) == inches
    assert any(x.lines or x.patches for x in (ax, *ax.child_axes))
    assert np.isfinite([*ax.get_xlim(), *ax.get_ylim()]).all()


def test_given_axes_are_left_as_they_are_in_a_paper() -> None:
    figure = Figure(figsize=(5.0, 4.0))
    with paper(COLUMN_MM):
        ax = figures.curves(MADE, "medial", ax=figure.subplots())
    assert tuple(figure.get_size_inches()) == (5.0, 4.0)
    assert ax.get_title(loc="left")


@pytest.mark.parametrize(("wrong", "near"), [
    (lambda: figures.overview(MADE, 1400.0), "1500"),
    (lambda: MADE.constructs[0].picture(1400.0), "1500"),
    (lambda: figures.curves(MADE, "medal"), 'did you mean "medial"'),
    (lambda: figures.free_body(SHOT, "medal"), 'did you mean "medial"'),
    (lambda: figures.contact_pressure(SHOT, MADE.constructs[0].load(LOADS[0])), "1500 N"),
    (lambda: figures.deformed(SHOT, field="von Mise stress"), "von Mises stress"),
    (lambda: figures.tornado(MADE, "lag screws"), "construct"),
    (lambda: figures.placed("medial-shear", "lag screw"), 'did you mean "lag screws"')])
def test_a_wrong_load_or_name_is_an_error_and_no_empty_plot(wrong: Callable[[], object],
                                                            near: str) -> None:
    with pytest.raises(InputError) as told:
        wrong()
    assert near in str(told.value)
