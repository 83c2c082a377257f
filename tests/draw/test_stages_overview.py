"""The overview of a study with stages: what each stage did to fragments and screws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_stages import FORCES, SUNK, staged
from figure_texts import clashes, shown_texts
from matplotlib.figure import Figure

from buttress.draw.page import PAGE_MM, paper
from buttress.draw.stages import stage_pictures
from buttress.draw.stages_overview import LOADED, MOST_COLUMNS, stages_overview


def test_lines_are_the_fragments_and_the_screws_after_each_stage() -> None:
    ax = stages_overview([staged("a"), staged("b")])
    moved, forces = ax.child_axes[:2]
    (line,) = [x for x in moved.lines if x.get_gid() == "medial"]
    np.testing.assert_allclose(line.get_xydata(), np.column_stack([range(1, 6), SUNK]))
    assert moved.get_ylim()[0] > moved.get_ylim()[1]        # down is down
    for name, values in FORCES.items():
        (line,) = [x for x in forces.lines if x.get_gid() == name]
        known = [(i, v) for i, v in enumerate(values, 1) if v is not None]
        np.testing.assert_allclose(line.get_xydata(), known)
    assert [t.get_text() for t in forces.get_xticklabels()][1] == "2 tighten upper to 400 N"
    shaded = [p for p in forces.patches if p.get_facecolor()[:3] == pytest.approx(
        tuple(int(LOADED[i:i + 2], 16) / 255 for i in (1, 3, 5)))]
    assert [p.get_x() for p in shaded] == [3.5]


def test_all_constructs_have_the_same_scales_and_one_legend() -> None:
    ax = stages_overview([staged("a"), staged("b", held=3)])
    for k in (0, 1):
        assert ax.child_axes[k].get_ylim() == ax.child_axes[2 + k].get_ylim()
    legend = ax.get_legend()
    assert legend is not None
    assert [t.get_text() for t in legend.get_texts()] == [
        "fragment medial", "screw upper", "screw shaft 1", "a load acts"]
    assert "no equilibrium at stage 4" in " ".join(t.get_text() for t in ax.texts)
    (line,) = [x for x in ax.child_axes[2].lines if x.get_gid() == "medial"]
    assert len(line.get_xdata()) == 3        # ends with the last stage that was held


@pytest.mark.parametrize("count", [1, 3, 6, 8])
@pytest.mark.parametrize("more", [0, 8])
def test_at_most_six_stand_in_a_row_and_no_text_overlaps(count: int, more: int) -> None:
    names = [f"construct {i} with rather long a name" for i in range(count)]
    made = [staged(n, more=more, screws="a screw of a long name, ") for n in names]
    for on_paper in (False, True):
        if on_paper:
            with paper(PAGE_MM):
                ax = stages_overview(made)
            ax.get_figure(root=True).cut()  # type: ignore[union-attr]
        else:
            ax = stages_overview(made)
        figure = ax.get_figure(root=True)
        assert isinstance(figure, Figure)
        wrong = clashes(figure)
        assert [c for c in wrong if not on_paper or "overlaps" in c] == []
        assert all(b.x0 > -1 and b.x1 < figure.bbox.x1 + 1 for _, b in shown_texts(figure))
        lower = [round(x.get_position().y0, 3) for x in ax.child_axes]
        assert max(lower.count(y) for y in lower) == min(count, MOST_COLUMNS)


def test_without_stages_there_is_nothing_to_draw() -> None:
    with pytest.raises(ValueError, match="no constructs with stages"):
        stages_overview([])


def test_pictures_of_stages_say_whose_movement_they_tell() -> None:
    """Of two fragments it read "the fragment", and "down 0.284 mm" without a name."""
    one = staged("a")
    two = replace(one, stages=tuple(replace(s, fragments={
        **s.fragments, "lateral": s.fragments["medial"]}) for s in one.stages))
    for made, said, told in ((one, "the fragment after each stage", False),
                             (two, "the fragments after each stage", True)):
        words = " ".join(t.get_text() for t, _ in shown_texts(
            stage_pictures(made).get_figure(root=True))).replace("\n", " ")
        assert said in words
        assert ("of the fragment that has sunk most" in words) == told


def test_a_study_whose_first_stage_is_not_held_is_drawn() -> None:
    """A screw that strips while it is tightened leaves no number at all: the list had no entry, and
    the comparison ended in a traceback."""
    bare = replace(staged("a", held=0), stages=tuple(
        replace(s, fragments={}, screws={}) for s in staged("a", held=0).stages))
    ax = stages_overview([bare])
    assert ax.get_legend() is None
    assert "no equilibrium at stage 1" in " ".join(t.get_text() for t in ax.texts)
    assert clashes(ax.get_figure(root=True)) == []


def test_words_of_a_stage_are_cut_only_where_there_is_no_room() -> None:
    """"friction × 0.85" ended in "friction ×…", between two constructs of five stages."""
    said = "hour 1: upper lag, lower lag lose 20 %, friction × 0.85"
    made = [staged(n) for n in "ab"]
    made = [replace(c, stages=tuple(replace(s, words=said) for s in c.stages)) for c in made]
    ax = stages_overview(made)
    words = [" ".join(t.get_text().split()) for t in ax.child_axes[1].get_xticklabels()]
    assert words == [f"{i} {said}" for i in range(1, 6)]
    assert clashes(ax.get_figure(root=True)) == []


def test_what_fades_is_read_under_its_column() -> None:
    """The names of two screws left no room for how much they lose."""
    made = staged("a")
    what = ("upper lag", "lower lag")
    changed = {1: ("tighten", "tighten upper lag, lower lag to 400 N"),
               2: ("relax", "hour 6: upper lag, lower lag lose 15 %, friction × 0.8")}
    stages = tuple(replace(s, do=changed[i][0], what=what, words=changed[i][1])
                   if i in changed else s for i, s in enumerate(made.stages))
    forces = stages_overview([replace(made, stages=stages)]).child_axes[1]
    told = [" ".join(t.get_text().split()) for t in forces.get_xticklabels()]
    assert told[1] == "2 tighten 2 screws to 400 N"
    assert told[2].startswith("3 hour 6: tension \N{MINUS SIGN}15 %")
