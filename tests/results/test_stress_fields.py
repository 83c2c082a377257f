"""Stress of cancellous bone, cortex and fills: tensors, percentiles, outputs, pictures, files."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest
from command import inside
from depressed_study import GRAFT, depressed
from figure_texts import clashes, shown_texts
from small_study import small_study
from under_loads import under_loads

from buttress import LABEL
from buttress.bone.bone import build_bone
from buttress.comparison.twins import with_twins
from buttress.draw.fields import colours_of
from buttress.draw.overview import overview
from buttress.draw.section import deformed
from buttress.fe.bodies.assembly import quadrature_points, sheet
from buttress.fe.bodies.stress import principal, strain, von_mises
from buttress.fe.errors import InputError
from buttress.fe.verification import Case
from buttress.files import as_csv
from buttress.model.install import build_model
from buttress.model.model import blocks_of, inclusions_of
from buttress.report.contact import stresses
from buttress.report.folder import document, write_results
from buttress.results import figures
from buttress.results.comparison import Comparison
from buttress.results.contacts import percentile
from buttress.results.figures import Figures
from buttress.results.reader import Reader
from buttress.results.rows import columns, rows
from buttress.results.stress import LEAST, VON_MISES, TissueField, middle, tissue_fields
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.explore import Explorer, Live
from buttress.sweeps.vary import plain
from buttress.verification import stresses as closed_forms

LOAD = 800.0


@pytest.fixture(scope="module")
def live() -> Live:
    return Explorer(depressed(GRAFT)).answer("c", LOAD)


@pytest.fixture(scope="module")
def compared() -> Comparison:
    return under_loads(depressed(GRAFT))


def of(found: tuple[TissueField, ...], body: str, tissue: str) -> TissueField:
    [one] = (x for x in found if (x.body, x.tissue) == (body, tissue))
    return one


# ------------------------------------------------------------------------------ closed forms

@pytest.mark.parametrize("case", closed_forms.CASES, ids=lambda case: case.name)
def test_the_reader_meets_closed_forms(case: Case) -> None:
    value = case.compute()
    assert case.passes(value), f"{value:.9g} against {case.reference:.9g}"


def test_tolerances_are_those_that_were_set() -> None:
    kept = {"Lamé ring": 0.002, "inclusion": 0.005, "two-layer beam": 1e-8, "side plates": 1e-6}
    for case in closed_forms.CASES:
        if not case.name.endswith(("p50", "p95", "p99")):
            key = case.name.removeprefix("stress read: ").split(",")[0]
            assert case.tolerance == kept[key]
    numbers = {c.name.removeprefix("stress read: "): c.reference for c in closed_forms.CASES}
    assert numbers["Lamé ring"] == pytest.approx(166.6667, abs=5e-5)
    assert numbers["side plates, core"] == pytest.approx(0.41285, abs=5e-6)
    assert numbers["side plates, cortex"] == pytest.approx(45.8715, abs=5e-5)
    assert numbers["two-layer beam, top of the stiff layer"] == pytest.approx(-99.057, abs=5e-4)


# ------------------------------------------------------------------------- tensors of an answer

def test_stresses_times_thicknesses_sum_to_the_force_of_the_section() -> None:
    """Strain energy of all tissues is that of the assembled stiffness (work of inner forces)."""
    study = depressed(GRAFT)
    model = build_model(build_bone(study), study.constructs[0])
    moved = Figures(Reader.of(model.bone, {}), model, model.answer(LOAD)).moved
    found = tissue_fields(model.solids, moved)
    assert {x.body for x in found} == {solid.name for solid in model.solids}
    for solid, u in zip(model.solids, moved, strict=False):
        work = sum(float((x.volume[..., None] * x.stress * x.strain * (1.0, 1.0, 2.0)).sum())
                   for x in found if x.body == solid.name)
        assert work == pytest.approx(float(u @ (solid.body.stiffness @ u)), rel=1e-9)


def test_metal_bonded_into_bone_takes_its_depth_from_it() -> None:
    study, _ = with_twins(depressed(GRAFT))
    made = study.constructs[1]
    bone = build_bone(study, blocks_of(made), inclusions_of(study, made))
    for solid in bone.solids:
        xy = quadrature_points(solid.mesh)
        summed = sum(x.matrix(x.thickness) for x in solid.layers)
        depth = solid.piece.depth(xy)
        assert len(bone.inclusions) == 1
        bar = bone.inclusions[0]
        metal = np.minimum(bar.thickness(xy), depth)
        assert summed + sheet(bar.modulus, bar.poisson, metal) == pytest.approx(
            solid.piece.sheets(xy), rel=1e-12)


def test_arrays_have_their_shapes_and_hold_the_strain_of_the_plane() -> None:
    """In small movements, where a piece's own frame is that of the plane."""
    live = Explorer(depressed(GRAFT, press={"large_movements": "off"})).answer("c", LOAD)
    assert {(x.body, x.tissue) for x in live.fields} == {
        ("piece", "core"), ("piece", "cortex"), ("shaft", "core"), ("shaft", "cortex"),
        ("graft", "fill")}
    bodies = {b.name: b for b in live.picture.bodies}
    for x in live.fields:
        m, q = len(bodies[x.body].triangles), 6
        assert (x.points.shape, x.volume.shape) == ((m, q, 2), (m, q))
        assert x.strain.shape == x.stress.shape == (m, q, 3)
        assert "body=" in repr(x)
        # Nothing is tightened here, so the picture's displacement is all of it.
        engineering = strain(bodies[x.body], bodies[x.body].displacement.ravel())
        assert x.strain == pytest.approx(engineering * [1, 1, 0.5], abs=1e-12)
        assert x.von_mises == pytest.approx(von_mises(x.stress))
        tensor = np.stack([x.stress[..., [0, 2]], x.stress[..., [2, 1]]], axis=-2)
        assert x.least_principal == pytest.approx(np.linalg.eigvalsh(tensor)[..., 0], abs=1e-9)
    core, cortex = (of(live.fields, "shaft", t) for t in ("core", "cortex"))
    assert core.strain == pytest.approx(cortex.strain)
    # The cortex is some twenty times stiffer than the core with the same strain.
    assert cortex.spread(VON_MISES).p50 > 10.0 * core.spread(VON_MISES).p50


def test_percentiles_are_by_volume_and_lie_in_what_exceeds_them(live: Live) -> None:
    assert live.fields
    for x in live.fields:
        for name, size in ((VON_MISES, x.von_mises), (LEAST, -x.least_principal)):
            found = x.spread(name)
            values = np.abs([found.p50, found.p95, found.p99])
            for value, share in zip(values, (0.5, 0.95, 0.99), strict=True):
                assert percentile(size.ravel(), x.volume.ravel(), share) == pytest.approx(value)
                below = x.volume[size <= value * (1 + 1e-12)].sum() / x.volume.sum()
                assert share <= below < share + 0.02
            near = np.hypot(*(x.points - found.at).reshape(-1, 2).T).argmin()
            assert size.ravel()[near] >= values[2] * (1 - 1e-12)
            assert x.volume.ravel()[near] > 0


def test_the_middle_is_a_point_that_has_volume() -> None:
    xy = np.array([[[0.0, 0.0], [1.0, 0.0], [10.0, 0.0]]])
    assert tuple(middle(xy, np.array([[1.0, 1.0, 0.0]]))) == (0.0, 0.0)
    assert tuple(middle(xy, np.array([[0.0, 1.0, 9.0]]))) == (10.0, 0.0)


# ------------------------------------------------------------------------------------- outputs

def test_json_csv_and_page_have_them_with_the_unit(compared: Comparison, live: Live) -> None:
    load = json.loads(json.dumps(document(compared)))["constructs"][0]["loads"][0]
    core = of(live.fields, "piece", "core").spread(LEAST)
    piece = load["bone"]["piece"]
    assert piece["core_least_principal_p99_MPa"] == pytest.approx(core.p99)
    assert piece["core_least_principal_p99_MPa"] < 0.0
    assert piece["core_least_principal_p99_at_mm"] == pytest.approx(core.at)
    fill = of(live.fields, "graft", "fill").spread(VON_MISES)
    assert load["grafts"]["graft"]["von_mises_p50_MPa"] == pytest.approx(fill.p50)
    assert "strain_ratio_p99" in piece
    [cells] = csv.DictReader(as_csv(rows(compared), columns()).splitlines())
    assert float(cells["fragment_cortex_von_mises_p95_MPa"]) == pytest.approx(
        of(live.fields, "piece", "cortex").spread(VON_MISES).p95)
    assert float(cells["graft_least_principal_p95_MPa"]) == pytest.approx(
        of(live.fields, "graft", "fill").spread(LEAST).p95)
    table = stresses(compared["c"].loads[0])
    assert [r[0] for r in table.table.rows] == [
        "piece, cancellous", "piece, cortex", "shaft, cancellous", "shaft, cortex", "graft"]
    assert f"{core.p99:.3f}".replace("-", "−") in table.table.rows[0]


def test_without_equilibrium_there_is_no_stress() -> None:
    found = Explorer(small_study("nothing")).answer("nothing", 700.0)
    assert found.fields == ()
    stress = {k: v for k, v in found.result.bone["medial"].more.items()
              if "von_mises" in k or "least" in k}
    assert len(stress) >= 8
    assert set(stress.values()) == {None}
    assert stresses(found.result).table.rows == []
    assert deformed(found.picture, field=LEAST).figure is not None


def test_a_sweep_does_not_pay_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*given: object) -> None:
        raise AssertionError("stress was computed")

    monkeypatch.setattr(figures, "tissue_fields", never)
    for strains in (False, True):
        out = Evaluator(Options(strain=strains)).evaluate(
            Task(0, "h", plain(small_study("antiglide")), {}))
        assert out.failures == []
        assert out.results[0]["status"] == "held"


# ------------------------------------------------------------------------------ files, pictures

def test_mesh_files_hold_the_tensors(compared: Comparison, tmp_path: Path) -> None:
    write_results(compared, tmp_path, "", field=VON_MISES)
    mesh = meshio.read(tmp_path / "c-800N.vtu")
    picture = compared["c"].picture(LOAD)
    counts = {b.name: len(b.triangles) for b in picture.bodies}
    ends = np.cumsum([0, *counts.values()])
    assert set(mesh.cell_data) == {"body", *(
        name for tissue in ("core", "cortex", "fill")
        for name in (f"strain_{tissue}_xx_yy_xy", f"stress_{tissue}_xx_yy_xy_MPa"))}
    for i, name in enumerate(counts):
        mine = slice(ends[i], ends[i + 1])
        for tissue in ("core", "cortex", "fill"):
            [values] = mesh.cell_data[f"stress_{tissue}_xx_yy_xy_MPa"]
            assert values.shape == (ends[-1], 3)
            field = next((x for x in picture.fields
                          if (x.body, x.tissue) == (name, tissue)), None)
            if field is None:
                assert np.isnan(values[mine]).all()
                continue
            total = field.volume.sum(axis=1)
            assert (np.isnan(values[mine]).any(axis=1) == (total == 0)).all()
            # Mean by volume: weighted back it is the integral over the body.
            assert np.nansum(values[mine] * total[:, None], axis=0) == pytest.approx(
                (field.stress * field.volume[..., None]).sum(axis=(0, 1)), rel=1e-9)


def test_in_mesh_files_stress_follows_from_strain_by_the_law_of_the_tissue(
        compared: Comparison, tmp_path: Path) -> None:
    """Cortex and a fill of one material: Hooke's law in plane stress (Timoshenko and Goodier,
    Theory of Elasticity, art. 16; memory). Strain was the mean over the whole triangle, stress over
    the part of it that the tissue has: moduli of -3000 to 30 000 MPa came out for 17 000."""
    write_results(compared, tmp_path, "")
    mesh = meshio.read(tmp_path / "c-800N.vtu")
    for tissue in ("cortex", "fill"):
        [strain] = mesh.cell_data[f"strain_{tissue}_xx_yy_xy"]
        [stress] = mesh.cell_data[f"stress_{tissue}_xx_yy_xy_MPa"]
        there = np.isfinite(stress).all(axis=1)
        assert there.sum() > 10
        exx, eyy, exy = strain[there].T
        sxx, syy, sxy = stress[there].T
        shear = np.median(sxy / (2 * exy))
        assert sxy == pytest.approx(2 * shear * exy, rel=1e-6, abs=1e-9)
        assert sxx - syy == pytest.approx(2 * shear * (exx - eyy), rel=1e-6, abs=1e-9)
        bulk = np.median((sxx + syy) / (exx + eyy))
        assert sxx + syy == pytest.approx(bulk * (exx + eyy), rel=1e-6, abs=1e-9)
    assert (tmp_path / "deformed-c.png").stat().st_size > 10_000


@pytest.mark.parametrize("tissue", ["core", "cortex"])
@pytest.mark.parametrize("field", [VON_MISES, LEAST])
def test_a_picture_shows_either_field_with_its_unit(compared: Comparison, field: str, tissue: str
                                                    ) -> None:
    picture = compared["c"].picture(LOAD)
    figure = deformed(picture, field=field, tissue=tissue).figure
    said = "\n".join(t.get_text() for t, _ in shown_texts(figure))
    assert f"{field} [MPa]" in said
    assert ("cancellous bone" if tissue == "core" else "the cortex") in said
    assert ("negative: compression" in said) == (field == LEAST)
    assert LABEL in said.replace("\n", " ")
    assert clashes(figure) == []
    shown = colours_of([picture], field, tissue)
    low, high = shown.scale.get_clim()
    assert (low, high) == ((-shown.top, 0.0) if field == LEAST else (0.0, shown.top))
    # Dark is large: compression as von Mises stress.
    dark, light = shown.scale.to_rgba([low, high] if field == LEAST else [high, low])[:, :3]
    assert dark.sum() < light.sum()
    for body in shown.of(picture):
        mine = of(picture.fields, body.name, "fill" if body.kind == "graft" else tissue)
        known = body.value[np.isfinite(body.value)]
        assert known.size
        values = mine.measure(field)
        assert np.median(known) == pytest.approx(np.median(values), rel=0.5)
    if tissue == "core":
        shaft = next(b for b in shown.of(picture) if b.name == "shaft")
        assert np.isnan(shaft.value).any()      # the wall has no cancellous bone
        assert "cortex alone: no value" in said


def test_the_overview_shows_it_too_and_strain_is_the_default(compared: Comparison) -> None:
    figure = overview(compared, LOAD, field=VON_MISES).figure
    assert any("von Mises stress [MPa]" in t.get_text() for t, _ in shown_texts(figure))
    assert clashes(figure) == []
    figure = deformed(compared["c"].picture(LOAD)).figure
    assert any("strain / yield strain [-]" in t.get_text() for t, _ in shown_texts(figure))


def test_stress_is_never_drawn_as_over_yield(compared: Comparison) -> None:
    picture = compared["c"].picture(LOAD)
    tenfold = replace(picture, fields=tuple(replace(x, stress=100.0 * x.stress)
                                            for x in picture.fields))
    ax = deformed(tenfold, field=VON_MISES)
    assert not any(np.allclose(c.get_facecolor(), [0, 0, 0, 1]) and len(c.get_paths()) > 1
                   and c.get_rasterized() for c in ax.collections if len(c.get_facecolor()))


def test_wrong_names_are_refused(compared: Comparison, tmp_path: Path) -> None:
    picture = compared["c"].picture(LOAD)
    with pytest.raises(InputError, match='did you mean "von Mises stress"'):
        deformed(picture, field="von mises stres")
    with pytest.raises(InputError, match='"core", "cortex"'):
        deformed(picture, field=LEAST, tissue="marrow")
    done = inside("compare", "--example", "medial-shear", "--field", "mises", "--out",
                  str(tmp_path / "x"))
    assert done.returncode == 2
    assert "--field" in done.stderr
    assert "least principal stress" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "x").exists()


def test_principal_stress_is_not_principal_strain() -> None:
    """Shear of stress is no engineering shear: 10 MPa of pure shear is -10 MPa of compression."""
    shear = np.array([[[0.0, 0.0, 10.0]]])
    field = TissueField("b", "core", np.zeros((1, 1, 2)), np.ones((1, 1)), shear, shear)
    assert field.least_principal[0, 0] == -10.0
    assert principal(shear)[0, 0, 1] == -5.0
