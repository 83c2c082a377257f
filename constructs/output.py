"""The folder of results: numbered and never overwritten, written whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from constructs import LABEL, bearing
from constructs.bearing import weight_bearing
from constructs.limits import EQUILIBRIUM
from constructs.order import best_first, ranks, reserve
from constructs.picture import Picture
from constructs.results import (
    CANNOT_TIGHTEN,
    Comparison,
    ConstructResult,
    LoadResult,
    not_tightened,
)
from constructs.schema import Study
from fe.errors import InputError


def new_folder(name: str, given: Path | None, force: bool) -> Path:
    """Where results go: the given folder, or the next free ``results/NAME-001``.

    Raises `InputError` for a given folder that exists and is not empty, unless ``force``, and for
    a place that cannot be written to.
    """
    if given is None:
        number = 1
        while (folder := Path("results") / f"{name}-{number:03d}").exists():
            number += 1
        return folder
    if given.exists() and not given.is_dir():
        raise InputError("the place for results is a file", key="--out", value=str(given),
                         expected="a folder, or a name that is not taken")
    if given.is_dir() and any(given.iterdir()) and not force:
        raise InputError("the folder for results exists and is not empty", key="--out",
                         value=str(given), expected="a new or empty folder, or --force")
    return given


@contextmanager
def written_whole(folder: Path) -> Iterator[Path]:
    """A temporary folder beside ``folder`` that takes its place when the block ends well.

    Files already in ``folder`` (with ``--force``) stay unless one of the same name is written.
    Raises `InputError` where the place cannot be written to.
    """
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise InputError(f"results cannot be written there: {error.strerror}", key="--out",
                         value=str(folder), expected="a folder that can be written to") from None
    try:
        yield draft
        draft.chmod(0o755)
        if folder.exists():
            _move_over(draft, folder)
        else:
            os.rename(draft, folder)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _move_over(source: Path, target: Path) -> None:
    """Move what is in a folder into another that exists, file by file."""
    for path in sorted(source.iterdir()):
        there = target / path.name
        if path.is_dir() and there.is_dir():
            _move_over(path, there)
        else:
            os.replace(path, there)


def plain(value: Any) -> Any:
    """Records as dicts and lists for JSON; pictures are left out, numbers that are not are None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)
                if f.name != "pictures"}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def document(comparison: Comparison) -> dict[str, Any]:
    """Everything that a comparison found, as one JSON document."""
    places = ranks(comparison.constructs)
    return {"label": LABEL, "versions": comparison.versions,
            "study": comparison.study.resolved(), "mesh": plain(comparison.mesh),
            "trust": plain(comparison.trust), "seconds": plain(comparison.seconds),
            "constructs": plain(comparison.constructs), "stages": plain(comparison.stages),
            "order": [{"construct": c.name, "rank": places.get(c.name), **plain(reserve(c))}
                      for c in best_first(comparison.constructs)],
            "weight_bearing": plain(weight_bearing(comparison))}


COLUMNS = (
    "construct", "total_load_N", "load_name", "fragment", "status", "subsidence_mean_mm",
    "subsidence_max_mm", "subsidence_net_mm", "tilt_deg", "step_off_max_mm", "gap_max_mm",
    "slip_max_mm", "opening_max_mm", "widening_mm", "stiffness_N_per_mm", "capacity_lower_N",
    "capacity_upper_N", "capacity_status", "equilibrium_ends_N", "ends_status",
    "known_to_N", "rank", "reserve_N", "reserve_is", "step_off_limit_N",
    "depression_limit_N", "widening_limit_N", "bone_limit_N", "metal_limit_N", "first_limit",
    "bone_over_yield", "worst_member_yield_ratio", "stations_at_capacity", "applied_x_N",
    "applied_y_N", "balance_error", "residual", "complementarity", "method",
    "fragment_over_yield", "fragment_strain_ratio_p95", "carried_most_by", "carried_most_share",
    "medial_subsidence_mean_mm", "lateral_subsidence_mean_mm", "medial_widening_mm",
    "lateral_widening_mm", "fracture_pressure_p95_MPa", "plate_pressure_p95_MPa",
    "graft_pressure_p95_MPa", "graft_crushed_max_mm", "graft_at_strength",
    "twin_of")
ERRORS = ("balance_error", "residual", "complementarity")
"""Columns whose size is that of rounding."""
ROUNDING = 1e-12
"""Far below what the model knows, in the units of every column: mm, degrees, N, MPa, shares."""
LIMIT_COLUMNS = {"depression_limit_N": "depression", "widening_limit_N": "widening",
                 "bone_limit_N": "bone over yield", "metal_limit_N": "metal over yield"}
"""Columns of the loads at which limits are reached, and the names of the limits."""


def rows(comparison: Comparison) -> list[dict[str, Any]]:
    """One row a construct, load and fragment; None where a number does not exist."""
    out, places = [], ranks(comparison.constructs)
    for construct in comparison.constructs:
        for load in construct.loads:
            for name in load.fragments or ("",):
                out.append(_row(construct, load, name, places.get(construct.name)))
    return out


def _row(construct: ConstructResult, load: LoadResult, name: str, rank: str | None
         ) -> dict[str, Any]:
    fragment = load.fragments.get(name)
    row: dict[str, Any] = {
        "construct": construct.name, "fragment": name, "twin_of": construct.twin_of,
        "step_off_max_mm": largest(e.step_off_mm for e in load.edges.values()),
        "gap_max_mm": largest(e.gap_mm for e in load.edges.values()),
        "slip_max_mm": largest(f.slip_max_mm for f in load.fractures.values()),
        "opening_max_mm": largest(f.opening_max_mm for f in load.fractures.values()),
        "capacity_lower_N": construct.capacity_N[0], "capacity_upper_N": construct.capacity_N[1],
        "capacity_status": construct.capacity_status,
        "equilibrium_ends_N": construct.equilibrium_ends_N,
        "ends_status": construct.ends_status, "known_to_N": construct.known_to_N,
        "rank": rank, "reserve_N": reserve(construct).load_N,
        "reserve_is": reserve(construct).kind,
        "step_off_limit_N": construct.step_off_limit_N,
        "worst_member_yield_ratio": largest(m.yield_ratio for m in load.members.values())}
    for column, limit in LIMIT_COLUMNS.items():
        row[column] = construct.limits[limit].load_N if limit in construct.limits else None
    row["first_limit"] = _first(construct)
    if fragment is not None:
        row["applied_x_N"], row["applied_y_N"] = fragment.applied_N
        carried = fragment.carried_by or {}
        row["carried_most_by"] = max(carried, key=lambda k: carried[k], default=None)
        row["carried_most_share"] = largest(carried.values())
    row |= _extra(load, name)
    for column in COLUMNS:
        if column not in row:
            source = fragment if hasattr(fragment, column) else load
            row[column] = getattr(source, column, None)
    return {column: plain(row[column]) if column in ERRORS else settled(plain(row[column]))
            for column in COLUMNS}


def _first(construct: ConstructResult) -> str | None:
    """Name of the limit that is reached first; where none of it is held, the words why."""
    if not_tightened(construct):
        return CANNOT_TIGHTEN
    if construct.lowest_limit == EQUILIBRIUM and construct.equilibrium_ends_N == 0.0:
        return construct.first_limit.split(" (")[0]
    return construct.lowest_limit


def settled(value: Any) -> Any:
    """A number of size below `ROUNDING` is the rounding of a zero, and given as 0."""
    return 0.0 if isinstance(value, float) and abs(value) < ROUNDING else value


def _extra(load: LoadResult, fragment: str) -> dict[str, Any]:
    """Figures of a row about bone, condyles, contact and grafts."""
    row: dict[str, Any] = {}
    if (bone := load.bone.get(fragment)) is not None:
        row["fragment_over_yield"] = bone.over_yield
        row["fragment_strain_ratio_p95"] = bone.strain_ratio_p95
    for side, condyle in load.condyles.items():
        row[f"{side}_subsidence_mean_mm"] = condyle.subsidence_mean_mm
        row[f"{side}_widening_mm"] = condyle.widening_mm
    for kind in ("fracture", "plate", "graft"):
        row[f"{kind}_pressure_p95_MPa"] = largest(
            c.pressure_p95_MPa for c in load.contacts.values() if c.kind == kind)
    row["graft_crushed_max_mm"] = largest(g.crushed_max_mm for g in load.grafts.values())
    row["graft_at_strength"] = largest(g.at_strength for g in load.grafts.values())
    return row


def largest(values: Any) -> float | None:
    """Largest of the values that exist, None where none does."""
    found = [v for v in values if v is not None]
    return max(found) if found else None


def as_csv(table: list[dict[str, Any]], columns: Sequence[str] = COLUMNS) -> str:
    """The table as CSV with units in its header; a missing number is an empty field.

    Text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    for row in table:
        writer.writerow({k: "" if v is None else inert(v) for k, v in row.items()})
    return out.getvalue()


def inert(value: Any) -> Any:
    """The value for a CSV field; text that a spreadsheet would run gets an apostrophe in front."""
    if isinstance(value, str) and value.lstrip()[:1] in tuple("=+-@＝＋－＠"):
        return "'" + value
    return value


def file_names(names: Sequence[str]) -> dict[str, str]:
    """What files are called after each construct: its name, with its number in the study where
    another has the same letters and digits."""
    bare = [slug(name, set()) for name in names]
    return {name: f"{name} construct {i}" if bare.count(bare[i - 1]) > 1 else name
            for i, name in enumerate(names, 1)}


def slug(name: str, taken: set[str]) -> str:
    """File name of letters, digits and dashes, made unique among ``taken`` (which it joins)."""
    base = "".join(c if c.isalnum() and c.isascii() else "-" for c in name.lower())
    base = "-".join(part for part in base.split("-") if part)[:60].rstrip("-") or "construct"
    found, number = base, 2
    while found in taken:
        found, number = f"{base}-{number}", number + 1
    taken.add(found)
    return found


def write_fields(picture: Picture, path: Path) -> None:
    """Displacement and strain over yield strain of the bone, by body, as VTU through meshio."""
    import meshio
    import numpy as np

    points, cells, region, moved, ratio = [], [], [], [], []
    start = 0
    for number, body in enumerate(picture.bodies):
        points.append(np.column_stack([body.points, np.zeros(len(body.points))]))
        cells.append(body.triangles + start)
        region.append(np.full(len(body.triangles), number))
        moved.append(np.column_stack([body.displacement, np.zeros(len(body.points))]))
        ratio.append(np.zeros(len(body.points)) if body.value is None else body.value)
        start += len(body.points)
    meshio.write_points_cells(
        path, np.concatenate(points), [("triangle6", np.concatenate(cells))],
        point_data={"displacement_mm": np.concatenate(moved),
                    "strain_over_yield_strain": np.concatenate(ratio)},
        cell_data={"region": [np.concatenate(region)]}, file_format="vtu")


def copy_files(study: Study, folder: Path) -> None:
    """Copy the files that a study names to the same places below a folder.

    Raises `InputError` where one has changed since the study was read.
    """
    from constructs.scan.files import digest, inside, read_bytes
    from constructs.scan.grids import LARGEST

    for name, content in study.section.files.items():
        raw = read_bytes(inside(study.folder, name, (PurePosixPath(name).suffix.lower(),)), name,
                         LARGEST)
        if digest(raw) != content:
            raise InputError("the file changed after the study was read", key="section",
                             value=name, expected="files that stay as they are")
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(raw)


def write_results(comparison: Comparison, folder: Path, text: str,
                  say: Callable[[str], None] = lambda message: None) -> None:
    """All files of a comparison into a folder; ``text`` is the study as it was given."""
    from constructs.figures import draw_all
    from constructs.report import write_report

    (folder / "study.toml").write_text(text, encoding="utf-8")
    copy_files(comparison.study, folder)
    (folder / "comparison.csv").write_text(as_csv(rows(comparison)), encoding="utf-8")
    (folder / "comparison.json").write_text(
        json.dumps(document(comparison), indent=1, allow_nan=False) + "\n", encoding="utf-8")
    if comparison.stages:
        from constructs.stages.table import as_csv as stages_csv

        (folder / "stages.csv").write_text(stages_csv(comparison.stages), encoding="utf-8")
    found = weight_bearing(comparison)
    if found is not None:
        (folder / "weight-bearing.csv").write_text(as_csv(bearing.rows(found), bearing.COLUMNS),
                                                   encoding="utf-8")
    taken: set[str] = set()
    called = file_names([c.name for c in comparison.constructs])
    for construct in comparison.constructs:
        name = slug(called[construct.name], taken)
        for picture in construct.pictures:
            write_fields(picture, folder / f"{name}-{picture.load_N:g}N.vtu")
    say("drawing")
    figures = draw_all(comparison, folder)
    say("writing the report")
    write_report(comparison, folder / "report.html", figures)
