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

from buttress import __version__
from buttress.fe.errors import ButtressError
from buttress.lesson.catalogue import Words, words_in
from buttress.lesson.embed import Embedded, controls, scene_data
from buttress.lesson.grid import Scene
from buttress.lesson.look import Facts
from buttress.lesson.step import Step
from buttress.report.markup import asset
from buttress.report.markup import render as render_template
from buttress.versions import NOT_KNOWN

ENGLISH = words_in("en")
PAGE = ("buttress.lesson", "page")
"""Package and folder of the template, the scripts and the style sheet."""
SOLVER = ("linear.js", "problem.js", "step.js", "search.js", "trace.js", "lemke.js", "press.js",
          "solve.js", "state.js")
"""The solver, which also runs in a worker thread; in this order they make one script."""
SHOWN = ("catalogue.js", "screws.js", "draw.js", "forces.js", "words.js", "solver.js", "view.js",
         "predict.js", "picture.js", "handout.js", "page.js")
"""What is shown and said, in a second script."""
LARGEST = 8_000_000
"""Bytes that the page may have."""
WORDS = ("medial, lateral", "fragment", "apex of the fragment", "lag screw", "position screw",
         "buttress plate", "antiglide plate", "raft", "depression, void", "graft", "step-off",
         "gap", "subsidence", "tilt", "free body", "force polygon", "friction coefficient",
         "plastic hinge", "no equilibrium", "newton")
"""What the page's words mean stands at its end."""


@dataclass(frozen=True)
class Told:
    """What is said in one language: ``title``, steps, ``mesh`` (what the mesh adds, by scene) and
    ``notes``."""

    words: Words
    title: str
    steps: tuple[Step, ...]
    mesh: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lesson:
    """Everything on the page. ``mesh``: what the mesh adds, by scene; ``bench``: what bench tests
    say, in English; ``unknown``: number of steps whose state the solver did not find."""

    scenes: tuple[Scene, ...]
    problems: tuple[tuple[tuple[Embedded, ...], ...], ...]
    facts: Facts
    told: tuple[Told, ...]
    mesh: tuple[dict[str, Any], ...]
    command: str
    bench: tuple[str, ...] = ()
    unknown: int = 0
    versions: dict[str, str] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """The title in the first language."""
        return self.told[0].title

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps in the first language."""
        return self.told[0].steps

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
    solver, script = (Markup("\n").join(asset(name, PAGE) for name in names)
                      for names in (SOLVER, SHOWN))
    style = asset("lesson.css", PAGE)
    return render_template("lesson.html.j2", {
        "t": lesson.told[0].words, "title": lesson.title, "solver": solver, "script": script,
        "hashes": Markup(" ".join(f"'sha256-{_hash(x)}'" for x in (solver, script))),
        "style_hash": _hash(style), "style": style,
        "languages": [{"id": x.words.language, "name": x.words.name} for x in lesson.told],
        "below": [below(lesson, told) for told in lesson.told],
        "data": embedded(page_data(lesson))}, PAGE)


def page_data(lesson: Lesson) -> dict[str, Any]:
    """All that the script needs: scenes, steps in every language, words."""
    told = lesson.told
    return {
        "scenes": [scene_data(s, f) for s, f in zip(lesson.scenes, lesson.problems, strict=True)],
        "languages": [{"id": x.words.language, "name": x.words.name} for x in told],
        "title": {x.words.language: x.title for x in told},
        "words": {x.words.language: said_by_script(x.words) for x in told},
        "names": {x.words.language: dict(x.words.names) for x in told},
        "steps": [step_data(tuple(told), k, lesson.facts) for k in range(len(lesson.steps))]}


def said_by_script(words: Words) -> dict[str, str]:
    """The sentences that the script and the template use."""
    return {k: v for k, v in words.sentences.items() if k in words.page_keys}


def below(lesson: Lesson, told: Told) -> dict[str, Any]:
    """What stands below the page in one language."""
    t = told.words
    version = f"{__version__} (commit {lesson.versions.get('commit', NOT_KNOWN)})"
    sizes = t.listed([t.short(size) for size in sorted(
        {s.study.mesh.size_mm for s in lesson.scenes})])
    head = (t("glossary.word"), t("glossary.surgeon"), t("glossary.engineer"))
    return {"language": t.language, "title": t("below.title"), "words": t("below.words"),
            "trust": told.mesh, "notes": told.notes, "bench": lesson.bench,
            "bench_title": t("below.bench"),
            "how": t("below.how", count=lesson.count, version=version, sizes=sizes,
                     command=lesson.command),
            "glossary": render_template("glossary.html.j2", {
                "head": head, "terms": t.glossary(WORDS).terms})}


def embedded(data: Any) -> Markup:
    """JSON that no text in it can end: fit to stand inside a script element."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def step_data(told: tuple[Told, ...], number: int, facts: Facts) -> dict[str, Any]:
    """A step of the tour for the page, in every language."""
    steps = {x.words.language: x.steps[number] for x in told}
    first = told[0].steps[number]
    out: dict[str, Any] = {
        "title": {k: s.title for k, s in steps.items()},
        "text": {k: [tied(x) for x in s.text] for k, s in steps.items()},
        "before": {k: tied(s.before) for k, s in steps.items()},
        "tries": {k: s.tries for k, s in steps.items()}}
    if first.asks and (first.asks != "which" or first.which):
        out["asks"] = first.asks
        out["which"] = {k: list(s.which) for k, s in steps.items()}
    if first.shows:
        out |= controls(first.shows, facts)
    return out


def tied(text: str) -> str:
    """No line may end between a number and its unit."""
    return re.sub(r"(?<=\d) (?=mm\b|N\b|%)", "\u00a0", text)


def mesh_words(found: dict[str, Any], t: Words = ENGLISH) -> str:
    """What a finer mesh changes, in a sentence."""
    if not found.get("points"):
        return t("mesh.none")
    return t("mesh.words", fine=t.short(found["fine_mm"]), points=found["points"],
             error=t.mm(found["error_mm_max"]), share=t.fixed(100 * found["share_max"], 1),
             median=t.fixed(100 * found["share_median"], 1), same=found["verdict_same"],
             asked=found["asked"])
