"""Figures as pixels: kept words look as matplotlib's, and a PNG file gives the pixels back."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from PIL import Image

from buttress.draw import raster
from buttress.draw.raster import Canvas, Renderer, pixels, png


class AtWholePixels(RendererAgg):
    """Matplotlib's renderer, each line of words moved to the nearest whole pixel."""

    def draw_text(self, gc: Any, x: float, y: float, *rest: Any, **more: Any) -> None:
        super().draw_text(gc, round(x), round(y), *rest, **more)


def words(*given: tuple[float, float, str, dict[str, Any]]) -> Figure:
    figure = Figure(figsize=(6.0, 4.0))
    for x, y, text, look in given:
        figure.text(x, y, text, **look)
    return figure


MANY = [(0.031 + 0.17 * (i % 5), 0.05 + 0.13 * (i // 5), f"Ag {i % 7} jÅ½", look)
        for i, look in enumerate(
            {"size": size, "color": colour, "rotation": angle, "weight": weight}
            for size in (9.0, 12.0, 16.0) for colour in ("black", "#D55E00")
            for angle in (0, 90, 37) for weight in ("normal", "bold"))]
"""Each with its own size, colour, angle and weight; some cross each other and the edge."""


def test_kept_words_are_those_of_matplotlib_at_the_nearest_pixel() -> None:
    figure = words(*MANY)
    wide, high = (round(v) for v in figure.get_size_inches() * figure.dpi)
    usual = AtWholePixels(wide, high, figure.dpi)
    FigureCanvasAgg(figure)
    figure.draw(usual)
    wanted = np.asarray(usual.buffer_rgba()).astype(int)
    for _ in range(2):    # made, and taken from what is kept
        found = pixels(figure, figure.dpi).astype(int)
        assert np.abs(found - wanted).max() <= 4    # of 255: rounding where letters overlap
    assert (wanted[..., :3] < 200).any(axis=2).mean() > 0.01


def test_words_are_made_once_for_all_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    write = Renderer._write
    monkeypatch.setattr(Renderer, "_write", lambda self, gc, s, *rest: made.append(s) or write(
        self, gc, s, *rest))
    raster._written.clear()
    for x in (0.1, 0.503):
        pixels(words((x, 0.5, "the same", {}), (0.1, 0.1, "the same", {"color": "red"})), 100.0)
    pixels(words((0.1, 0.5, "the same", {})), 50.0)
    assert made == ["the same"] * 3    # black, red, and at another resolution


def test_kept_words_stay_few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(raster, "MOST", 5)
    pixels(words(*((0.1, 0.1 * i, f"no. {i}", {}) for i in range(9))), 100.0)
    assert len(raster._written) <= 5
    assert len(raster._measured) <= 5


@pytest.mark.parametrize("look", [{"alpha": 0.3}, {"antialiased": False}])
def test_words_that_are_not_kept_look_as_usual(look: dict[str, Any]) -> None:
    figure = words((0.1, 0.5, "faint or rough", look), (0.1, 0.2, r"$x^2$", {}))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    assert (pixels(figure, figure.dpi) == np.asarray(canvas.buffer_rgba())).all()


def test_a_figure_keeps_its_canvas_and_resolution() -> None:
    figure = words((0.1, 0.5, "here", {}))
    canvas = figure.canvas
    assert pixels(figure, 130.0).shape == (520, 780, 4)
    assert figure.canvas is canvas
    assert figure.dpi == 100.0


def test_a_canvas_follows_the_size_of_its_figure() -> None:
    canvas = Canvas(words((0.1, 0.5, "here", {})))
    assert canvas.pixels().shape == (400, 600, 4)
    canvas.figure.set_size_inches(3.0, 2.0)
    assert canvas.pixels().shape == (200, 300, 4)


@pytest.mark.parametrize("opaque", [True, False])
def test_a_png_file_gives_the_pixels_back(opaque: bool) -> None:
    image = np.random.default_rng(1).integers(0, 256, (7, 11, 4)).astype(np.uint8)
    if opaque:
        image[..., 3] = 255
    read = Image.open(io.BytesIO(png(image, 110.0)))
    read.verify()    # checksums too
    read = Image.open(io.BytesIO(png(image, 110.0)))
    assert read.mode == ("RGB" if opaque else "RGBA")
    assert (np.asarray(read.convert("RGBA")) == image).all()
    assert read.info["dpi"] == pytest.approx((110.0, 110.0), rel=1e-3)
