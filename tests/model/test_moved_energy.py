"""Conservation of energy where the shaft bends: the work of the ram is what is stored and lost."""

from dataclasses import replace

import numpy as np
import pytest

from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.study.read import example, only

FAR_MM = 1.0
"""Up to here the shaft of this study bends back by 2 degrees below the joint."""


@pytest.fixture(scope="module")
def path():
    study = only(example("posterior-shear"), "front lag screws")
    construct = study.constructs[0]
    model = replace(build_model(Bones(study).of(construct), construct), growth=1.1)
    pressing = model.pressing
    pressing._places = tuple(x for x in pressing._places if x < FAR_MM)
    return pressing.whole


def test_the_shaft_bends_and_the_fragment_with_it(path):
    config = path.points[-1].moved.config
    assert np.degrees(np.abs(config.patches[:, 2]).max()) > 1.5
    assert abs(np.degrees(config.angle).min()) > 1.5


def test_the_work_of_the_ram_is_what_is_stored_and_lost(path):
    """By the trapezoidal rule, so to the error of the steps. With faces that kept their directions
    while the shaft under them turned, the sum was 5 % more than the work."""
    work = lost = 0.0
    for i, (before, point) in enumerate(zip(path.points, path.points[1:], strict=False), 1):
        work += 0.5 * (before.load_N + point.load_N) * (point.ram_mm - before.ram_mm)
        links, hinges = path.ram_of(i).taken(point.state)
        lost += float(links.sum() + hinges.sum())
    stored = path.ram_of(len(path.points) - 1).energy(path.points[-1].state) - path.ram.energy(
        path.points[0].state)
    assert lost > 0.1 * work
    assert stored > 0.5 * work
    assert stored + lost == pytest.approx(work, rel=5e-3)
