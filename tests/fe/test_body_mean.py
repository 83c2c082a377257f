"""A free piece's elastic displacements have no mean: nothing rests on where its mesh is pinned.

The reference is the pseudo-inverse of the whole stiffness (Moore and Penrose, by numpy), whose null
space is that of rigid motions.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from buttress.fe.bodies.body import Column
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import piece
from buttress.fe.verification.problem import unknowns

MESH = rectangle(3, 2, 12.0, 6.0)


@given(st.integers(0, 10_000))
def test_displacements_are_those_of_the_pseudo_inverse(seed: int) -> None:
    body = piece(MESH, 1000.0, 0.3, 5.0, name="free")
    forces = np.random.default_rng(seed).normal(size=(body.n_dof, 2))
    wanted = np.linalg.pinv(body.stiffness.toarray()) @ forces
    for found in (body.solve(forces), np.column_stack([body.solve(f) for f in forces.T])):
        assert found == pytest.approx(wanted, abs=1e-9 * np.abs(wanted).max())
        assert body.rigid.T @ found == pytest.approx(np.zeros((3, 2)),
                                                     abs=1e-9 * np.abs(wanted).max())


def test_responses_of_columns_are_too_in_whatever_order_they_come() -> None:
    body = piece(MESH, 1000.0, 0.3, 5.0, name="free")
    rng = np.random.default_rng(3)
    columns = [Column.of(rng.choice(body.n_dof, 3, replace=False), rng.normal(size=3))
               for _ in range(7)]
    first = body.register(columns[:3])
    body.flexibility(first, first)
    ids = body.register(columns)
    rows = body.matrix(ids).toarray()
    wanted = rows @ np.linalg.pinv(body.stiffness.toarray()) @ rows.T
    assert body.flexibility(ids, ids) == pytest.approx(wanted, abs=1e-9 * np.abs(wanted).max())


def test_a_held_piece_moves_as_it_is_held() -> None:
    held = unknowns(MESH.edges["bottom"])
    body = piece(MESH, 1000.0, 0.3, 5.0, held, name="held")
    forces = np.zeros(body.n_dof)
    forces[unknowns(MESH.edges["top"])[1::2]] = 1.0
    assert np.abs(body.solve(forces)[held]).max() == 0.0
