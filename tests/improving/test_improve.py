"""The search for a better placement: known optima, never worse than the start, and what it says."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import known_optimum as made
import matplotlib.colors
import numpy as np
import pytest
from command import inside
from known_optimum import ANGLE, LENGTH, NAME, TOP
from simple_shear import simple_shear
from small_study import small_study

from buttress import LABEL
from buttress.draw.landscape import landscape
from buttress.fe.errors import InputError
from buttress.improving.records import LEFT, REFUSED, SOLVED, UNKNOWN
from buttress.improving.search import BONE, improve
from buttress.ranking.inputs import inputs_of
from buttress.results.order import AT_LEAST
from buttress.results.records import BEYOND, NOT_KNOWN
from buttress.study.read import only, parse_study
from buttress.study.study import Study
from buttress.sweeps.design import unit_samples
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.keys import planned
from buttress.sweeps.store import reading
from buttress.sweeps.vary import Varier

FREE = [f"{TOP}=-31:-23", f"{ANGLE}=-12:12"]


def hill(where: dict, scales: dict) -> float:
    """Symmetric about 4 degrees, largest 8000 N there with the plate at -28 mm."""
    return 8000.0 - 60.0 * (where["top_mm"] + 28.0) ** 2 - 15.0 * (where["angle_deg"] - 4.0) ** 2


def test_it_finds_an_optimum_that_is_known(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    solved = made.use(monkeypatch, hill)
    found = improve(simple_shear(), NAME, FREE, cases=40, out=tmp_path / "i.sqlite")
    best = found.best
    assert best is not None
    assert best.values == pytest.approx((-28.0, 4.0), abs=0.8)
    assert best.value == pytest.approx(8000.0, abs=30.0)
    assert found.start.value == pytest.approx(8000.0 - 60 * 9 - 15 * 16)
    assert found.beyond_tie
    assert found.counts[SOLVED] == 40 == len(solved)
    assert f"{100 * found.gain:.1f} % more than the start, beyond the width of a tie (5 %)" in " ".join(
        found.sentences())
    assert found.misses is not None
    assert found.misses < 300.0
    # As on the terminal, where a hyphen is no minus.
    assert found.rows()[0][:3] == (TOP, "−31 to −23", "−25")


@pytest.mark.parametrize("seed", range(3))
def test_it_is_never_worse_than_the_start(seed: int, monkeypatch: pytest.MonkeyPatch,
                                          tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    slope, wave = rng.normal(size=2) * 400, rng.uniform(0.2, 2.0)
    made.use(monkeypatch, lambda w, s: 3000.0 + slope[0] * (w["top_mm"] + 25) + slope[1] * math.sin(
        wave * w["angle_deg"]))
    found = improve(simple_shear(), NAME, FREE, cases=9, seed=seed, out=tmp_path / "i.sqlite")
    assert found.best.value >= found.start.value


def test_where_the_start_is_the_optimum_it_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path
                                                   ) -> None:
    made.use(monkeypatch, lambda w, s: 5000.0 - abs(w["top_mm"] + 25.0) - abs(w["angle_deg"]))
    found = improve(simple_shear(), NAME, FREE, cases=9, out=tmp_path / "i.sqlite")
    assert found.best is found.start
    assert found.sentences()[-1] == "no placement tried does better than the start"
    made.use(monkeypatch, lambda w, s: 5000.0 - w["top_mm"])
    found = improve(simple_shear(), NAME, FREE, cases=9, out=tmp_path / "j.sqlite")
    assert not found.beyond_tie
    assert "which is no difference: within the width of a tie" in " ".join(found.sentences())


def test_refused_and_not_known_are_counted_as_such(monkeypatch: pytest.MonkeyPatch, tmp_path: Path
                                                   ) -> None:
    def reserve(where: dict, scales: dict) -> object:
        if where["top_mm"] > -26.0:
            return {"reserve_N": 9000.0, "reserve_is": AT_LEAST, "peak_status": NOT_KNOWN}
        if where["top_mm"] < -29.0:
            return {"reserve_N": 10000.0, "reserve_is": AT_LEAST, "peak_status": BEYOND}
        return 4000.0

    solved = made.use(monkeypatch, reserve)
    found = improve(simple_shear(), NAME, [f"{TOP}=-32:-18", f"{ANGLE}=-12:12"], cases=16,
                    out=tmp_path / "i.sqlite")
    counts = found.counts
    assert counts[SOLVED] + counts[UNKNOWN] == 16 == len(solved)
    assert counts[UNKNOWN] >= 1
    assert counts[REFUSED] >= 3
    assert found.start.status == UNKNOWN    # at -25 mm
    assert found.gain is None
    assert not found.beyond_tie
    assert (found.best.value, found.best.bound) == (10000.0, True)
    said = " ".join(found.sentences())
    first = next(p for p in found.placements if p.status == REFUSED)
    assert f"(first refused: {TOP} = " in said
    assert first.reason
    assert first.reason in said
    assert "how much more that is than at the start is not known" in said
    assert "≥ 10000 N" in said
    assert all("breaks a rule of the trade" in p.reason for p in found.placements
               if p.status == REFUSED)
    with reading(found.path) as db:
        assert db.execute("SELECT count(*) FROM failures WHERE status = 'refused'").fetchone()[0] \
            == counts[REFUSED]


def test_a_search_that_was_dropped_resumes_and_ends_as_one_in_one_go(
        monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made.use(monkeypatch, hill)
    whole = improve(simple_shear(), NAME, FREE, cases=14, out=tmp_path / "whole.sqlite")
    tried: list[float] = []

    def dies(where: dict, scales: dict) -> float:
        tried.append(where["top_mm"])
        if len(tried) == 11:
            raise KeyboardInterrupt
        return hill(where, scales)

    made.use(monkeypatch, dies)
    with pytest.raises(KeyboardInterrupt):
        improve(simple_shear(), NAME, FREE, cases=14, out=tmp_path / "i.sqlite")
    again = made.use(monkeypatch, hill)
    found = improve(simple_shear(), NAME, FREE, cases=14, out=tmp_path / "i.sqlite")
    assert found.placements == whole.placements
    assert len(again) == 4    # ten were stored
    assert found.counts[LEFT] == 0
    more = improve(simple_shear(), NAME, FREE, cases=16, out=tmp_path / "i.sqlite")
    assert more.placements[:len(whole.placements)] == whole.placements
    assert more.counts[SOLVED] == 16
    with pytest.raises(InputError, match="another design"):
        improve(simple_shear(), NAME, [f"{TOP}=-31:-22"], cases=4, out=tmp_path / "i.sqlite")


def test_the_worst_of_uncertain_bone_counts(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    seen: set[tuple[float, float]] = set()

    def reserve(where: dict, scales: dict) -> float:
        seen.add((where["modulus_scale"], scales["cancellous_strength"]))
        return hill(where, scales) * scales["cancellous_strength"]

    made.use(monkeypatch, reserve)
    found = improve(simple_shear(), NAME, FREE, cases=4, samples=4, out=tmp_path / "i.sqlite")
    assert len(seen) == 4
    least = min(strength for _, strength in seen)
    assert found.start.value == pytest.approx((8000.0 - 60 * 9 - 15 * 16) * least)
    assert "the least over 4 samples of bone" in found.sentences()[0]


def test_more_friction_is_found_to_hold_more(tmp_path: Path) -> None:
    """The model itself: on a face that slides, the load rises with friction, up to the bound."""
    found = improve(small_study("nothing", "lag screws"), "lag screws",
                    ["fracture.shear plane.friction=0.2:0.6"], cases=7, out=tmp_path / "i.sqlite")
    assert found.counts[SOLVED] == 7
    by_friction = sorted((p.values[0], p.value) for p in found.placements)
    loads = [load for _, load in by_friction]
    assert loads == sorted(loads)
    assert found.best.values[0] == by_friction[-1][0]
    assert found.best.values[0] > 0.55
    assert any("not of the construct but of bone, fracture or load: fracture.shear plane" in line
               for line in found.sentences())


@pytest.mark.parametrize(("free", "said"), [
    ([], "nothing is free"), ([f"{TOP}=-20:-10"], "lies outside the bounds"),
    ([f"{TOP}=-30,-20"], "not the bounds of a free key"),
    ([f"{TOP}=-20:-30"], "^--free: .*expected: KEY=low:high"), (["x"], "key: --free"), (["section.widht_mm=1:2"], "did you mean"),
    (["construct.lag screws.screw.upper lag.height_mm=-14:-8"], "not a key of the construct that is"),
    ([f"{TOP}=-31:-23", f"{LENGTH}={{{TOP}}} + 97"], "a coupled key that changes the start"),
    ([f"construct.{NAME}.screw.*.angle_deg=-20:20"], "without one number"),
    ([f"construct.{NAME}.screw.shaft 2.hole=1.5:5"], "bounds of a whole number")])
def test_wrong_input_is_told(free: list[str], said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=said):
        improve(simple_shear(), NAME, free, out=tmp_path / "i.sqlite")
    assert not (tmp_path / "i.sqlite").exists()


def test_a_hole_is_a_whole_number_and_a_coupled_key_follows(monkeypatch: pytest.MonkeyPatch,
                                                            tmp_path: Path) -> None:
    solved = made.use(monkeypatch, hill)
    improve(simple_shear(), NAME, [f"construct.{NAME}.screw.shaft 3.hole=4:6", f"{TOP}=-31:-23",
                                   f"{LENGTH}={{{TOP}}} + 95"], cases=5, out=tmp_path / "i.sqlite")
    assert len(solved) == 5
    for task in solved:
        (construct,) = task.data["construct"]
        assert isinstance(next(s for s in construct["screw"] if s["name"] == "shaft 3")["hole"], int)
        plate = construct["plate"][0]
        assert plate["length_mm"] == pytest.approx(plate["top_mm"] + 95.0)


def test_the_command_and_its_picture(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made.use(monkeypatch, hill)
    words = ["improve", "medial-shear", NAME, "--free", FREE[0], "--free", FREE[1], "--free",
             f"{LENGTH}=66:80", "--cases", "12", "--out", str(tmp_path / "i.sqlite")]
    done = inside(*words, "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["label"] == LABEL
    assert data["found"] >= data["start"]
    assert data["search"].startswith("An educational search")
    assert data["counts"][SOLVED] == 12
    assert [Path(p).name for p in data["written"]] == ["landscape.png"]
    text = inside(*words).stdout
    assert LABEL in text
    assert "An educational search" in text
    assert "12 solved" in text
    found = improve("medial-shear", NAME, [*FREE, f"{LENGTH}=66:80"], cases=12,
                    out=tmp_path / "i.sqlite")
    figure = landscape(found).get_figure(root=True)
    panels = [a for a in figure.axes if a.get_xlabel()]
    assert len(panels) == 3
    slight = replace(found, placements=tuple(
        replace(p, value=None if p.value is None else 1000.0 + i)
        for i, p in enumerate(found.placements)))
    assert slight.tied
    for one in (found, slight):
        told = " ".join(t.get_text() for t in landscape(one).get_figure(root=True).texts)
        told = told.replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")
        assert ("no difference: within 5 %" in told) == one.tied
    assert {t.get_text() for t in figure.texts} >= {LABEL}
    scales = {(m.norm.vmin, m.norm.vmax, m.cmap.name) for a in panels for m in [*a.images, *(
        c for c in a.collections if c.get_array() is not None)]}
    assert len(scales) == 1    # one meaning of a colour in all panels
    (low, high, name), = scales
    assert (low, high) == pytest.approx((min(p.value for p in found.placements if p.value),
                                         found.best.value))
    assert name == "cividis"
    drawn = [c for a in panels for c in a.collections if c.get_gid() == SOLVED]
    assert [len(c.get_offsets()) for c in drawn] == [12, 12, 12]
    assert isinstance(figure.axes[0].images[0].norm, matplotlib.colors.Normalize)


def resting(shift_mm: float) -> Study:
    """A plateau cut off straight across, on a symmetric bone, with nothing but contact below it."""
    return parse_study(f"""
name = "resting"
title = "A plateau that rests on its shaft"
scenario = "An invented scenario for a test."
[section]
outline = "simple"
width_mm = 76
depth_mm = 48
shaft_width_mm = 28
shaft_depth_mm = 28
height_mm = 120
[mesh]
size_mm = 5
coarse_mm = 9
[[fracture]]
name = "across"
points_mm = [[-45, -30], [45, -30]]
[[fragment]]
name = "plateau"
inside_mm = [0, -10]
[load]
total_N = [500]
medial_share = 0.5
medial_centre_mm = -22
lateral_centre_mm = 22
shift_mm = {shift_mm}
[[construct]]
name = "nothing"
""")


def test_the_real_model_finds_an_optimum_that_is_known_in_closed_form(tmp_path: Path) -> None:
    """A block on an elastic base under a load P at e: its load sinks by P (1/k + e^2/k_r), since
    the block turns by P e / k_r (statics, linear; k_r: stiffness in rotation). So 1/stiffness is a
    parabola in e, whose vertex lies at 0 by symmetry."""
    found = improve(resting(7.0), "nothing", ["load.shift_mm=-9:11"], by="stiffness", cases=12,
                    out=tmp_path / "i.sqlite")
    best = found.best
    assert best is not None
    assert best.values[0] == pytest.approx(0.0, abs=1.0)    # of a range of 20
    assert found.beyond_tie
    e, k = np.array([(p.values[0], p.value) for p in found.placements if p.status == SOLVED]).T
    a, b, c = np.polyfit(e, 1.0 / k, 2)
    assert -b / (2 * a) == pytest.approx(0.0, abs=0.3)
    assert np.polyval([a, b, c], e) == pytest.approx(1.0 / k, rel=0.01)
    assert a * 81 > 0.2 * c    # the turn counts


def test_the_worst_of_uncertain_bone_is_what_its_samples_give_one_by_one(tmp_path: Path) -> None:
    """The model itself, each sample solved apart."""
    study = small_study("nothing", "lag screws")
    key = "fracture.shear plane.friction"
    found = improve(study, "lag screws", [f"{key}=0.2:0.6"], cases=2, samples=2,
                    out=tmp_path / "i.sqlite")
    inputs = [entry for entry in inputs_of(only(study, "lag screws")) if entry.key in BONE]
    assert {entry.key for entry in inputs} >= {"section.modulus_scale", "scale.cancellous_strength"}
    u = unit_samples(len(inputs), "sobol", 2, 0)
    drawn = zip(*(entry.values(u[:, j]) for j, entry in enumerate(inputs)), strict=True)
    alone = []
    for values in drawn:
        case = Varier(only(study, "lag screws")).case(dict(zip((e.key for e in inputs), values,
                                                               strict=True)))
        plan = planned(1, case, {})
        fresh = Evaluator(Options(path=True))
        (row,) = fresh.evaluate(Task(1, plan.hash, plan.data, plan.scales)).capacities
        alone.append(row["reserve_N"])
    assert found.start.value == pytest.approx(min(alone), rel=1e-6)
    assert max(alone) > 1.05 * min(alone)    # else the least is no choice
