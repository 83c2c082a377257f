"""The page that a figure is drawn on: a slide, or a column of a paper.

Both are drawn by the same functions with the same sizes. A figure for a paper is laid out half as
large again as it is printed, so that text of 12 points becomes 8, and is written at its true width.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from buttress.draw.raster import Canvas
from buttress.draw.text import LINE
from buttress.fe.errors import InputError

COLUMN_MM, PAGE_MM = 85.0, 180.0
"""Widths of a figure in one column of a journal and over both, common in the field."""
POINTS = 8.0
REDUCED = 8.0 / 12.0
"""Size of text as printed, and of a figure as printed over its layout (`text.SIZE` is 12)."""
RASTER_DPI = 300.0
"""Fields of strain are images in vector files; their resolution as printed."""
MARGIN = 0.06
"""Left above and below what is drawn, and over the label, inches of the layout."""
LABELLED = "educational label"


@dataclass(frozen=True)
class Page:
    """Width and least height of a page as laid out [in]; ``column_mm``: as printed, in a paper."""

    wide: float
    high: float
    column_mm: float | None = None

    @property
    def narrow(self) -> bool:
        """Whether lists stand below the axes, as there is no room beside them."""
        return self.wide < 8.0


SLIDE = Page(13.3, 7.5)
_page: ContextVar[Page] = ContextVar("page", default=SLIDE)


def page() -> Page:
    """The page that figures are drawn on here."""
    return _page.get()


@contextmanager
def paper(column_mm: float = PAGE_MM) -> Iterator[None]:
    """Within this context figures are drawn for a paper, 85 or 180 mm wide.

    Text is 8 points, the label stands in the lower margin, and there is no title: its words are in
    ``figure.caption``. On a screen, as in a notebook, the figure is half as large again as it is
    printed (128 mm and 12 points for a column of 85 mm); files have the true width. `save` writes
    such a figure as PDF and SVG with real text, and ``figure.savefig`` as what the path ends in.
    Axes given by ``ax=`` are left as they are. Raises InputError for another width.
    """
    if column_mm not in (COLUMN_MM, PAGE_MM):
        raise InputError("not a width of a column", key="column_mm", value=f"{column_mm} mm",
                         expected=f"{COLUMN_MM:g} mm (one column) or {PAGE_MM:g} mm (both)")
    wide = column_mm / 25.4 / REDUCED
    token = _page.set(Page(wide, 4.4 if column_mm == COLUMN_MM else 6.4, column_mm))
    try:
        yield
    finally:
        _page.reset(token)


def whole_page(name: str) -> None:
    """Refuse to draw a figure in one column that has no room there. Raises InputError."""
    if page().narrow:
        raise InputError(f"the figure '{name}' has no room in one column", key="column_mm",
                         value=f"{page().column_mm:g} mm", expected=f"{PAGE_MM:g} mm")


class PaperFigure(Figure):
    """A figure for a paper. ``caption``: what a title would say, for the words below it."""

    caption = ""

    def savefig(self, fname: Any, **options: Any) -> None:
        """Write a PDF, SVG or PNG file of the figure at its true width, by the path's ending.

        ``options`` are those of matplotlib, of which size, cut and font type are set here.
        """
        end = Path(fname).suffix[1:].lower()
        told = {"pdf": {"CreationDate": None, "Creator": None, "Producer": None},
                "svg": {"Date": None, "Creator": None}}.get(end, {"Software": None})
        options |= {"format": end, "bbox_inches": self.cut(), "metadata": told,
                    "dpi": RASTER_DPI * REDUCED}
        with mpl.rc_context({"svg.hashsalt": "buttress", "svg.fonttype": "none",
                             "pdf.fonttype": 42, "text.usetex": False}):
            if end == "svg":
                text = io.StringIO()
                super().savefig(text, **options)
                Path(fname).write_text(_true_size(text.getvalue()), encoding="utf-8")
            elif end == "pdf":
                from buttress.draw.pdf import ReducedPages  # takes 0.3 s

                with ReducedPages(fname, REDUCED, metadata=options.pop("metadata")) as pages:
                    super().savefig(pages, **options)
            else:
                super().savefig(fname, **options)

    def cut(self) -> Bbox:
        """Put the label below all that is drawn; the part of the layout that is written [in]."""
        canvas = Canvas(self)
        label = next(t for t in self.texts if t.get_gid() == LABELLED)
        label.set_visible(False)
        canvas.draw()
        drawn = self.get_tightbbox(canvas.get_renderer())
        label.set_visible(True)
        lines = label.get_text().count("\n") + 1
        foot = drawn.y0 - 2 * MARGIN
        label.set_y(foot / self.get_figheight())
        return Bbox([[0.0, foot - lines * LINE - MARGIN], [self.get_figwidth(), drawn.y1 + MARGIN]])


def _true_size(svg: str) -> str:
    """An SVG file whose page is as large as it is printed, in mm; its units stay those of the
    layout."""
    def printed(found: re.Match[str]) -> str:
        return f'{found[1]}="{float(found[2]) / 72.0 * 25.4 * REDUCED:.4g}mm"'

    start = svg.index("<svg")
    end = svg.index(">", start)
    return svg[:start] + re.sub(r'\b(width|height)="([\d.]+)pt"', printed,
                                svg[start:end]) + svg[end:]
