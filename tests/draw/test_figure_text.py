"""Text on pictures: letter by letter, in a font that has it, never overlapping."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from figure_texts import clashes, shown_texts
from made_up import comparison, construct, long_names, picture, usual
from matplotlib.figure import Figure

from buttress.draw import all as figures
from buttress.draw.text import SIZE, boxed, plain, spread, width, wrap


@pytest.mark.parametrize("count", [1, 6, 15])
def test_no_text_overlaps_or_leaves_the_figure(count: int) -> None:
    """The figures of each construct with the most, since the others have the same ones."""
    made = long_names(count)
    own = {stem for (_, name, _), stem in figures.stems(made).items() if name}
    seen = []
    for stem, draw in figures.planned(made):
        if count == 15 or stem not in own:
            assert clashes(draw().get_figure(root=True)) == [], stem
            seen.append(stem)
    assert len(seen) == {1: 5, 6: 5, 15: 47}[count], seen


@pytest.mark.parametrize("text", ["4 tighten upper to 200 N", "95 % below 0.54 MPa; highest 1 MPa",
                                  "as far as 12.5 mm, and on", "45 %"])
def test_a_number_and_its_unit_stay_together(text: str) -> None:
    for inches in np.arange(1.0, width(text) + 0.1, 0.05):
        lines = wrap(text, float(inches)).split("\n")
        assert not any(re.match(r"(N|mm|MPa|%)\b", line) for line in lines), lines
        assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == text


def test_no_text_overlaps_in_the_usual_figures() -> None:
    stems = []
    for stem, ax in figures.drawn(usual()):
        stems.append(stem)
        assert clashes(ax.get_figure(root=True)) == [], stem
        sizes = [t.get_size() for t, _ in shown_texts(ax.get_figure(root=True))]
        assert min(sizes) >= SIZE == 12.0
    assert {"overview", "capacity", "load-movement"} <= set(stems)


def test_the_check_finds_overlaps_and_escapes() -> None:
    figure = Figure(figsize=(4, 2))
    figure.text(0.3, 0.5, "one text")
    figure.text(0.32, 0.52, "another")
    figure.text(0.9, 0.1, "over the edge of the page")
    found = clashes(figure)
    assert len(found) == 2
    assert "overlaps" in found[0]
    assert "leaves" in found[1]
    ax = figure.add_axes((0.1, 0.5, 0.5, 0.4))
    figure.legend(handles=ax.plot([0], [0], label="of the figure"), loc="lower left")
    ax.legend(handles=ax.plot([0], [0], label="of the axes"), loc="upper right")
    assert {"of the figure", "of the axes"} <= {t.get_text() for t, _ in shown_texts(figure)}


def test_names_are_shown_letter_by_letter() -> None:
    name = r"$\frac{1}{2}$ <b>&amp; a_b^c \$5 %"
    figure = Figure()
    text = figure.text(0.1, 0.5, plain(name))
    shown, mathtext = text._preprocess_math(text.get_text())
    assert not mathtext
    assert shown == name
    ax = figures.deformed(replace(picture("x", 1500.0), construct=name))
    ax.get_figure(root=True).draw_without_rendering()    # mathtext errors would raise here


def test_looking_for_a_font_prints_nothing() -> None:
    """Each family that was looked into without the weight printed a line on standard error."""
    code = ("from buttress.draw.text import plain; import logging\n"
            "logging.getLogger('matplotlib.font_manager').warning('told')\n"
            "plain('\u62c9\u0e44\u0644')")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == "told\n"


def test_a_letter_that_no_font_has_is_a_box_and_told() -> None:
    assert plain("a\U0001F9B4b") == "a□b"
    assert boxed("a\U0001F9B4b")
    assert not boxed("a□b")
    study = usual().study
    assert figures.boxed_names(study) == []
    odd = study.constructs[0].model_copy(update={"name": "\U0001F9B4"})
    study = study.model_copy(update={"constructs": (odd, *study.constructs[1:])})
    assert figures.boxed_names(study) == ["'\U0001F9B4' (in pictures construct 1)"]


def test_constructs_that_pictures_cannot_tell_apart_have_their_number_beside() -> None:
    first, second = "x \U0001F9B4", "x \U0001F9B7"
    made = comparison((construct("plain"), construct(first), construct(second)))
    stems = figures.stems(made)
    assert stems["deformed", first, ""] == "deformed-x-construct-2"
    assert stems["free body", second, "medial"] == "free-body-x-construct-3"
    said = {}
    for stem, ax in figures.drawn(made):
        figure = ax.get_figure(root=True)
        assert clashes(figure) == [], stem
        said[stem] = " ".join(t.get_text().replace("\n", " ") for t, _ in shown_texts(figure))
    assert said.keys() == set(stems.values())
    assert "x □ (construct 2)" in said["deformed-x-construct-2"]
    assert "construct 3" not in said["deformed-x-construct-2"]
    assert "(construct" not in said["deformed-plain"]
    for stem in ("capacity", "overview", "load-movement", "load-subsidence"):
        assert "x □ (construct 2)" in said[stem]
        assert "x □ (construct 3)" in said[stem]


def test_a_letter_that_another_font_of_the_machine_has_is_drawn_with_it() -> None:
    # This sign is in a mathematical font that comes with matplotlib, and not in the usual one.
    sign = "\u24b6"
    with mpl.rc_context():
        assert plain(f"a{sign}") == f"a{sign}"
        assert not boxed(sign)
        assert width(sign) >= 0.0
        made = usual()
        odd = replace(made.constructs[1], name=f"lag {sign}",
                      pictures=tuple(replace(p, construct=f"lag {sign}")
                                     for p in made.constructs[1].pictures))
        for ax in (figures.deformed(odd.pictures[0]), figures.capacity(
                replace(made, constructs=(odd,)))):
            ax.figure.draw_without_rendering()     # a missing glyph would be a warning, so an error
            assert any(sign in text.get_text() for text, _ in shown_texts(ax.figure))


def test_wrapped_lines_fit_and_keep_every_letter() -> None:
    text = "a name of sixty letters with onewordthatislongerthantheline $5"
    lines = wrap(text, 1.2).split("\n")
    assert all(width(line) <= 1.2 for line in lines)
    assert "".join(lines).replace(r"\$", "$").replace(" ", "") == text.replace(" ", "")
    assert wrap(text, 1.2, most=2).endswith("…")


def test_measured_width_is_that_of_the_renderer() -> None:
    figure = Figure(figsize=(10, 2), dpi=100)
    words = "Subsidence 0.041 mm, WWWiii"
    for y, weight in ((0.8, "normal"), (0.2, "bold")):
        figure.text(0.0, y, words, size=SIZE, weight=weight)
    (_, thin), (_, thick) = shown_texts(figure)
    assert width(words) == pytest.approx(thin.width / 100.0, rel=0.04)
    assert width(words, bold=True) == pytest.approx(thick.width / 100.0, rel=0.04)


def test_spread_labels_do_not_overlap_and_stay_inside() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        n = int(rng.integers(1, 9))
        wanted, heights = rng.uniform(-20, 120, n), rng.uniform(4, 11, n)
        at = spread(wanted, heights, 0.0, 100.0)
        order = np.argsort(at)
        low, high = (at - heights / 2)[order], (at + heights / 2)[order]
        assert (low[1:] >= high[:-1] - 1e-9).all()
        assert low[0] >= -1e-9
        assert high[-1] <= 100.0 + 1e-9


def test_a_number_and_its_percent_sign_stay_on_one_line() -> None:
    line = "hour 24: across loses 40"
    assert wrap(f"{line} %", width(line)) == "hour 24: across loses\n40\N{NO-BREAK SPACE}%"
