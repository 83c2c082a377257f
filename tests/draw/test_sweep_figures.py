"""Plots of sweeps and rankings: what the artists show is what the table holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from figure_texts import clashes
from matplotlib.figure import Figure

from buttress import LABEL
from buttress.draw import sweep as f
from buttress.draw.primitives import series
from buttress.fe.errors import InputError
from buttress.ranking.certainty import Indices, Share, paired_difference
from buttress.ranking.rank import Outcomes
from buttress.ranking.records import Against, Driven, RankResult
from buttress.sweeps.rows import sweep_frame

NAMES = ["nothing", "plate", "screws"]
X, Y = "fracture.shear plane.friction", "section.modulus_scale"


def frame(loads: tuple[float, ...] = (500.0, 1000.0)) -> pd.DataFrame:
    """A grid of 4 x 3 cases; "nothing" never holds, "screws" only with friction of 0.3 or more."""
    rows = []
    for i, (x, y) in enumerate((x, y) for x in (0.2, 0.3, 0.4, 0.5) for y in (0.5, 1.0, 2.0)):
        for name in NAMES:
            for load in loads:
                held = name == "plate" or (name == "screws" and x > 0.25)
                rows.append({"case_id": i + 1, X: x, Y: y, "construct": name, "total_load_N": load,
                             "status": "held" if held else "no equilibrium",
                             "capacity_status": "limited",
                             "capacity_lower_N": 100.0 * (i + 1),
                             "capacity_upper_N": np.nan if i == 11 else 300.0 * (i + 1),
                             "step_off_mm": load / 1000 * (1 - x) / y if held else np.nan,
                             "subsidence_mean_mm": load / 1000 / y if held else np.nan})
    table = pd.DataFrame(rows)
    table["construct"] = pd.Categorical(table["construct"], categories=NAMES)
    return table


def test_lines_are_medians_in_the_constructs_colours_with_gaps() -> None:
    ax = f.over_key(frame(), X, "step_off_mm")
    drawn = {line.get_label(): line for line in ax.get_lines()}
    assert list(drawn) == NAMES
    np.testing.assert_allclose(drawn["plate"].get_ydata(), [0.8, 0.7, 0.6, 0.5])
    np.testing.assert_allclose(drawn["screws"].get_ydata(), [np.nan, 0.7, 0.6, 0.5])
    assert np.isnan(drawn["nothing"].get_ydata()).all()
    for i, name in enumerate(NAMES):
        assert drawn[name].get_color() == series(i)["color"]
    assert ax.get_ylabel() == "step-off [mm]"
    assert "1000 N" in ax.get_title(loc="left")
    assert len(ax.collections) == 3  # a band where another key varies too


def test_a_line_has_a_gap_where_some_of_its_cases_do_not_hold() -> None:
    table = frame()
    loose = (table["construct"] == "plate") & (table[X] == 0.3) & (table[Y] == 2.0)
    table.loc[loose, ["step_off_mm", "status"]] = [np.nan, "no equilibrium"]
    ax = f.over_key(table, X, "step_off_mm")
    drawn = [line for line in ax.get_lines() if line.get_color() == series(1)["color"]]
    np.testing.assert_allclose(drawn[0].get_ydata(), [0.8, np.nan, 0.6, 0.5])
    # What holds there is a hollow point: step-offs of 1.4 and 0.7 mm.
    assert drawn[1].get_markerfacecolor() == "white"
    np.testing.assert_allclose(drawn[1].get_xydata(), [[0.3, 1.05]])
    assert "plate (11 of 12 hold)" in [t.get_text() for t in ax.get_legend().get_texts()]
    assert "hollow" in " ".join(t.get_text() for t in ax.texts)


def test_what_is_held_without_a_figure_is_not_called_loose() -> None:
    table = frame()
    table.loc[table["construct"] == "plate", "step_off_mm"] = np.nan
    names = [t.get_text() for t in f.over_key(table, X, "step_off_mm").get_legend().get_texts()]
    assert "plate (0 of 12 have a value)" in names


def test_little_does_not_look_like_much() -> None:
    table = frame()
    table["step_off_mm"] = 0.015 + 0.004 * table[X]
    assert f.over_key(table, X, "step_off_mm").get_ylim()[0] == 0.0
    table["subsidence_net_mm"] = table["step_off_mm"] - 0.016  # less than the intact bone
    assert f.over_key(table, X, "subsidence_net_mm").get_ylim()[0] < -0.0002


def test_maps_of_one_sweep_share_their_colours_and_their_words_are_of_what_holds() -> None:
    both = [f.limit_map(frame(), X, Y, construct=n, limit=5.0) for n in ("plate", "screws")]
    limits = [ax.collections[0].get_clim() for ax in both]
    assert limits[0] == limits[1] == pytest.approx((0.0, 1.6))
    words = [" ".join(t.get_text() for t in ax.texts) for ax in both]
    assert "never reached" in words[0]
    assert "not reached where it is held" in words[1]


def test_what_never_holds_says_so_in_the_list_of_names() -> None:
    ax = f.over_key(frame(), X, "step_off_mm")
    assert [t.get_text() for t in ax.get_legend().get_texts()] == [
        "nothing (0 of 12 hold)", "plate", "screws (9 of 12 hold)"]
    assert "no point: not held" in " ".join(t.get_text() for t in ax.texts)


def test_samples_are_points_and_no_line() -> None:
    # Every case has a value of its own of both keys, as in a Latin hypercube.
    table = frame((500.0,)).assign(hash="")
    table[X] = 0.2 + 0.02 * table["case_id"]
    table = table[["case_id", X, Y, "hash", *table.columns.difference(
        ["case_id", X, Y, "hash"], sort=False)]]
    ax = f.over_key(table, X)
    assert {line.get_linestyle() for line in ax.get_lines()} == {"None"}
    assert f"one point per case; also varied: {Y}" in " ".join(t.get_text() for t in ax.texts)
    # Where no other key varies the points are joined.
    ax = f.over_key(table.assign(**{Y: 1.0}), X)
    assert {line.get_linestyle() for line in ax.get_lines()} != {"None"}


def test_what_is_there_or_not_is_true_or_false_and_a_count_has_whole_ticks() -> None:
    table = frame().assign(**{"screw.present": lambda t: t[Y] > 1.0, "count": lambda t: t[
        "case_id"].clip(upper=3)})
    ax = f.over_key(table, "screw.present")
    assert [t.get_text() for t in ax.get_xticklabels()] == ["false", "true"]
    ticks = f.over_key(table, "count").get_xticks()
    assert all(float(t).is_integer() for t in ticks)


def test_a_line_over_words_and_one_load() -> None:
    table = frame().assign(**{"section.bone": lambda t: np.where(t[Y] > 1, "soft", "dense")})
    ax = f.over_key(table, "section.bone", load=500.0)
    assert [t.get_text() for t in ax.get_xticklabels()] == ["dense", "soft"]


def test_where_the_load_is_varied_each_case_has_its_own() -> None:
    table = frame((500.0,)).assign(**{"load.total_N": lambda t: 100.0 * t["case_id"]})
    table["total_load_N"] = table["load.total_N"]
    ax = f.over_key(table, "load.total_N")
    assert len(ax.get_lines()[1].get_xdata()) == 12


def test_a_map_draws_the_limit_where_it_lies_and_hatches_what_does_not_hold() -> None:
    ax = f.limit_map(frame(), X, Y, construct="screws", limit=0.55)
    values = ax.collections[0].get_array()
    assert values.shape == (3, 4)
    assert values.mask[:, 0].all()
    assert not values.mask[:, 1:].any()
    np.testing.assert_allclose(values[1, 1:], [0.7, 0.6, 0.5])
    contour = next(c for c in ax.collections if hasattr(c, "levels"))
    assert contour.levels.tolist() == [0.55]
    at_one = [x for path in contour.get_paths() for x, y in path.vertices if abs(y - 1.0) < 1e-9]
    assert at_one == pytest.approx([0.45])
    assert ax.patch.get_hatch()


def test_a_map_of_what_never_holds_is_drawn_all_the_same() -> None:
    ax = f.limit_map(frame(), X, Y, construct="nothing", limit=0.5)
    assert ax.collections[0].get_array().mask.all()
    assert len(ax.get_figure().axes) == 1  # no scale of colours for nothing


def test_the_envelope_is_the_share_of_cases_that_carry_a_load() -> None:
    ax = f.envelope(frame())
    line = next(x for x in ax.get_lines() if x.get_label() == "plate")
    load, share = line.get_xdata(), line.get_ydata()
    assert load[0] == 10000.0  # not limited: at the end of the axis
    told = " ".join(" ".join(t.get_text() for t in ax.texts).split())
    assert "10000 N: not limited" in told
    # As the catalogue names both: the dashed line lies nowhere above the other.
    assert "line: with friction (upper bound); dashed: without (lower bound)" in told
    below = ax.get_lines()[ax.get_lines().index(line) + 1].get_xdata()
    assert (below <= load).all()
    assert (below < load).any()
    # What is drawn, steps and all: limit loads are 300, 600 ... 3300 N and one that is not limited.
    drawn = line.get_drawstyle(), load.tolist(), share.tolist()
    assert drawn[0] == "steps-post"
    for at in (150.0, 1600.0, 3299.0, 3301.0):
        before = max(i for i, x in enumerate(drawn[1]) if x >= at)
        over = sum(x >= at for x in [*range(300, 3600, 300), 10000.0]) / 12
        assert drawn[2][before] == pytest.approx(over)


class Ranking:
    """What the plots take of a ranking."""

    def __init__(self) -> None:
        rng = np.random.default_rng(0)
        self.reference, self.by_words = "plate", "mean subsidence"
        self.outcomes = Outcomes(tuple(NAMES), 1000.0, *(np.zeros((0, 3)),) * 3, {})
        self.limits = {"step-off": 2.0}
        half = Share(0.5, 0.4, 0.6, 40)
        self.against = tuple(Against(n, half, half, paired_difference(d, np.zeros(40)), True,
                                     paired_difference(d, np.zeros(40)),
                                     paired_difference(d, d), 40, 0, 0, 0)
                             for n, d in (("screws", rng.normal(0.2, 0.1, 40)),
                                          ("nothing", np.full(40, np.nan))))
        names = ("friction", "modulus")
        self.samples = type("S", (), {"inputs": [type("I", (), {"name": n}) for n in names]})()
        known = Indices(names, np.array([[0.6, 0.5, 0.7], [0.1, -0.1, 0.2]]),
                        np.array([[0.8, 0.7, 0.9], [0.3, 0.2, 0.4]]), 64, 0)
        none = Indices(names, None, None, 64, 0, "the same in all samples")
        self.breaking, self.capped = frozenset[str](), {}
        self.driven = (Driven("screws", known, {"step-off": none}, known),
                       Driven("plate", known, {"step-off": none}, None))

    def named(self, construct: str) -> str:
        return RankResult.named(self, construct)  # type: ignore[arg-type]


def test_the_paired_plot_shows_mean_and_interval() -> None:
    ranking = Ranking()
    ax = f.paired(ranking)
    diff = ranking.against[0].subsidence_mm
    drawn = [line.get_xdata() for line in ax.get_lines()]
    assert any(np.array_equal(x, [diff.low, diff.high]) for x in drawn)
    assert any(np.array_equal(x, [diff.mean]) for x in drawn)
    assert [t.get_text() for t in ax.get_yticklabels()] == ["screws", "nothing"]
    assert any("both held in 40 of 40" in t.get_text() for t in ax.texts)
    assert ax.get_xlabel() == "mean subsidence minus that of 'plate' [mm]"
    ranking.against = ranking.against[1:]  # never held together with the reference
    ax = f.paired(ranking)
    assert list(ax.get_xticks()) == []
    assert any("is a construct held together with this one" in t.get_text() for t in ax.texts)
    assert clashes(ax.get_figure()) == []


def test_the_bars_are_the_indices() -> None:
    ax = f.sensitivities(Ranking(), "screws")
    wide = [bar.get_width() for bar in ax.patches]
    assert wide == pytest.approx([0.6, 0.1, 0.8, 0.3])
    told = " ".join(t.get_text() for t in ax.texts)
    assert "do not settle" not in told
    assert "64 base samples" in told
    # An index below 0 is drawn as it is.
    below = Ranking()
    below.driven[0].capacity.first[1] = [-0.3, -0.5, -0.1]
    ax = f.sensitivities(below, "screws")
    assert [bar.get_width() for bar in ax.patches] == pytest.approx([0.6, -0.3, 0.8, 0.3])
    assert ax.get_xlim()[0] < -0.5
    assert clashes(ax.get_figure()) == []
    vague = Ranking()
    vague.driven[0].capacity.total[0, 2] = 2.0
    told = " ".join(t.get_text() for t in f.sensitivities(vague, "screws").texts)
    assert "so few samples do not settle it" in told
    ax = f.sensitivities(Ranking(), "screws", "step-off")
    assert any("the same in all samples" in t.get_text() for t in ax.texts)
    for args, told in ((("wood",), "no indices"), (("screws", "capacit"), "no such quantity")):
        with pytest.raises(InputError, match=told):
            f.sensitivities(Ranking(), *args)


def test_every_plot_takes_axes_returns_them_and_carries_the_label() -> None:
    table, ranking = frame(), Ranking()
    for draw in (lambda ax: f.over_key(table, X, ax=ax), lambda ax: f.envelope(table, ax=ax),
                 lambda ax: f.limit_map(table, X, Y, construct="plate", limit=0.5, ax=ax),
                 lambda ax: f.paired(ranking, ax=ax),
                 lambda ax: f.sensitivities(ranking, "screws", ax=ax)):
        given = Figure().subplots()
        assert draw(given) is given
        assert any(t.get_text() == LABEL for t in given.get_figure().texts)
        slide = draw(None).get_figure()
        assert tuple(slide.get_size_inches()) == (13.3, 7.5)
        assert clashes(slide) == []


def test_many_long_names_fit_beside_the_axes() -> None:
    long = [f"both plates, lateral locked + impacted graft + structural block + wires {i}"
            for i in range(9)]
    one = frame()[frame()["construct"] == "plate"]
    table = pd.concat([one.assign(construct=name) for name in long])
    table["construct"] = pd.Categorical(table["construct"], categories=long)
    for ax in (f.over_key(table, X), f.envelope(table)):
        assert clashes(ax.get_figure()) == []
        shown = ["".join(t.get_text().split()) for t in ax.get_legend().get_texts()]
        assert shown == ["".join(n.split()) for n in long]
        looks = {(x.get_color(), x.get_marker()) for x in ax.get_lines() if x.get_marker() != "None"}
        assert len(looks) == 9


@pytest.mark.parametrize(("call", "told"), [
    (lambda: f.over_key(frame(), "section.modulus_scal"), "section.modulus_scale"),
    (lambda: f.over_key(frame(), X, "step_of_mm"), "step_off_mm"),
    (lambda: f.over_key(frame(), X, load=700.0), "500, 1000"),
    (lambda: f.limit_map(frame(), X, Y, construct="plat", limit=1.0),
     '"nothing", "plate", "screws"'),
    (lambda: sweep_frame(Path("none.sqlite")), "no such store"),
])
def test_what_is_not_in_the_table_is_told(call, told: str) -> None:
    with pytest.raises(InputError) as caught:
        call()
    assert told in str(caught.value)


def test_figures_mark_constructs_that_break_a_rule_and_say_what_the_mark_means() -> None:
    table, ranking = frame(), Ranking()
    ranking.breaking = frozenset({"screws"})
    table["rules_broken"] = None
    table.loc[(table["construct"] == "plate") & (table["case_id"] == 3), "rules_broken"] = "a: b"
    for ax in (f.over_key(table, X, "step_off_mm"), f.envelope(table)):
        names = [x.get_text().replace("\n", " ") for x in ax.get_legend().get_texts()]
        assert [n.split(" (")[0] + (" (!)" if "(!)" in n else "") for n in names] == [
            "nothing", "plate (!)", "screws"]
        assert "(!) breaks a rule of the trade in some or all cases" in " ".join(
            " ".join(x.get_text() for x in ax.texts).split()) + " ".join(
            ax.get_title(loc="left").split())
    ax = f.limit_map(table, X, Y, construct="plate", limit=0.5)
    assert ax.get_title(loc="left").startswith("plate (!)")
    ax = f.sensitivities(ranking, "screws")
    assert ax.get_title(loc="left").startswith("screws (!)")
    ax = f.paired(ranking)
    assert [x.get_text() for x in ax.get_yticklabels()] == ["screws (!)", "nothing"]
