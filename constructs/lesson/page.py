"""The page of a lesson: one HTML file with its data, its script and its style inside.

Nothing but the hashes of its own script and style may run, and nothing may be fetched. Texts of a
study reach the page as JSON and are put there as text.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from markupsafe import Markup

from buttress import LABEL, __version__
from buttress.fe.errors import ButtressError
from buttress.lesson.embed import Embedded, controls, scene_data
from buttress.lesson.grid import Scene
from buttress.lesson.look import Facts, mm
from buttress.lesson.words import Step
from buttress.report.glossary import Glossary, glossary
from buttress.report.markup import asset
from buttress.report.markup import render as render_template
from buttress.versions import NOT_KNOWN

PAGE = ("buttress.lesson", "page")
"""Package and folder of the template, the scripts and the style sheet."""
SCRIPTS = ("linear.js", "problem.js", "step.js", "search.js", "trace.js", "lemke.js", "press.js",
           "solve.js", "draw.js", "forces.js", "words.js", "state.js", "page.js")
"""The solver first; in this order they make one script."""
LARGEST = 8_000_000
"""Bytes that the page may have."""
SLIDERS = (("load", "Load"), ("slope", "Angle to axis"),
           ("position", "Plate moved"), ("friction", "Friction μ"),
           ("strength", "Bone strength"), ("tension", "Screw tension"))
WORDS = ("medial, lateral", "fragment", "apex of the fragment", "lag screw", "position screw",
         "buttress plate", "antiglide plate", "raft", "depression, void", "graft", "step-off",
         "gap", "subsidence", "tilt", "free body", "force polygon", "friction coefficient",
         "plastic hinge", "no equilibrium", "newton")
"""What the page's words mean stands at its end."""
CANNOT = (
    "Anything about a patient: scenarios are invented, bone is a preset.",
    "What lies outside this flat section: torsion, anterior and posterior pieces, soft tissue.",
    "Healing, loosening with time, repeated loads, fracture of bone inside a piece.",
    "Absolute millimetres: compare, do not read off. Movements are assumed to be small.")


@dataclass(frozen=True)
class Lesson:
    """Everything on the page. ``mesh``: what the mesh adds, by scene; ``unknown``: number of steps
    whose state the solver did not find."""

    title: str
    scenes: tuple[Scene, ...]
    problems: tuple[tuple[tuple[Embedded, ...], ...], ...]
    facts: Facts
    steps: tuple[Step, ...]
    mesh: tuple[dict[str, Any], ...]
    command: str
    notes: tuple[str, ...] = ()
    unknown: int = 0
    versions: dict[str, str] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """Number of condensed problems on the page."""
        return sum(e.data is not None for scene in self.problems for f in scene for e in f)


def write_lesson(lesson: Lesson, path: Path) -> int:
    """Write the page; returns its size in bytes. Raises `ButtressError` where it is too large."""
    text = render(lesson).encode("utf-8")
    if len(text) > LARGEST:
        raise ButtressError(f"the page would have {len(text) / 1e6:.1f} MB, more than "
                            f"{LARGEST / 1e6:g}: give it fewer constructs")
    path.write_bytes(text)
    return len(text)


def render(lesson: Lesson) -> str:
    """The page as text."""
    script = Markup("\n").join(asset(name, PAGE) for name in SCRIPTS)
    style = asset("lesson.css", PAGE)
    data = {"scenes": [scene_data(s, f) for s, f in zip(lesson.scenes, lesson.problems,
                                                        strict=True)],
            "steps": [step_data(s, lesson.facts) for s in lesson.steps]}
    return render_template("lesson.html.j2", {
        "title": lesson.title, "label": LABEL, "script_hash": _hash(script),
        "style_hash": _hash(style), "style": style, "script": script, "sliders": SLIDERS,
        "cannot": CANNOT, "data": embedded(data), "notes": lesson.notes,
        "trust": [(scene.title, mesh_words(mesh)) for scene, mesh
                  in zip(lesson.scenes, lesson.mesh, strict=True)],
        "count": lesson.count,
        "version": f"{__version__} (commit {lesson.versions.get('commit', NOT_KNOWN)})",
        "sizes": " and ".join(f"{size:g}" for size in sorted(
            {s.study.mesh.size_mm for s in lesson.scenes})),
        "command": lesson.command,
        "glossary": Glossary(tuple(glossary()[w] for w in WORDS)).html()}, PAGE)


def embedded(data: Any) -> Markup:
    """JSON that no text in it can end: fit to stand inside a script element."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def step_data(step: Step, facts: Facts) -> dict[str, Any]:
    """A step of the tour for the page."""
    # No line may end between a number and its unit.
    text = [re.sub(r"(?<=\d) (?=mm\b|N\b|%)", "\u00a0", t) for t in step.text]
    out: dict[str, Any] = {"title": step.title, "text": text}
    if step.shows is not None:
        out |= controls(step.shows, facts)
    return out


def mesh_words(found: dict[str, Any]) -> str:
    """What a finer mesh changes, in a sentence."""
    if not found.get("points"):
        return "What the mesh adds was not measured."
    return (f"On a mesh of {found['fine_mm']:g} mm, {found['points']} of the tour's held states "
            f"move {mm(found['error_mm_max'])} ({100 * found['share_max']:.1f} %) differently at "
            f"worst, {100 * found['share_median']:.1f} % in the middle; the verdict is the same "
            f"at {found['verdict_same']} of {found['asked']}.")
