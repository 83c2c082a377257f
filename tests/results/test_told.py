"""What tables and pictures say beside a number: events, friction, ends of paths, broken rules."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from figure_texts import clashes, shown_texts
from made_up import comparison, construct, picture, usual
from matplotlib.patches import Rectangle

from buttress import LABEL
from buttress.comparison.compare import compare
from buttress.draw import all as figures
from buttress.draw import bearing as figure_bearing
from buttress.draw.curves import curves
from buttress.report import bearing as terminal
from buttress.report.diff import diff
from buttress.report.folder import document, write_results
from buttress.report.notebook import comparison_html, construct_html
from buttress.report.page import write_report
from buttress.report.tables import facts, main_table
from buttress.report.terminal import cautions, lines, print_table
from buttress.results.bearing import weight_bearing
from buttress.results.beyond import METAL
from buttress.results.comparison import Comparison
from buttress.results.judged import HOLDS, HOW_TO_READ, judged, judged_by, with_verdicts
from buttress.results.limits import yield_words
from buttress.results.order import best_first, named_first
from buttress.results.path import Where
from buttress.results.records import (
    BEYOND,
    ENDED,
    FOUND,
    NOT_TIGHTENED,
    ConstructResult,
    LimitResult,
)
from buttress.results.rows import rows
from buttress.results.soft import Bears, SoftBone
from buttress.results.stages import StagedResult, StageResult
from buttress.results.verdict import KEPT
from buttress.study.read import example, study_from
from buttress.sweeps.vary import plain, varied
from buttress.words import BREAKS_RULE


def heavy(*constructs: ConstructResult, **more: object) -> Comparison:
    made = comparison(constructs)
    load = made.study.load.model_copy(update={"body_mass_kg": 75.0})
    return replace(made, study=made.study.model_copy(update={"load": load}), **more)


def words(figure: object) -> str:
    return " ".join(" ".join(t.get_text().split()) for t, _ in shown_texts(figure))  # type: ignore[arg-type]


def page(made: Comparison, folder: Path) -> str:
    write_report(made, folder / "report.html", {})
    return (folder / "report.html").read_text(encoding="utf-8")


# ---------------------------------------------------------------------- events and friction

def test_a_load_within_all_limits_tells_what_has_yielded_or_been_crushed_below_it() -> None:
    c = replace(construct("c"), limits={}, without_friction_N=None, first_yield_N=600.0,
                first_crushing_N=1200.0)
    said = {force: judged(c, force).words for force in (500.0, 600.0, 1500.0)}
    assert said[500.0] == HOLDS
    assert said[600.0] == "within all limits; metal yields from 600 N"
    assert said[1500.0].startswith("within all limits; metal yields from 600 N; bone ")
    assert said[1500.0].endswith("crushed locally from 1200 N")
    tightened = replace(c, first_yield_N=0.0)
    assert judged(tightened, 500.0).words == "within all limits; metal yields at any load"


def test_an_anchorage_at_its_strength_stands_beside_the_verdict() -> None:
    """The legend says that what has yielded stands there; a thread at its strength did not."""
    c = replace(construct("c"), limits={}, without_friction_N=None, first_thread_N=699.2)
    assert judged(c, 699.0).words == HOLDS
    assert judged(c, 1000.0).words == (
        "within all limits; a screw's thread gives way from 700 N")
    soft = Bears("held", 5000.0, "found", 5000.0, None, {}, first_thread_N=0.0)
    assert judged_by(soft, 500.0).words == (
        "within all limits; a screw's thread gives way at any load")


def test_a_long_verdict_stands_below_its_numbers_on_a_narrow_terminal() -> None:
    """It took half of each line, so that the numbers came in three tables per construct."""
    c = replace(construct("c", ends=9000.0), limits={
        METAL: LimitResult(900.0, None, "metal_yield_ratio", 0.8, "stress / yield stress")})
    shown = lines(heavy(with_verdicts(c)), 80)
    assert max(map(len, shown)) <= 80
    assert sum(line.startswith("load N") for line in shown) == 1
    row = next(i for i, line in enumerate(shown) if line.split()[:1] == ["1000"])
    assert len(shown[row].split()) == 8
    assert shown[row + 1].strip() == "over a limit: metal over 80 % of yield from 900 N"
    assert any(line.split()[:3] == ["1000", "over", "a"] for line in lines(
        heavy(with_verdicts(c)), 140))


def test_events_stand_in_every_table_and_under_every_picture() -> None:
    c = with_verdicts(replace(construct("c"), limits={}, without_friction_N=700.0,
                              first_yield_N=600.0, first_crushing_N=None))
    made = heavy(c)
    beside = "above 700 N (else fails); metal yields from 600 N"
    assert beside in " ".join(lines(made))
    assert beside.replace("; ", "<br>") in main_table([c])
    shot = c.picture(1000.0)
    assert ("1000 N, in this model: only with friction above 700 N (else fails); metal yields "
            "from 600 N") in words(
        figures.deformed(shot).get_figure(root=True))
    table = weight_bearing(made)
    assert table is not None
    assert "metal yields from 600 N" in " ".join(" ".join(terminal.lines(table)).split())
    assert "metal yields" in words(figure_bearing.weight_bearing(table).get_figure(root=True))


def test_only_with_friction_says_in_each_cell_what_is_carried_without_it() -> None:
    c = replace(construct("c", ends=5000.0), limits={}, without_friction_N=860.0)
    table = weight_bearing(heavy(c))
    assert table is not None
    held = [row.cells["c"] for row in table.rows if "friction" in row.cells["c"].verdict]
    assert held
    assert {cell.words for cell in held} == {"only with friction above 860 N (else fails)"}
    said = " ".join(" ".join(terminal.lines(table)).split())
    assert said.count("only with friction") == said.count("only with friction above 860 N")
    nothing = replace(c, without_friction_N=0.0)
    assert judged(nothing, 500.0).words == "only with friction at any load (else fails)"


def test_a_cell_that_differs_in_soft_bone_looks_so_and_the_list_of_signs_says_it() -> None:
    soft = Bears("held", 950.0, "found", 950.0, None, {})
    one, other = construct("one", ends=9000.0), construct("other", ends=9000.0)
    same = replace(soft, equilibrium_ends_N=9000.0)
    made = heavy(*(replace(c, limits={}, without_friction_N=None) for c in (one, other)),
                 soft=SoftBone("In soft bone.", {"one": soft, "other": same}))
    ax = figure_bearing.weight_bearing(made)
    looks = {p.get_gid(): (p.get_facecolor(), p.get_hatch()) for p in ax.patches
             if isinstance(p, Rectangle)}
    assert looks["one / walking / soft bone"] != looks["one / walking"]
    assert "other / walking / soft bone" not in looks
    signs = " ".join(t.get_text() for t in ax.get_figure(root=True).legends[0].get_texts())
    assert "in soft bone" in signs
    assert "fails" in signs


# ---------------------------------------------------------------------- ends of paths, capacity

def test_the_end_of_a_path_is_not_shown_as_a_peak(tmp_path: Path) -> None:
    c = replace(construct("c", ends=8279.0), ends_status=ENDED, peak_status=ENDED, peak_N=8279.0)
    table = main_table([c])
    assert "&gt; 8279<br><small>end of the path" in table
    assert "no peak: the path ends at 8279 N" in " ".join(" ".join(lines(comparison((c,)))).split())
    assert "Marked &gt; it is no peak but the end of the search or of the path" in page(comparison((c,)), tmp_path)
    [row] = {(r["peak_N"], r["peak_status"]) for r in rows((c,))}
    assert row == (8279.0, ENDED)
    assert "&gt; 10000<br><small>end of the search" in main_table(
        [replace(construct("d", ends=None), ends_status=BEYOND)])


def test_capacity_and_path_are_told_apart_under_figure_and_table(
        tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    made = usual()
    shown = words(figures.capacity(made).get_figure(root=True))
    assert HOW_TO_READ in shown
    assert "carried even without friction, nothing hardening" in shown
    assert HOW_TO_READ in page(made, tmp_path)
    assert HOW_TO_READ in comparison_html(made)
    print_table(made)
    assert HOW_TO_READ in " ".join(capsys.readouterr().out.split())


def test_that_tension_never_fades_is_said_where_a_construct_relies_on_it(
        tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    tight, loose = replace(construct("tight"), tightened_N=800.0), construct("loose")
    said = page(comparison((tight, loose)), tmp_path)
    assert said.count(KEPT.format("Its screws")) == 1
    assert "fading-tension" in KEPT
    assert KEPT.format("Its screws") in construct_html(tight)
    assert KEPT.format("Its screws") not in construct_html(loose)
    for made, count in ((comparison((tight,)), 1), (comparison((loose,)), 0)):
        print_table(made)
        out = " ".join(capsys.readouterr().out.split())
        assert out.count(KEPT.format("Tightened screws")) == count


def test_a_stage_that_relaxes_the_screws_leaves_the_sentence_out(tmp_path: Path) -> None:
    study = varied("fading-tension", {"press.large_movements": "off"}).study
    fades = next(c for c in study.constructs if any(s.do == "relax" for s in c.stages or ()))
    made = compare(study.model_copy(update={"constructs": (fades,)}), pictures=False)
    assert made.constructs[0].tightened_N > 0.0
    assert KEPT.format("Its screws") not in page(made, tmp_path)


# ---------------------------------------------------------------------- broken rules

def against(name: str) -> ConstructResult:
    c = construct(name)
    return replace(c, breaks_rule=True,
                   pictures=tuple(replace(p, breaks_rule=True) for p in c.pictures))


def test_a_construct_that_breaks_a_rule_is_marked_wherever_it_is_listed(
        tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    made = heavy(against("short plate"), construct("raft", ends=1600.0))
    marked = "short plate (!)"
    for stem, draw in figures.planned(made):
        if "raft" in stem:
            continue
        shown = words(draw().get_figure(root=True))
        assert marked in shown, stem
        assert BREAKS_RULE in shown, stem
        assert "raft (!)" not in shown, stem
    table = weight_bearing(made)
    assert table is not None
    said = " ".join(terminal.lines(table))
    assert marked in said
    assert BREAKS_RULE in said
    print_table(made)
    first = capsys.readouterr().out.split("\n\n")[1]
    assert first.startswith(f"'{marked}' shares the first rank, though it breaks a rule") or (
        first.startswith(f"'{marked}' comes first, though it breaks a rule"))
    assert f"'{marked}'" in comparison_html(made).replace("&#39;", "'")
    assert "though it breaks a rule" in " ".join(comparison_html(made).split())
    html = page(made, tmp_path)
    assert f"<h2>{marked}</h2>" in html
    assert "though it breaks a rule" in document(made)["answer"]


# ---------------------------------------------------------------------- pictures at one load

def test_pictures_show_one_load_where_a_construct_holds_it_and_say_why_where_not(
        tmp_path: Path) -> None:
    def shown(name: str, *held: bool) -> ConstructResult:
        c = construct(name)
        return replace(c, pictures=tuple(picture(name, load, yes) for load, yes in zip(
            (500.0, 1000.0, 1500.0), held, strict=True)))

    made = comparison((shown("a", True, True, False), shown("b", False, True, True),
                       shown("c", True, True, True), shown("d", True, False, False),
                       shown("e", False, False, False)))
    most = figures.overview_load(made)
    assert most == 1000.0
    at = {c.name: figures.shown_picture(c, most).load_N for c in made.constructs}  # type: ignore[union-attr]
    assert at == {"a": 1000.0, "b": 1000.0, "c": 1000.0, "d": 500.0, "e": 1000.0}
    text = " ".join(page(made, tmp_path).split())
    assert "Pictures of sections show 1000 N" in text
    assert "at which it is held: d at 500 N." in text
    for stem, draw in figures.planned(made):
        if stem.startswith(("deformed", "contact", "free-body")):
            load = "500 N" if stem.endswith("-d") else "1000 N"
            assert f"{load}, in this model: " in words(draw().get_figure(root=True)), stem


def test_one_weak_construct_does_not_lower_the_load_of_all_pictures(tmp_path: Path) -> None:
    def shown(name: str, *held: bool) -> ConstructResult:
        c = construct(name)
        return replace(c, pictures=tuple(picture(name, load, yes) for load, yes in zip(
            (500.0, 1000.0, 1500.0), held, strict=True)))

    made = comparison((shown("weak", True, False, False), shown("b", True, True, True),
                       shown("c", True, True, True), shown("none", False, False, False)))
    assert figures.overview_load(made) == 1500.0
    text = " ".join(page(made, tmp_path).split())
    assert ("Pictures of sections show 1500 N, at which more than half of the constructs are held "
            "(those held at no load of the study are not counted).") in text
    assert "at the largest load of the study at which it is held: weak at 500 N." in text


def test_the_first_yield_is_told_unless_the_verdict_is_that_very_yield() -> None:
    """With a limit of twice the yield, 150 % of yield read "within all limits" without a word."""
    def metal(ratio: float, load: float) -> LimitResult:
        return LimitResult(load, None, "metal_yield_ratio", ratio, "stress / yield stress")

    free = replace(construct("c"), limits={}, without_friction_N=None, first_yield_N=600.0,
                   first_yield_at=Where("lag", None))
    twice = replace(free, limits={METAL: metal(2.0, 900.0)})
    assert judged(twice, 700.0).words == "within all limits; metal yields from 600 N"
    assert judged(twice, 1000.0).words == (
        "over a limit: metal over 200 % of yield from 900 N; metal yields from 600 N")
    assert yield_words(twice) == "metal first yields at about 600 N (lag)"
    once = replace(free, limits={METAL: metal(1.0, 600.0)})
    assert judged(once, 700.0).words == "over a limit: metal over yield from 600 N"
    assert yield_words(once) == ""
    slipped = replace(once, limits={**once.limits, "step-off": LimitResult(
        500.0, None, "step_off_mm", 2.0, "mm")})
    assert judged(slipped, 700.0).words == (
        "over a limit: step-off from 500 N; metal yields from 600 N")


# ---------------------------------------------------------------------- captions, diff, lists

def test_captions_say_what_is_shown_as_a_journal_prints_them(tmp_path: Path) -> None:
    made = heavy(against("short plate"), construct("raft", ends=1600.0))
    stems = [stem for stem, _ in figures.planned(made)]
    found = dict(x.split(": ", 1) for x in figures.captions(made, stems))
    assert list(found) == stems
    for stem, caption in found.items():
        assert caption.endswith(LABEL), stem
        assert made.study.title in caption, stem
        assert len(caption) > 250, stem
    assert "1500 N" in found["overview"]
    assert "largest principal strain over yield strain [-]" in found["overview"]
    assert "[N]" in found["capacity"]
    assert HOW_TO_READ in found["capacity"]
    assert "[mm, relative to the shaft]" in found["load-subsidence"]
    assert "under a total joint force of 1500 N" in found["deformed-raft"]
    assert "[MPa]" in found["contact-pressure-raft"]
    assert "every force on the fragment [N]" in found["free-body-raft"]
    assert BREAKS_RULE in found["deformed-short-plate"]
    assert BREAKS_RULE not in found["deformed-raft"]
    assert "75 kg" in found["weight-bearing"]
    begun = "pressed after all of its stages, without load"
    staged = replace(made, constructs=(replace(made.constructs[0], begins=begun),
                                       *made.constructs[1:]))
    told = dict(x.split(": ", 1) for x in figures.captions(staged, stems))
    for stem in ("load-movement", "load-subsidence", "capacity"):
        left = "from the tightened state, or the one that its stages leave"
        assert (left in told[stem], left in found[stem]) == (True, False), stem
    assert f"short plate (!): {begun}." in told["deformed-short-plate"]
    assert begun in told["overview"]
    assert begun not in told["deformed-raft"]


def test_a_difference_without_a_unit_has_no_dash_and_no_two_figures_share_their_words(
        tmp_path: Path) -> None:
    made = usual()
    for name, more in (("a", 0.0), ("b", 0.5)):
        (tmp_path / name).mkdir()
        loads = tuple(tuple(replace(r, bone_over_yield=None if r.bone_over_yield is None
                                    else r.bone_over_yield + more) for r in c.loads)
                      for c in made.constructs)
        write_results(replace(made, constructs=tuple(
            replace(c, loads=x, pictures=()) for c, x in zip(made.constructs, loads, strict=True))),
            tmp_path / name, "")
    found = diff(tmp_path / "a", tmp_path / "b")
    bare = [c for c in found.figures if c.quantity == "bone_over_yield"]
    assert bare
    assert any(c.by.startswith("+0.5") for c in bare)
    assert [c for c in found.figures if c.unit == "-" or " -" in c.by.partition(",")[0]] == []
    own = [c.words for c in found.figures if c.construct == "lag screws" and c.load_N is None]
    assert len(own) == len(set(own))
    assert json.dumps(found.document())


def test_a_list_of_curves_says_no_load_of_zero() -> None:
    bare = replace(construct("c", ends=None), ends_status=BEYOND, without_friction_N=0.0)
    shown = words(curves(comparison((bare,)), "medial").get_figure(root=True))
    assert "above 0 N" not in shown


def test_a_list_of_long_names_of_loads_leaves_the_axis_of_the_capacities_free() -> None:
    limits = {name: LimitResult(3000.0, None, "key", 2.0, "mm")
              for name in ("step-off", "depression", "widening")}
    made = heavy(replace(construct("a", ends=4000.0), limits=limits, first_yield_N=900.0),
                 construct("b", ends=None))
    data = plain(example("medial-shear"))
    data["load"] = {"body_mass_kg": 75.0, "activity": ["two-leg stance", "walking", "stairs up"],
                    "ground_kg": [15.0]}
    named = replace(made, study=study_from(data))
    figure = figures.capacity(named).get_figure(root=True)
    assert "15 kg" in words(figure)
    assert clashes(figure) == []  # type: ignore[arg-type]


def test_where_tension_fades_in_others_those_that_keep_it_are_named() -> None:
    """"Tightened screws keep their tension for ever" stood above stages that relax them."""
    made = comparison(tuple(replace(construct(n), tightened_N=800.0) for n in ("a", "b", "c")))
    relaxed = StageResult(1, "relax", ("lag",), "relax", "held", "", None, None, 0.0, None)
    some = replace(made, stages=(StagedResult("b", "", "held", (relaxed,)),))
    assert cautions(some) == [KEPT.format("The tightened screws of 'a' and 'c'")]
    assert cautions(made) == [KEPT.format("Tightened screws")]
    loose = construct("a", held=False, capacity=(0.0, 0.0), ends=0.0, limit=None)
    loose = replace(loose, tightened_N=800.0, status=NOT_TIGHTENED)
    assert cautions(comparison((loose,))) == []     # what cannot be tightened keeps nothing
    assert facts(loose, (loose,))["kept"] == ""
    assert facts(made["a"], made.constructs)["kept"] == KEPT.format("Its screws")


def test_that_what_comes_first_cannot_be_tightened_in_soft_bone_stands_beside_the_answer() -> None:
    """The winner of a shipped study cannot be made in soft bone, which only its cells said."""
    made = comparison((construct("a", ends=4000.0), construct("b", ends=3000.0)))
    first = named_first(best_first(made.constructs)).name
    about: dict = {"equilibrium_ends_N": 0.0, "ends_status": FOUND, "known_to_N": 0.0,
                   "without_friction_N": None, "limits": {}}
    soft = SoftBone("words", {name: Bears(status=NOT_TIGHTENED if name == first else "held", **about)
                              for name in ("a", "b")})
    assert cautions(replace(made, soft=soft)) == [f"In soft bone '{first}' cannot be tightened."]
    assert cautions(made) == []
