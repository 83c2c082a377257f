"""Studies whose section is read from files: what they answer, keep and refuse."""

from __future__ import annotations

import json
import os
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from map_files import GRID, SHAPE, cells, csv, npy, png, study_text, write
from under_loads import under_loads

from buttress.bone.section import Section, trabecular_strength
from buttress.cli import app as cli
from buttress.comparison.compare import compare
from buttress.draw import all as figures
from buttress.draw.map import modulus_map
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.report.assumptions import assumptions
from buttress.report.folder import write_results
from buttress.study.read import load_study, parse_study, study_from
from buttress.study.study import SectionInput
from buttress.sweeps.sweep import sweep
from buttress.sweeps.vary import plain, varied

MODULUS = f'map = {{ file = "m.npy", kind = "modulus", {GRID} }}'
DENSITY = f'map = {{ file = "m.npy", kind = "density", law = "Morgan 2003 tibia", {GRID} }}'
SMOOTH = MODULUS.replace(" }", ", smoothing_mm = 3 }")
X, Y = cells()
INSIDE = np.array([[0.0, -30.0], [20.3, -7.9], [-13.7, -100.2], [37.9, -10.0]])


def section(folder: Path, text: str, **files: bytes) -> Section:
    return Section(load_study(write(folder, text, **files)).section)


# --- values -------------------------------------------------------------------------------------

def test_a_uniform_map_is_the_constant_modulus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                               ) -> None:
    path = write(tmp_path, MODULUS, m_npy=npy(np.full(SHAPE, 640.0)))
    mapped = under_loads(load_study(path), limits=False, pictures=False).constructs[0]
    monkeypatch.setattr(Section, "core_modulus", lambda self, h: np.full(np.shape(h), 640.0))
    constant = under_loads(parse_study(study_text("")), limits=False, pictures=False).constructs[0]
    one, two = (c.loads[0].fragments["medial"] for c in (mapped, constant))
    assert one.subsidence_mean_mm == pytest.approx(two.subsidence_mean_mm, rel=1e-10)
    assert one.tilt_deg == pytest.approx(two.tilt_deg, rel=1e-9)
    assert mapped.capacity_N == pytest.approx(constant.capacity_N, rel=1e-9)


def test_below_the_flare_a_map_of_the_preset_is_the_preset(tmp_path: Path) -> None:
    shaft = np.array([[0.0, -90.0], [-13.99, -70.0], [9.3, -119.0]])
    bone = section(tmp_path, MODULUS, m_npy=npy(np.full(SHAPE, 400.0)))
    preset = Section(parse_study(study_text("")).section)
    np.testing.assert_allclose(bone.sheets(shaft), preset.sheets(shaft), rtol=1e-10)
    np.testing.assert_allclose(bone.local_bone(shaft).compressive_strength,
                               preset.local_bone(shaft).compressive_strength, rtol=1e-10)


@pytest.mark.parametrize("smoothing", ["", ", smoothing_mm = 2.5"])
def test_a_linear_map_is_interpolated_exactly(tmp_path: Path, smoothing: str) -> None:
    values = 900.0 + 3.0 * X + 4.0 * Y
    bone = section(tmp_path, MODULUS.replace(" }", smoothing + " }"), m_npy=npy(values))
    wanted = 900.0 + 3.0 * INSIDE[:, 0] + 4.0 * INSIDE[:, 1]
    # Smoothing leaves a linear field alone but where the map ends, 5 mm from the bone.
    np.testing.assert_allclose(bone.core_at(INSIDE), wanted, rtol=1e-12 if not smoothing else 2e-3)


def test_density_goes_through_the_law_and_to_the_strength(tmp_path: Path) -> None:
    bone = section(tmp_path, DENSITY, m_npy=npy(np.full(SHAPE, 0.3)))
    assert bone.core_at([0.0, -30.0]) == pytest.approx(15490 * 0.3**1.93)
    assert bone.local_bone(np.array([0.0, -30.0])).compressive_strength == pytest.approx(
        34.2 * 0.3**1.56)
    ash = section(tmp_path / "ash", DENSITY.replace("Morgan 2003 tibia", "Keyak 1994 tibia, ash"),
                  m_npy=npy(np.full(SHAPE, 0.3)))
    assert ash.core_at([0.0, -30.0]) == pytest.approx(33900 * 0.3**2.2)
    assert ash.local_bone(np.array([0.0, -30.0])).compressive_strength == pytest.approx(
        34.2 * (1.67 * 0.3)**1.56)


def test_scale_and_cover_of_a_map(tmp_path: Path) -> None:
    raw = npy(np.full(SHAPE, 500.0))
    soft = section(tmp_path / "a", MODULUS + "\nmodulus_scale = 0.5", m_npy=raw)
    np.testing.assert_allclose(soft.core_at(INSIDE), 250.0)
    core = section(tmp_path / "b", MODULUS, m_npy=raw)
    whole = section(tmp_path / "c", MODULUS.replace(" }", ', covers = "all" }'), m_npy=raw)
    assert core.is_cortex(np.array([37.9, -10.0]), 0.0)
    assert not whole.is_cortex(np.array([37.9, -10.0]), 0.0)
    np.testing.assert_allclose(whole.sheets(INSIDE)[:, 0],
                               500.0 / 0.91 * whole.chord(INSIDE), rtol=1e-12)
    np.testing.assert_allclose(whole.local_bone(INSIDE).compressive_strength,
                               trabecular_strength(500.0))


def test_air_outside_does_not_soften_the_edge_nor_the_smoothed_edge(tmp_path: Path) -> None:
    bone = Section(parse_study(study_text("")).section)
    edge = bone.half_width(Y.ravel()).reshape(SHAPE)
    air = (np.abs(X) > edge) | (Y > 0) | (Y < -120)
    values = np.where(air, 0.0, 700.0)
    mapped = section(tmp_path, SMOOTH, m_npy=npy(values))
    outline = bone.outline()[0]
    np.testing.assert_allclose(mapped.core_at(outline), 700.0, rtol=1e-12)


def test_marrow_needs_a_least_modulus(tmp_path: Path) -> None:
    values = np.where((np.abs(X) < 6) & (Y < -70), 0.0, 700.0)
    with pytest.raises(InputError, match=r"almost empty at row .* \(-5\.5, -70\.5\) mm|least_MPa"):
        section(tmp_path, MODULUS, m_npy=npy(values))
    text = MODULUS.replace(" }", ", least_MPa = 5 }")
    assert section(tmp_path, text, m_npy=npy(values)).core_at([0.0, -100.0]) == 5.0


def test_formats_agree_and_the_top_row_is_proximal(tmp_path: Path) -> None:
    values = (900.0 + 4.0 * Y - 2.0 * X) / 2000.0
    found = []
    for name, raw, more in (("npy", npy(2000 * values), ""), ("csv", csv(2000 * values), ""),
                            ("png", png(values), ", low_MPa = 0, high_MPa = 2000")):
        text = MODULUS.replace("m.npy", f"m.{name}").replace(" }", more + " }")
        found.append(section(tmp_path / name, text, **{f"m_{name}": raw}).core_at(INSIDE))
    np.testing.assert_allclose(found[1], found[0], rtol=1e-12)
    np.testing.assert_allclose(found[2], found[0], atol=2000 / 65535)
    assert found[0][0] > found[0][2]


def test_an_outline_takes_the_place_of_the_sizes(tmp_path: Path) -> None:
    preset = Section(parse_study(study_text("")).section)
    points = preset.outline()[0]
    low = points[:, 1] < -119
    points[low] = [[-14, -125], [14, -125]]
    raw = ("x_mm,y_mm\n" + "\n".join(f"{x:.6f},{y:.6f}" for x, y in points)).encode()
    path = write(tmp_path, 'outline_file = "o.csv"', o_csv=raw)
    study = load_study(path)
    bone = Section(study.section)
    levels = np.array([-10.0, -30.0, -55.0, -90.0])
    np.testing.assert_allclose(bone.half_width(levels), preset.half_width(levels), atol=0.06)
    np.testing.assert_allclose(bone.sheets(INSIDE), preset.sheets(INSIDE), rtol=0.03)
    one = under_loads(study, limits=False, pictures=False).constructs[0]
    two = under_loads(parse_study(study_text("")), limits=False, pictures=False).constructs[0]
    # The same bone but for the line, simplified by 0.05 mm. (The mean subsidence differs by 4 %:
    # the joint surface of an outline reaches half-way round its rounded edges.)
    assert one.loads[0].stiffness_N_per_mm == pytest.approx(two.loads[0].stiffness_N_per_mm, rel=2e-3)
    assert one.capacity_N == pytest.approx(two.capacity_N, rel=2e-3)
    with pytest.raises(InputError, match="width_mm is given together with an outline"):
        load_study(write(tmp_path, 'outline_file = "o.csv"\nwidth_mm = 70', o_csv=raw))


def test_the_section_of_the_readme_is_read(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    block = readme.split("<!-- section from files -->")[1].split("```")[1].removeprefix("toml\n")
    preset = Section(parse_study(study_text("")).section)
    points = np.where(preset.outline()[0] == -120.0, -124.0, preset.outline()[0])
    (tmp_path / "outline.csv").write_bytes(outline_file(points))
    (tmp_path / "density.png").write_bytes(png(np.full((260, 180), 0.5)))
    path = tmp_path / "s.toml"
    text = study_text("").replace('outline = "simple"\n', "")
    path.write_text(text.replace('[section]\nbone = "dense"\nside = "right"\n', block))
    bone = Section(load_study(path).section)
    assert bone.core_at([0.0, -30.0]) == pytest.approx(15490 * 0.3**1.93, rel=1e-3)


# --- files stay with the study ------------------------------------------------------------------

def test_results_can_be_made_again_from_their_own_folder(tmp_path: Path) -> None:
    values = 900.0 + 4.0 * Y
    path = write(tmp_path / "in", MODULUS.replace("m.npy", "sub/map.npy"))
    (tmp_path / "in" / "sub").mkdir()
    (tmp_path / "in" / "sub" / "map.npy").write_bytes(npy(values))
    comparison = under_loads(load_study(path))
    out = tmp_path / "out"
    out.mkdir()
    write_results(comparison, out, path.read_text())
    assert (out / "sub" / "map.npy").read_bytes() == npy(values)
    assert (out / "map-2.png").exists()          # "map" is the stem of the user's own file
    assert resolved(load_study(out / "study.toml")) == resolved(comparison.study)
    told = json.loads((out / "comparison.json").read_text())["study"]["section"]["map"]
    assert told["file"] == "sub/map.npy"
    assert len(told["sha256"]) == 64
    page = (out / "report.html").read_text()
    assert "modulus from sub/map.npy, 1 mm per cell, not smoothed" in page
    assert str(tmp_path) not in page
    assert str(tmp_path) not in (out / "comparison.json").read_text()
    assert all(a.what.startswith("dense") is False for a in assumptions(comparison.study))
    (tmp_path / "in" / "sub" / "map.npy").write_bytes(npy(values + 1))
    with pytest.raises(InputError, match="changed after the study was read"):
        write_results(comparison, out, path.read_text())


def test_a_study_made_with_another_file_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, MODULUS, m_npy=npy(np.full(SHAPE, 500.0)))
    data = resolved(load_study(path))
    assert resolved(study_from(data, folder=tmp_path)) == data
    (tmp_path / "m.npy").write_bytes(npy(np.full(SHAPE, 501.0)))
    with pytest.raises(InputError, match="differs from the one with which the study was made"):
        study_from(data, folder=tmp_path)
    with pytest.raises(InputError, match="has no folder"):
        study_from(data)


def test_cases_of_a_sweep_find_the_files_and_know_their_content(tmp_path: Path) -> None:
    path = write(tmp_path, MODULUS, m_npy=npy(np.full(SHAPE, 500.0)),
                 other_npy=npy(np.full(SHAPE, 900.0)))
    study = load_study(path)
    case = varied(study, {"section.map.file": "other.npy", "section.map.smoothing_mm": 1.0}).study
    assert Section(case.section).core_at([0.0, -30.0]) == pytest.approx(900.0)
    assert case != study
    assert study_from(plain(study), folder=study.folder) == study
    summary = sweep(study, ["section.map.file=m.npy,other.npy"], out=tmp_path / "s.sqlite",
                        workers=1)
    assert not summary.failed


def test_the_figure_shows_the_file_under_the_mesh(tmp_path: Path) -> None:
    path = write(tmp_path, DENSITY, m_npy=npy(0.3 + 0.001 * Y))
    comparison = compare(load_study(path))
    drawn = dict(figures.drawn(comparison))
    ax = drawn["map"]
    [image] = ax.images
    assert image.get_extent() == [-45.0, 45.0, -125.0, 5.0]
    np.testing.assert_allclose(image.get_array()[-1, 0], 0.3 + 0.001 * 4.5)   # top row on top
    assert ax.get_xlabel() == "lateral x [mm]\nright tibia seen from the front"
    assert "Educational" in "".join(t.get_text() for t in ax.figure.texts)
    mesh = comparison.constructs[0].pictures[0].bodies
    only = modulus_map(comparison.study, mesh, ax=ax.figure.add_axes((0, 0, 1, 1)))
    assert only.get_title() == "as the file has it"
    with pytest.raises(ValueError, match="no map"):
        modulus_map(parse_study(study_text("")), mesh)


# --- wrong input, through the command -----------------------------------------------------------

def refused(path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
            ) -> str:
    """What the command says of a study that it refuses."""
    out = path.parent / "out"
    monkeypatch.setattr(sys, "argv", ["buttress", "compare", str(path), "--out", str(out)])
    with pytest.raises(SystemExit) as caught:
        cli.main()
    assert caught.value.code == 2
    assert not out.exists()
    told = capsys.readouterr().err
    assert told.startswith(f"buttress: {path}: ")
    assert "Traceback" not in told
    assert told.strip().isprintable()
    assert "expected: " in told
    assert len(told) < 1200
    return told


GOOD = np.full(SHAPE, 500.0)


def spoilt(value: float) -> bytes:
    values = GOOD.copy()
    values[40, 30] = value
    return npy(values)


@pytest.mark.parametrize(("section_text", "raw", "key", "told"), [
    (MODULUS, spoilt(np.nan), "section.map.file", "NaN (not a number) at row 41, column 31, (-14.5, -35.5) mm"),
    (MODULUS, spoilt(np.inf), "section.map.file", "infinity at row 41"),
    (MODULUS, spoilt(-1.0), "section.map.file", "-1, a negative number"),
    (DENSITY, spoilt(-800.0), "section.map.file", "Hounsfield"),
    (MODULUS, spoilt(0.0), "section.map.file", "almost empty at row 41, column 31"),
    (MODULUS, spoilt(1e9), "section.map.file", "looks like pascals"),
    (MODULUS, spoilt(0.1), "section.map.file", "implausible: 0.1 MPa"),
    (MODULUS, npy(GOOD / 1000), "section.map.file", "looks like gigapascals"),
    (DENSITY, npy(np.full(SHAPE, 300.0)), "section.map.file", "kg/m3"),
    (MODULUS.replace("scale_mm = 1,", "scale_mm = 0.1,"), npy(GOOD), "section.map.file",
     "does not cover the outline"),
    (MODULUS.replace("-125]", "-60]"), npy(GOOD), "section.map.file", "mm is missing at the base"),
    (MODULUS.replace("-45,", "-38,"), npy(GOOD[:, :70]), "section.map.file", "missing at the +x side"),
    (MODULUS.replace("scale_mm = 1,", "scale_mm = 0.001,"), npy(GOOD), "section.map.scale_mm",
     "looks like metres"),
    (MODULUS.replace("scale_mm = 1, ", ""), npy(GOOD), "section.map.scale_mm", "missing key"),
    (MODULUS.replace(" }", ', law = "Morgan 2003 tibia" }'), npy(GOOD), "section.map.law",
     "a map of modulus takes none"),
    (DENSITY.replace("Morgan 2003 tibia", "Morgan 203 tibia"), npy(GOOD), "section.map.law",
     'did you mean "Morgan 2003 tibia"'),
    (MODULUS.replace(" }", ", low_MPa = 0, high_MPa = 900 }"), npy(GOOD), "section.map.low_MPa",
     "does not fit"),
    (MODULUS.replace(" }", ", smoothing_mm = 9 }").replace("scale_mm = 1,", "scale_mm = 0.1,"),
     npy(GOOD), "section.map.file", "smoothing over 90 cells"),
    (MODULUS.replace("m.npy", "../m.npy"), npy(GOOD), "section.map.file", "leads out"),
    (MODULUS.replace("m.npy", "/dev/zero.npy"), npy(GOOD), "section.map.file", "absolute"),
    (MODULUS.replace("m.npy", "link.npy"), npy(GOOD), "section.map.file", "a symbolic link leads out"),
    (MODULUS, npy(np.array([[object]], dtype=object), allow_pickle=True), "section.map.file",
     "Python objects"),
    (MODULUS + '\nbone = "foam"', npy(GOOD), "section.bone", "not foam"),
    ('outline_file = "m.npy"', npy(GOOD), "section.outline_file", ".csv"),
    ('outline_file = "../o.csv"', npy(GOOD), "section.outline_file", "leads out"),
    ('outline_file = "o.csv"', npy(GOOD), "section.outline_file", "no such file"),
    (f'outline_sha256 = "{"0" * 64}"', npy(GOOD), "section.outline_sha256", "without a file"),
    (MODULUS.replace(" }", ', sha256 = "abc" }'), npy(GOOD), "section.map.sha256", "64 hexadecimal"),
    (MODULUS.replace(" }", f', sha256 = "{"0" * 64}" }}'), npy(GOOD), "section.map.file",
     "differs from the one with which the study was made"),
    (MODULUS.replace("m.npy", "a\\u001b[31mb.npy"), npy(GOOD), "section.map.file", "not a file path"),
    ('map = "m.npy"', npy(GOOD), "section.map", "a table of keys"),
])
def test_wrong_files_are_refused_by_name(section_text: str, raw: bytes, key: str, told: str,
                                         tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                         capsys: pytest.CaptureFixture[str]) -> None:
    if 'bone = "foam"' in section_text:
        path = write(tmp_path, section_text.split("\n")[0], m_npy=raw)
        path.write_text(path.read_text().replace('bone = "dense"', 'bone = "foam"'))
    else:
        path = write(tmp_path / "home", section_text, m_npy=raw)
        (tmp_path / "m.npy").write_bytes(raw)
        os.symlink(tmp_path / "m.npy", path.parent / "link.npy")
    message = refused(path, monkeypatch, capsys)
    assert f"key: {key} (line " in message
    assert told in message


@pytest.mark.parametrize(("name", "raw", "told"), [
    ("m.csv", b"1," * 1_000_000 + b"1\n1\n", "1000001 columns"),
    ("m.png", png(np.full(SHAPE, 0.5)), "the value of black"),
    ("m.png", b"\x89PNG\r\n\x1a\n", "is truncated"),
])
def test_other_formats_are_refused_too(name: str, raw: bytes, told: str, tmp_path: Path,
                                       monkeypatch: pytest.MonkeyPatch,
                                       capsys: pytest.CaptureFixture[str]) -> None:
    more = ", low_MPa = 0, high_MPa = 900" if told == "is truncated" else ""
    path = write(tmp_path, MODULUS.replace("m.npy", name).replace(" }", more + " }"))
    (tmp_path / name).write_bytes(raw)
    assert told in refused(path, monkeypatch, capsys)


def test_the_texts_of_these_tests_are_studies() -> None:
    assert tomllib.loads(study_text(DENSITY))["section"]["map"]["kind"] == "density"



def outline_file(points: np.ndarray) -> bytes:
    return ("x_mm,y_mm\n" + "\n".join(f"{x:.6f},{y:.6f}" for x, y in points)).encode()


def test_steps_of_pixels_go_with_smoothing(tmp_path: Path) -> None:
    preset = Section(parse_study(study_text("")).section)
    y = np.arange(0.0, -125.0, -0.5)
    half = np.round(2 * preset.half_width(y - 0.25)) / 2      # rows of pixels, 0.5 mm wide
    right = np.column_stack([np.repeat(half, 2), np.column_stack([y, y - 0.5]).ravel()])
    steps = outline_file(np.vstack([right * [-1, 1], right[::-1]]))
    with pytest.raises(InputError, match=r"folds back.*outline_smoothing_mm"):
        load_study(write(tmp_path, 'outline_file = "o.csv"', o_csv=steps))
    text = 'outline_file = "o.csv"\noutline_smoothing_mm = 0.8'
    bone = Section(load_study(write(tmp_path, text, o_csv=steps)).section)
    levels = np.array([-12.0, -25.0, -45.0, -90.0])
    np.testing.assert_allclose(bone.half_width(levels), preset.half_width(levels), atol=0.8)


def test_a_sagittal_outline(tmp_path: Path) -> None:
    sizes = Section(SectionInput(plane="sagittal", condyle="lateral", height_mm=125.0, outline="simple"))
    points = sizes.outline()[0]
    path = write(tmp_path, 'plane = "sagittal"\noutline_file = "o.csv"',
                 o_csv=outline_file(points))
    path.write_text(path.read_text().replace('side = "medial"', 'side = "anterior"').replace(
        "[[-3, 0], [-24, -57.7]]", "[[1, 3], [-30, -40]]").replace("[-25, -12]", "[-15, -6]"))
    study = load_study(path)
    bone = Section(study.section)
    assert set(bone.outline()[1]) == {"joint", "anterior", "posterior", "base"}
    along = bone.joint_direction
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(-5.0, abs=0.3)
    # Cuts are horizontal in a drawn outline, parallel to the joint in one from sizes.
    xy = np.array([[0.0, -20.0], [-14.0, -90.0]])
    np.testing.assert_allclose(bone.sheets(xy), sizes.sheets(xy), rtol=0.03)
    assert resolved(study_from(resolved(study), folder=tmp_path)) == resolved(study)
    with pytest.raises(InputError, match="slope_deg is given together with an outline"):
        load_study(write(tmp_path, 'plane = "sagittal"\nslope_deg = 3\noutline_file = "o.csv"'))
