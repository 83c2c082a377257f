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
from buttress.fe.status import Status
from buttress.lesson.grid import AXES, Scene
from buttress.lesson.look import Asked, Facts, mm
from buttress.lesson.pack import scene_data
from buttress.lesson.solve import Solved
from buttress.lesson.words import Step
from buttress.report.glossary import Glossary, glossary
from buttress.report.markup import asset
from buttress.report.markup import render as render_template
from buttress.versions import NOT_KNOWN

PAGE = ("buttress.lesson", "page")
"""Package and folder of the template, the scripts and the style sheet."""
SCRIPTS = ("data.js", "draw.js", "forces.js", "words.js", "page.js")
LARGEST = 8_000_000
"""Bytes that the page may have."""
SLIDERS = (("load", "Load"), ("slope", "Fracture angle to the long axis"),
           ("friction", "Friction μ"),
           ("quality", "Bone quality"), ("position", "Plate moved"))
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
    """Everything on the page. ``accuracy``: one summary a scene, ``mesh``: what the mesh adds."""

    title: str
    scenes: tuple[Scene, ...]
    solved: tuple[tuple[Solved, ...], ...]
    steps: tuple[Step, ...]
    accuracy: tuple[dict[str, Any], ...]
    mesh: tuple[dict[str, Any], ...]
    command: str
    seconds: float
    notes: tuple[str, ...] = ()
    versions: dict[str, str] = field(default_factory=dict)

    @property
    def facts(self) -> Facts:
        """To look states up."""
        return Facts(self.scenes, self.solved)

    @property
    def states(self) -> int:
        """Number of solved states."""
        return sum(f.states for scene in self.solved for f in scene)

    @property
    def unconverged(self) -> int:
        """Number of steps of the tour that stand on a load path without an answer."""
        return sum(self.facts.look(s.shows).status == Status.UNCONVERGED for s in self.steps
                   if s.shows is not None)


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
    data = {"scenes": [scene_data(s, f) for s, f in zip(lesson.scenes, lesson.solved,
                                                        strict=True)],
            "steps": [_step(s) for s in lesson.steps]}
    return render_template("lesson.html.j2", {
        "title": lesson.title, "label": LABEL, "script_hash": _hash(script),
        "style_hash": _hash(style), "style": style, "script": script, "sliders": SLIDERS,
        "cannot": CANNOT, "data": embedded(data), "notes": lesson.notes,
        "trust": [(scene.title, accuracy_words(found), mesh_words(mesh)) for scene, found, mesh
                  in zip(lesson.scenes, lesson.accuracy, lesson.mesh, strict=True)],
        "states": lesson.states, "seconds": f"{lesson.seconds:.0f}",
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


def _step(step: Step) -> dict[str, Any]:
    # No line may end between a number and its unit.
    text = [re.sub(r"(?<=\d) (?=mm\b|N\b|%)", "\u00a0", t) for t in step.text]
    out: dict[str, Any] = {"title": step.title, "text": text}
    if step.shows is not None:
        out |= _controls(step.shows)
    return out


def _controls(asked: Asked) -> dict[str, Any]:
    return {"scene": asked.scene, "choice": asked.choice, "on": list(asked.on),
            "point": [asked.point[a] for a in AXES], "load": asked.load_N}


def accuracy_words(found: dict[str, Any]) -> str:
    """What was measured at held-out points, in one or two sentences."""
    if not found.get("points"):
        return "How well states are read between solved ones was not measured."
    if not found["read"]:
        return (f"{found['points']} random points were solved afresh; none was a movement read "
                f"between states. The verdict held or not was right at {found['verdict_right']}.")
    return (f"{found['points']} random points of the sliders were solved afresh. Of "
            f"{found['read']} movements read between states {found['within']} are within 5 % or "
            f"0.02 mm (the larger of the two); off by {mm(found['error_mm_p95'])} at the 95th "
            f"percentile and {mm(found['error_mm_max'])} at worst. Forces: "
            f"{100 * found['force_share_p95']:.1f} % of the load at the 95th percentile, "
            f"{100 * found['force_share_max']:.0f} % at worst. The verdict held or not was right "
            f"at {found['verdict_right']} of {found['points']}; at {found['at_a_change']} of them "
            "the page shows the nearest solved state instead of reading between.")


def mesh_words(found: dict[str, Any]) -> str:
    """What a finer mesh changes, in a sentence."""
    if not found.get("points"):
        return "What the mesh adds was not measured."
    return (f"On a mesh of {found['fine_mm']:g} mm, {found['points']} of the tour's held states "
            f"move {mm(found['error_mm_max'])} ({100 * found['share_max']:.0f} %) differently at "
            f"worst, {100 * found['share_median']:.0f} % in the middle; the verdict is the same "
            f"at {found['verdict_same']} of {found['asked']}.")
