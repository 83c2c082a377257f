"""Threads and bonds of a study that lose strength beyond their peak."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.implants.kinds import Hold
from buttress.implants.sections import screw_form
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.study.read import Study
from buttress.sweeps.vary import varied
from buttress.sweeps.workshop import Workshop
from buttress.verification.studies import coarse


def made(study: Study) -> Model:
    [construct] = study.constructs
    return build_model(Bones(study).of(construct), construct)


def test_threads_lose_their_share_over_a_turn_and_nothing_by_default() -> None:
    study = coarse("medial-shear", "lag screws")
    for share, soften in ((1.0, 0.0), (0.4, screw_form("HB 6.5").pitch)):
        links = made(varied(study, {"hardening.thread_residual": share}).study).problem.links.links
        threads = [x for x in links if x.kind == Hold.THREAD]
        assert {(x.residual, x.soften) for x in threads} == {(share, soften)}
        assert {x.soften for x in links if x.kind != Hold.THREAD} == {0.0}


def test_a_screw_that_strips_carries_less_at_the_same_way_and_never_more() -> None:
    study = varied(coarse("medial-shear", "lag screws"), {"section.bone": "soft"}).study
    loads = {}
    for share in (1.0, 0.2):
        path = made(varied(study, {"hardening.thread_residual": share}).study).pressing.whole
        loads[share] = np.interp(np.linspace(0.1, 4.0, 20), [p.ram_mm for p in path.points],
                                 [p.load_N for p in path.points])
    assert (loads[0.2] <= loads[1.0] * (1 + 1e-3)).all()
    assert loads[0.2][-1] < 0.97 * loads[1.0][-1]


def test_bonds_of_cement_break_and_those_of_metal_do_not() -> None:
    study = coarse("lateral-depression", "raft + cement")
    for model in ("links", "bonded inclusions"):
        given = varied(study, {"hardening.bond_residual": 0.0, "construct.*.model": model}).study
        bonds = [x for x in made(given).problem.links.links if x.kind.startswith("bond")]
        assert bonds
        assert {x.soften > 0 for x in bonds} == {model == "links"}


def test_a_sweep_sees_residual_strengths() -> None:
    study = coarse("medial-shear", "lag screws")
    shop, case = Workshop(), varied(study, {"hardening.thread_residual": 0.4})
    models = [shop.model(c, c.study.constructs[0])[1] for c in (varied(study, {}), case)]
    assert shop.counts["bones"] == 1
    assert [m.problem.residual.min() for m in models] == [1.0, pytest.approx(0.4)]
