"""The folder of results: numbered and never overwritten, written whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from buttress import LABEL
from buttress.files import as_csv, file_names, labelled, plain, slug
from buttress.model.resolve import resolved
from buttress.report import alternatives, error_bars
from buttress.report.catalogue import construct_document
from buttress.report.trust import how_far
from buttress.report.written import copy_files, text_in_full
from buttress.results import bearing
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.order import answer, best_first, order_words, ranks, reserve, tied_with
from buttress.results.picture import Picture
from buttress.results.probe import Points
from buttress.results.rows import columns, rows
from buttress.results.stress import STRAIN_RATIO


def document(comparison: Comparison) -> dict[str, Any]:
    """Everything that a comparison found, as one JSON document."""
    places = ranks(comparison.constructs)
    return {"label": LABEL, "versions": comparison.versions,
            "study": resolved(comparison.study), "mesh": plain(comparison.mesh),
            "trust": plain(comparison.trust), "how_far": how_far(comparison),
            "seconds": plain(comparison.seconds), "meshes": plain(comparison.meshes),
            "alternatives": alternatives.document(comparison),
            "constructs": [construct_document(c, comparison.constructs)
                           for c in comparison.constructs], "stages": plain(comparison.stages),
            "answer": answer(best_first(comparison.constructs)).words,
            "order": [{"construct": c.name, "rank": places.get(c.name), **plain(reserve(c)),
                       "tied_with": tied_with(c, comparison.constructs)}
                      for c in best_first(comparison.constructs)],
            "ordered_by": order_words(comparison.study.limits.movement_mm,
                                      comparison.meshes is not None),
            "weight_bearing": plain(weight_bearing(comparison)), "lost": list(comparison.lost)}


def _write_fields(picture: Picture, path: Path) -> None:
    """Displacement, strain over yield strain and tensors of stress and strain, for mesh viewers.

    Tensors are means over each triangle; of stress one for each tissue, in MPa.
    """
    import numpy as np

    from buttress.fe.mesh.files import write
    from buttress.fe.mesh.t6 import Mesh
    from buttress.results.stress import cell_tensors

    ratio = [np.zeros(len(b.points)) if b.value is None else b.value for b in picture.bodies]
    write(path, [Mesh(b.name, b.points, b.triangles, {}) for b in picture.bodies],
          {"displacement_mm": np.concatenate([b.displacement for b in picture.bodies]),
           "strain_over_yield_strain": np.concatenate(ratio)},
          cell_tensors(picture.fields, {b.name: len(b.triangles) for b in picture.bodies})
          if picture.fields else None, label=LABEL)


def write_results(comparison: Comparison, folder: Path, text: str,
                  say: Callable[[str], None] = lambda message: None,
                  field: str = STRAIN_RATIO, points: Points = (), svg: bool = False,
                  workers: int = 1, paper: bool = False) -> None:
    """All files of a comparison into a folder; ``text`` is the study as it was given.

    ``field``: what colours the sections, see `figures.deformed`; ``points``: where strain and
    stress are asked for, see `Comparison.at`; ``svg``: figures also as SVG;
    ``workers``: processes that share the figures; ``paper``: figures also for a paper, in a folder
    of that name.
    """
    from buttress.draw.all import draw_all
    from buttress.report.page import write_report

    (folder / "study.toml").write_text(labelled(text), encoding="utf-8")
    (folder / "study-in-full.toml").write_text(labelled(text_in_full(comparison.study)),
                                               encoding="utf-8")
    copy_files(comparison.study, folder)
    (folder / "comparison.csv").write_text(as_csv(rows(comparison), columns()), encoding="utf-8")
    (folder / "comparison.json").write_text(
        json.dumps(document(comparison), indent=1, allow_nan=False) + "\n", encoding="utf-8")
    if comparison.meshes is not None:
        (folder / "error-bars.csv").write_text(
            as_csv(error_bars.rows(comparison), error_bars.COLUMNS), encoding="utf-8")
    if comparison.alternatives is not None:
        (folder / "alternatives.csv").write_text(
            as_csv(alternatives.rows(comparison), alternatives.COLUMNS), encoding="utf-8")
    if comparison.stages:
        from buttress.report.stages import as_csv as stages_csv

        (folder / "stages.csv").write_text(stages_csv(comparison.stages), encoding="utf-8")
    if points:
        listed = comparison.at(points)
        (folder / "points.csv").write_text(
            as_csv(listed.to_dict("records"), list(listed.columns)), encoding="utf-8")
    found = weight_bearing(comparison)
    if found is not None:
        (folder / "weight-bearing.csv").write_text(as_csv(bearing.rows(found), bearing.COLUMNS),
                                                   encoding="utf-8")
    taken: set[str] = set()
    called = file_names([c.name for c in comparison.constructs])
    for construct in comparison.constructs:
        name = slug(called[construct.name], taken)
        for picture in construct.pictures:
            _write_fields(picture, folder / f"{name}-{picture.load_N:g}N.vtu")
    say("drawing")
    figures = draw_all(comparison, folder, field, svg, workers)
    if paper:
        (folder / "paper").mkdir()
        draw_all(comparison, folder / "paper", field, workers=workers, paper=True)
    say("writing the report")
    write_report(comparison, folder / "report.html", figures, field)
