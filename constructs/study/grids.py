"""Numbers on a grid from CSV, NPY or a greyscale PNG; sizes are checked before data are read.

All return the first row of the file (the top of the picture) as the first row of the array.
"""

from __future__ import annotations

import io
import math
import struct
import warnings
import zlib

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError

LARGEST = 40_000_000
"""Bytes of a map file."""
MOST_SIDE = 8192
MOST_CELLS = 2_000_000
"""Cells of a map: 0.1 mm over a whole proximal tibia needs half of them."""
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def checked_size(rows: int, columns: int, name: str) -> None:
    """Raise InputError for a grid with too few or too many cells."""
    if rows < 2 or columns < 2:
        raise InputError(f"a grid of {rows} rows and {columns} columns", value=name,
                         expected="at least two of each")
    if max(rows, columns) > MOST_SIDE or rows * columns > MOST_CELLS:
        raise InputError(f"too many cells: {rows} rows, {columns} columns", value=name,
                         expected=f"at most {MOST_SIDE} per side, {MOST_CELLS} in all; a coarser "
                                  "grid is enough, elements are a millimetre wide")


def from_csv(raw: bytes, name: str) -> FloatArray:
    """A grid of numbers, one row per line, separated by commas, semicolons or tabs."""
    lines = text_lines(raw, name)
    first = lines[0]
    mark = next((m for m in ("\t", ";", ",") if m in first), ",")
    columns = first.count(mark) + 1
    checked_size(len(lines), columns, name)
    out = np.empty((len(lines), columns))
    for i, line in enumerate(lines):
        if line.count(mark) + 1 != columns:
            raise InputError(f"line {i + 1} has {line.count(mark) + 1} numbers, the first has "
                             f"{columns}", value=name, expected="the same number in each line")
        for j, word in enumerate(line.split(mark)):
            out[i, j] = number(word, f"line {i + 1}, column {j + 1}", name)
    return out


def text_lines(raw: bytes, name: str) -> list[str]:
    """Lines of a text; trailing empty lines are dropped. Raises InputError for other data."""
    # Lines are counted before splitting: a file of nothing but line ends has millions.
    if raw.count(b"\n") > MOST_CELLS:
        raise InputError(f"too many lines: {raw.count(bytes([10]))}", value=name,
                         expected=f"at most {MOST_SIDE}")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("not a text file", value=name, expected="a CSV file in UTF-8") from None
    lines = text.rstrip().splitlines()
    if not lines or "\0" in text:
        raise InputError("the file is empty", value=name, expected="a CSV file with numbers")
    return lines


def number(word: str, where: str, name: str) -> float:
    """A number in a text. Raises InputError, with the place, for anything else."""
    try:
        return float(word)
    except ValueError:
        shown = "".join(c for c in word if c.isprintable())[:30]
        raise InputError(f"not a number in {where}: \"{shown}\"", value=name,
                         expected="numbers such as 1.5, with a decimal point") from None


def from_npy(raw: bytes, name: str) -> FloatArray:
    """A two-dimensional array of real numbers. Objects are never unpickled."""
    file = io.BytesIO(raw)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            version = np.lib.format.read_magic(file)
            read = {(1, 0): np.lib.format.read_array_header_1_0,
                    (2, 0): np.lib.format.read_array_header_2_0}[version]
            shape, fortran, kind = read(file)
    except Exception:  # whatever a hostile header does to the parser
        raise InputError("the file has no valid NPY header", value=name,
                         expected="an array of numbers written by numpy.save") from None
    if kind.hasobject or kind.kind not in "fiu" or kind.itemsize > 8:
        raise InputError(f"an array of {kind}" if not kind.hasobject
                         else "an array of Python objects, which are not loaded", value=name,
                         expected="an array of real numbers, at most 8 bytes each")
    if len(shape) != 2:
        raise InputError(f"an array of {len(shape)} dimensions", value=name,
                         expected="two: rows from the top down, columns from -x to +x")
    rows, columns = (int(n) for n in shape)
    checked_size(rows, columns, name)
    left, wanted = len(raw) - file.tell(), rows * columns * kind.itemsize
    if left != wanted:
        raise InputError(f"the file holds {left} bytes of numbers, its header states {wanted}",
                         value=name, expected="a complete file")
    flat = np.frombuffer(raw, dtype=kind, count=rows * columns, offset=file.tell())
    return flat.reshape((rows, columns), order="F" if fortran else "C").astype(float)


def from_png(raw: bytes, name: str) -> FloatArray:
    """Grey values from 0 (black) to 1 (white) of an 8- or 16-bit greyscale picture.

    The size is read from the header and the data are unpacked up to that size before they reach
    a decoder, which is given header and data only, so that no other chunk can do harm.
    """
    wanted = "a greyscale PNG of 8 or 16 bits, without alpha and without interlacing"
    chunks = _chunks(raw, name)
    if not chunks or chunks[0][0] != b"IHDR" or len(chunks[0][1]) != 13:
        raise InputError("the file has no valid PNG header", value=name, expected=wanted)
    columns, rows, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if colour != 0 or depth not in (8, 16) or interlaced:
        kinds = {0: "greyscale", 2: "colour", 3: "palette", 4: "grey with alpha",
                 6: "colour with alpha"}
        raise InputError(f"an image of kind {kinds.get(colour, colour)}, {depth} bits"
                         + (", interlaced" if interlaced else ""), value=name, expected=wanted)
    checked_size(rows, columns, name)
    data = b"".join(body for kind, body in chunks if kind == b"IDAT")
    size = rows * (columns * depth // 8 + 1)
    try:
        unpack = zlib.decompressobj()
        found = len(unpack.decompress(data, size + 1))
    except zlib.error:
        raise InputError("the image data are damaged", value=name,
                         expected=wanted) from None
    if found != size:
        more = "more" if found > size else "less"
        raise InputError(f"the image unpacks to {more} than its header states", value=name,
                         expected=f"{rows} rows of {columns} cells")
    clean = SIGNATURE + b"".join(_chunk(k, b) for k, b in (chunks[0], (b"IDAT", data),
                                                           (b"IEND", b"")))
    return _decoded(clean, (rows, columns), name) / float(2**depth - 1)


def _chunks(raw: bytes, name: str) -> list[tuple[bytes, bytes]]:
    """Kinds and contents of the chunks of a PNG as far as its end mark."""
    if not raw.startswith(SIGNATURE):
        raise InputError("not a PNG", value=name, expected="an image in PNG format")
    out: list[tuple[bytes, bytes]] = []
    at = len(SIGNATURE)
    while at + 12 <= len(raw):
        length, kind = struct.unpack(">I4s", raw[at:at + 8])
        if at + 12 + length > len(raw):
            break
        out.append((kind, raw[at + 8:at + 8 + length]))
        at += 12 + length
        if kind == b"IEND":
            return out
    raise InputError("the image is truncated", value=name, expected="a complete PNG file")


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _decoded(clean: bytes, shape: tuple[int, int], name: str) -> FloatArray:
    from PIL import Image

    try:
        with Image.open(io.BytesIO(clean), formats=("PNG",)) as picture:
            values = np.asarray(picture, dtype=float)
    except (OSError, ValueError, SyntaxError):
        raise InputError("the image data are damaged", value=name,
                         expected="a complete PNG file") from None
    if values.shape != shape:
        raise InputError("the image size differs from that in its header", value=name,
                         expected=f"{shape[0]} rows of {shape[1]} cells")
    return values


READERS = {".csv": from_csv, ".npy": from_npy, ".png": from_png}


def check_values(values: FloatArray, place: object, name: str) -> None:
    """Raise InputError, with the first place, for numbers that are not finite or negative.

    `place` is called with row and column from 0 and returns the location in words.
    """
    assert callable(place)
    bad = ~np.isfinite(values) | (values < 0)
    if not bad.any():
        return
    i, j = (int(k) for k in np.argwhere(bad)[0])
    value = values[i, j]
    what = "NaN (not a number)" if math.isnan(value) else (
        "infinity" if math.isinf(value) else f"{value:g}, a negative number")
    raise InputError(f"the map holds {what} at {place(i, j)}, and in {int(bad.sum())} cells in all",
                     value=name, expected="numbers of 0 (no bone) and above"
                     + ("; negative ones look like Hounsfield units, which are not a density"
                        if value < -50 else ""))
