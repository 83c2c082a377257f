"""Whatever bytes a file holds, it is read or refused by name; whatever a slice, it is a figure."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from buttress.bone.field import make_field
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.study.grids import READERS
from buttress.study.outline import drawn, points_of
from buttress.study.study import SectionInput

VALUES = np.arange(35.0).reshape(7, 5) + 1


def _png() -> bytes:
    import io

    from PIL import Image

    file = io.BytesIO()
    Image.fromarray((VALUES * 7).astype(np.uint8)).save(file, "PNG")
    return file.getvalue()


def _npy() -> bytes:
    import io

    file = io.BytesIO()
    np.save(file, VALUES)
    return file.getvalue()


CSV = "\n".join(",".join(str(v) for v in row) for row in VALUES).encode()
OUTLINE = b"x_mm,y_mm\n-38,-4\n-34,0\n34,0\n38,-4\n38,-16\n14,-60\n14,-130\n-14,-130\n-14,-60\n-38,-16"


def _outline(raw: bytes, name: str) -> np.ndarray:
    return drawn(points_of(raw, name), 120.0, name).left


READ = {"npy": (_npy(), READERS[".npy"]), "png": (_png(), READERS[".png"]),
        "csv": (CSV, READERS[".csv"]), "outline": (OUTLINE, _outline)}


@pytest.mark.parametrize("kind", READ)
@given(data=st.data())
def test_a_damaged_file_is_read_or_refused(kind: str, data: st.DataObject) -> None:
    whole, read = READ[kind]
    raw = bytearray(whole)
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at:at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
        if not raw:
            break
    found, told = None, ""
    try:
        found = read(bytes(raw), "file")
    except InputError as error:
        told = str(error)
    assert told.isprintable()
    assert told or (found.ndim == 2 and found.dtype == float)


@pytest.mark.parametrize("kind", READ)
@given(raw=st.binary(max_size=400))
def test_noise_is_refused_or_read_as_the_numbers_that_it_spells(kind: str, raw: bytes) -> None:
    """No noise is a picture or an array; as text only what spells the numbers that are read."""
    for content in (raw, READ[kind][0][:12] + raw):
        try:
            found = READ[kind][1](content, "file")
        except InputError:
            continue
        assert kind in ("csv", "outline"), content
        words = re.split(rb"[,;\t\r\n ]+", content.removeprefix(b"\xef\xbb\xbf"))
        spelt = {float(w) for w in words if re.fullmatch(rb"[-+0-9.eE]+", w.strip())}
        assert found.size
        assert {float(x) for x in found.ravel()} <= spelt, content


@pytest.mark.parametrize("kind", READ)
def test_nothing_and_bytes_of_one_kind_are_refused(kind: str) -> None:
    for content in (b"", b"\x00" * 40, b"\xff" * 40, bytes(range(128, 168)), READ[kind][0][:9]):
        with pytest.raises(InputError):
            READ[kind][1](content, "file")


@given(scale=st.floats(0.2, 5.0), seed=st.integers(0, 99), smoothing=st.floats(0.0, 4.0),
       dx=st.floats(-3, 3), dy=st.floats(-3, 3))
def test_a_map_stays_between_its_least_and_largest_value(scale: float, seed: int, smoothing: float,
                                                         dx: float, dy: float) -> None:
    outline = np.array([[-20.0, -40], [20, -40], [20, 0], [-20, 0]])
    rows, columns = (int(np.ceil(n / scale)) + 2 for n in (48, 48))
    values = np.random.default_rng(seed).uniform(100.0, 900.0, (rows, columns))
    field = make_field(values, outline, name="m", scale=scale, corner=(-24 + dx, -44 + dy),
                       law=None, smoothing=smoothing, least=0.0)
    xy = np.random.default_rng(seed).uniform((-20, -40), (20, 0), (200, 2))
    got = field.modulus(xy)
    assert values.min() - 1e-9 <= got.min()
    assert got.max() <= values.max() + 1e-9
    # Without smoothing the centre of a cell has its own value; the first row is the top one.
    centre = np.array([-24 + dx + 2.5 * scale, -44 + dy + (rows - 1.5) * scale])
    if smoothing == 0.0:
        assert field.modulus(centre) == pytest.approx(values[1, 2])


@given(slope=st.floats(-11, 11), offset=st.floats(-30, 30), deep=st.floats(24, 50),
       width=st.floats(60, 90), depth=st.floats(35, 60), condyle=st.sampled_from(["medial", "lateral"]))
def test_every_slice_is_one_figure_with_stiff_bone_all_over(condyle: str, slope: float,
                                                            offset: float, deep: float,
                                                            width: float, depth: float) -> None:
    bone = Section(SectionInput.model_validate({
        "plane": "sagittal", "condyle": condyle, "slope_deg": slope, "shaft_offset_mm": offset,
        "slice_mm": deep, "width_mm": width, "depth_mm": depth}))
    points, labels = bone.outline()
    figure = Polygon(points)
    assert figure.is_valid
    assert len(labels) == len(points)
    assert figure.exterior.is_ccw
    for wall in bone.shape.walls():
        assert np.all(np.diff(wall[:, 1]) < 0)
    inside = np.array([figure.representative_point().coords[0], *(points * 0.999)])
    sheets, t, core = bone.sheets(inside), bone.thickness(inside), bone.core_thickness(inside)
    assert np.all(sheets[:, 0] > 0)
    assert np.all((core >= 0) & (core < t) & (t <= deep + 1e-9))


