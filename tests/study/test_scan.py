"""Files of a section: what is read, and what is refused in bounded memory."""

from __future__ import annotations

import os
import struct
import tracemalloc
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from map_files import chunk, csv, npy, png, raw_png

from buttress.fe.errors import InputError
from buttress.study.files import inside, read_bytes
from buttress.study.grids import READERS, from_csv, from_npy, from_png
from buttress.study.outline import drawn, points_of

VALUES = np.random.default_rng(3).uniform(0.0, 1.0, (7, 5))
MEMORY = 40e6  # bytes that reading any file may take at its peak


@pytest.fixture(autouse=True)
def little_memory() -> Iterator[None]:
    tracemalloc.start()
    yield
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < MEMORY


# --- grids --------------------------------------------------------------------------------------

@pytest.mark.parametrize(("name", "raw", "precise"), [
    ("a.csv", csv(VALUES), 0.0),
    ("a.csv", csv(VALUES).replace(b",", b";") + b"\n\n", 0.0),
    ("a.csv", b"\xef\xbb\xbf" + csv(VALUES).replace(b",", b"\t").replace(b"\n", b"\r\n"), 0.0),
    ("a.npy", npy(VALUES), 0.0),
    ("a.npy", npy(np.asfortranarray(VALUES)), 0.0),
    ("a.npy", npy(VALUES.astype(">f8")), 0.0),
    ("a.npy", npy(VALUES.astype(np.float32)), 1e-7),
    ("a.png", png(VALUES, 8), 1 / 255),
    ("a.png", png(VALUES, 16), 1 / 65535),
])
def test_numbers_come_back_with_the_top_row_first(name: str, raw: bytes, precise: float) -> None:
    got = READERS["." + name.split(".")[1]](raw, name)
    np.testing.assert_allclose(got, VALUES, rtol=0, atol=precise)


def test_a_header_of_the_second_version_and_whole_numbers() -> None:
    raw = npy((VALUES * 100).astype(np.int16))
    head = raw[10:10 + struct.unpack("<H", raw[8:10])[0]]
    second = b"\x93NUMPY\x02\x00" + struct.pack("<I", len(head)) + head + raw[10 + len(head):]
    np.testing.assert_array_equal(from_npy(second, "a.npy"), (VALUES * 100).astype(np.int16))


class Bang:
    """What a pickle in a file would run."""

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.system, ("touch unpickled",)


def bare(shape: str, kind: str = "'<f8'", data: bytes = b"") -> bytes:
    head = f"{{'descr': {kind}, 'fortran_order': False, 'shape': {shape}}}".encode()
    head += b" " * (64 - (len(head) + 11) % 64) + b"\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head + data


GOOD = zlib.compress(b"\0" * (100 * 101))
BOMB = zlib.compress(b"\0" * 50_000_000, 9)


@pytest.mark.parametrize(("raw", "told"), [
    (npy(np.array([[Bang()]], dtype=object), allow_pickle=True), "Python objects"),
    (bare("(10**9, 10**9)"), "no valid NPY header"),
    (bare("(1000000000, 1000000000)"), "too many cells"),
    (bare("(-5, -5)"), "5 columns"),
    (bare("(7, 5)", data=b"12345678"), "8 bytes of numbers, its header states 280"),
    (bare("(7, 5)", "[('a', '<f8'), ('b', 'O')]"), "Python objects"),
    (bare("(7, 5)", "'<U4'"), "an array of"),
    (bare("(7, 5)", "'<c16'"), "an array of complex128"),
    (bare("(3, 3, 3)"), "3 dimensions"),
    (bare("(" * 500 + ")" * 500), "no valid NPY header"),
    (bare("__import__('os').system('touch unpickled')"), "no valid NPY header"),
    (b"\x93NUMPY\x02\x00\xff\xff\xff\xff{}", "no valid NPY header"),
    (b"\x93NUMPY\x07\x00", "no valid NPY header"),
    (b"", "no valid NPY header"),
    (npy(VALUES)[:-1], "279 bytes"),
    (npy(VALUES) + b"x", "281 bytes"),
])
def test_wrong_npy(raw: bytes, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=told):
        from_npy(raw, "a.npy")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("raw", "told"), [
    (raw_png(100_000, 100_000, GOOD), "too many cells"),
    (raw_png(2**31, 2**31, GOOD), "too many cells"),
    (raw_png(100, 100, BOMB), "unpacks to more than its header states"),
    (raw_png(100, 100, zlib.compress(b"\0" * 50)), "unpacks to less"),
    (raw_png(100, 100, b"no data at all"), "damaged"),
    (raw_png(100, 100, zlib.compress(b"\x09" * (100 * 101))), "damaged"),  # no such filter
    (raw_png(100, 100, GOOD, colour=2), "kind colour, 8 bits"),
    (raw_png(100, 100, GOOD, colour=4), "grey with alpha"),
    (raw_png(100, 100, GOOD, depth=1), "1 bits"),
    (raw_png(100, 100, GOOD, interlaced=1), "interlaced"),
    (raw_png(100, 100, GOOD)[:-20], "is truncated"),
    (raw_png(100, 100, GOOD).replace(b"IHDR", b"IHDX"), "no valid PNG header"),
    (b"\x89PNG\r\n\x1a\n" + b"\xff\xff\xff\xffIHDR", "is truncated"),
    (b"GIF89a", "not a PNG"),
    (b"", "not a PNG"),
])
def test_wrong_png(raw: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told):
        from_png(raw, "a.png")


def test_a_bomb_in_a_chunk_that_is_not_needed_is_left_packed() -> None:
    text = chunk(b"zTXt", b"a\0\0" + BOMB) + chunk(b"iCCP", b"a\0\0" + BOMB)
    got = from_png(raw_png(100, 100, GOOD, before=text), "a.png")
    assert got.shape == (100, 100)
    assert not got.any()


@pytest.mark.parametrize(("raw", "told"), [
    (b"1," * 1_000_000 + b"1\n1\n", "too many cells: 2 rows, 1000001 columns"),
    (b"1,2\n" * 3_000_000, "too many lines: 3000000"),
    (b"1,2\n" * 10_000, "too many cells: 10000 rows"),
    (b"1,2\n3\n", "line 2 has 1 numbers, the first has 2"),
    (b"1,2\n3,x\x1b[31m\n", r'not a number in line 2, column 2: "x\[31m"'),
    (b"x_mm,y_mm\n1,2\n", "line 1, column 1"),
    (b"1,2\n", "grid of 1 rows"),
    (b"", "file is empty"),
    (b"\n\n\n", "file is empty"),
    (b"1,2\n3,\xff", "not a text"),
    (b"1,2\n3,\0", "file is empty"),
])
def test_wrong_csv(raw: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told):
        from_csv(raw, "a.csv")


# --- places -------------------------------------------------------------------------------------

@pytest.mark.parametrize(("name", "told"), [
    ("../secret.csv", "leads out"),
    ("sub/../../secret.csv", "leads out"),
    ("sub\\..\\..\\secret.csv", "leads out"),
    ("/etc/passwd.csv", "absolute"),
    ("C:\\data\\secret.csv", "absolute"),
    ("\\\\server\\share\\secret.csv", "absolute"),
    ("link.csv", "a symbolic link leads out"),
    ("folder/secret.csv", "a symbolic link leads out"),
    ("loop.csv", "cannot be found|no such file"),
    ("nothing.csv", "no such file"),
    ("good.txt", "unsupported kind"),
    ("comparison.csv", "a file of its own with this name"),
    ("./Comparison.csv", "a file of its own with this name"),
    ("", "not a file path"),
    ("a\nb.csv", "not a file path"),
    ("x" * 300 + ".csv", "not a file path"),
])
def test_paths_that_are_refused(name: str, told: str, tmp_path: Path) -> None:
    home = tmp_path / "home"
    (home / "sub").mkdir(parents=True)
    (tmp_path / "secret.csv").write_text("1,2\n3,4\n")
    (home / "good.txt").write_text("1,2\n3,4\n")
    (home / "link.csv").symlink_to(tmp_path / "secret.csv")
    (home / "folder").symlink_to(tmp_path)
    (home / "loop.csv").symlink_to(home / "loop.csv")
    with pytest.raises(InputError, match=told):
        inside(home, name, (".csv",))


def test_paths_that_are_taken(tmp_path: Path) -> None:
    (tmp_path / "real" / "sub").mkdir(parents=True)
    (tmp_path / "real" / "sub" / "a.CSV").write_text("1,2\n3,4\n")
    (tmp_path / "home").symlink_to(tmp_path / "real")
    (tmp_path / "real" / "b.csv").symlink_to("sub/a.CSV")
    for name in ("sub/a.CSV", "./sub/a.CSV", "b.csv"):
        path = inside(tmp_path / "home", name, (".csv",))
        assert read_bytes(path, name, 100) == b"1,2\n3,4\n"
    with pytest.raises(InputError, match="no folder"):
        inside(None, "a.csv", (".csv",))


def test_what_is_no_plain_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "folder.csv").mkdir()
    for name in ("pipe.csv", "folder.csv"):
        with pytest.raises(InputError, match=r"not a regular file|cannot be read"):
            read_bytes(inside(tmp_path, name, (".csv",)), name, 100)
    (tmp_path / "large.csv").write_bytes(b"")
    os.truncate(tmp_path / "large.csv", 10**12)  # a hole: no byte of it is on the disk
    with pytest.raises(InputError, match="too large: 1000000000000 bytes"):
        read_bytes(tmp_path / "large.csv", "large.csv", 100)


# --- outlines -----------------------------------------------------------------------------------

BONE = [(-38, -4), (-36, -1), (-34, 0), (-10, -0.5), (0, 1), (12, -0.5), (34, 0), (38, -4),
        (38, -16), (14, -60), (14, -130), (-14, -130), (-14, -60), (-38, -16)]


def text(points: list[tuple[float, float]], header: str = "x_mm,y_mm") -> bytes:
    return "\n".join([header, *(f"{x},{y}" for x, y in points)]).encode()


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("start", [0, 5, 10])
def test_walls_joint_and_clamp_of_an_outline(order: int, start: int) -> None:
    points = np.roll(np.array(BONE, dtype=float), start, axis=0)[::order]
    shape = drawn(points_of(text([tuple(p) for p in points]), "o.csv"), 120.0, "o.csv")
    np.testing.assert_allclose(shape.left, [[-36, -1], [-38, -4], [-38, -16], [-14, -60],
                                            [-14, -120]])
    np.testing.assert_allclose(shape.right, [[34, 0], [38, -4], [38, -16], [14, -60], [14, -120]])
    np.testing.assert_allclose(shape.top, [[-36, -1], [-34, 0], [-10, -0.5], [0, 1], [12, -0.5],
                                           [34, 0]])
    assert shape.joint(-22.0) == pytest.approx(-0.25)
    assert shape.half_width(-38.0) == pytest.approx(26.0)
    assert shape.centre(-38.0) == pytest.approx(0.0)


@pytest.mark.parametrize(("points", "told"), [
    ([(x / 1000, y / 1000) for x, y in BONE], "looks like metres"),
    ([(x / 10, y / 10) for x, y in BONE], "looks like centimetres"),
    ([(10 * x, 10 * y) for x, y in BONE], "pixels"),
    ([(x, max(y, -100)) for x, y in BONE], "ends at -100 mm, above the clamp"),
    ([(x, -y - 130) for x, y in BONE], "upside down"),
    ([(x + 15, y) for x, y in BONE], r"joint line is drawn at \(14.0"),
    ([(x, y - 20) for x, y in BONE], "joint line is drawn at"),
    ([BONE[0], BONE[7], BONE[3], BONE[10], BONE[11]], "crosses itself"),
    ([*BONE[:4], (-15, 5), (-5, 5), (-12, 8), (5, 9), *BONE[4:]], "crosses itself|folds back"),
    ([*BONE[:8], (38, -16), (30, -14), (30, -30), *BONE[9:]], "folds back"),
    ([*BONE[:9], (38, -130), (24, -130), (24, -70), (14, -70), *BONE[10:]], "several pieces"),
    (BONE[:2], "outline of 2 corners"),
    ([(0, 0)] * 6000, "outline of 6000 corners"),
])
def test_wrong_outlines(points: list[tuple[float, float]], told: str) -> None:
    with pytest.raises(InputError, match=told):
        drawn(points_of(text(points), "o.csv"), 120.0, "o.csv")


@pytest.mark.parametrize(("raw", "told"), [
    (text(BONE, "x,y"), 'first line is "x,y".*x_mm,y_mm'),
    (text(BONE, "x_m,y_m"), "so that the unit is stated"),
    (text(BONE) + b"\n1,2,3", "line 16 has 3 numbers"),
    (text(BONE) + b"\nnan,2", "not a finite number in line 16"),
    (text(BONE) + b"\n1,two", "not a number in line 16"),
    (b"x_mm,y_mm," + b"1," * 400_000, "first line"),
])
def test_wrong_outline_files(raw: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told):
        points_of(raw, "o.csv")
