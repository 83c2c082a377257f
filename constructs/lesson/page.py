"""The page of a lesson: one HTML file with its data, its script and its style inside.

Nothing but the hashes of its own script and style may run, and nothing may be fetched. Texts of a
study reach the page as JSON and are put there as text.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any

from buttress import LABEL, __version__
from buttress.fe.errors import ButtressError
from buttress.lesson.grid import AXES, Scene
from buttress.lesson.look import Asked, Facts, mm
from buttress.lesson.pack import scene_data
from buttress.lesson.solve import Solved
from buttress.lesson.words import Step
from buttress.report.glossary import Glossary, glossary

SCRIPTS = ("data.js", "draw.js", "forces.js", "words.js", "page.js")
LARGEST = 8_000_000
"""Bytes that the page may have."""
SLIDERS = (("load", "Load"), ("slope", "Fracture slope"), ("friction", "Friction μ"),
           ("quality", "Bone quality"), ("position", "Plate moved"))
WORDS = ("medial, lateral", "fragment", "apex of the fragment", "lag screw", "position screw",
         "buttress plate", "antiglide plate", "raft", "depression, void", "graft", "step-off",
         "gap", "subsidence", "tilt", "free body", "force polygon", "friction coefficient",
         "plastic hinge", "no equilibrium", "newton")
"""What the page's words mean stands at its end."""
CANNOT = (
    "Anything about a patient: scenarios are invented, bone is a preset.",
    "What lies out of this flat section: twist, front and back pieces, soft tissue.",
    "Healing, loosening with time, repeated loads, torn bone inside a piece.",
    "Absolute millimetres: compare, do not read off. Movements are taken as small.")


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
        return sum(self.facts.look(s.shows).status == "unconverged" for s in self.steps
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
    script = "\n".join(_asset(name) for name in SCRIPTS)
    style = _asset("lesson.css")
    data = {"scenes": [scene_data(s, f) for s, f in zip(lesson.scenes, lesson.solved,
                                                        strict=True)],
            "steps": [_step(s) for s in lesson.steps]}
    return Template(_asset("lesson.html")).substitute(
        title=html.escape(lesson.title), heading=html.escape(lesson.title),
        label=html.escape(LABEL), script_hash=_hash(script), style_hash=_hash(style),
        style=style, script=script, sliders="\n  ".join(_slider(*s) for s in SLIDERS),
        cannot="<ul>" + "".join(f"<li>{html.escape(t)}</li>" for t in CANNOT) + "</ul>",
        below=_below(lesson), data=embedded(data))


def embedded(data: Any) -> str:
    """JSON that no text in it can end: fit to stand inside a script element."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _asset(name: str) -> str:
    return files("buttress.lesson").joinpath("page", name).read_text(encoding="utf-8")


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


def _slider(name: str, words: str) -> str:
    return (f'<p><label for="{name}">{words}</label><input type="range" id="{name}">'
            f'<output id="{name}-value" for="{name}"></output></p>')


def _below(lesson: Lesson) -> str:
    """How the page came about and how far it is off, as HTML; names in it are escaped."""
    parts = ["<h2>How far to trust the pictures</h2>"]
    for scene, found, mesh in zip(lesson.scenes, lesson.accuracy, lesson.mesh, strict=True):
        parts.append(f"<p><strong>{html.escape(scene.title)}.</strong> "
                     + html.escape(accuracy_words(found)) + " "
                     + html.escape(mesh_words(mesh)) + "</p>")
    parts += [f"<p>{html.escape(n)}</p>" for n in lesson.notes]
    sizes = sorted({s.study.mesh.size_mm for s in lesson.scenes})
    parts.append(
        f"<p>{lesson.states} states solved beforehand in {lesson.seconds:.0f} s by buttress "
        f"{html.escape(__version__)} with elements of "
        f"{' and '.join(f'{s:g}' for s in sizes)} mm, by <code>{html.escape(lesson.command)}"
        "</code>. Between states the page reads linearly; it never reads between a state that "
        "holds and one that gives way (moves twice as fast a newton as before) or does not hold. "
        "The fragment is drawn as a rigid piece: its best-fitting "
        "rigid motion. Movements are in the frame of the shaft, since the screws were tightened. "
        "Bone quality is the modulus of cancellous bone, 100 % being the study's; its strength "
        "follows it. The plate's place is told from the apex of the fragment where the fracture "
        "can be turned.</p>")
    parts.append("<h2>Words</h2>" + Glossary(tuple(glossary()[w] for w in WORDS)).html())
    return "\n".join(parts)


def accuracy_words(found: dict[str, Any]) -> str:
    """What was measured at held-out points, in one or two sentences."""
    if not found.get("points"):
        return "How well states are read between solved ones was not measured."
    if not found["read"]:
        return (f"{found['points']} random points were solved afresh; none was a movement read "
                f"between states. The verdict held or not was right at {found['verdict_right']}.")
    return (f"{found['points']} random points of the sliders were solved afresh. Of "
            f"{found['read']} movements read between states {found['within']} are within 5 % or "
            f"0.02 mm, whichever is larger; off by {mm(found['error_mm_p95'])} at the 95th "
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
