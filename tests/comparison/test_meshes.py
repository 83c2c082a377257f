"""Error bars: the study on finer meshes, what is extrapolated, and ties."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import made_up
import numpy as np
import pytest
from command import inside
from small_study import small_study

from buttress import LABEL, example, only
from buttress.comparison.compare import compare
from buttress.comparison.meshes import finer, with_bars
from buttress.draw.curves import BARS, curves
from buttress.fe.errors import InputError
from buttress.fe.richardson import EQUAL, EXTRAPOLATED, SPREAD
from buttress.fe.solve.path import GROWTH
from buttress.files import as_csv
from buttress.report import error_bars
from buttress.report.folder import document
from buttress.report.page import write_report
from buttress.report.terminal import lines
from buttress.report.trust import how_far
from buttress.results.bar import NOT_ON_ALL, Bar
from buttress.results.comparison import Comparison, Meshes
from buttress.results.order import TIE, ranks, reserve
from buttress.results.path import PathEvent, PathResult, Reserve, Where
from buttress.results.quantities import by_column
from buttress.results.records import BEYOND, ConstructResult

SIZES = (4.0, 2.0, 1.0)


@pytest.fixture(scope="module")
def made() -> Comparison:
    return compare(small_study("lag screws", "nothing"), pictures=False, error_bars=2)


def test_each_value_is_that_of_the_study_on_that_mesh(made: Comparison) -> None:
    assert made.meshes is not None
    (fine,) = finer(made.study, 2)
    assert (fine.mesh.size_mm, fine.mesh.coarse_mm) == (2.0, 4.0)
    other = compare(fine, pictures=False)
    own = made["lag screws"]
    for key, read in (("reserve_N", lambda c: reserve(c).load_N), ("peak_N", lambda c: c.peak_N),
                      ("first_yield_N", lambda c: c.first_yield_N)):
        bar = own.bar(key)
        assert bar is not None
        assert bar.values == (read(own), pytest.approx(read(other["lag screws"]), rel=1e-9))
        assert bar.low == min(bar.values)
        assert bar.high == max(bar.values)
    sunk = own.bar("subsidence_mean_mm", 700.0, "medial")
    assert sunk is not None
    assert sunk.values[1] == pytest.approx(
        other["lag screws"].load(700.0).fragments["medial"].subsidence_mean_mm, rel=1e-9)
    assert sunk.values[0] != sunk.values[1]
    assert made.meshes.size_mm[0] > 1.4 * made.meshes.size_mm[1]


def test_three_meshes_lie_one_between_the_others() -> None:
    sizes = [x.mesh.size_mm for x in finer(small_study("nothing"), 3)]
    assert sizes == [pytest.approx(4.0 / 2**0.5), 2.0]
    assert finer(small_study("nothing"), None) == ()


@pytest.mark.parametrize("meshes", [0, 1, 4, -1])
def test_other_numbers_of_meshes_are_refused(meshes: int) -> None:
    with pytest.raises(InputError, match="two or three meshes"):
        finer(small_study("nothing"), meshes)


def test_a_mesh_that_cannot_be_refined_is_refused() -> None:
    fine = small_study("nothing")
    fine = fine.model_copy(update={"mesh": fine.mesh.model_copy(update={"size_mm": 0.3})})
    with pytest.raises(InputError, match="too fine"):
        finer(fine, 2)


def construct(peak: float, moved: float | None, events: tuple[PathEvent, ...] = (), **more
              ) -> ConstructResult:
    c = made_up.usual().constructs[0]
    path = PathResult("complete", "", True, 0.0, (), events)
    return replace(c, peak_N=peak, peak_status="found", path=path, stiffness_N_per_mm=peak / 2,
                   stiffness_at_N=500.0, reserve=Reserve(moved, 0.5, "gap", "f"), **more)


def bars(*peaks: float, events: tuple[tuple[PathEvent, ...], ...] = ((), (), ()),
         moved: tuple[float | None, ...] = (800.0, 800.0, 800.0), status: str = "found"
         ) -> ConstructResult:
    each = [replace(construct(p, m, e), peak_status=status)
            for p, m, e in zip(peaks, moved, events, strict=False)]
    return with_bars(each[:1], [[c] for c in each[1:]], SIZES[:len(each)])[0]


def slip(load: float) -> PathEvent:
    return PathEvent("slip", load, 0.1, Where("shear plane", None))


def test_a_power_law_is_extrapolated() -> None:
    bar = bars(*(2000.0 + 3.0 * h**1.5 for h in SIZES)).bar("peak_N")
    assert bar is not None
    assert bar.basis == EXTRAPOLATED
    assert bar.order == pytest.approx(1.5)
    assert bar.limit == pytest.approx(2000.0)
    assert bar.low == pytest.approx(2003.0 - 1.25 * 3.0)
    assert bar.high == pytest.approx(2024.0)


def test_a_change_of_contact_status_leaves_the_spread() -> None:
    peaks = [2000.0 + 3.0 * h**1.5 for h in SIZES]
    for at, basis in ((1500.0, SPREAD), (2500.0, EXTRAPOLATED)):    # above the peak it is no cause
        bar = bars(*peaks, events=((slip(at),), (), ())).bar("peak_N")
        assert bar is not None
        assert bar.basis == basis
    assert "contact status" in (bars(*peaks, events=((slip(9.0),), (), ())).bar("peak_N") or bar).why
    # The same event on every mesh, at the figure's own load or below, changes nothing.
    same = bars(*peaks, events=tuple((slip(0.9 * p),) for p in peaks)).bar("peak_N")
    assert same is not None
    assert same.basis == EXTRAPOLATED


def test_what_is_missing_or_a_lower_bound_on_a_mesh_says_so() -> None:
    other = bars(2000.0, 2010.0, moved=(800.0, None))
    found = other.bar("reserve_N")
    assert found is not None
    assert (found.basis, found.why) == (SPREAD,
                                        "it is the peak on one mesh, and below it on another")
    open_end = bars(2000.0, 2000.0, status=BEYOND).bar("peak_N")
    assert open_end is not None
    assert (open_end.low, open_end.high, open_end.basis) == (2000.0, None, EQUAL)
    limit = bars(2000.0, 2010.0).bar("first_yield_N")
    assert limit is None or limit.basis in (NOT_ON_ALL, EQUAL)


def tied(width: float) -> Comparison:
    """Two constructs of which one carries 20 % more, with error bars of a width."""
    made = made_up.usual()
    out = []
    for c, load in zip(made.constructs[:2], (1000.0, 1200.0), strict=True):
        bar = Bar("reserve_N", "N", None, "", (load, load), SPREAD, load - width, load + width)
        out.append(replace(c, reserve=Reserve(load, 0.5, "gap", "f"), peak_N=3000.0,
                           peak_status="found", bars=(bar,)))
    return replace(made, constructs=tuple(out), meshes=Meshes(
        ((4.0, 8.0), (2.0, 4.0)), (100, 400), (4.0, 2.0)))


def test_error_bars_that_overlap_are_a_tie() -> None:
    apart, over = tied(90.0), tied(110.0)
    assert sorted(ranks(apart.constructs).values()) == ["1", "2"]
    assert sorted(ranks(over.constructs).values()) == ["1–2", "1–2"]
    # Without error bars the stated indifference alone counts.
    plain = tuple(replace(c, bars=()) for c in over.constructs)
    assert sorted(ranks(plain).values()) == ["1", "2"]
    assert TIE < 0.2
    assert document(over)["order"][0]["tied_with"] == [min(
        over.constructs, key=lambda c: reserve(c).load_N).name]
    assert "error bars overlap" in document(over)["ordered_by"]


def test_words_table_page_and_files_have_the_intervals(made: Comparison, tmp_path: Path) -> None:
    bar = made["lag screws"].bar("reserve_N")
    assert bar is not None
    wanted = error_bars.interval(bar)
    assert len({f"{bar.low:.0f}", f"{bar.high:.0f}"}) == len(wanted.split(" to "))
    said = " ".join(" ".join(lines(made)).split())
    assert f"load by which it is ordered {wanted} N" in said
    assert "2 meshes (4 and 2 mm at faces;" in how_far(made)["discretisation error"]
    rows = list(csv.DictReader(io.StringIO(as_csv(error_bars.rows(made), error_bars.COLUMNS))))
    row = next(r for r in rows if (r["construct"], r["quantity"]) == ("lag screws", "reserve_N"))
    assert float(row["low"]) == bar.low
    assert row["basis"] == bar.basis
    assert all(by_column(r["quantity"]) for r in rows)
    # A list of negative numbers began with an apostrophe, as what might be a formula does.
    told = [[None if v is None else pytest.approx(v, rel=1e-8) for v in b.values]
            for c in made.constructs for b in c.bars]
    assert [json.loads(r["values"]) for r in rows] == told
    assert any(v is not None and v < 0.0 for r in rows for v in json.loads(r["values"]))
    assert {len(json.loads(r["element_sizes_mm"])) for r in rows} == {2}
    assert {r["label"] for r in rows} == {LABEL}
    data = json.loads(json.dumps(document(made), allow_nan=False))
    assert data["meshes"]["asked_mm"] == [[4.0, 8.0], [2.0, 4.0]]
    assert any(b["key"] == "reserve_N" and b["low"] == bar.low
               for c in data["constructs"] for b in c["bars"])
    write_report(made, tmp_path / "r.html", {})
    text = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "Discretisation: error bars" in text
    assert "--error-bars 2" in text
    ax = curves(made, "medial")
    assert any(x.get_gid() == "error bar lag screws" for x in ax.lines)
    assert BARS in [t.get_text() for t in ax.get_legend().get_texts()]


@pytest.mark.parametrize(("low", "high", "said"), [
    (463.6, 923.2, "463 to 924"), (2870.1, 2870.3, "2870"), (1478.0, 1503.0, "1478 to 1503")])
def test_a_load_that_is_told_lies_in_its_interval(low: float, high: float, said: str) -> None:
    """Bone was crushed "at about 924 N", which is the next newton, in "464 to 923 N"."""
    bar = Bar("first_crushing_N", "N", None, "", (high, low), "spread of the meshes", low, high)
    assert error_bars.interval(bar) == said


@pytest.mark.parametrize("given", [["7"], ["0"], ["-2"]])
def test_nonsense_is_refused_before_anything_is_solved(given: list[str], tmp_path: Path) -> None:
    done = inside("compare", "--example", "medial-shear", "--error-bars", *given, "--out",
                  str(tmp_path / "x"))
    assert (done.returncode, done.stdout) == (2, "")
    assert "two or three meshes" in done.stderr
    assert not (tmp_path / "x").exists()


def test_error_bars_press_in_shorter_steps_too() -> None:
    """How far slip is followed step by step is part of the error that is shown."""
    study = example("medial-shear")
    assert study.press.step_growth == GROWTH == 1.35
    assert [s.press.step_growth for s in finer(study, 2)] == pytest.approx([1.175])
    assert [s.press.step_growth for s in finer(study, 3)] == pytest.approx(
        [1.0 + 0.35 * 0.5**0.5, 1.175])


def test_shorter_steps_are_more_points_and_the_same_loads() -> None:
    study = only("medial-shear", "lag screws")
    study = study.model_copy(update={"mesh": study.mesh.model_copy(
        update={"size_mm": 4.0, "coarse_mm": 8.0})})
    short = study.model_copy(update={"press": study.press.model_copy(
        update={"step_growth": 1.1})})
    long, many = (compare(s, pictures=False).constructs[0] for s in (study, short))
    assert len(many.path.points) > 1.5 * len(long.path.points)
    assert many.reserve.load_N == pytest.approx(long.reserve.load_N, rel=5e-3)
    for ram in (1.0, 2.0, 4.0):
        loads = [np.interp(ram, *np.transpose([(p.ram_mm, p.load_N) for p in c.path.points]))
                 for c in (long, many)]
        assert loads[1] == pytest.approx(loads[0], rel=5e-3), ram
