"""Meshes to and from files through meshio: VTU for mesh viewers, and all formats of meshio."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

import meshio
import numpy as np
from numpy.typing import ArrayLike, NDArray

from buttress.fe.arrays import IntArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.t6 import Mesh, border, corner_areas, with_midsides


def write(path: str | Path, meshes: Mesh | Sequence[Mesh],
          point_data: Mapping[str, ArrayLike] | None = None,
          cell_data: Mapping[str, ArrayLike] | None = None, label: str = "") -> None:
    """Write one or several bodies to a file; the suffix determines the format (.vtu).

    point_data: name -> (n,) or (n, c), cell_data: name -> (m,) or (m, c), where n and m count the
    points and triangles of all bodies in their order. Vectors of 2 become 3 with z = 0. Each
    triangle also gets "body", the index of its body in the list, unless that name is given.
    label: a sentence that a .vtu file carries as the name of an array of its field data, which mesh
    viewers list and meshio reads.

    Raises InputError for data of the wrong shape, an unknown format, or a file that cannot be
    written.
    """
    bodies = [meshes] if isinstance(meshes, Mesh) else list(meshes)
    if not bodies:
        raise InputError("there is no mesh to write", file=str(path))
    first = np.cumsum([0, *(len(mesh.points) for mesh in bodies)])
    points = np.vstack([mesh.points for mesh in bodies])
    triangles = np.vstack([mesh.triangles + start
                           for mesh, start in zip(bodies, first, strict=False)])
    body = np.repeat(np.arange(len(bodies)), [len(mesh.triangles) for mesh in bodies])
    at_points = {name: _column(values, len(points), f"point data {name}")
                 for name, values in (point_data or {}).items()}
    in_cells = {name: [_column(values, len(triangles), f"cell data {name}")]
                for name, values in {"body": body, **(cell_data or {})}.items()}
    flat = np.column_stack([points, np.zeros(len(points))])
    document = meshio.Mesh(flat, [("triangle6", triangles)], at_points, in_cells)
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            document.write(str(path))
        if label:
            _add_label(Path(path), label)
    except (OSError, meshio.WriteError, meshio.ReadError, ValueError, KeyError) as error:
        raise InputError("the mesh cannot be written", file=str(path), value=str(error),
                         expected="a writable path with a suffix known to meshio, such as .vtu"
                         ) from error


def _add_label(path: Path, label: str) -> None:
    """Field data in a .vtu file, which meshio reads but does not write."""
    if path.suffix != ".vtu":
        raise ValueError("only a .vtu file carries a label")
    head, grid, rest = path.read_text(encoding="utf-8").partition("<UnstructuredGrid>")
    array = (f'<FieldData><DataArray type="Int8" Name={quoteattr(label)} NumberOfTuples="1" '
             'format="ascii">1</DataArray></FieldData>')
    path.write_text(f"{head}{grid}\n{array}{rest}", encoding="utf-8")


def _column(values: ArrayLike, rows: int, what: str) -> NDArray[np.generic]:
    data = np.asarray(values)
    if data.ndim not in (1, 2) or len(data) != rows or data.dtype.kind not in "biuf":
        raise InputError(f"the {what} does not match the mesh", value=f"shape {data.shape}",
                         expected=f"{rows} rows of numbers")
    if data.dtype.kind == "b":
        data = data.astype(np.int64)
    if data.ndim == 2 and data.shape[1] == 2:
        data = np.column_stack([data, np.zeros(rows)])
    return data


def read(path: str | Path, name: str = "") -> Mesh:
    """Read a file with flat triangles (3 or 6 points) into one body with one edge, "boundary".

    Clockwise triangles are reversed, straight ones get mid-sides, unused points are dropped. `name`
    is that of the body, by default the file name without its suffix.

    Raises InputError for a file that is missing, that meshio cannot read, or whose triangles are
    not flat in z, not finite, or degenerate.
    """
    document = _load(path)
    blocks: dict[str, list[IntArray]] = {"triangle": [], "triangle6": []}
    for block in document.cells:
        if block.type in blocks:
            blocks[block.type].append(np.asarray(block.data, dtype=np.int64))
    if not any(blocks.values()) or all(blocks.values()):
        raise InputError("the mesh has no triangles, or mixes straight and quadratic ones",
                         file=str(path), value=", ".join(b.type for b in document.cells),
                         expected="triangle or triangle6")
    triangles: NDArray[Any] = np.vstack(blocks["triangle"] or blocks["triangle6"])
    xyz: NDArray[Any] = np.array(document.points, dtype=float)
    if not len(triangles) or triangles.min() < 0 or triangles.max() >= len(xyz):
        raise InputError("the triangles refer to points that the file lacks", file=str(path))
    used, which = np.unique(triangles, return_inverse=True)
    xyz, triangles = xyz[used], np.asarray(which, dtype=np.int64).reshape(triangles.shape)
    if not np.isfinite(xyz).all():
        raise InputError("a coordinate is not a finite number", file=str(path))
    if xyz.shape[1] > 2 and np.ptp(xyz[:, 2]) > 1e-9 * np.ptp(xyz[:, :2]):
        raise InputError("the mesh is not flat", file=str(path),
                         value=f"z from {xyz[:, 2].min()} to {xyz[:, 2].max()}",
                         expected="one z for all points")
    points = np.ascontiguousarray(xyz[:, :2])
    turned = corner_areas(points, triangles) < 0.0
    if blocks["triangle"]:
        triangles[turned] = triangles[turned][:, [0, 2, 1]]
        points, triangles = with_midsides(points, triangles)
    else:
        triangles[turned] = triangles[turned][:, [0, 2, 1, 5, 4, 3]]
    try:
        return Mesh(name or Path(path).stem, points, triangles, {"boundary": border(triangles)})
    except InputError as error:
        raise error.at(file=str(path)) from error


def _load(path: str | Path) -> meshio.Mesh:
    if not Path(path).is_file():
        raise InputError("there is no such file", file=str(path))
    try:
        # meshio prints and ends the program when every reader of a format fails.
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            return meshio.read(str(path))
    except SystemExit as error:
        raise InputError("the mesh cannot be read", file=str(path)) from error
    except Exception as error:  # readers fail in many ways on broken files
        raise InputError("the mesh cannot be read", file=str(path), value=str(error)) from error
