"""What differs between two results: in the input by key, in figures beyond a tie or an error bar."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from command import inside
from made_up import comparison, construct, not_known

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.files import as_csv
from buttress.report.diff import DIFFERS, NONE, UNKNOWN, diff, difference, lines
from buttress.report.folder import document
from buttress.results.comparison import Comparison
from buttress.results.records import ENDED
from buttress.results.rows import columns, rows
from buttress.study.changes import changes, shown
from buttress.study.read import as_study
from buttress.sweeps.vary import varied


def written(made: Comparison, folder: Path, bars: dict | None = None) -> Path:
    folder.mkdir()
    data = document(made)
    for c in data["constructs"]:
        c["bars"] = (bars or {}).get(c["name"], [])
    (folder / "comparison.json").write_text(json.dumps(data))
    (folder / "comparison.csv").write_text(as_csv(rows(made), columns()))
    return folder


def moved(name: str, load: float, **other: object):
    made = construct(name)
    return replace(made, reserve=replace(made.reserve, load_N=load, which="gap"), **other)


def of(found, construct: str, quantity: str):
    return next(c for c in found.figures if (c.construct, c.quantity) == (construct, quantity))


def test_a_result_does_not_differ_from_itself(tmp_path: Path) -> None:
    one = written(comparison((construct("a"), construct("b"))), tmp_path / "one")
    found = diff(one, one / "comparison.json")
    assert found.input == ()
    assert found.only == {"a": [], "b": []}
    assert {c.found for c in found.figures} <= {NONE, UNKNOWN}
    assert len(found.figures) > 20


@pytest.mark.parametrize(("load", "said"), [(1049.0, NONE), (1051.0 / 0.99, DIFFERS), (940.0, DIFFERS)])
def test_loads_differ_beyond_the_width_of_a_tie(tmp_path: Path, load: float, said: str) -> None:
    one = written(comparison((moved("a", 1000.0),)), tmp_path / "one")
    other = written(comparison((moved("a", load),)), tmp_path / "other")
    change = of(diff(one, other), "a", "reserve_N")
    assert (change.a, change.b, change.found) == (1000.0, load, said)
    by = f"{load - 1000.0:+.3g} N, ".replace("-", "−")
    assert change.by.startswith(by)


@pytest.mark.parametrize(("ends", "said"), [((1010.0, 1300.0), NONE), ((1101.0, 1300.0), DIFFERS),
                                            ((1101.0, None), DIFFERS), ((900.0, None), NONE)])
def test_error_bars_take_the_place_of_the_tie(tmp_path: Path, ends: tuple, said: str) -> None:
    def bar(low: float, high: float | None) -> dict:
        return {"a": [{"key": "reserve_N", "load_N": None, "fragment": "", "low": low,
                       "high": high}]}

    one = written(comparison((moved("a", 1000.0),)), tmp_path / "one", bar(900.0, 1100.0))
    other = written(comparison((moved("a", 1200.0),)), tmp_path / "other", bar(*ends))
    change = of(diff(one, other), "a", "reserve_N")
    assert change.found == said
    assert change.by.endswith("by error bars")


def test_a_lower_bound_is_no_difference_that_is_known(tmp_path: Path) -> None:
    made = moved("a", 1000.0)
    bound = replace(made, reserve=replace(made.reserve, load_N=None, kept_to_N=4000.0))
    one = written(comparison((made,)), tmp_path / "one")
    other = written(comparison((bound,)), tmp_path / "other")
    change = of(diff(one, other), "a", "reserve_N")
    assert (change.found, change.by) == (UNKNOWN, "a lower bound")


def test_input_is_told_by_its_keys_and_a_new_construct_leaves_the_others_comparable() -> None:
    changed = varied("medial-shear", {"fracture.shear plane.friction": 0.2,
                                      "construct.antiglide.present": False}).study
    found = {key: (a, b) for key, a, b in changes(
        {"x": [{"name": "a", "n": 1}, {"name": "b", "n": 2}], "y": [1, 2]},
        {"x": [{"name": "b", "n": 3}], "y": [1, 3]})}
    assert found == {"x.a": ({"name": "a", "n": 1}, None), "x.b.n": (2, 3), "y.2": (2, 3)}
    assert {k: a for k, a, _ in changes([{"name": "a"}, {"name": "b"}],
                                              [{"name": "b"}, {"name": "a"}], "l")} == {
        "l (order)": ["a", "b"]}
    assert len(changed.constructs) == 5


def test_the_command_tells_it_in_words_numbers_and_json(tmp_path: Path) -> None:
    one = written(comparison((moved("a", 1000.0), construct("old"))), tmp_path / "one")
    other = written(comparison((moved("a", 2000.0), construct("new"))), tmp_path / "other")
    done = inside("diff", str(one), str(other))
    assert (done.returncode, done.stderr) == (0, "")
    assert "only in a: old" in done.stdout
    assert "+1000 N, +100 %" in done.stdout
    assert LABEL in done.stdout
    data = json.loads(inside("diff", str(one), str(other), "--json").stdout)
    assert data["label"] == LABEL
    assert data["only_in"] == {"a": ["old"], "b": ["new"]}
    assert [c["found"] for c in data["figures"] if c["quantity"] == "reserve_N"] == [DIFFERS]
    assert len(lines(diff(one, other), every=True)) > len(lines(diff(one, other)))


def test_studies_are_compared_by_their_input(tmp_path: Path) -> None:
    found = diff("medial-shear", "medial-shear")
    assert (found.input, found.solved) == ((), False)
    assert "No figures were compared: a study has none before it is solved." in lines(found)
    assert any(key == "section.plane" for key, _, _ in diff("medial-shear", "posterior-shear").input)
    with pytest.raises(InputError, match="not the results of a comparison"):
        diff(tmp_path, "medial-shear")


def test_what_may_be_given_is_said_where_nothing_is_found(tmp_path: Path) -> None:
    """Folders of results are allowed in a diff, and paths wherever a study is expected."""
    for given in ("nowhere", str(tmp_path / "nowhere"), "no/where.toml"):
        with pytest.raises(InputError, match="no such results or study") as caught:
            diff(given, "medial-shear")
        assert caught.value.expected.startswith("a folder that buttress compare wrote")
        assert "path of a study file" in caught.value.expected
        assert "medial-shear" in caught.value.expected
    with pytest.raises(InputError, match='did you mean "medial-shear"'):
        diff("medial-sheer", "medial-shear")
    with pytest.raises(InputError, match="no such file or shipped study") as caught:
        as_study("no-such")
    assert "path of a study file" in caught.value.expected
    (tmp_path / "study.toml").write_text("")
    with pytest.raises(InputError, match="directory") as caught:
        as_study(tmp_path)
    assert str(tmp_path / "study.toml") in caught.value.expected


def under(loads: tuple[float, ...], reserve_N: float) -> Comparison:
    made = comparison((moved("a", reserve_N),))
    return replace(made, constructs=tuple(replace(c, loads=tuple(
        replace(r, total_load_N=load) for r, load in zip(c.loads, loads, strict=False)))
        for c in made.constructs))


def test_what_a_construct_is_told_by_is_compared_whatever_loads_a_study_lists(tmp_path: Path) -> None:
    """Two results without a load in common read "0 differ" with loads at 0.5 mm 40 % apart."""
    one = written(under((500.0,), 1000.0), tmp_path / "one")
    other = written(under((700.0, 800.0), 1400.0), tmp_path / "other")
    found = diff(one, other)
    assert of(found, "a", "reserve_N").found == DIFFERS
    assert all(c.load_N is None for c in found.figures)
    told = lines(found)
    assert "figures only in a: at 500 N, medial" in told
    assert "figures only in b: at 700 N, medial; 800 N, medial" in told
    assert found.document()["only_in_figures"] == {
        "a": ["500 N, medial"], "b": ["700 N, medial", "800 N, medial"]}


def test_a_peak_is_called_one_only_where_there_is_one_and_no_two_rows_are_called_alike(
        tmp_path: Path) -> None:
    ended = moved("a", 1000.0, peak_status=ENDED, ends_status=ENDED)
    one = written(comparison((ended,)), tmp_path / "one")
    other = written(comparison((replace(ended, peak_N=1500.0),)), tmp_path / "other")
    found = diff(one, other)
    assert of(found, "a", "peak_N").words == "load at which the path ends"
    peaked = written(comparison((moved("a", 1000.0),)), tmp_path / "peaked")
    assert of(diff(one, peaked), "a", "peak_N").words == "largest load of the path"
    assert of(diff(peaked, peaked), "a", "peak_N").words == "peak load"
    lost = written(comparison((not_known("a", 900.0),)), tmp_path / "lost")
    for both in (found, diff(lost, lost)):
        called = [(c.construct, c.where, c.words) for c in both.figures]
        assert len(set(called)) == len(called)


def test_large_differences_are_told_in_plain_digits() -> None:
    assert difference(39000.0, 24001.0) == "−14999"
    assert difference(0.1026, 0.17341) == "+0.0708"


def test_a_number_is_shown_without_the_rounding_of_its_arithmetic() -> None:
    assert shown(0.3 * 48.0) == "14.4"     # 14.399999999999999
    assert [shown(x) for x in (2.0, 1.0 / 3.0, None, "a", 3)] == [
        "2.0", "0.3333333333", "nothing", '"a"', "3"]


def test_a_long_status_leaves_the_names_of_figures_their_room(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It was kept on one line and squeezed them to 14 letters, of the usual 100 columns."""
    monkeypatch.setenv("COLUMNS", "100")
    ended = written(comparison((moved("a", 1000.0, peak_status=ENDED, ends_status=ENDED),)),
                    tmp_path / "ended")
    lost = written(comparison((not_known("a", 900.0),)), tmp_path / "lost")
    told = lines(diff(ended, lost), every=True)
    assert max(map(len, told[:-3])) <= 100
    assert any(line.endswith("movements larger than followed (a), not known (b): differs")
               for line in told)
    assert any(line.startswith("largest subsidence [mm]  ") for line in told)


@pytest.mark.parametrize(("sunk", "said"), [(-0.004582, NONE), (-0.004795, DIFFERS)])
def test_movements_less_than_half_a_micrometre_apart_are_the_same(
        tmp_path: Path, sunk: float, said: str) -> None:
    """-0.004291 and -0.004582 mm "differ" by 7 %."""
    def with_net(value: float) -> Comparison:
        made = construct("a")
        load = made.loads[0]
        fragments = {k: replace(f, subsidence_net_mm=value) for k, f in load.fragments.items()}
        return comparison((replace(made, loads=(
            replace(load, fragments=fragments), *made.loads[1:])),))

    one = written(with_net(-0.004291), tmp_path / "one")
    other = written(with_net(sunk), tmp_path / "other")
    assert of(diff(one, other), "a", "subsidence_net_mm").found == said


def test_loads_are_rounded_as_a_comparison_rounds_them(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A first yield of 4366.3 N is "4367 N" in a comparison and was "4366" here."""
    monkeypatch.setenv("COLUMNS", "160")
    made = moved("a", 1000.6, first_yield_N=4366.3, peak_N=2000.7, equilibrium_ends_N=2000.7)
    one = written(comparison((made,)), tmp_path / "one")
    told = lines(diff(one, one), every=True)
    for what, text in (("load at first yield of metal", "4367"), ("peak load", "2000"),
                       ("load by which constructs are ordered", "1001")):
        [line] = [x for x in told if x.startswith(f"{what} [N]")]
        assert line.split("[N]")[1].split()[:2] == [text, text]
