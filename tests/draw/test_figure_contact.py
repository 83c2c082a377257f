"""The picture of contact pressure: bands as high as the pressure, labels that never overlap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from figure_texts import clashes, shown_texts
from made_up import construct, long_names
from matplotlib.collections import PolyCollection

from buttress import LABEL
from buttress.draw import all as figures
from buttress.fe.errors import InputError


def words(ax) -> str:
    return "\n".join(text.get_text() for text, _ in shown_texts(ax.get_figure(root=True)))


def bands(ax) -> list[np.ndarray]:
    """Outlines of the bands of pressure."""
    return [p.vertices for c in ax.collections if isinstance(c, PolyCollection)
            and c.get_alpha() == 0.55 for p in c.get_paths()]


def test_bands_stand_on_their_lines_as_high_as_the_pressure() -> None:
    made = construct("lag screws")
    shot, load = made.pictures[-1], made.loads[-1]
    ax = figures.contact_pressure(shot, load)
    assert "10 mm of height = 2 MPa" in words(ax)
    for line in shot.contacts:
        tops = line.places + line.pressure[:, None] * 10.0 / 2.0 * line.normals * (
            -1.0 if line.kind == "graft" else 1.0)
        wanted = np.concatenate([line.places, tops[::-1]])
        assert any(b.shape[0] >= 18 and np.allclose(b[:18], wanted) for b in bands(ax)), line.name
    shown = words(ax).replace("\N{NO-BREAK SPACE}", " ")
    assert "force across the faces over their area" in shown.replace("\n", " ")
    for said in ("shear plane", "touches along 44 %;", "mean 1.2 MPa;",
                 "95 % of it below 2.5 MPa;", "highest 4 MPa",
                 "under a plate", "on a filling's face", LABEL):
        assert said in shown, said
    assert "cut off" not in shown
    assert "pull" not in shown


def test_bonded_faces_that_pull_are_explained() -> None:
    made = construct("lag screws")
    shot, load = made.pictures[-1], made.loads[-1]
    pull = replace(shot.contacts[1], force=-shot.contacts[1].force)
    ax = figures.contact_pressure(replace(shot, contacts=(shot.contacts[0], pull)), load)
    assert "bonded faces pull" in words(ax).replace("\n", " ")
    assert clashes(ax.get_figure(root=True)) == []


def test_peaks_of_pressure_are_cut_off_and_that_is_said() -> None:
    made = construct("lag screws")
    shot, load = made.pictures[-1], made.loads[-1]
    peak = shot.contacts[0].force.copy()
    peak[-1] *= 50.0
    high = replace(shot, contacts=(replace(shot.contacts[0], force=peak), *shot.contacts[1:]))
    ax = figures.contact_pressure(high, load)
    assert "cut off at 4.4 MPa" in words(ax)
    assert max(float(np.hypot(*(b[9] - b[8]))) for b in bands(ax)) == pytest.approx(22.0)


def test_without_equilibrium_no_pressure_is_drawn() -> None:
    made = construct("nothing", held=False)
    ax = figures.contact_pressure(made.pictures[0], made.loads[0])
    assert bands(ax) == []
    assert "so there is no pressure to draw" in words(ax)


def test_a_result_of_another_load_is_refused() -> None:
    made = construct("lag screws")
    with pytest.raises(InputError, match="different loads") as told:
        figures.contact_pressure(made.pictures[-1], made.loads[0])
    assert "1500 N" in str(told.value)


def test_labels_of_lines_with_long_names_do_not_overlap() -> None:
    made = long_names(2).constructs[1]
    shot, load = made.pictures[-1], made.loads[-1]
    names = [f"{i} a line of contact of a name that goes on until sixty {{ }}"[:60] for i in range(9)]
    lines = tuple(replace(shot.contacts[i % 3], name=n) for i, n in enumerate(names))
    results = dict.fromkeys(names, load.contacts["shear plane"])
    ax = figures.contact_pressure(replace(shot, contacts=lines), replace(load, contacts=results))
    assert clashes(ax.get_figure(root=True)) == []
