"""The educational weight-bearing table: verdicts, forces, title, every place where it appears."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import made_up
import pytest
from figure_texts import clashes, shown_texts
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from buttress import LABEL
from buttress.draw import bearing as figure_bearing
from buttress.draw.curves import ending
from buttress.report import bearing as terminal
from buttress.report.folder import document, write_results
from buttress.report.tables import limits_table
from buttress.report.terminal import print_table
from buttress.results import bearing
from buttress.results.bar import Bar
from buttress.results.bearing import TITLE, weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.judged import HOLDS, LETS_GO, ONLY_FRICTION, UNKNOWN, Cell, judged
from buttress.results.records import (
    CANNOT_TIGHTEN,
    FOUND,
    GAVE_WAY,
    NOT_TIGHTENED,
    UNDECIDED,
    ConstructResult,
    LimitResult,
)
from buttress.results.search import unloaded_status
from buttress.results.verdict import verdict

LOST = "not found: answers did not converge near it"


def limit(load: float | None, missing: str = "") -> LimitResult:
    return LimitResult(load, None, "key", 2.0, "mm", missing)


def with_mass(made: Comparison, mass: float = 75.0, **load: object) -> Comparison:
    changed = made.study.load.model_copy(update={"body_mass_kg": mass, **load})
    return replace(made, study=made.study.model_copy(update={"load": changed}),
                   constructs=tuple(replace(c, limits={"metal over yield": limit(420.0)})
                                    if c.name == "lag screws" else c for c in made.constructs))


@pytest.mark.parametrize(("ends", "reached", "missing", "force", "verdict"), [
    (2000.0, None, "", 1000.0, Cell(HOLDS, None)),
    (2000.0, None, "", 1281.0, Cell(HOLDS, None)),
    (2000.0, None, "", 1281.1, Cell(ONLY_FRICTION, None, friction_N=1281.0)),
    (2000.0, None, "", 2000.0, Cell(ONLY_FRICTION, None, friction_N=1281.0)),
    (2000.0, None, "", 2000.1, Cell(LETS_GO, 2000.0)),
    (0.0, None, "", 1.0, Cell(LETS_GO, 0.0)),
    (None, None, "", 9000.0, Cell(ONLY_FRICTION, None, friction_N=1281.0)),
    (2000.0, 900.0, "", 899.0, Cell(HOLDS, None)),
    (2000.0, 900.0, "", 900.0, Cell("over a limit: step-off", 900.0)),
    (None, None, LOST, 500.0, Cell(UNKNOWN, None, "step-off not found")),
])
def test_a_cell_is_judged_by_the_loads_at_which_limits_are_reached(
        ends: float | None, reached: float | None, missing: str, force: float,
        verdict: Cell) -> None:
    """Without friction 1281 N are carried, the lower bound of the capacity."""
    construct = replace(made_up.construct("c", ends=ends), limits={
        "step-off": limit(reached, missing), "depression": limit(950.0 if reached else None),
        "equilibrium": limit(ends)})
    assert judged(construct, force) == verdict


def test_what_is_within_all_limits_only_with_friction_says_so_below_what_is_carried() -> None:
    """It read "within all limits" up to 1281 N, though with friction lost the step-off was over its
    limit from 800 N on."""
    construct = replace(made_up.construct("c", ends=2000.0), limits_without_friction={
        "widening": limit(950.0), "step-off": limit(800.0), "depression": limit(None)})
    assert judged(construct, 799.0) == Cell(HOLDS, None)
    over = Cell(ONLY_FRICTION, None, friction_N=800.0, friction_limit="step-off")
    assert judged(construct, 1000.0) == judged(construct, 1900.0) == over
    assert over.words == "only with friction from 800 N (else over a limit: step-off)"
    assert judged(replace(construct, limits_without_friction={}), 1900.0).words == (
        "only with friction above 1281 N (else fails)")
    table = weight_bearing(replace(with_mass(made_up.usual()), constructs=(construct,)))
    assert table is not None
    listed = next(r for r in bearing.rows(table) if r["verdict"] == ONLY_FRICTION)
    assert (listed["without_friction_N"], listed["without_friction"]) == (
        800.0, "over a limit: step-off")


@pytest.mark.parametrize(("step", "said"), [
    (0.0, ""), (1.0, "Reduction leaves 'medial' 1 mm too low: loads at limits count from there or,"),
    (-3.0, "Reduction leaves 'medial' 3 mm too high, by itself no less than the limit of step-off, "
           "2 mm: loads at limits count from there or, where screws are tightened, from the "
           "tightened state, and what is then left comes on top.")])
def test_what_reduction_has_left_stands_with_the_verdicts(step: float, said: str) -> None:
    """With a step of 3 mm the table read "within all limits" and nothing else."""
    made = with_mass(made_up.usual())
    fragments = tuple(f.model_copy(update={"step_mm": step}) for f in made.study.fragments)
    table = weight_bearing(replace(made, study=made.study.model_copy(
        update={"fragments": fragments})))
    assert table is not None
    assert said in table.judged
    assert ("Reduction leaves" in table.judged) is bool(said)


def test_what_is_not_known_with_friction_lost_is_said_beside_the_verdict() -> None:
    lost = replace(limit(None, LOST), kept_to_N=500.0)
    construct = replace(made_up.construct("c"), limits_without_friction={"step-off": lost})
    assert judged(construct, 500.0).words == HOLDS
    assert judged(construct, 900.0).words == (
        "within all limits (with friction lost not known above 500 N)")
    assert judged(construct, 1500.0).words == "only with friction above 1281 N (else fails)"


@pytest.mark.parametrize(("known", "said", "told"), [
    (5970.7, "with friction lost not known above 5970 N",
     "what it carries with friction lost is known only up to 5970 N"),
    (0.0, "with friction lost not known", "what it carries with friction lost is not known")])
def test_an_unconverged_path_without_friction_is_no_verdict(known: float, said: str, told: str
                                                            ) -> None:
    """It read "only with friction above 5970 N (else fails)" and "above 5970 N it depends on
    friction", where answers did not converge from there on; pressed in other steps the same
    construct carried 9000 N without friction."""
    c = replace(made_up.construct("c", ends=None), limits={}, without_friction_N=None,
                without_friction_to_N=known)
    assert judged(c, 7000.0).words == f"within all limits ({said})"
    assert judged(c, 0.9 * known).words == HOLDS
    assert told in verdict(c, (c,))
    assert ending(c).endswith(f", {said}")
    ended = replace(c, equilibrium_ends_N=known - 1.0, ends_status=FOUND)
    assert "friction lost" not in verdict(ended, (ended,))


def test_what_was_solved_is_known_where_a_search_did_not_converge() -> None:
    """The straight plate: step-off was looked at up to 2329 N, where metal reaches yield."""
    construct = replace(made_up.construct("c", ends=7000.0), limits={
        "step-off": replace(limit(None, LOST), kept_to_N=2329.0),
        "metal over yield": limit(2329.0)})
    assert judged(construct, 2324.0) == Cell(ONLY_FRICTION, None, friction_N=1281.0)
    assert judged(construct, 2400.0) == Cell("over a limit: metal over yield", 2329.0)
    other = replace(construct, limits={**construct.limits, "metal over yield": limit(5000.0)})
    assert judged(other, 2400.0) == Cell(UNKNOWN, None, "step-off not found")
    assert judged(other, 2400.0).words == "not known (step-off not found)"
    made = with_mass(made_up.usual())
    table = weight_bearing(replace(made, constructs=(other,)))
    assert table is not None
    said = "c: the load at the limit of step-off was not found; the limit is met up to 2329 N."
    assert table.doubts == (said,)
    assert said in terminal.lines(table)
    shown = limits_table(other)
    assert shown is not None
    assert said.removeprefix("c: ").removesuffix(".") in [row[2] for row in shown.rows]
    picture = figure_bearing.weight_bearing(table).get_figure(root=True)
    assert clashes(picture) == []
    assert said in " ".join(t.get_text().replace("\n", " ") for t, _ in shown_texts(picture))
    assert {r["not_found"] for r in bearing.rows(table) if r["verdict"] == UNKNOWN} == {
        "step-off not found"}


def test_above_what_a_search_knows_nothing_is_judged_but_limits_that_were_reached() -> None:
    lost = made_up.not_known("c", 950.0)
    assert judged(lost, 950.0) == Cell(HOLDS, None)
    assert judged(lost, 951.0) == Cell(UNKNOWN, None, "above 950 N")
    assert judged(lost, 951.0).words == "not known (above 950 N)"
    stiff = replace(lost, limits={"metal over yield": limit(420.0)})
    assert judged(stiff, 951.0) == Cell("over a limit: metal over yield", 420.0)
    missing = replace(limit(None, LOST), kept_to_N=950.0)
    table = weight_bearing(replace(with_mass(made_up.usual()), constructs=(
        replace(lost, limits={"equilibrium": missing}), made_up.construct("d"))))
    assert table is not None
    said = "c: peak not known above 950 N, where answers did not converge."
    assert table.doubts == (said,)
    verdict = {row.name: (row.cells["c"].verdict, row.cells["d"].verdict) for row in table.rows}
    assert verdict["20 kg on the ground"] == (HOLDS, HOLDS)
    assert verdict["walking"] == (UNKNOWN, ONLY_FRICTION)
    assert verdict["stairs up"] == (UNKNOWN, LETS_GO)
    words = {HOLDS, ONLY_FRICTION, UNKNOWN, LETS_GO}
    assert {r["verdict"] for r in bearing.rows(table)} == words
    assert max(map(len, terminal.lines(table))) <= 100
    picture = figure_bearing.weight_bearing(table).get_figure(root=True)
    assert clashes(picture) == []
    shown = " ".join(t.get_text().replace("\n", " ") for t, _ in shown_texts(picture))
    assert words <= {w for w in words if w in shown}
    assert "within all limits, but only with friction" in shown


def test_what_cannot_be_tightened_does_not_fail() -> None:
    construct = replace(made_up.construct("c", held=False, ends=0.0), status=NOT_TIGHTENED,
                        limits={"equilibrium": limit(0.0)})
    assert judged(construct, 500.0) == Cell(CANNOT_TIGHTEN, None)
    table = weight_bearing(replace(with_mass(made_up.usual()), constructs=(construct,)))
    assert table is not None
    assert {r["verdict"] for r in bearing.rows(table)} == {CANNOT_TIGHTEN}
    picture = figure_bearing.weight_bearing(table).get_figure(root=True)
    assert clashes(picture) == []
    said = " ".join(t.get_text().replace("\n", " ") for t, _ in shown_texts(picture))
    assert CANNOT_TIGHTEN in said
    assert LETS_GO not in said
    for status in UNDECIDED:
        assert judged(replace(construct, status=status), 500.0) == Cell(UNKNOWN, None, status)


def test_rows_rise_with_the_force_and_the_ground_is_judged_at_its_upper_end() -> None:
    """Forces by hand: 75 kg x 9.80665 m/s2 x share; 20 kg x 9.80665 x 2.14 and x 2.59."""
    table = weight_bearing(with_mass(made_up.usual()))
    assert table is not None
    force = {row.name: row.force_N for row in table.rows}
    assert list(force) == ["15 kg on the ground", "20 kg on the ground",
                           "30 kg on the ground", "two-leg stance", "one-leg stance", "walking",
                           "stairs up", "stairs down"]
    assert force["walking"] == pytest.approx((75 * 9.80665 * 2.61,) * 2)
    assert force["20 kg on the ground"] == pytest.approx((20 * 9.80665 * 2.14,
                                                          20 * 9.80665 * 2.59))
    # 420 N lies between the two ends for 20 kg: 419.7 and 508.0 N.
    verdict = {row.name: row.cells["lag screws"].verdict for row in table.rows}
    assert verdict["15 kg on the ground"] == HOLDS
    assert verdict["20 kg on the ground"] == "over a limit: metal over yield"
    assert verdict["stairs up"] == LETS_GO    # 2324 N, the peak is at 2100 N
    assert {row.cells["nothing"].words for row in table.rows} == {"fails at any load"}


def test_a_study_that_names_activities_or_masses_has_just_their_rows() -> None:
    for asked, wanted in ((("walking",), ["12.5 kg on the ground", "walking"]),
                          (None, ["12.5 kg on the ground"])):
        table = weight_bearing(with_mass(made_up.usual(), given_N=None, ground_kg=(12.5,),
                                         activity=asked))
        assert table is not None
        assert [row.name for row in table.rows] == wanted
        assert "usual" not in table.judged
    usual = weight_bearing(with_mass(made_up.usual()))
    assert usual is not None
    assert usual.judged.startswith("The study names no activity")


def test_masses_over_the_body_mass_have_no_row() -> None:
    table = weight_bearing(with_mass(made_up.usual(), 30.0))
    assert table is not None
    assert "30 kg on the ground" in [row.name for row in table.rows]
    light = weight_bearing(with_mass(made_up.usual(), 29.0))
    assert light is not None
    assert "30 kg on the ground" not in [row.name for row in light.rows]


def test_without_a_body_mass_there_is_no_table() -> None:
    made = made_up.usual()
    bare = replace(made, study=made.study.model_copy(update={
        "load": made.study.load.model_copy(update={"body_mass_kg": None})}))
    assert weight_bearing(bare) is None
    assert document(bare)["weight_bearing"] is None


def test_the_table_is_everywhere_with_its_title(tmp_path: Path,
                                                capsys: pytest.CaptureFixture[str]) -> None:
    made = with_mass(made_up.usual())
    write_results(made, tmp_path, "")
    for name in ("weight-bearing.csv", "report.html"):
        assert TITLE in (tmp_path / name).read_text(encoding="utf-8"), name
    assert (tmp_path / "weight-bearing.png").stat().st_size > 10_000
    assert (tmp_path / "weight-bearing.png").is_file()
    table = (tmp_path / "weight-bearing.csv").read_text(encoding="utf-8")
    found = list(csv.DictReader(table.splitlines()))
    assert len(found) == 8 * 3
    assert {r["title"] for r in found} == {TITLE}
    assert next(r for r in found if r["activity"] == "walking" and r["construct"] == "raft"
                )["limit_load_N"] == ""
    stored = json.loads((tmp_path / "comparison.json").read_text(encoding="utf-8"))
    assert stored["weight_bearing"]["title"] == TITLE
    assert stored["weight_bearing"]["rows"][0]["cells"]["raft"]["verdict"] == HOLDS
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert page.count("metal over yield from 420 N") >= 4
    print_table(made)
    shown = capsys.readouterr().out
    assert TITLE in shown
    assert LABEL in shown


def test_the_terminal_table_is_at_most_100_columns_wide() -> None:
    for count in (1, 3, 9):
        table = weight_bearing(with_mass(made_up.long_names(count)))
        assert table is not None
        lines = terminal.lines(table)
        assert max(map(len, lines)) <= 100
        assert sum(line.startswith("walking") for line in lines) == -(-count // 4)


@pytest.mark.parametrize("count", [0, 7, 12])
def test_the_picture_has_a_cell_a_verdict_and_no_overlap(count: int) -> None:
    made = with_mass(made_up.long_names(count) if count else made_up.usual())
    table = weight_bearing(made)
    assert table is not None
    ax = figure_bearing.weight_bearing(table)
    figure = ax.get_figure(root=True)
    assert isinstance(figure, Figure)
    cells = [p for p in ax.patches if isinstance(p, Rectangle)]
    assert len(cells) == 8 * len(made.constructs)
    assert any(t.get_text().startswith(TITLE) for t in figure.texts)
    words = [t.get_text() for t in ax.texts]
    assert len(words) == len(cells)
    assert [" ".join(w.split()) for w in words].count(HOLDS) == sum(c.verdict == HOLDS for row in table.rows
                                       for c in row.cells.values())
    assert clashes(figure) == []


def test_a_row_of_the_picture_is_no_higher_than_its_own_words_ask_for() -> None:
    """One construct with many words does not make the rows of all others as high as its own."""
    plain = [replace(made_up.construct(f"c {i}"), limits={}, without_friction_N=None)
             for i in range(12)]
    wordy = replace(plain[0], name="wordy", first_yield_N=10.0, first_crushing_N=5.0,
                    without_friction_N=4.0)

    def high(*constructs: ConstructResult) -> float:
        made = made_up.comparison(constructs)
        load = made.study.load.model_copy(update={"body_mass_kg": 75.0})
        made = replace(made, study=made.study.model_copy(update={"load": load}))
        figure = figure_bearing.weight_bearing(made).get_figure(root=True)
        assert not clashes(figure)
        return figure.get_figheight()

    assert high(*plain, wordy) < 1.25 * high(*plain, replace(plain[0], name="plain"))


@pytest.mark.parametrize(("values", "force", "said"), [
    ((514.8, 891.3), 600.0, "within all limits; bone is crushed locally from 515 N "
                            "(on another mesh from 892 N)"),
    ((891.3, 514.8), 600.0, "within all limits; bone is crushed locally from 892 N "
                            "(on another mesh from 515 N)"),
    ((514.8, None), 600.0, "within all limits; bone is crushed locally from 515 N "
                           "(not on every mesh)"),
    ((514.8, 520.0), 600.0, "within all limits; bone is crushed locally from 515 N"),
    ((514.8, 891.3), 900.0, "within all limits; bone is crushed locally from 515 N"),
    ((514.8, 891.3), 500.0, "within all limits")])
def test_an_event_below_a_load_on_one_mesh_only_says_so(
        values: tuple[float | None, ...], force: float, said: str) -> None:
    """It read "from 515 N" at 600 N beside an error bar from 514 to 892 N."""
    bar = Bar("first_crushing_N", "N", None, "", values, "spread of the meshes", None, None)
    c = replace(made_up.construct("c"), limits={}, without_friction_N=None,
                first_crushing_N=values[0], bars=(bar,))
    assert judged(c, force).words == said


@pytest.mark.parametrize(("status", "gave_way", "said"), [
    ("no equilibrium", False, NOT_TIGHTENED), ("no equilibrium", True, GAVE_WAY),
    ("unconverged", False, "tightening did not converge"),
    ("unconverged", True, "a stage did not converge")])
def test_an_installation_that_did_not_converge_is_no_failure_in_the_files_either(
        status: str, gave_way: bool, said: str) -> None:
    """The column ``status`` said "tightening has no equilibrium" beside verdicts "not known"."""
    model: Any = SimpleNamespace(tightened=SimpleNamespace(status=status), gave_way=gave_way)
    assert unloaded_status(model) == said
