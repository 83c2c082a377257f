"""Figures as pixels: words that stand in many pictures are made once, and PNG files cost little."""

from __future__ import annotations

import math
import struct
import zlib
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure

COMPRESSION = 3
"""Of PNG files. Rows are not filtered: flat colours become smaller without, in half the time."""
MOST = 2000
"""Words that are kept, about 40 MB at most; all are dropped where more are asked for."""
MARGIN = 0.5
"""Around words, where letters lean out of what is measured, in units of the text size."""

_measured: dict[tuple[Any, ...], tuple[float, float, float]] = {}
_written: dict[tuple[Any, ...], tuple[np.ndarray, int, int]] = {}


class Renderer(RendererAgg):
    """Draws each line of words once and puts it, at whole pixels, wherever it stands."""

    def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any
                                      ) -> tuple[float, float, float]:
        """Width, height and descent of a line of text, pixels."""
        key = self._key(s, prop, ismath)
        if key not in _measured:
            if len(_measured) >= MOST:
                _measured.clear()
            _measured[key] = super().get_text_width_height_descent(s, prop, ismath)
        return _measured[key]

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float,
                  ismath: Any = False, mtext: Any = None) -> None:
        """One line of text, its baseline starting at x and y (downwards), pixels."""
        if ismath or gc.get_alpha() != 1.0 or not gc.get_antialiased():
            super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        key = (*self._key(s, prop, ismath), angle, tuple(gc.get_rgb()))
        if key not in _written:
            if len(_written) >= MOST:
                _written.clear()
            _written[key] = self._write(gc, s, prop, angle, mtext)
        image, left, below = _written[key]
        self.draw_image(gc, round(x) - left, self.height - round(y) - below, image)

    def _key(self, s: str, prop: Any, ismath: Any) -> tuple[Any, ...]:
        return s, hash(prop), ismath, self.dpi, mpl.rcParams["text.hinting"]

    def _write(self, gc: Any, s: str, prop: Any, angle: float, mtext: Any
               ) -> tuple[np.ndarray, int, int]:
        """Words as an image from the bottom up, and where in it they start, from left and below."""
        wide, high, descent = self.get_text_width_height_descent(s, prop, False)
        turn = math.radians(angle)
        along, up = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn),
                                                                         math.cos(turn)])
        corners = np.array([a * along + b * up for a in (0.0, wide)
                            for b in (-descent, high - descent)])
        margin = MARGIN * self.points_to_pixels(prop.get_size_in_points()) + 1.0
        left, below = (math.ceil(v) for v in margin - corners.min(axis=0))
        right, above = (math.ceil(v) for v in margin + corners.max(axis=0))
        scratch = RendererAgg(left + right, below + above, self.dpi)
        own = scratch.new_gc()
        own.set_foreground(gc.get_rgb(), isRGBA=True)
        scratch.draw_text(own, left, above, s, prop, angle, False, mtext)
        return np.asarray(scratch.buffer_rgba())[::-1].copy(), left, below


class Canvas(FigureCanvasAgg):
    """The canvas of a figure that is drawn by `Renderer`."""

    def get_renderer(self) -> Renderer:
        """The renderer of the size that the figure has."""
        wide, high = self.get_width_height(physical=True)
        now = getattr(self, "renderer", None)
        if now is None or (now.width, now.height, now.dpi) != (wide, high, self.figure.dpi):
            self.renderer = Renderer(wide, high, self.figure.dpi)
        return self.renderer

    def pixels(self) -> np.ndarray:
        """The figure as drawn now: red, green, blue and opacity ``(rows, columns, 4)``."""
        self.draw()
        return np.asarray(self.buffer_rgba())


def pixels(figure: Figure, dpi: float) -> np.ndarray:
    """The figure drawn at a resolution: red, green, blue and opacity ``(rows, columns, 4)``."""
    before, usual = figure.canvas, figure.dpi
    try:
        figure.set_dpi(dpi)
        return Canvas(figure).pixels()
    finally:
        figure.set_dpi(usual)
        figure.set_canvas(before)


def png(image: np.ndarray, dpi: float) -> bytes:
    """An image of bytes ``(rows, columns, 4)`` as a PNG file; the same image gives the same bytes.

    One that is opaque throughout is stored without its opacity.
    """
    rows, columns, _ = image.shape
    parts = 3 if image[..., 3].min(initial=255) == 255 else 4
    lines = np.zeros((rows, 1 + parts * columns), np.uint8)    # each starts with its filter: none
    for i in range(parts):
        lines[:, 1 + i::parts] = image[..., i]
    per_metre = round(dpi / 0.0254)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in (
            (b"IHDR", struct.pack(">2I5B", columns, rows, 8, 2 if parts == 3 else 6, 0, 0, 0)),
            (b"pHYs", struct.pack(">2IB", per_metre, per_metre, 1)),
            (b"IDAT", zlib.compress(lines.tobytes(), COMPRESSION)), (b"IEND", b"")))
