"""A piece rests on the pins under it, whatever fills the void beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from depressed_study import depressed

from buttress.implants.kinds import Hold
from buttress.model.install import build_model
from buttress.model.model import Bones, Model

WIRES = {"name": "wires", "diameter_mm": 2.0, "side": "lateral", "height_mm": -10.0,
         "length_mm": 60, "count": 3}
"""Their upper sides touch the underside of the piece, at −9 mm."""
CORNERS = [[12, -9], [15, -20], [25, -20], [28, -9]]
CHIPS = {"name": "chips", "void": "hole", "material": "loose chips"}


def model_of(fill: list[dict[str, Any]]) -> Model:
    study = depressed(CHIPS, press={"large_movements": "off"},
                      construct=[{"name": "c", "wire": [WIRES], "fill": fill}])
    return build_model(Bones(study).of(study.constructs[0]), study.constructs[0])


def held_by(model: Model) -> float:
    """How far the ram has moved [mm] when the bone carries 1 kN."""
    path = model.pressing.whole
    number = path.first_above(1000.0)
    assert number is not None
    return float(np.interp(1000.0, [p.load_N for p in path.points[:number + 1]],
                           [p.ram_mm for p in path.points[:number + 1]]))


def test_a_filling_adds_to_what_pins_carry() -> None:
    """More that resists holds no less (the minimum of the potential energy; Timoshenko and Goodier,
    Theory of Elasticity; memory). The piece fell through the wires that it touched as soon as the
    void about them was filled: it carried 1071 N to 2 mm with chips, 2297 N without."""
    bare, filled = model_of([]), model_of([CHIPS])
    rests = []
    for model in (bare, filled):
        links = model.problem.links.links
        rests.append({(link.source, round(link.place[0])) for link in links
                      if link.kind == Hold.REST and link.place[1] > -10.0})
    assert rests[0]
    assert rests[1] == rests[0]
    assert held_by(filled) < held_by(bare)


@pytest.mark.parametrize("top", [-11.0, -9.0])
def test_a_filling_that_ends_beside_the_pins_leaves_them_their_piece(top: float) -> None:
    share = (top + 9.0) / -11.0
    block = CHIPS | {"points_mm": [[12 + 3 * share, top], [15, -20], [25, -20],
                                   [28 - 3 * share, top]]}
    assert held_by(model_of([block])) < held_by(model_of([]))
