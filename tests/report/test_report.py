"""The report page: complete, escaped, self-contained, best first."""

from __future__ import annotations

import base64
from dataclasses import replace
from pathlib import Path

import pytest
from html_page import NASTY, Page
from made_up import comparison, construct, moves, not_known, usual, with_title

from buttress import LABEL
from buttress.draw.all import stems
from buttress.fe.solve.step import TOO_FAR
from buttress.model.pressing import ENDS_BELOW
from buttress.report import page as report
from buttress.report.assumptions import assumptions
from buttress.report.folder import document
from buttress.report.glossary import glossary
from buttress.report.page import write_report
from buttress.report.tables import main_table
from buttress.report.terminal import lines, print_table
from buttress.report.verified import recorded, sentences
from buttress.results.comparison import Comparison
from buttress.results.judged import ONLY_FRICTION
from buttress.results.order import best_first, order_words, why_first
from buttress.results.records import ENDED, FOUND, NOT_TIGHTENED
from buttress.rules.screw import PULLS_OUT
from buttress.study.read import example, example_text, parse_study
from buttress.study.tables import table_value
from buttress.words import BREAKS_RULE as MARK

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(40))


def page(made: Comparison, folder: Path, figures=None) -> Page:
    path = folder / "report.html"
    write_report(made, path, figures if figures is not None else {})
    return Page(path.read_text(encoding="utf-8"))


def test_everything_that_was_asked_and_answered_is_there(tmp_path: Path) -> None:
    got = page(usual(), tmp_path)
    assert got.text.count(LABEL) == 2
    for words in ("Medial shear fracture", "An invented scenario", "500, 1000, 1500 N in total",
                  "step-off of 2 mm", "depression of 3 mm", "widening of the plateau by",
                  "1 % of the bone over yield",
                  "the first yield of metal is an event on the curve, and no limit of this study", "What this cannot tell you", "Metal does not break",
                  "residual", "complementarity", "balance error", "algebra error", "discretisation error", "model spread", "bench tests", "active set", "1281 to 2133",
                  "not limited by this model", "0 N: unsupported", "shear plane",
                  "tip beyond the far cortex", "thread", "buttress compare study.toml",
                  "numpy 2.0", "2e-16", "> 10000", "Contact pressure at 1500 N",
                  "fracture shear plane 400 90 62 44 % 1.23 2.50 4.00 −24, −58",
                  "under plate plate", "medial 975 0.050 0.010 0.070 −0.002",
                  "graft 0.0010 0.0123 5 % 0.40 % 0.60 %", "medial (1, −20), shaft (−1, 20)",
                  "medial 9.0 0.00 % 0.05 0.07", "force over the length"):
        assert words in got.text, words
    assert got.text.index("cannot tell") < got.text.index("The comparison, best first")


def test_the_command_that_makes_it_again_colours_the_same_stress(tmp_path: Path) -> None:
    write_report(usual(), tmp_path / "r.html", {}, "von Mises stress")
    got = Page((tmp_path / "r.html").read_text(encoding="utf-8"))
    assert 'buttress compare study.toml --field "von Mises stress"' in got.text


@pytest.mark.parametrize(("knee", "words"), [
    ("right", ("right tibia seen from the front, lateral on the left, marked R",
               "positive where the lateral end rises (clockwise as drawn)")),
    ("left", ("left tibia seen from the front, medial on the left, marked L",
              "positive where the lateral end rises (counter-clockwise as drawn)"))])
def test_it_says_which_knee_pictures_show_and_how_a_tilt_is_seen(tmp_path: Path, knee: str,
                                                                words: tuple[str, str]) -> None:
    made = usual()
    section = made.study.section.model_copy(update={"side": knee})
    text = page(replace(made, study=made.study.model_copy(update={"section": section})),
                tmp_path).text
    for said in words:
        assert said in text
    assert "names no side" not in text


def test_a_study_that_names_no_side_is_told_that_a_right_knee_is_drawn(tmp_path: Path) -> None:
    study = parse_study(example_text("medial-shear").replace('side = "right"\n', "", 1), "m")
    text = page(replace(usual(), study=study), tmp_path).text
    assert "marked R (the study names no side; a right knee is drawn)" in text


def test_it_says_how_far_it_is_verified_and_explains_its_words(tmp_path: Path) -> None:
    text = page(usual(), tmp_path).text
    assert sentences(recorded())
    for line in sentences(recorded()):
        assert line in text
    assert glossary().terms
    for term in glossary().terms:
        assert term.not_engineer in text


def test_numbers_that_do_not_exist_are_dashes(tmp_path: Path) -> None:
    words = page(usual(), tmp_path).text.split()
    assert not {"None", "nan", "inf", "-0.00", "-0.000", "−0.000"} & set(words)
    assert "–" in words


def test_best_first(tmp_path: Path) -> None:
    """By the load at which the joint has moved 0.5 mm, never by how little it sinks at one load."""
    made = comparison((construct("none", held=False, ends=0.0), moves("sinks less", 3000.0),
                       moves("sinks", 3949.0)))
    loads = tuple(replace(r, fragments={"medial": replace(
        r.fragments["medial"], subsidence_mean_mm=0.001)}) for r in made.constructs[1].loads)
    made = replace(made, constructs=(made.constructs[0], replace(made.constructs[1], loads=loads),
                                     made.constructs[2]))
    text = page(made, tmp_path).text
    assert ("sinks comes first: the joint has moved 0.5 mm at about 3949 N; next is 'sinks less': "
            "the joint has moved 0.5 mm at about 3000 N.") in text
    body = text[text.index("The comparison, best first"):]
    body = body[body.index("trust construct"):]
    assert body.index("sinks 500") < body.index("sinks less") < body.index("none")


def test_order_where_nothing_holds(tmp_path: Path) -> None:
    """By hand, with the constructs given in the reverse of their order."""
    loose = [construct(name, held=False, ends=ends, capacity=(0.0, 1000.0), limit=None)
             for name, ends in (("b later", 0.0), ("a same", 0.0), ("ends first", 426.0),
                                ("ends last", 455.0))]
    made = comparison(tuple(loose))
    assert [c.name for c in best_first(made.constructs)] == [
        "ends last", "ends first", "b later", "a same"]
    text = page(made, tmp_path).text
    assert ("No construct carries any of the loads. ends last comes first: the load peaks at "
            "about 455 N, before the joint has moved 0.5 mm; next is 'ends first': the load "
            "peaks at about 426 N, before the joint has moved 0.5 mm.") in text
    assert " ".join(order_words(0.5).split()) in text
    alone = comparison((moves("plate", 1200.0),))
    assert why_first(best_first(alone.constructs)) == "the joint has moved 0.5 mm at about 1200 N"


def test_a_peak_that_is_not_known_says_so_on_the_page_and_the_terminal(
        tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    made = comparison((not_known("lost", 950.0), moves("plate", 600.0)))
    print_table(made)
    terminal = " ".join(capsys.readouterr().out.split())
    shown = page(made, tmp_path).text
    assert "lost: capacity 1281–2133 N, peak not known above 950 N" in terminal
    assert "Pressed slowly: peak not known above 950 N ." in shown
    assert "not known (≥ 950)" in shown
    assert ("lost comes first: the joint moves less than 0.5 mm up to 950 N, above which the "
            "answer is not known; next is 'plate'") in shown
    for text in (terminal, shown):
        assert "peak at not" not in text
        assert "None" not in text
    assert "lost: capacity 1281–2133 N, peak at" not in terminal


def test_what_is_held_above_the_capacity_without_friction_says_so(tmp_path: Path) -> None:
    """Lower bound 1281 N: of 500, 1000 and 1500 N the last is held by friction alone."""
    made = comparison((construct("lag screws"),))
    rows = [[*line.split()[:2], line[8:28]] for line in lines(made) if line.strip()[:4] in (
        "500 ", "1000", "1500")]
    assert [ONLY_FRICTION in row[2] for row in rows] == [False, False, True]
    assert page(made, tmp_path).text.count(f"1500 {ONLY_FRICTION}") == 1


def test_a_construct_that_breaks_a_rule_is_marked_on_the_page_and_the_terminal(tmp_path: Path) -> None:
    made = comparison((replace(construct("short plate", ends=2150.0), breaks_rule=True),
                       construct("raft")))
    text = page(made, tmp_path).text
    said = "\n".join(lines(made))
    assert "raft shares the first rank" in text
    assert text.count(MARK) == 3     # under both tables, and where the construct has its section
    assert "'raft' shares the first rank: " in " ".join(said.split())
    assert "tied with 'short plate (!)'" in " ".join(said.split())
    assert "raft (!)" not in text
    assert "\nshort plate (!): capacity" in said
    assert "\nraft: capacity" in said
    assert said.count(MARK) == 1
    assert MARK not in "\n".join(lines(usual()))


def test_a_screw_that_pulls_out_while_tightened_is_told_as_the_cause(
        tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    pulls = f"medial: tightened to 3000 N; {PULLS_OUT} 402 N"   # the made-up answers escape with it
    made = comparison((replace(
        construct("lag", held=False, capacity=(0.0, 0.0), ends=0.0, limit=None,
                  warnings=(f"other: tightened to 400 N; {PULLS_OUT} 394 N", pulls)),
        status=NOT_TIGHTENED),))
    print_table(made)
    for said in (" ".join(capsys.readouterr().out.split()), page(made, tmp_path).text):
        assert f"cannot be tightened: {pulls}." in said
        assert "0 N: unsupported" not in said
    for table in ("\n".join(lines(made)), main_table(made.constructs)):
        assert table.count("cannot be tightened") >= 3
        assert "fails" not in table


def test_nothing_of_the_input_becomes_markup(tmp_path: Path) -> None:
    made = with_title(comparison((construct(NASTY, note=NASTY, warnings=(NASTY,)),)), NASTY)
    got = page(made, tmp_path)
    assert "script" not in got.tags
    assert "img" not in got.tags
    assert not [k for k, _ in got.attributes if k.startswith("on")]
    assert got.text.count("<script>alert('x')</script>") >= 4


def test_the_page_needs_nothing_else(tmp_path: Path) -> None:
    got = page(usual(), tmp_path, dict.fromkeys(stems(usual()).values(), PNG))
    linked = [v for k, v in got.attributes if k in ("src", "href", "data", "srcset", "action")]
    assert len(linked) == len(stems(usual())) == 14
    assert all(v.startswith("data:image/png;base64,") for v in linked)
    assert base64.b64decode(linked[0].split(",")[1]) == PNG
    assert not {"script", "link", "iframe", "object"} & set(got.tags)
    assert ("http-equiv", "Content-Security-Policy") in got.attributes


def test_pictures_by_name_or_as_files(tmp_path: Path) -> None:
    files = []
    for stem in stems(usual()).values():
        files += [tmp_path / f"{stem}.png", tmp_path / f"{stem}.svg"]
        files[-2].write_bytes(PNG)
    page(usual(), tmp_path, files)
    one = (tmp_path / "report.html").read_bytes()
    page(usual(), tmp_path, {f.stem: f for f in files if f.suffix == ".png"})
    assert (tmp_path / "report.html").read_bytes() == one


def test_pictures_beyond_the_size_of_a_page_are_named(tmp_path: Path,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report, "LARGEST_PICTURES", 5 * 4 * len(PNG) // 3 + 5)
    got = page(usual(), tmp_path, dict.fromkeys(stems(usual()).values(), PNG))
    assert got.tags.count("img") == 5
    assert "see free-body-nothing.png" in got.text      # the worst construct's goes first
    assert "see overview.png" not in got.text


def test_forces_of_a_fragment_and_their_sum(tmp_path: Path) -> None:
    text = page(usual(), tmp_path).text
    start = text.index("Who carries “medial” at 1500 N")
    table = text[start:start + 400]
    assert "load 0.0 −975.0 975.0" in table
    assert "shear plane −300.0 400.0 500.0" in table
    assert "sum 0.0 0.0 0.0" in table
    assert "Nothing balances it" in text


def test_assumptions_come_from_the_data_tables() -> None:
    study = example("medial-shear")
    found = {a.what: a for a in assumptions(study)}
    used = table_value("screws", "HB 6.5", "core")
    assert found["HB 6.5: core"].value == f"{used.value:g} {used.unit}"
    assert found["HB 6.5: core"].source == used.source
    assert found["HB 6.5: core"].status == "read in the source"
    assert "one-third tubular: thickness" in found
    assert "dense: modulus joint" in found
    assert not [w for w in found if w.startswith(("foam", "HB 4.0", "titanium"))]
    # Weight-bearing is judged in soft bone, too, where the study gives a body mass.
    assert "soft: modulus joint" in found
    without = study.model_copy(update={"load": study.load.model_copy(update={"body_mass_kg": None})})
    assert not [a.what for a in assumptions(without) if a.what.startswith("soft")]
    foam = study.model_copy(update={"section": study.section.model_copy(
        update={"bone": "foam", "foam_grade": 20})})
    assert "foam 20: modulus" in {a.what for a in assumptions(foam)}


def test_the_table_fits_a_narrow_terminal_and_loses_nothing(
        monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
    made = comparison((moves("plate", 1200.0), not_known("lost", 950.0)))
    said = {}
    for columns in (120, 100, 60, 50):
        monkeypatch.setenv("COLUMNS", str(columns))
        print_table(made)
        said[columns] = capsys.readouterr().out.removesuffix(f"{LABEL}\n")
        assert max(map(len, said[columns].splitlines())) <= columns
    assert said[120] == said[100]
    assert set(said[100].split()) == set(said[60].split()) == set(said[50].split())


def test_json_names_the_order_and_its_ties() -> None:
    made = comparison((moves("slow", 600.0), moves("one", 1200.0), moves("two", 1210.0)))
    found = document(made)
    assert [(x["construct"], x["rank"], x["tied_with"]) for x in found["order"]] == [
        ("two", "1–2", ["one"]), ("one", "1–2", ["two"]), ("slow", "3", [])]
    assert found["ordered_by"] == order_words(made.study.limits.movement_mm)


@pytest.mark.parametrize(("status", "note", "said"), [
    (ENDED, ENDS_BELOW, "the path ends at 1016 N, beyond which parts move farther than this model "
                        "follows"),
    (FOUND, ENDS_BELOW, ENDS_BELOW),
    (FOUND, TOO_FAR, "parts move farther than this model follows")])
def test_what_lies_above_the_end_of_a_path_is_told_the_same_for_small_and_moved_geometry(
        status: str, note: str, said: str, tmp_path: Path) -> None:
    """The page spoke of a "small-displacement limit" where movements are large by default."""
    made = replace(construct("a", ends=1016.4), ends_status=status)
    loads = tuple(replace(r, status="no equilibrium", notes=(note,))
                  if r.total_load_N > 1016.4 else r for r in made.loads)
    text = page(comparison((replace(made, loads=loads),)), tmp_path).text
    assert f"1500 N: {said}" in text
    assert "small-displacement" not in text
