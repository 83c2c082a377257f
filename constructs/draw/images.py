"""Pictures as images of few bytes: one palette that keeps every colour of the drawings."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from buttress.draw.primitives import BONE, GRAFT, KINDS, METAL, SERIES, STRAINS
from buttress.draw.raster import pixels

if TYPE_CHECKING:
    from PIL.Image import Image

RAMP, GREYS = 96, 32
"""Colours of the scale of strain, and greys from black to white."""
TINTS = (1.0, 0.85, 0.7, 0.55, 0.4, 0.25, 0.12)
"""Shares of each colour over white: the soft edges of lines and letters."""


def image_of(figure: Figure, dpi: float) -> Image:
    """A figure as an image."""
    from PIL import Image

    return Image.fromarray(pixels(figure, dpi)[..., :3].copy())


@cache
def palette() -> np.ndarray:
    """Colours ``(k, 3)`` of 0 to 255, k <= 256: greys, the strain scale, those of the drawings.

    They do not depend on what is drawn, so colours mean the same in every picture.
    """
    names = dict.fromkeys((*KINDS.values(), *SERIES, METAL, BONE, GRAFT))
    solid = np.array([to_rgb(c) for c in names])
    tints = [1.0 - t * (1.0 - solid) for t in TINTS]
    ramp = mpl.colormaps[STRAINS](np.linspace(0.0, 1.0, RAMP))[:, :3]
    greys = np.repeat(np.linspace(0.0, 1.0, GREYS)[:, None], 3, 1)
    return np.round(255 * np.concatenate([greys, ramp, *tints])[:256]).astype(np.uint8)


def few_colours(images: Sequence[Image]) -> list[Image]:
    """Images in the colours of `palette`, each point in the nearest one."""
    from PIL import Image
    from scipy.spatial import cKDTree

    known = palette()
    tree, out = cKDTree(known.astype(float)), []
    for image in images:
        pixels = np.asarray(image.convert("RGB"))
        packed = pixels.reshape(-1, 3).astype(np.uint32) @ np.array([65536, 256, 1], np.uint32)
        found, where = np.unique(packed, return_inverse=True)
        split = np.stack([found >> 16, (found >> 8) & 255, found & 255], axis=1)
        nearest = np.asarray(tree.query(split.astype(float))[1], dtype=np.uint8)
        flat = Image.fromarray(nearest[where.reshape(pixels.shape[:2])])
        flat.putpalette(known.ravel().tolist())
        out.append(flat)
    return out
