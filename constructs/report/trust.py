"""How far the numbers of a comparison go: algebra, discretisation, model, bench, each by its name.

A small residual says that the equations were solved. It says nothing of the mesh, of the choices of
the model or of a bench, so these stand beside it, also where they are not known.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from buttress.report import alternatives
from buttress.report.benched import of_study
from buttress.report.error_bars import summary
from buttress.results.comparison import Comparison

ALGEBRA = ("Algebra error: the worst of residual, complementarity and balance error, relative to "
           "the load. It says how exactly the equations were solved, and nothing of the mesh or of "
           "the model.")


def largest_algebra_error(trust: Mapping[str, Any]) -> float | None:
    """The largest of the errors of all answers, relative to the load; None without an answer."""
    return max((v for v in trust.values() if isinstance(v, float)), default=None)


def how_far(comparison: Comparison) -> dict[str, str]:
    """What is known of each kind of error, in a sentence each, by its name."""
    worst = largest_algebra_error(comparison.trust)
    mesh = comparison.study.mesh
    return {
        "algebra error": "no answer to judge" if worst is None else
            f"at most {worst:.0e} of the load: equilibrium of the solved equations",
        "discretisation error": summary(comparison) if comparison.meshes is not None else
            f"not estimated here: one mesh, {mesh.size_mm:g} mm at faces and {mesh.coarse_mm:g} mm "
            "elsewhere; “--error-bars” refines it",
        "model spread": alternatives.summary(comparison) if comparison.alternatives is not None
            else "not computed here: one set of assumptions; “--alternatives” changes them one by "
                 "one, “buttress rank” draws the inputs of the study at random",
        "bench tests": " ".join(of_study(comparison.study.name))}
