"""Text on pictures: names shown as they are, wrapped by their true width, never overlapping."""

from __future__ import annotations

import logging
import re
from functools import cache
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.font_manager import FontProperties, findfont, fontManager, get_font

from buttress.fe.arrays import FloatArray

SIZE = 12.0
"""Smallest text on a slide of 13.3 x 7.5 in, points."""
LINE = 1.25 * SIZE / 72.0
"""Height of a line of that text, inches."""
BREAK = re.compile(r"(?<!\d) | (?!(?:N|mm|MPa)(?:\W|$))")
"""Where lines may break: a number and its unit stay together."""
BOX = "□"
BOXES = "Last Resort"
"""A font that draws a box for every character."""


def _ours(record: logging.LogRecord) -> bool:
    return "Failed to find font weight" not in str(record.msg)


logging.getLogger("matplotlib.font_manager").addFilter(_ours)
# Which font a character is taken from is decided here; that one has no bold face is no news.


@cache
def _font(bold: bool = False) -> Any:
    weight = "bold" if bold else "normal"
    return get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))


@cache
def _advance(character: str, bold: bool) -> float:
    """Advance width of a character, in units of the text size."""
    other = None if _has_glyph(character) else _fallback(character)
    font = get_font(findfont(FontProperties(family=other))) if other else _font(bold)
    font.set_size(100.0, 72.0)
    return float(font.load_char(ord(character)).linearHoriAdvance) / 65536.0 / 100.0


@cache
def _has_glyph(character: str) -> bool:
    return ord(character) in _font().get_charmap()


@cache
def _fallback(character: str) -> str | None:
    """Name of a font of this machine that draws a character which the usual font lacks."""
    upright = [e for e in fontManager.ttflist
               if e.style == "normal" and not e.name.startswith(BOXES)]
    for name in dict.fromkeys(e.name for e in sorted(upright, key=lambda e: (e.weight != 400,
                                                                             e.name))):
        try:
            if all(_draws(name, weight, character) for weight in ("normal", "bold")):
                return str(name)
        except (OSError, RuntimeError):    # a font that cannot be read, or of bitmaps only
            continue
    return None


def _draws(family: str, weight: str, character: str) -> bool:
    """Whether a family draws a character in a weight; its faces do not all have the same."""
    font = get_font(findfont(FontProperties(family=family, weight=weight)))
    if not font.get_char_index(ord(character)):
        return False
    font.set_size(SIZE, 72.0)
    font.load_char(ord(character))
    return True


def families() -> list[str]:
    """Fonts of a text in the order in which they are asked for a character."""
    return list(mpl.rcParams["font.family"])


def plain(text: str) -> str:
    """Text that matplotlib shows letter by letter: no mathtext, no line breaks of its own.

    A character that the usual font lacks is taken from another font of this machine, which from
    then on is asked after the usual one; where no font has it, a box stands for it.
    """
    shown = []
    for c in " ".join(text.split()):
        if not _has_glyph(c):
            other = _fallback(c)
            if other is None:
                c = BOX
            elif other not in families():
                mpl.rcParams["font.family"] = [*families(), other]
        shown.append(c)
    return "".join(shown).replace("$", r"\$")


def boxed(text: str) -> bool:
    """Whether pictures show boxes for some characters of a text, since no font has them."""
    return BOX in plain(text) and BOX not in text


def width(text: str, size: float = SIZE, bold: bool = False) -> float:
    """Width of one line of text in inches (without kerning)."""
    return sum(_advance(c, bold) for c in text.replace(r"\$", "$")) * size / 72.0


def wrap(text: str, inches: float, size: float = SIZE, most: int = 99,
         bold: bool = False) -> str:
    """Plain text in lines no wider than ``inches``; long words are broken.

    What does not fit in ``most`` lines ends in an ellipsis.
    """
    lines = [""]
    for word in BREAK.split(plain(text).replace(r"\$", "$").replace(" %", "\N{NO-BREAK SPACE}%")):
        trial = f"{lines[-1]} {word}".strip()
        if width(trial, size, bold) <= inches:
            lines[-1] = trial
            continue
        if lines[-1]:
            lines.append("")
        for c in word:
            if lines[-1] and width(lines[-1] + c, size, bold) > inches:
                lines.append("")
            lines[-1] += c
    if len(lines) > most:
        last = lines[most - 1]
        while last and width(last + "…", size, bold) > inches:
            last = last[:-1]
        lines = [*lines[:most - 1], last + "…"]
    return "\n".join(lines).replace("$", r"\$")


def wrap_all(names: list[str], height: float, widths: tuple[float, ...]) -> tuple[list[str], float]:
    """Names wrapped at the first of the widths [in] at which all together fit the height [in].

    Returns the names and the width of the widest line. None may fit: then the last width is taken.
    """
    wrapped = list(names)
    for inches in widths:
        wrapped = [wrap(n, inches) for n in names]
        if sum(w.count("\n") + 1 for w in wrapped) * LINE <= height:
            break
    widest = max((width(line) for w in wrapped for line in w.split("\n")), default=0.0)
    return wrapped, widest


def spread(wanted: FloatArray, heights: FloatArray, low: float, high: float) -> FloatArray:
    """Centres ``(n,)`` of labels near the wanted ones that neither overlap nor leave low..high.

    Where all together are higher than the room, they are packed from the top.
    """
    order = np.argsort(-wanted, kind="stable")
    out = np.array(wanted, dtype=float)
    top = high
    for i in order:
        out[i] = min(out[i], top - heights[i] / 2)
        top = out[i] - heights[i] / 2
    bottom = low
    for i in order[::-1]:
        if out[i] - heights[i] / 2 >= bottom or heights.sum() > high - low:
            break
        out[i] = bottom + heights[i] / 2
        bottom = out[i] + heights[i] / 2
    return out
