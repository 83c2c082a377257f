"""The reporting checklist of a comparison, filled in from the comparison itself.

Headings follow the reporting parameters for finite-element studies in biomechanics of Erdemir,
Guess, Halloran, Tadepalli and Morrison, J Biomech 2012;45:625-33: identification, structure,
simulation, verification, validation, availability. What the tool does not know it says so.
"""

from __future__ import annotations

from collections import Counter

from buttress.model.pressing import MOVED_FROM_MM
from buttress.report.assumptions import assumptions
from buttress.report.benched import of_study
from buttress.report.trust import how_far
from buttress.report.verified import recorded, sentences
from buttress.results.comparison import Comparison
from buttress.study.study import Study
from buttress.versions import NOT_KNOWN

GUIDANCE = ("Erdemir, Guess, Halloran, Tadepalli & Morrison, Considerations for reporting finite "
            "element analysis studies in biomechanics, J Biomech 2012;45:625-33 (PMC3278509)")
Row = tuple[str, str, str]


def checklist(comparison: Comparison) -> list[Row]:
    """Rows of heading, item and what is to be reported of this comparison, as plain text."""
    study, made = comparison.study, comparison.versions
    commit = made.get("commit", NOT_KNOWN)
    return [
        ("identification", "title and question", study.title or study.name),
        ("identification", "use", "teaching and research; not for planning treatment"),
        ("identification", "software",
         f"buttress {made.get('buttress', NOT_KNOWN)}, commit {commit}"),
        *_structure(comparison),
        *_simulation(comparison),
        *_verification(comparison),
        ("validation", "bench tests", " ".join(of_study(study.name))),
        ("validation", "against patients", "none"),
        ("availability", "input", "study.toml beside the results; all defaults are in "
                                  "comparison.json and at the end of this page"),
        ("availability", "code", f"BSD-3-Clause; commit {commit}"),
        ("availability", "environment", ", ".join(
            f"{k} {v}" for k, v in made.items() if k not in ("buttress", "commit")))]


def _structure(comparison: Comparison) -> list[Row]:
    study = comparison.study
    bodies = {n: row for n, row in comparison.mesh.items() if isinstance(row, dict)}
    elements = sum(row.get("elements", 0) for row in bodies.values())
    statuses = Counter(a.status for a in assumptions(study))
    return [
        ("structure", "geometry", f"{study.section.plane} section of a {study.section.side} "
                                  f"tibia, {study.section.plane_state} with a depth that "
                                  "varies; outline "
                                  + (f"from {study.section.outline_file}"
                                     if study.section.outline_file else "from the tables")),
        ("structure", "mesh", f"{elements} triangles with six nodes in {len(bodies)} bodies, "
                              f"{study.mesh.size_mm:g} mm at faces, {study.mesh.coarse_mm:g} mm "
                              "elsewhere; per body below"),
        ("structure", "materials", "elastic bone, plates and screws as beams with plastic "
                                   "hinges; values in use with source and status under "
                                   "Assumptions: " + ", ".join(
                                       f"{n} {s}" for s, n in statuses.items())),
        ("structure", "contact", "fracture faces, plates, heads and fills press, open and slide "
                                 "with Coulomb friction; threads and bearing up to a strength"),
        ("structure", "constructs", "; ".join(c.name for c in comparison.constructs))]


def _simulation(comparison: Comparison) -> list[Row]:
    load = comparison.study.load
    return [
        ("simulation", "loads", f"{load.all_words} of joint force; the joint is pressed by "
                                "displacement after tightening or stages"),
        ("simulation", "boundary conditions", "clamped at the lower end of the section"),
        ("simulation", "analysis", f"quasi-static, {_movements(comparison.study)}; the first state "
                                   "that is reached by pressing slowly"),
        ("simulation", "solver", "direct factors of the bodies, active sets on the condensed "
                                 "problem, limit analysis by linear programming beside it"),
        ("simulation", "cost", cost(comparison))]


def cost(comparison: Comparison) -> str:
    """The time of solving, to which each of the processes that share constructs adds its own."""
    return f"{sum(comparison.seconds.values()):.0f} s of solving, summed over processes"


def _movements(study: Study) -> str:
    if study.press.large_movements == "off":
        return "small movements"
    return "large movements" + (" from the start" if study.press.large_movements == "on" else
                                f" once a piece or implant has moved by {MOVED_FROM_MM:g} mm")


def _verification(comparison: Comparison) -> list[Row]:
    known = how_far(comparison)
    return [("verification", "code", " ".join(sentences(recorded()))),
            *(("verification", kind, known[kind])
              for kind in ("algebra error", "discretisation error", "model spread"))]
