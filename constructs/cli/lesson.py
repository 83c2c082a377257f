"""The command `lesson`. Heavy imports wait until they are needed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import given_study, located, print_json, say, told_late


@click.command(cls=options.Command)
@options.study
@options.example
@click.option("--out", type=options.PATH, metavar="DIR",
              help="Folder for lesson.html; default results/lesson-001.")
@options.force
@options.json
@options.quiet
def lesson(study: Path | None, example: str, out: Path | None, force: bool, json: bool, quiet: bool
           ) -> int:
    """Write one teaching page for offline use.

    Without a study, the shipped lesson.
    """
    from buttress.files import claimed, drafted, new_folder, plain
    from buttress.lesson.build import shipped_lesson, study_lesson
    from buttress.lesson.page import mesh_words, write_lesson
    from buttress.study.activities import newtons

    asked: dict[str, Any] = {"say": say(quiet or json)}
    if study is None and not example:
        folder = new_folder("lesson", out, force)
        made = shipped_lesson(**asked)
    else:
        given, text, name = given_study(study, example)
        folder = new_folder(f"{given.name}-lesson", out, force)
        asked["command"] = (f"buttress lesson --example {example}" if example
                            else f"buttress lesson {study}")
        with located(name, text):
            made = study_lesson(given, **asked)
    size = 0
    with told_late() as writing, drafted(folder) as draft:
        size = write_lesson(made, draft / "lesson.html")
        folder = claimed(draft, folder, force)
    page = None if writing.error else folder / "lesson.html"
    unheld = [f"{s.title}: not held at {newtons(a.load_N)} N" for s in made.steps for a in s.shows
              if not made.facts.look(a).held]
    if json:
        print_json(plain({"label": LABEL, "versions": made.versions, "page": page and str(page),
                          "bytes": size, "problems": made.count, "mesh": made.mesh,
                          "notes": [*made.told[0].notes, *made.bench],
                          "steps": [{"title": s.title, "text": s.text} for s in made.steps]}))
    else:
        for scene, found in zip(made.scenes, made.mesh, strict=True):
            print(f"{scene.title}: {mesh_words(found)}")
        print(f"{made.count} condensed problems"
              + (f"; written: {page} ({size / 1e6:.1f} MB)" if page else "") + f"\n{LABEL}")
    for line in unheld:
        print(line, file=sys.stderr)
    writing.tell()
    return 1 if made.unknown else 0
