"""Picture of a map that was read from a file: over the mesh, so that a misplaced one is seen."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.tri import Triangulation

from buttress.bone.pieces import Made
from buttress.bone.section import Section
from buttress.draw import primitives as d
from buttress.draw import seen
from buttress.draw.page import page, whole_page
from buttress.draw.text import SIZE, wrap
from buttress.results.picture import BodyPicture
from buttress.study.study import Study

COLOURS = "cividis"
"""A scale whose order colour-blind readers see, too."""


def modulus_map(study: Study, bodies: tuple[BodyPicture, ...], *, ax: Axes | None = None,
                used: Axes | None = None) -> Axes:
    """The map as the file has it under the mesh, and the modulus that elements take from it.

    ``ax`` takes the first, ``used`` the second; without ``ax`` both are drawn on a slide. Raises
    ValueError for a study without a map.
    """
    given, field = study.section.map, Section(study.section).field
    if given is None or field is None:
        raise ValueError("the study has no map")
    if ax is None:
        whole_page("modulus_map")
        figure, now = d.slide(), page()
        size = (now.wide / 2 - 1.75, now.high - 2.4)
        ax, used = (d.axes_at(figure, x, 1.15, *size) for x in (0.95, now.wide / 2 + 0.85))
        d.title(ax, "Map of the bone over the mesh", given.words)
    unit = "apparent density [g/cm³]" if field.law is not None else "modulus [MPa]"
    if field.law is not None and field.law.apparent != 1.0:
        unit = "density of the law [g/cm³]"
    bodies = tuple(b for b in bodies if b.kind == Made.BONE)
    grey = Normalize(0.0, float(field.given.max()))
    values = ScalarMappable(grey, COLOURS)
    left, right, bottom, top = field.extent
    ax.imshow(field.given, origin="lower", extent=(left, right, bottom, top), cmap=COLOURS,
              norm=grey, interpolation="nearest", aspect="equal", zorder=0)
    _mesh(ax, bodies, "white")
    ax.set_title("as the file has it", size=SIZE, loc="center", pad=6) if used is None else None
    _bar(ax, values, wrap(unit, 2.5))
    seen.frame(ax, study.section.view, (left, bottom), (right, top))
    if used is not None:
        points = np.concatenate([b.points for b in bodies])
        modulus = [study.section.modulus_scale * field.modulus(b.points) for b in bodies]
        high = float(np.concatenate(modulus).max())
        scale = ScalarMappable(Normalize(0.0, high), COLOURS)
        for body, value in zip(bodies, modulus, strict=True):
            smooth: dict[str, Any] = {"shading": "gouraud", "cmap": COLOURS, "norm": scale.norm}
            used.tripcolor(_triangles(body, d.quarters(body.triangles)), value, rasterized=True,
                           zorder=0, **smooth)
        d.draw_outline(used, bodies, colors="black", linewidths=1.2, zorder=3)
        low, up = points.min(axis=0), points.max(axis=0)
        _bar(used, scale, "modulus used [MPa]" if given.covers == "all"
             else "modulus used for the core [MPa]")
        seen.frame(used, study.section.view, low - 4, up + 4)
    return ax


def _triangles(body: BodyPicture, triangles: np.ndarray) -> Triangulation:
    return Triangulation(body.points[:, 0], body.points[:, 1], triangles)


def _mesh(ax: Axes, bodies: tuple[BodyPicture, ...], colour: str) -> None:
    for body in bodies:
        ax.triplot(_triangles(body, body.triangles[:, :3]), color=colour, linewidth=0.35,
                   alpha=0.6, zorder=2)
    d.draw_outline(ax, bodies, colors="black", linewidths=2.6, zorder=3)
    d.draw_outline(ax, bodies, colors="white", linewidths=1.2, zorder=3.1)


def _bar(ax: Axes, values: ScalarMappable, words: str) -> None:
    figure = ax.get_figure(root=True)
    assert figure is not None
    bar = figure.colorbar(values, ax=ax, fraction=0.05, pad=0.03)
    bar.ax.tick_params(labelsize=SIZE)
    bar.set_label(words, size=SIZE)
