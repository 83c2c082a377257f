"""Members that bend and kink far: the geometrically exact beam (Reissner), statics of a hinge."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, Hinge, Link, LinkList
from buttress.fe.moved.vectors import left_of
from buttress.fe.moved.walk import Moving
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.path import Path, press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.recover import displacements
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, line

LONG, DOWN = 40.0, 16.0   # mm
SOFT = BeamSection(axial=1e5, bending=4e4, shear=1e4)   # N, N mm², N
STIFF = BeamSection(1e7, 1e8, 1e7)
PLASTIC, EXTRA = 5000.0, 6.0   # N mm; N mm of moment for 1 N
COUNT, HINGED = 10, 4   # elements; those between the held end and the hinge


def cantilever(section: BeamSection, count: int, load: Column, farthest: float,
               hinge: int | None = None, held: int = 0) -> Path:
    """The path of a bar along x, built in at one end and pressed at the other, its tip.

    Measures are how far its tip moves along x and how far it turns.
    """
    bar, links = Member("bar", line(LONG, LONG / count), [section] * count), LinkList()
    for d in (ALONG, ACROSS):
        links.add(Link("pin", "pin", End(bar, bar.translation(held, d)), GROUND,
                       direction=(float(d[0]), float(d[1]))))
    links.add(Link("moment", "pin", End(bar, bar.rotation(held)), GROUND))
    if hinge is not None:
        links.hinges.append(Hinge("bar", bar, hinge, PLASTIC))
    tip = count - held
    measures = [Measure("tip", ((bar, bar.translation(tip, ALONG)),)),
                Measure("turn", ((bar, bar.rotation(tip)),))]
    ram = Ram.of(condense([bar], links, [[(bar, load)]], measures), np.ones(1))
    path = press(ram, Memory.none(ram.plain), steps(farthest, 0.1),
                 geometry=Moving(ram, (), 0.0, 1e-8))
    assert path.status == "complete"
    assert path.points[-1].moved is not None
    return path


def read(path: Path) -> dict[str, float]:
    """The measures at the end of a path."""
    a = path.points[-1].answer
    assert a.moved is not None
    return a.moved.measures(a.load, a.force, a.rigid, a.kink)


@cache
def bent(count: int) -> Path:
    load = Column.of([3 * count + 1], [-1.0])
    return cantilever(SOFT, count, load, DOWN)


@cache
def by_hand() -> tuple[float, float, float]:
    """Load [N], and how far the tip moves along x [mm] and turns [rad], of the exact beam: its
    sections turn by M/EI for each mm, give way by V/kGA across and N/EA along themselves."""
    def rates(_: FloatArray, y: FloatArray, p: FloatArray) -> FloatArray:
        turn, moment = y[2], y[3]
        cos, sin = np.cos(turn), np.sin(turn)
        pull, shear = -p[0] * sin, -p[0] * cos
        long, over = 1.0 + pull / SOFT.axial, shear / SOFT.shear
        along, up = long * cos - over * sin, long * sin + over * cos
        return np.stack([along, up, moment / SOFT.bending, p[0] * along])

    def ends(a: FloatArray, b: FloatArray, p: FloatArray) -> FloatArray:
        return np.array([a[0], a[1], a[2], b[3], b[1] + DOWN])

    s = np.linspace(0.0, LONG, 41)
    guess = np.stack([s, -DOWN * (s / LONG) ** 2, -s / LONG, 40.0 * (s - LONG)])
    found = solve_bvp(rates, ends, s, guess, p=[40.0], tol=1e-9)
    assert found.success
    tip = found.sol(LONG)
    return float(found.p[0]), float(tip[0] - LONG), float(tip[2])


def test_a_bar_that_bends_far_is_the_exact_beam_and_comes_to_it_as_elements_get_shorter() -> None:
    load, tip, turn = by_hand()
    assert abs(np.degrees(turn)) > 25.0
    off = []
    for count in (10, 20):
        path, measured = bent(count), read(bent(count))
        off.append(np.abs([path.points[-1].load_N / load - 1.0, measured["tip"] / tip - 1.0,
                           measured["turn"] / turn - 1.0]))
    assert off[1].max() < 1e-3
    assert (off[1] < 0.3 * off[0] + 1e-5).all()


def test_a_bar_that_bends_far_is_drawn_as_measured() -> None:
    path = bent(20)
    [moved] = displacements(path.ram.plain, path.points[-1].answer)
    assert moved[-3:] == pytest.approx([read(path)["tip"], -DOWN, read(path)["turn"]], abs=1e-6)


def test_the_work_on_a_bar_that_bends_far_is_what_it_stores() -> None:
    path = bent(20)
    work = np.trapezoid([p.load_N for p in path.points], [p.ram_mm for p in path.points])
    assert path.ram_of(-1).energy(path.points[-1].state) == pytest.approx(work, rel=1e-3)


@pytest.mark.parametrize("held", [0, COUNT])
@pytest.mark.parametrize("extra", [0.0, EXTRA])
def test_a_hinge_turns_at_its_plastic_moment_wherever_it_has_turned_to(extra: float, held: int
                                                                       ) -> None:
    """A bar built in at either end, under a force and a moment at its other one, its tip: the hinge
    bears the moment of both where they now are, and nearly all of the movement is the turning of
    the part beyond it."""
    tip, way = COUNT - held, 1.0 if held == 0 else -1.0
    hinge = held + int(way) * HINGED
    load = Column.of([3 * tip + 1, 3 * tip + 2], [-1.0, -way * extra])
    path = cantilever(STIFF, COUNT, load, DOWN + 0.5 * extra, hinge, held)
    point, measured = path.points[-1], read(path)
    [moved] = displacements(path.ram.plain, point.answer)
    along, arm = way * moved[0::3], LONG * (1 - HINGED / COUNT)
    reach = arm + along[tip] - along[hinge]
    assert reach < 0.8 * arm
    assert point.load_N * (reach + extra) == pytest.approx(PLASTIC, rel=1e-6)
    assert measured["tip"] == pytest.approx(way * along[tip], abs=1e-6)
    assert measured["turn"] == pytest.approx(moved[3 * tip + 2], abs=1e-6)
    turn = abs(measured["turn"])
    assert along[tip] == pytest.approx(arm * (np.cos(turn) - 1.0), rel=2e-3)
    assert point.ram_mm == pytest.approx(arm * np.sin(turn) + extra * turn, rel=2e-3)


@pytest.mark.parametrize("held", [0, COUNT])
def test_the_motion_in_which_a_bar_gives_way_at_its_hinge_leaves_its_held_end_in_place(held: int
                                                                                       ) -> None:
    """A kink turns the part before it; with the motion of the whole the held part stays."""
    tip, hinge = COUNT - held, held + (HINGED if held == 0 else -HINGED)
    path = cantilever(STIFF, COUNT, Column.of([3 * tip + 1], [-1.0]), DOWN, hinge, held)
    rigid, [kink] = path.geometry.motion(*path.points[-2:])
    bar = path.ram.plain.bodies[0]
    place = bar.points + displacements(path.ram.plain, path.points[-1].answer)[0].reshape(-1, 3)[
        :, :2]
    moved = rigid[:2] + rigid[2] / bar.length * left_of(place - place.mean(axis=0))
    moved[:hinge] += kink / bar.length * left_of(place - place[hinge])[:hinge]
    size = np.hypot(*moved.T)
    assert size[tip] > 0.1
    assert size[held] < 0.05 * size[tip]
