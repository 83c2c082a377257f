"""Outlines, maps and hostile files for tests of sections that are read from files."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
from PIL import Image
from simple_shear import simple_text

SCALE = 1.0
CORNER = (-45.0, -125.0)
SHAPE = (130, 90)  # rows, columns: 5 mm of margin all round the default bone
GRID = 'scale_mm = 1, origin_mm = [-45, -125]'


def cells() -> tuple[np.ndarray, np.ndarray]:
    """x and y of the centres of the cells, the top row first, mm."""
    x = CORNER[0] + (np.arange(SHAPE[1]) + 0.5) * SCALE
    y = CORNER[1] + (np.arange(SHAPE[0])[::-1] + 0.5) * SCALE
    return np.meshgrid(x, y)


def npy(values: object, **options: object) -> bytes:
    """A NPY file."""
    file = io.BytesIO()
    np.save(file, np.asarray(values), **options)  # type: ignore[arg-type]
    return file.getvalue()


def csv(values: np.ndarray) -> bytes:
    """A CSV file."""
    return "\n".join(",".join(f"{v:.17g}" for v in row) for row in values).encode()


def png(values: np.ndarray, bits: int = 16) -> bytes:
    """A greyscale PNG of values from 0 to 1."""
    kind = np.uint16 if bits == 16 else np.uint8
    file = io.BytesIO()
    Image.fromarray(np.round(values * (2**bits - 1)).astype(kind)).save(file, "PNG")
    return file.getvalue()


def chunk(kind: bytes, body: bytes) -> bytes:
    """A chunk of a PNG."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def raw_png(columns: int, rows: int, data: bytes, *, depth: int = 8, colour: int = 0,
            before: bytes = b"", interlaced: int = 0) -> bytes:
    """A PNG of a head, other chunks, data that are compressed already, and an end."""
    head = struct.pack(">IIBBBBB", columns, rows, depth, colour, 0, 0, interlaced)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + before + chunk(b"IDAT", data)
            + chunk(b"IEND", b""))


def study_text(section: str, name: str = "mapped", size: float = 4.0) -> str:
    """The shipped shear fracture, coarse, one construct and load, with more under [section]."""
    kept = "" if "outline_file" in section else 'outline = "simple"\n'
    text = simple_text().replace('outline = "simple"\n', f"{kept}{section}\n", 1)
    text = text.replace('name = "medial-shear"', f'name = "{name}"')
    text = text.replace("[[fracture]]", f"[mesh]\nsize_mm = {size}\n\n[[fracture]]", 1)
    text = text.replace("total_N = [500, 1000, 1500]", "total_N = [700]")
    start = text.index("[[construct]]", text.index('name = "nothing"'))
    end = text.index("# ---", start)
    return text[:text.index("# ---")] + text[start:end]


def write(folder: Path, section: str, **files: bytes) -> Path:
    """A study in a folder with files beside it, named with "_" for the last "."."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        stem, _, ending = name.rpartition("_")
        (folder / f"{stem}.{ending}").write_bytes(content)
    path = folder / "study.toml"
    path.write_text(study_text(section))
    return path
