"""Large movements of a whole construct: the same while movements are small, sound beyond."""

from dataclasses import replace

import numpy as np
import pytest

from buttress.fe.moved.walk import Moving
from buttress.fe.solve.path import CLOSED_MM, FARTHER
from buttress.fe.solve.reached import state_at
from buttress.fe.solve.recover import displacements, pushes
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.model.pressing import FARTHEST_MM, MOVED_FROM_MM, Pressing
from buttress.results.figures import Figures, Level
from buttress.results.reader import Reader
from buttress.study.read import example, only, parse_study

FAR = 2.0


@pytest.fixture(scope="module")
def lag():
    study = only(example("medial-shear"), "lag screws")
    bones = Bones(study)
    construct = study.constructs[0]
    return bones, build_model(bones.of(construct), construct)


@pytest.fixture(scope="module")
def paths(lag):
    found = {}
    for large in ("off", "auto"):
        model = replace(lag[1], large=large)
        pressing: Pressing = model.pressing
        pressing._places = tuple(x for x in pressing._places if x < FAR)
        found[large] = model, pressing.whole
    return found


def test_a_study_has_it_unless_it_says_otherwise(lag):
    assert lag[1].large == "auto"


def test_up_to_the_stated_movement_nothing_changes(paths):
    small, large = paths["off"][1], paths["auto"][1]
    assert small.moves_from is None
    assert large.moves_from is not None
    same = [p for p in large.points if p.ram_mm <= large.moves_from]
    assert len(same) >= 3
    for one, other in zip(same, small.points, strict=False):
        assert one.load_N == other.load_N
    assert np.abs(same[-1].answer.rigid).max() >= MOVED_FROM_MM


def test_the_next_load_is_that_of_small_movements_but_for_a_small_share(paths):
    small, large = paths["off"][1], paths["auto"][1]
    first = next(p for p in large.points if p.moved is not None)
    loads = np.interp(first.ram_mm, *np.transpose([(p.ram_mm, p.load_N) for p in small.points]))
    assert first.load_N == pytest.approx(loads, rel=0.02)


def test_answers_with_friction_lost_are_read_as_those_of_the_construct(lag):
    """They are found without the links that then carry nothing, also where bodies have moved."""
    model = replace(lag[1], large="auto")
    pressing = model.slippery
    pressing._places = tuple(x for x in pressing._places if x < FAR)
    part = pressing.within[0].problem
    assert part.n < model.problem.n
    both = [(p.answer, pressing.since_tightened(p)) for p in pressing.whole.points]
    assert both[0][0].moved is None
    assert both[-1][0].moved is not None
    for own, read in (both[1], both[-1]):
        for u, v in zip(displacements(part, own), displacements(model.problem, read), strict=True):
            assert v == pytest.approx(u, abs=1e-9)
        own_reads, reads = ((a.moved or p).measures(a.load, a.force, a.rigid, a.kink)
                            for p, a in ((part, own), (model.problem, read)))
        assert reads == pytest.approx(own_reads, abs=1e-9)
        body = model.bone.bodies[model.bone.fragments[0]]
        first, second = (pushes(p, a, body, body.points.mean(axis=0))
                         for p, a in ((part, own), (model.problem, read)))
        assert second[0] == pytest.approx(first[0])
        assert set(second[1]) == set(first[1])
        for name, force in first[1].items():
            assert second[1][name] == pytest.approx(force, abs=1e-6)


def test_forces_on_the_moved_fragment_are_in_balance(lag, paths):
    model, path = paths["auto"]
    body = model.bone.bodies[model.bone.fragments[0]]
    point = path.points[-1]
    assert point.moved is not None
    applied, sources = pushes(model.problem, point.answer, body, body.points.mean(axis=0))
    left = applied + sum(sources.values())
    assert np.abs(left[:2]).max() < 1e-6 * point.load_N
    assert abs(left[2]) < 1e-6 * point.load_N * model.bone.section.extent


def test_a_load_beyond_is_read_in_the_moved_place(lag, paths):
    bones, _ = lag
    model, path = paths["auto"]
    reader = Reader.of(model.bone, bones.intact)
    number = next(i for i, p in enumerate(path.points) if p.moved is not None)
    low, high = path.points[number:number + 2]
    found = state_at(path, 0.5 * (low.load_N + high.load_N))
    assert found is not None

    def sunk(point):
        f = Figures(reader, model, model.pressing.since_tightened(point), point.load_N)
        return next(f.sunk(name)[0].mean() for name in f.places(Level.FRAGMENT))

    assert sunk(low) < sunk(found) < sunk(high)


def antiglide(bones: Bones | None = None, finer: float = 1.0) -> Pressing:
    study = only(example("medial-shear"), "antiglide")
    construct = study.constructs[0]
    model = build_model((bones or Bones(study)).of(construct), construct)
    growth = 1.0 + (model.growth - 1.0) / finer
    return replace(model, large="auto", growth=growth).pressing


def test_where_a_step_is_started_from_does_not_change_where_it_leads(monkeypatch):
    """A step starts where the one before leads; what loads have moved by is then that of the poses
    there (taken to go on as it did, a fragment that turns was 4 % too soft)."""
    found = {}
    for ahead in (True, False):
        if not ahead:
            monkeypatch.setattr(Moving, "_ahead", lambda self, start, length: None)
        path = antiglide().up_to(4000.0)
        found[ahead] = {round(p.ram_mm, 9): p.load_N for p in path.points if p.moved is not None}
    both = found[True].keys() & found[False].keys()
    assert len(both) >= 3
    for place in both:
        assert found[True][place] == pytest.approx(found[False][place], rel=2e-3)


def test_a_step_is_also_found_from_where_the_last_one_has_ended():
    """Without friction the way of the last step led to a geometry without an answer: the path ended
    in a gap at 5970 N, and the load above it was told to depend on friction."""
    study = only(example("medial-shear"), "antiglide + screw")
    construct = study.constructs[0]
    model = build_model(Bones(study).of(construct), construct)
    finer = replace(model, growth=1.0 + (model.growth - 1.0) / 3.0)
    found = []
    for one in (model, finer):
        path = one.slippery.up_to(7000.0)
        assert not path.gaps
        assert path.points[-1].load_N >= 7000.0
        found.append(path.points)
    coarse, fine = found
    for point in (p for p in coarse if 0.5 < p.ram_mm < fine[-1].ram_mm):
        load = np.interp(point.ram_mm, [p.ram_mm for p in fine], [p.load_N for p in fine])
        assert point.load_N == pytest.approx(load, rel=0.01)


def test_a_path_ends_where_a_piece_has_moved_far():
    """The antiglide plate's fragment turns: its joint opens by far more than the ram moves."""
    pressing = antiglide()
    path, geometry = pressing.whole, pressing.geometry
    assert path.stopped == FARTHER
    assert path.points[-1].ram_mm < 0.5 * FARTHEST_MM
    assert geometry.beyond(path.points[-1]) == pytest.approx(0.0, abs=CLOSED_MM)
    assert all(geometry.beyond(p) < 0.0 for p in path.points[:-1] if p.moved is not None)


def test_the_end_of_a_path_does_not_rest_on_its_steps():
    """It was the first point beyond, in a sweep another one: 0.1 % of load here, 0.6 % elsewhere."""
    whole, finer = antiglide().whole, antiglide(finer=1.7).whole
    assert len(finer.points) > len(whole.points)
    assert whole.stopped == finer.stopped == FARTHER
    assert finer.points[-1].load_N == pytest.approx(whole.points[-1].load_N, rel=3e-4)


STEEP = """
name = "steep"
scenario = "Invented: a posterior fragment, and a depressed piece in front of it over a void."
[section]
plane = "sagittal"
condyle = "medial"
bone = "dense"
[[fracture]]
name = "shear plane"
points_mm = [[4, 3], [13, -48]]
friction = 0
gap_mm = 0.1
[[fracture]]
name = "front"
points_mm = [[-12, 3], [-12, -8]]
friction = 0.3
[[fracture]]
name = "back"
points_mm = [[-3, 3], [-3, -8]]
friction = 0.3
[[fragment]]
name = "posterior fragment"
inside_mm = [15, -12]
[[fragment]]
name = "depressed piece"
inside_mm = [-8, -4]
step_mm = 0.3
[[void]]
name = "void"
points_mm = [[-12, -8], [-12, -16], [-3, -16], [-3, -8]]
[load]
total_N = [900]
medial_share = 0.6
slice_centre_mm = 2
[mesh]
size_mm = 2.5
[hardening]
bone_share = 0.5
[[construct]]
name = "plate and chips"
[[construct.plate]]
name = "plate"
section = "3.5 straight"
side = "posterior"
top_mm = -18
length_mm = 70
[[construct.screw]]
name = "upper"
form = "HA 3.5"
plate = "plate"
hole = 3
length_mm = "bicortical"
tension_N = 300
[[construct.screw]]
name = "lower"
like = "upper"
hole = 5
[[construct.screw]]
name = "raft"
form = "HA 3.5"
side = "anterior"
height_mm = -6
length_mm = 40
count = 2
[[construct.fill]]
name = "chips"
void = "void"
material = "loose chips"
[[construct]]
name = "plate alone"
like = "plate and chips"
remove = ["chips"]
"""


def test_a_fill_does_not_end_a_path_that_goes_on_without_it():
    """Where crushed bone is half as stiff as whole bone, faces that are pressed in looked open to
    the search: with chips the path "ended" at 5407 N, where no step was found but one that moves
    all by 15 mm, over an empty void at 8682 N."""
    study = parse_study(STEEP)
    bones = Bones(study)
    for construct in study.constructs:
        path = build_model(bones.of(construct), construct).pressing.whole
        assert path.peak_status == "beyond the search", construct.name
        loads = [p.load_N for p in path.points]
        assert min(np.diff(loads)) > -0.01 * max(loads)


def test_a_load_next_to_a_point_of_the_path_is_found(paths):
    """In the geometry of the next point it is carried a little before the point itself."""
    path = paths["auto"][1]
    numbers = [i for i, p in enumerate(path.points[:-1]) if p.moved is not None]
    found = 0
    for number in numbers:
        here, there = path.points[number:number + 2]
        if there.load_N <= here.load_N:
            continue
        for share in (1e-6, 1e-4, 1e-3, 3e-3, 0.01, 0.1, 0.5, 0.9):
            load = here.load_N + share * (there.load_N - here.load_N)
            if path.first_above(load) != number + 1:
                continue
            point = state_at(path, load)
            assert point is not None, (number, share)
            assert point.load_N == pytest.approx(load, rel=1e-9)
            assert here.ram_mm - 0.05 * (there.ram_mm - here.ram_mm) < point.ram_mm < there.ram_mm
            found += 1
    assert found > 20
