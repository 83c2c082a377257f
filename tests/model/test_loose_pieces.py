"""Pieces with play: what is known of them is said, and not "not known".

Two kinds of study that random draws found: a piece on a frictionless cut that only play keeps in
its place once the stages are over, and a depressed piece that runs away from its walls.
"""

from __future__ import annotations

from typing import Any

from buttress.fe.solve.path import FIRST_MM, SEAT_N
from buttress.fe.status import Status
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.study.read import study_from

SCREW = {"material": "titanium", "length_mm": "bicortical", "angle_deg": 0.0}
ON_A_SLIPPERY_CUT: dict[str, Any] = {
    "name": "slippery", "mesh": {"size_mm": 6.4, "coarse_mm": 12.8},
    "section": {"outline": "simple", "bone": "foam", "width_mm": 70.0, "foam_grade": 10},
    "load": {"medial_share": 0.68, "direction_deg": 12.0, "total_N": [564.0]},
    "fracture": [{"name": "cut", "points_mm": [[-60, -62.39], [60, -62.39]], "friction": 0.0}],
    "fragment": [{"name": "top", "inside_mm": [0, -6]}],
    "construct": [{
        "name": "staged",
        "plate": [{"name": "plate", "side": "medial", "top_mm": -14.77, "friction": 0.3,
                   "material": "steel", "section": "L buttress", "length_mm": 67.6}],
        "screw": [SCREW | {"name": "lateral", "form": "HA 4.5", "side": "lateral",
                           "height_mm": -48.88},
                  SCREW | {"name": "lag", "form": "HA 4.5", "side": "medial", "height_mm": -2.0,
                           "use": "lag", "tension_N": 49.0, "pilot_mm": 1.5},
                  SCREW | {"name": "in plate", "form": "HB 6.5", "angle_deg": -21.0,
                           "length_mm": 40.0, "plate": "plate", "hole": 3, "locked": False}],
        "stage": [{"do": "tighten", "what": ["lateral"], "force_N": 380.0},
                  {"do": "tighten", "what": ["lag"], "force_N": 271.0, "steps": 4},
                  {"do": "tighten", "what": ["in plate"], "force_N": 390.0},
                  {"do": "relax", "what": ["lateral"], "lost_share": 0.0}]}]}
WEDGED: dict[str, Any] = {
    "name": "wedged", "mesh": {"size_mm": 7.5, "coarse_mm": 15.0},
    "section": {"outline": "simple", "bone": "foam", "width_mm": 76.0, "foam_grade": 20},
    "load": {"medial_share": 0.5, "direction_deg": 12.0, "total_N": [50.0, 120.0]},
    "fracture": [{"name": "inner", "points_mm": [[13, 0.0], [12, -10.37]], "friction": 0.42},
                 {"name": "outer", "points_mm": [[27, 0.0], [28, -10.37]], "friction": 0.24}],
    "void": [{"name": "hole", "points_mm": [[12, -10.37], [15, -20], [25, -20], [28, -10.37]]}],
    "fragment": [{"name": "piece", "inside_mm": [20, -4], "depth_mm": 22.14}],
    "press": {"large_movements": "on"},
    "construct": [{
        "name": "screws below",
        "screw": [SCREW | {"name": "lag", "form": "HA 3.5", "angle_deg": 24.0, "length_mm": 26.0,
                           "side": "medial", "height_mm": -39.57, "count": 3, "use": "lag",
                           "tension_N": 481.0},
                  SCREW | {"name": "shaft", "form": "HB 4.0", "material": "steel",
                           "side": "lateral", "height_mm": -36.66, "thread_mm": 23.0},
                  SCREW | {"name": "through the hole", "form": "HB 6.5", "material": "steel",
                           "side": "lateral", "height_mm": -19.24, "use": "lag"}]}]}


def model_of(data: dict[str, Any]) -> Model:
    study = study_from(data)
    return build_model(Bones(study).of(study.constructs[0]), study.constructs[0])


def test_a_piece_that_rests_with_play_is_pressed_until_it_is_held() -> None:
    """Nothing but play keeps it on its slippery cut; its load pushes it on to its plate."""
    model = model_of(ON_A_SLIPPERY_CUT)
    assert model.stands
    path = model.pressing.up_to(600.0)
    assert not path.gaps
    assert path.points[0].load_N == 0.0
    found = model.answer(564.0)
    assert found.status == Status.HELD
    assert found.residual < 1e-9
    # Limit analysis knows that it can be held: the lower bound needs no friction.
    factor = model.capacity(frictionless=True).factor
    assert factor is not None
    assert factor > 564.0


def test_a_piece_that_slips_out_of_its_walls_has_a_peak() -> None:
    """It wedges, slips, and then nothing resists it: its peak is known, more is not held."""
    model = model_of(WEDGED)
    path = model.pressing.up_to(1000.0)
    assert not path.gaps
    assert path.stopped
    assert path.peak_status == "found"
    assert 50.0 < path.peak_N < 120.0
    assert [model.answer(n).status for n in (50.0, 120.0)] == [Status.HELD, Status.NO_EQUILIBRIUM]


STANDS_OFF: dict[str, Any] = {
    "name": "stands-off", "mesh": {"size_mm": 5.0, "coarse_mm": 10.0},
    "section": {"outline": "simple", "bone": "dense"},
    "load": {"total_N": [100.0]},
    "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-30, -48]], "friction": 0.4}],
    "fragment": [{"name": "medial", "inside_mm": [-25, -10]}],
    "press": {"large_movements": "off"},
    "construct": [{
        "name": "plate",
        "plate": [{"name": "plate", "side": "medial", "section": "3.5 straight", "top_mm": -18,
                   "length_mm": 94, "mismatch_mm": -0.5}],
        "screw": [SCREW | {"name": f"hole {hole}", "form": "HA 3.5", "plate": "plate", "hole": hole}
                  for hole in (5, 6)]}]}
"""A plate whose ends stand off, drawn in by screws that nothing tightens: the piece is loose."""


def test_what_is_free_to_move_is_pressed_from_where_it_comes_to_rest() -> None:
    """It ran ahead of the ram over ten places without any load, 1.0 mm and back to 0.4."""
    path = model_of(STANDS_OFF).pressing.whole
    loads = [p.load_N for p in path.points]
    assert loads[1] == SEAT_N
    assert path.points[1].ram_mm > FIRST_MM
    assert min(loads[2:]) > SEAT_N
