"""A check of a condensed problem's flexibility, whatever the mesh or the bodies."""

from __future__ import annotations

import numpy as np
import scipy.linalg

from buttress.fe.links.condense import Condensed


def smallest_eigenvalue(problem: Condensed) -> float:
    """Smallest eigenvalue of F on self-equilibrated forces over its largest: not below -1e-10.

    A negative value means a wrong mesh (clockwise triangles) or a wrong factorisation.
    """
    basis = scipy.linalg.null_space(problem.rigid.T) if problem.rigid.size else np.eye(problem.n)
    if basis.shape[1] == 0:
        return 0.0
    values = np.linalg.eigvalsh(basis.T @ problem.flexibility @ basis)
    return float(values[0] / max(values[-1], 1e-300))
