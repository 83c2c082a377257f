"""Strain and stress at any point asked for, against fields in closed form and the stored ones."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from command import inside
from small_study import small_study
from under_loads import under_loads

from buttress import LABEL, compare
from buttress.bone.section import Section
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.element import QUADRATURE
from buttress.fe.errors import InputError
from buttress.report.catalogue import lines, listed
from buttress.report.folder import write_results
from buttress.results.comparison import Comparison
from buttress.results.picture import BodyPicture, Picture
from buttress.results.probe import probed
from buttress.results.stress import TissueField
from buttress.study.bone import SectionInput
from buttress.study.view import View


@pytest.fixture(scope="module")
def made() -> Comparison:
    return under_loads(small_study("nothing", "lag screws", loads=(400.0, 900.0)), limits=False)


def linear() -> Picture:
    """Two triangles of a square in which strain and stress rise linearly."""
    corners = np.array([[0, -30], [10, -30], [10, -20], [0, -20]], dtype=float)
    middles = np.array([[5, -30], [10, -25], [5, -20], [0, -25], [5, -25]], dtype=float)
    points = np.concatenate([corners, middles])
    triangles = np.array([[0, 1, 2, 4, 5, 8], [0, 2, 3, 8, 6, 7]])
    body = BodyPicture("b", points, triangles, np.zeros_like(points))
    xy = quadrature_points(body)
    x, y = xy[..., 0], xy[..., 1]
    strain = np.stack([1e-4 * x, -2e-4 * y, 1e-5 * (x + y)], axis=-1)
    stress = np.stack([x, 2 * y, x - y], axis=-1)
    field = TissueField("b", "core", xy, np.ones(x.shape), strain, stress)
    return Picture("c", 100.0, True, "held", (body,), (), None, (), (), View("right"),  # type: ignore[arg-type]
                   fields=(field,))


@pytest.mark.parametrize(("x", "y"), [(0.0, -30.0), (10.0, -20.0), (3.0, -22.5), (5.0, -25.0),
                                      (9.9, -29.9)])
def test_a_linear_field_is_read_exactly(x: float, y: float) -> None:
    [row] = probed(Section(SectionInput(outline="simple")), linear(), [(x, y)])
    assert row["tissue"] == "core"
    assert [row[f"strain_{k}"] for k in ("xx", "yy", "xy")] == pytest.approx(
        [1e-4 * x, -2e-4 * y, 1e-5 * (x + y)], abs=1e-12)
    sxx, syy, sxy = x, 2 * y, x - y
    assert [row[f"stress_{k}_MPa"] for k in ("xx", "yy", "xy")] == pytest.approx(
        [sxx, syy, sxy], abs=1e-9)
    tensor = np.array([[sxx, sxy], [sxy, syy]])
    assert row["least_principal_MPa"] == pytest.approx(np.linalg.eigvalsh(tensor)[0])
    assert row["von_mises_MPa"] == pytest.approx(
        np.sqrt(sxx**2 - sxx * syy + syy**2 + 3 * sxy**2))
    strain = np.array([[1e-4 * x, 1e-5 * (x + y)], [1e-5 * (x + y), -2e-4 * y]])
    low, high = np.linalg.eigvalsh(strain)
    squeezed, pulled = Section(SectionInput(outline="simple")).yield_strain("core")
    assert row["strain_over_yield_strain"] == pytest.approx(max(-low / squeezed, high / pulled))


def test_at_a_quadrature_point_it_is_near_the_stored_value(made: Comparison) -> None:
    picture = made["lag screws"].picture(400.0)
    field = next(f for f in picture.fields if f.tissue == "core" and f.body == "medial")
    # In the rim there is no core. Close to the joint a triangle holds the step from subchondral to
    # cancellous modulus, over which a linear fit is no good; see the next test.
    there = (field.volume > 0.0).all(axis=1) & (field.points[:, :, 1] < -10.0).all(axis=1)
    k = int(np.argmax(np.abs(field.stress[..., 1]).max(axis=1) * there))
    point = tuple(field.points[k, 0])
    found = made.at([point])
    row = found[(found.construct == "lag screws") & (found.total_load_N == 400.0)
                & (found.tissue == "core")].iloc[0]
    assert row["body"] == "medial"
    size = np.abs(field.strain[k]).max()
    assert [row[f"strain_{c}"] for c in ("xx", "yy", "xy")] == pytest.approx(
        field.strain[k, 0], abs=1e-9 * size)    # linear in a straight triangle
    assert row["stress_yy_MPa"] == pytest.approx(field.stress[k, 0, 1], rel=0.02)
    assert row["von_mises_MPa"] == pytest.approx(field.von_mises[k, 0], rel=0.02)


def test_the_centre_of_every_triangle_has_its_mean(made: Comparison) -> None:
    """A weighted linear fit keeps the mean, which a straight triangle has at its centroid: also
    where the modulus steps within it."""
    field = next(f for f in made["lag screws"].picture(400.0).fields
                 if f.tissue == "core" and f.body == "medial")
    weight = QUADRATURE[field.stress.shape[1]][1]
    whole = np.flatnonzero((field.volume > 0.0).all(axis=1))
    steepest = whole[np.argsort(-np.ptp(field.stress[whole, :, 1], axis=1))[:5]]
    assert steepest.size == 5
    for k in steepest:
        centre, mean = (weight @ x[k] / weight.sum() for x in (field.points, field.stress))
        found = made.at([tuple(centre)])
        row = found[(found.construct == "lag screws") & (found.total_load_N == 400.0)
                    & (found.tissue == "core")].iloc[0]
        assert [row[f"stress_{c}_MPa"] for c in ("xx", "yy", "xy")] == pytest.approx(
            mean, abs=1e-9 * np.abs(field.stress[k]).max())


def test_core_and_cortex_have_the_same_strain_and_the_frame_says_what_it_is(made: Comparison
                                                                            ) -> None:
    found = made.at([(-25.0, -12.0), (0.0, -80.0)])
    assert found.attrs["label"] == LABEL
    held = found[found.construct == "lag screws"]
    assert set(held.tissue) == {"core", "cortex"}
    for _, rows in held.groupby(["total_load_N", "x_mm", "y_mm"]):
        assert rows.strain_yy.nunique() == 1
        assert rows.stress_yy_MPa.nunique() == 2
    assert set(held[held.x_mm == -25.0].body) == {"medial"}
    assert set(held[held.x_mm == 0.0].body) == {"shaft"}


def test_where_nothing_is_held_there_is_a_row_without_numbers(made: Comparison) -> None:
    found = made.at([(-25.0, -12.0)])
    fallen = found[(found.construct == "nothing") & (found.status != "held")]
    assert len(fallen)
    assert fallen.tissue.isna().all()
    assert fallen.stress_yy_MPa.isna().all()


def test_a_point_outside_and_a_comparison_without_pictures_are_refused(made: Comparison) -> None:
    with pytest.raises(InputError, match="outside of the bone") as outside:
        made.at([(60.0, -10.0)])
    assert outside.value.key == "points"
    assert outside.value.expected.startswith("x, y in mm inside the outline, x from -")
    low, high = map(float, re.findall(r"x from (\S+) to (\S+) at y = -10$",
                                      outside.value.expected)[0])
    made.at([(low, -10.0), (high, -10.0)])
    for x in (low - 0.1, high + 0.1):
        with pytest.raises(InputError, match="outside of the bone"):
            made.at([(x, -10.0)])
    with pytest.raises(InputError, match="outside of the bone") as below:
        made.at([(0.0, -900.0)])
    assert "inside the outline, y from -" in below.value.expected
    with pytest.raises(InputError, match="without pictures"):
        compare(small_study("nothing"), pictures=False).at([(0.0, -20.0)])


def test_the_points_stand_in_the_folder_of_results(made: Comparison, tmp_path: Path,
                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.draw.all.draw_all", lambda *_: [])
    monkeypatch.setattr("buttress.report.page.write_report", lambda *_: None)
    write_results(made, tmp_path, 'name = "s"', points=[(-25.0, -12.0)])
    table = pd.read_csv(tmp_path / "points.csv")
    assert set(table.label) == {LABEL}
    pd.testing.assert_frame_equal(table.drop(columns="label"), made.at([(-25.0, -12.0)]),
                                  check_dtype=False, rtol=1e-9)


@pytest.mark.parametrize("given", ["3", "a,b", "1,2,3", "99,-10", "nan,-10"])
def test_a_point_that_is_none_is_refused_before_anything_is_solved(given: str) -> None:
    done = inside("compare", "--example", "medial-shear", "--at", given)
    assert (done.returncode, done.stdout) == (2, "")
    assert "key: --at" in done.stderr


def test_every_column_of_the_points_is_defined_where_columns_are_listed(made: Comparison) -> None:
    told = {c.name: c for c in listed() if c.found_in == "points.csv"}
    assert list(told) == list(made.at([(-25.0, -12.0)]).columns)
    assert all(c.definition for c in told.values())
    assert "half of the engineering" in told["strain_xy"].definition
    assert "cancellous bone" in told["tissue"].definition
    assert all(c.unit == "MPa" for name, c in told.items() if name.endswith("_MPa"))
    assert "columns of points.csv" in lines()
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert "`points.csv`" in readme
    assert "half of the engineering" in readme


@pytest.mark.parametrize("points", [(-20, -5), None, [(1, 2, 3)], [("a", 1)], [(float("nan"), 1)]])
def test_what_is_no_list_of_points_is_refused(made: Comparison, points: Any) -> None:
    with pytest.raises(InputError, match="not a list of points") as refused:
        made.at(points)
    assert refused.value.key == "points"
    assert made.at([]).empty
