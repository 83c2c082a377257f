"""Figures for a paper: true width, real text of 8 points, the label in the margin, no title."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
import zlib
from functools import cache
from pathlib import Path

import pytest
from figure_texts import clashes, shown_texts
from made_up import long_names, picture, usual
from matplotlib.figure import Figure

from buttress import LABEL
from buttress.draw import all as figures
from buttress.draw import figures as public
from buttress.draw.page import COLUMN_MM, PAGE_MM, PaperFigure, paper
from buttress.draw.text import SIZE
from buttress.fe.errors import InputError

MM = 72.0 / 25.4
SVG = "{http://www.w3.org/2000/svg}"
NARROW = ("overview", "load-subsidence", "deformed-lag-screws", "deformed-nothing")


@cache
def drawn(stem: str, column_mm: float) -> PaperFigure:
    with paper(column_mm):
        figure = dict(figures.planned(usual()))[stem]().get_figure(root=True)
    assert isinstance(figure, PaperFigure)
    return figure


def stems() -> list[str]:
    return [stem for stem, _ in figures.planned(usual())]


both = pytest.mark.parametrize(
    ("stem", "column_mm"), [(s, PAGE_MM) for s in stems()] + [(s, COLUMN_MM) for s in NARROW])


@both
def test_an_svg_has_its_true_width_and_real_text_of_8_points(stem: str, column_mm: float,
                                                             tmp_path: Path) -> None:
    figure = drawn(stem, column_mm)
    path = tmp_path / "f.svg"
    figure.savefig(path)
    root = ET.parse(path).getroot()
    assert root.get("width") == f"{column_mm:g}mm"
    _, _, wide, high = (float(v) for v in str(root.get("viewBox")).split())
    printed = column_mm * MM / wide      # points as printed to a unit of the file
    assert float(str(root.get("height"))[:-2]) * MM == pytest.approx(high * printed, rel=1e-3)
    texts = list(root.iter(f"{SVG}text"))
    sizes = {round(float(found[1]) * printed, 3) for t in texts
             if (found := re.search(r"font(?:-size)?:[^;]*?([\d.]+)px", str(t.get("style"))))}
    assert sorted(sizes) == pytest.approx([8.0], abs=0.01)
    said = " ".join(" ".join("".join(t.itertext()) for t in texts).split())
    assert LABEL in said
    title = figure.caption.partition(".")[0]
    assert title
    assert title not in said
    # What is written lies on the page: no text was cut off.
    cut = figure.cut()
    for t, box in shown_texts(figure):
        inside = (box.x0 >= -1 and box.x1 <= figure.bbox.x1 + 1
                  and box.y0 / figure.dpi >= cut.y0 - 0.02
                  and box.y1 / figure.dpi <= cut.y1 + 0.02)
        assert inside, t.get_text()


@both
def test_a_pdf_has_its_true_width_and_real_text_of_8_points(stem: str, column_mm: float,
                                                            tmp_path: Path) -> None:
    path = tmp_path / "f.pdf"
    drawn(stem, column_mm).savefig(path)
    data = path.read_bytes()
    box = re.search(rb"/MediaBox \[ ?([^\]]*?) ?\]", data)
    assert box
    assert float(box[1].split()[2]) == pytest.approx(column_mm * MM, abs=0.01)
    assert b"/CIDFontType2" in data or b"/TrueType" in data
    assert b"/Type3" not in data
    pages = [s for part in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S)
             if b" Tf" in (s := _inflated(part))]
    assert len(pages) == 1
    scale = re.search(rb"([\d.]+) 0 0 ([\d.]+) 0 0 cm", pages[0])
    assert scale
    assert scale[1] == scale[2]
    sizes = {round(float(s) * float(scale[1]), 3) for s in re.findall(rb" ([\d.]+) Tf", pages[0])}
    assert sorted(sizes) == pytest.approx([8.0], abs=0.01)


def _inflated(part: bytes) -> bytes:
    try:
        return zlib.decompress(part)
    except zlib.error:
        return b""


@both
def test_no_text_of_a_paper_figure_overlaps(stem: str, column_mm: float) -> None:
    figure = drawn(stem, column_mm)
    figure.cut()
    assert [c for c in clashes(figure) if "overlaps" in c] == []


def test_the_words_below_sections_leave_the_name_of_a_stress_free() -> None:
    """A stress has a second line, of what it is in, below the colour bar."""
    with paper(COLUMN_MM):
        figure = dict(figures.planned(usual(), "von Mises stress"))["overview"]().get_figure(root=True)
    assert isinstance(figure, PaperFigure)
    figure.cut()
    assert "of cancellous bone" in " ".join(t.get_text() for t, _ in shown_texts(figure))
    assert [c for c in clashes(figure) if "overlaps" in c] == []


def test_no_text_overlaps_with_long_names_and_many_constructs() -> None:
    once = set[str]()
    for stem, draw in figures.planned(long_names(7), paper=True):
        kind = stem[:12]
        if kind not in once:
            once.add(kind)
            figure = draw().get_figure(root=True)
            assert isinstance(figure, PaperFigure)
            figure.cut()
            assert [c for c in clashes(figure) if "overlaps" in c] == [], stem
            for t, box in shown_texts(figure):
                assert box.x0 >= -1.0, t.get_text()
                assert box.x1 <= figure.bbox.x1 + 1.0, t.get_text()
    assert len(once) > 5


def test_a_figure_for_a_paper_is_the_same_drawing_as_the_slide() -> None:
    shot = picture("lag screws", 1500.0)
    slide = public.deformed(shot)
    with paper(COLUMN_MM):
        column = public.deformed(shot)
    assert isinstance(slide.get_figure(root=True), Figure)
    assert not isinstance(slide.get_figure(root=True), PaperFigure)
    kinds = [[type(a).__name__ for a in ax.collections] for ax in (slide, column)]
    assert kinds[0] == kinds[1]
    assert slide.xaxis_inverted() == column.xaxis_inverted()
    assert {t.get_size() for t, _ in shown_texts(column.get_figure(root=True))} == {SIZE}


def test_another_width_and_a_figure_without_room_are_refused() -> None:
    with pytest.raises(InputError, match="not a width of a column"), paper(100.0):
        pass
    with pytest.raises(InputError, match="no room in one column"), paper(COLUMN_MM):
        public.capacity(usual())


def test_all_figures_are_written_as_pdf_and_svg_with_their_captions(tmp_path: Path) -> None:
    made = usual()
    files = figures.draw_all(made, tmp_path, paper=True, workers=2)
    assert {p.suffix for p in files} == {".pdf", ".svg"}
    assert {p.stem for p in files} == set(stems())
    captions = (tmp_path / "captions.txt").read_text(encoding="utf-8")
    assert captions.startswith(LABEL)
    for stem in stems():
        assert f"\n{stem}: " in captions
    # A name with a comma is one name.
    assert ", ".join(f"“{c.marked_name}”" for c in made.constructs) in captions
    widths = {re.search(r'width="([\d.]+mm)"', p.read_text(encoding="utf-8"))[1]  # type: ignore[index]
              for p in files if p.suffix == ".svg"}
    assert widths == {"85mm", "180mm"}
    for stem, column_mm in (("load-subsidence", COLUMN_MM), ("capacity", PAGE_MM)):
        for end in ("pdf", "svg"):      # the same bytes from one process as from two
            drawn(stem, column_mm).savefig(tmp_path / f"again.{end}")
            assert ((tmp_path / f"again.{end}").read_bytes()
                    == (tmp_path / f"{stem}.{end}").read_bytes())
