"""A made-up comparison for tests of pictures and reports: nothing is solved, numbers are chosen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from figure_texts import shown_texts

from buttress.results.comparison import Comparison
from buttress.results.contacts import ContactLine
from buttress.results.judged import with_verdicts
from buttress.results.path import Reserve
from buttress.results.picture import (
    Arrow,
    BodyPicture,
    FreeBody,
    LinkForces,
    MemberPicture,
    Picture,
)
from buttress.results.records import (
    BEYOND,
    FOUND,
    NOT_KNOWN,
    BoneResult,
    CondyleResult,
    ConstructResult,
    ContactProfile,
    ContactResult,
    EdgeResult,
    FractureResult,
    FragmentResult,
    GraftResult,
    LetsGo,
    LoadResult,
    MemberResult,
)
from buttress.study.read import example
from buttress.study.view import View

LOADS = (500.0, 1000.0, 1500.0)
FORCES = {"shear plane": (-300.0, 400.0), "plate": (200.0, 500.0), "upper lag": (100.0, 75.0)}
"""With a load of (0, -975) N at 1500 N they close: the rest is (0, 0)."""


def grid(x: tuple[float, float], y: tuple[float, float], nx: int, ny: int):
    """Points and T6 triangles of a rectangle."""
    wide, high = 2 * nx + 1, 2 * ny + 1
    points = np.array([[a, b] for b in np.linspace(*y, high) for a in np.linspace(*x, wide)])
    triangles = []
    for j in range(ny):
        for i in range(nx):
            a = 2 * j * wide + 2 * i
            b, c, d = a + 2, a + 2 * wide + 2, a + 2 * wide
            middle = a + wide + 1
            triangles += [(a, b, c, a + 1, b + wide, middle), (a, c, d, middle, d + 1, a + wide)]
    return points, np.array(triangles)


def contact_line(name: str, kind: str, start: tuple[float, float], end: tuple[float, float],
                 peak: float) -> ContactLine:
    """A straight line of nine nodes, 10 mm deep, open on its first half; pressure rises to a peak."""
    share = np.linspace(0.0, 1.0, 9)
    places = np.array(start) + share[:, None] * (np.array(end) - np.array(start))
    along = (np.array(end) - np.array(start)) / np.hypot(*(np.array(end) - np.array(start)))
    length = np.full(9, np.hypot(*(np.array(end) - np.array(start))) / 9)
    pressure = np.maximum(0.0, share - 0.5) * 2.0 * peak
    zero = np.zeros(9)
    return ContactLine(
        name=name, kind=kind, places=places, normals=np.tile([along[1], -along[0]], (9, 1)),
        position=share * length.sum(), length=length, depth=np.full(9, 10.0),
        pair=np.zeros(9, dtype=int), pairs=(("medial", "shaft"),), force=pressure * length * 10.0,
        rub=zero, opening=zero, crushed=zero, at_strength=np.zeros(9, dtype=bool))


def contact_pictures(factor: float, words: str = "") -> tuple[ContactLine, ...]:
    return (contact_line("shear plane", "fracture", (-3.0, 0.0), (-24.0, -58.0), 4.0 * factor),
            contact_line(words[:60] or "plate", "plate", (-38.0, -20.0), (-30.0, -90.0), factor),
            contact_line("graft", "graft", (10.0, -10.0), (25.0, -10.0), 0.5 * factor))


def more(factor: float | None, load: float) -> dict:
    """Condyles, contacts, grafts and bone of a load; None: without equilibrium."""
    kinds = {"shear plane": "fracture", "plate": "plate", "graft": "graft"}
    if factor is None:
        return {"condyles": {"medial": CondyleResult(
            load_N=0.65 * load, subsidence_mean_mm=None, subsidence_max_mm=None,
            subsidence_net_mm=None, widening_mm=None)},
                "contacts": {n: ContactResult(k) for n, k in kinds.items()},
                "grafts": {"graft": GraftResult()}, "bone": {"medial": BoneResult(9000.0)}}
    profile = ContactProfile(*((0.0, 1.0),) * 7, ("medial | shaft",) * 2)
    return {"condyles": {side: CondyleResult(
        load_N=x * load, subsidence_mean_mm=0.05, subsidence_max_mm=0.07, subsidence_net_mm=0.01,
        widening_mm=-0.002)
                         for side, x in (("medial", 0.65), ("lateral", 0.35))},
            "contacts": {n: ContactResult(
                kind=k, force_N=400.0, friction_N=90.0, length_mm=61.7, contact_share=0.44,
                pressure_mean_MPa=1.234 * factor, pressure_p95_MPa=2.5 * factor,
                pressure_max_MPa=4.0 * factor, pressure_max_at_mm=(-24.0, -58.0), profile=profile)
                         for n, k in kinds.items()},
            "grafts": {"graft": GraftResult(
                crushed_mean_mm=0.001, crushed_max_mm=0.0123, crushed_max_at_mm=(10.0, -10.0),
                at_strength=0.05, compression_mean=0.004, compression_p95=0.006,
                forces_N={"medial": (1.0, -20.0), "shaft": (-1.0, 20.0)})},
            "bone": {"medial": BoneResult(9000.0, 0.0, 0.05, 0.07)}}


def picture(name: str, load: float, held: bool = True, more: int = 0, words: str = "") -> Picture:
    """A fragment over a shaft, a plate and a lag screw (and ``more`` screws of long names)."""
    bodies = []
    for body, x, y, push in (("medial", (-38, -3), (-40, 0), (-0.3, -0.4)),
                             ("shaft", (-38, 38), (-120, -40), (0.0, 0.0))):
        points, triangles = grid(x, y, 3, 4)
        moved = np.tile(np.array(push) * (load / 1500.0 if held else 2.6), (len(points), 1))
        value = np.linspace(0.0, 0.3, len(points)) if held else None
        bodies.append(BodyPicture(
            name=body, points=points, triangles=triangles, displacement=moved, value=value))
    line = np.column_stack([np.full(4, -39.5), np.linspace(-20.0, -90.0, 4)])
    shaft = np.column_stack([np.linspace(-38.0, 30.0, 5), np.full(5, -10.0)])
    members = [MemberPicture(
        name="plate", kind="plate", points=line, displacement=np.zeros((4, 2)),
        width=np.full(3, 3.3)),
               MemberPicture(
                   name="upper lag", kind="screw", points=shaft, displacement=np.zeros((5, 2)),
                   width=np.full(4, 4.5))]
    members += [MemberPicture(
        name=f"{words} {i}".strip()[:60], kind="screw", points=shaft - [0, 2.0 * i + 2.0],
        displacement=np.zeros((5, 2)), width=np.full(4, 2.4)) for i in range(more)]
    places = np.array([[-3.0, -5.0], [-3.0, -7.0], [-3.0, -35.0], [-38.0, -10.0], [-38.0, -30.0],
                       [-39.5, -50.0]])
    forces = np.array([[-100.0, 200.0], [-100.0, 100.0], [-100.0, 100.0], [100.0, 75.0],
                       [200.0, 500.0], [999.0, 0.0]])
    kinds = ("contact", "contact friction", "contact", "head on bone", "plate on bone",
             "head on plate")
    sources = ("shear plane", "shear plane", "shear plane", "upper lag", "plate", "plate")
    links = LinkForces(places, forces, kinds, sources) if held else LinkForces(
        np.zeros((0, 2)), np.zeros((0, 2)), (), ())
    factor = load / 1500.0
    arrows = [Arrow("load", "load", (-22.0, 0.0), (0.0, -975.0 * factor))]
    for source, kind, point in (("shear plane", "fracture", (-3.0, -20.0)),
                                ("plate", "plate", (-38.0, -30.0)),
                                ("upper lag", "screw", (-38.0, -10.0))):
        x, y = FORCES[source]
        arrows.append(Arrow(source, kind, point, (x * factor, y * factor)))
    # More screws share nothing: small forces that cancel in pairs.
    arrows += [Arrow(f"{words} {i}".strip()[:60], "screw", (-38.0, -2.0 * i - 12.0),
                     ((-1.0) ** i * 20.0, 0.0)) for i in range(more - more % 2)]
    free = (FreeBody("medial", 0, tuple(arrows), 2e-13),) if held else ()
    return Picture(
        construct=name, load_N=load, held=held, status="held" if held else "no equilibrium",
        bodies=tuple(bodies), members=tuple(members), links=links, free_bodies=free,
        view=View("right"),
        patches=((-31.0, -13.0, 0.65 * load), (13.0, 31.0, 0.35 * load)),
        contacts=contact_pictures(factor) if held else (), escapes=None if held else "medial")


def load_result(load: float, held: bool = True) -> LoadResult:
    factor = load / 1500.0
    applied = (0.0, -975.0 * factor)
    if not held:
        none = FragmentResult(
            subsidence_mean_mm=None, subsidence_max_mm=None, subsidence_net_mm=None, tilt_deg=None,
            applied_N=applied, applied_moment_Nmm=0.0, centroid_mm=(-20.0, -20.0), forces_N=None,
            moments_Nmm=None, balance_error=None)
        return LoadResult(
            total_load_N=load, status="no equilibrium", method="linear program", residual=None,
            complementarity=None, steps=3, edges={"shear plane": EdgeResult(None, None)},
            fragments={"medial": none}, fractures={"shear plane": FractureResult(None, None, None)},
            members={"plate": MemberResult(
                kind="plate", von_mises_MPa=None, yield_ratio=None, axial_N=None,
                hinges=None)}, widening_mm=None,
            stiffness_N_per_mm=None, bone_over_yield=None, strain_ratio_p95=None,
            strain_ratio_p99=None, stations_at_capacity=None, escapes="medial", **more(None, load))
    forces = {k: (x * factor, y * factor) for k, (x, y) in FORCES.items()}
    fragment = FragmentResult(
        subsidence_mean_mm=0.06 * factor, subsidence_max_mm=0.08 * factor,
        subsidence_net_mm=0.01 * factor, tilt_deg=0.1 * factor, applied_N=applied,
        applied_moment_Nmm=0.0, centroid_mm=(-20.0, -20.0), forces_N=forces,
        moments_Nmm=dict.fromkeys(forces, 0.0), balance_error=3e-16,
        carried_by={"shear plane": 0.41, "plate": 0.51, "upper lag": 0.08})
    return LoadResult(
        total_load_N=load, status="held", method="active set", residual=2e-16,
        complementarity=5e-15, steps=7, edges={"shear plane": EdgeResult(0.02 * factor, -0.0)},
        fragments={"medial": fragment},
        fractures={"shear plane": FractureResult(0.02, 0.001, False)},
        members={"plate": MemberResult(
            kind="plate", von_mises_MPa=300.0 * factor, yield_ratio=0.43 * factor, axial_N=-12.0,
            hinges=0)},
        widening_mm=0.03, stiffness_N_per_mm=31000.0, bone_over_yield=0.0, strain_ratio_p95=0.05,
        strain_ratio_p99=0.07, stations_at_capacity=2, escapes=None, **more(factor, load))


def construct(name: str, *, held: bool = True, capacity: tuple = (1281.0, 2133.0),
              ends: float | None = 2100.0, limit: float | None = 1900.0, more: int = 0,
              words: str = "", note: str = "", warnings: tuple[str, ...] = ()) -> ConstructResult:
    curve = tuple(np.linspace(0.0, 1800.0, 5))
    sunk = tuple(x * 4e-5 if held or x == 0.0 else None for x in curve)
    return ConstructResult(
        name=name, note=note, status="held" if held else "no equilibrium", capacity_N=capacity,
        capacity_status="limited", lets_go=(LetsGo("thread", "upper lag", 3, (1.0, -10.0)),),
        equilibrium_ends_N=ends, step_off_limit_N=limit, search_limit_N=10_000.0,
        first_limit="step-off reaches 2 mm at about 1900 N", curve_load_N=curve,
        curve_subsidence_mm={"medial": sunk}, loads=tuple(load_result(x, held) for x in LOADS),
        links=100, warnings=warnings,
        pictures=tuple(picture(name, x, held, more, words) for x in LOADS),
        ends_status=FOUND if ends is not None else BEYOND,
        known_to_N=10_000.0 if ends is None else ends,
        without_friction_N=capacity[0], peak_N=10_000.0 if ends is None else ends,
        peak_status=FOUND if ends is not None else BEYOND,
        reserve=Reserve(None, 0.5, None, None))


def not_known(name: str, up_to: float) -> ConstructResult:
    """A construct whose search met answers that did not converge above a load."""
    return replace(construct(name, ends=None, limit=None), ends_status=NOT_KNOWN,
                   known_to_N=up_to, peak_N=up_to, peak_status=NOT_KNOWN)


def moves(name: str, load: float, **given: Any) -> ConstructResult:
    """A construct whose joint has moved as far as constructs are ordered by at a load [N]."""
    return replace(construct(name, **given),
                   reserve=Reserve(load, 0.5, "step-off", "shear plane"))


def comparison(constructs: tuple[ConstructResult, ...]) -> Comparison:
    mesh = {"medial": {"elements": 24, "unknowns": 126}, "shaft": {"elements": 24, "unknowns": 126}}
    return Comparison(
        study=example("medial-shear"), constructs=tuple(map(with_verdicts, constructs)),
        versions={"buttress": "0.1.0", "numpy": "2.0"}, mesh=mesh,
        trust={"worst_residual": 2e-16, "methods": {"active set": 3}}, seconds={"bone": 1.0})


def usual() -> Comparison:
    """Three constructs: one that holds, one held by nothing, one that the model does not limit."""
    return comparison((
        construct("lag screws"),
        construct("nothing", held=False, capacity=(0.0, 0.0), ends=0.0, limit=None),
        construct("raft", capacity=(4000.0, None), ends=None, limit=None,
                  warnings=("shaft 1: tip beyond the far cortex",))))


def long_names(count: int) -> Comparison:
    """Constructs and screws whose names have 60 characters, some wide, some with odd signs."""
    made = []
    for i in range(count):
        name = (f"{i} two $lag_screws$ of 6.5 mm & an <i>antiglide</i> plate, \"x\" " + "W" * 60)[:60]
        if i % 4 == 1:
            name = f"{i}" + "W" * 58
        words = "a screw of a name that goes on and on \\$ { } until it has sixty letters"[:57]
        held = i % 5 != 3
        made.append(construct(
            name, held=held, more=i % 4 * 3, words=words,
            capacity=((0.0, 0.0), (1234.0, None), (None, None), (900.0, 12_345.0))[i % 4],
            ends=None if i % 4 == 2 else 300.0 + 100.0 * i))
    return comparison(tuple(made))


def with_title(made: Comparison, title: str) -> Comparison:
    return replace(made, study=made.study.model_copy(update={"title": title}))


def words(ax) -> str:
    return "\n".join(text.get_text() for text, _ in shown_texts(ax.get_figure(root=True)))
