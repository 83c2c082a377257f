"""Points of a face in order along it: on moved geometry the curve through them is the face."""

import numpy as np
import pytest

from buttress.fe.moved.faces import faces_of
from buttress.fe.moved.spots import Layout
from buttress.model.model import Bones, assemble
from buttress.model.pressing import FACES
from buttress.study.read import example, only

STUDIES = {"medial-shear": "straight plate", "posterior-shear": "buttress + lag",
           "lateral-depression": "raft plate + impacted graft", "bicondylar": "both plates"}


@pytest.mark.parametrize("name", STUDIES)
def test_the_curve_of_a_face_does_not_turn_back(name):
    """A plate's ends came behind all other points: its curve led from the lower end back up."""
    study = only(example(name), STUDIES[name])
    [construct] = study.constructs
    layout = Layout(assemble(Bones(study).of(construct), construct).problem)
    faces = faces_of(layout, FACES)
    assert len(faces) >= 2
    for face in faces:
        for curve in face.curves:
            step = np.diff(layout.point[curve.spot], axis=0)
            step /= np.linalg.norm(step, axis=1)[:, None]
            # A void has corners; back along itself leads none.
            assert (step[:-1] * step[1:]).sum(axis=1).min(initial=1.0) > np.cos(np.radians(120.0))
