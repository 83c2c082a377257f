"""The command `compare`. Heavy imports wait until they are needed."""

from __future__ import annotations

import re
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from buttress.cli.common import (
    Example,
    Force,
    Json,
    Out,
    StudyFile,
    Svg,
    given_study,
    located,
    points_given,
    print_json,
    say,
    told_late,
)
from buttress.fe.status import Status

ErrorBars = Annotated[int | None, typer.Option(
    "--error-bars", metavar="[MESHES]", show_default=False,
    help="Solve on a mesh twice as fine too (with 3, on one between them as well, for an observed "
         "order), for an interval of each figure.")]
Alternatives = Annotated[bool, typer.Option(
    "--alternatives", help="Solve with other choices of the model too, one at a time, and tell "
                           "which verdicts change.")]
AlsoBonded = Annotated[bool, typer.Option(
    "--also-bonded", help="Add each construct's bonded twin, with metal and graft fully bonded to "
                          "the bone, to show the effect of slip, lift-off and loosening.")]
NoWarnings = Annotated[bool, typer.Option(
    "--quiet", help="No progress messages and no warnings on standard error.")]


class Command(TyperCommand):
    """The command whose option ``--error-bars`` may stand without a number."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        given = list(args)
        for i in reversed([i for i, a in enumerate(given) if a == "--error-bars"]):
            if not re.fullmatch(r"[+-]?\d[\d.]*", "".join(given[i + 1:i + 2])):
                given.insert(i + 1, "2")
        return super().parse_args(ctx, given)


def compare(study: StudyFile = None, example: Example = "", out: Out = None, force: Force = False,
            also_bonded: AlsoBonded = False, error_bars: ErrorBars = None,
            alternatives: Alternatives = False, json: Json = False, quiet: NoWarnings = False,
            workers: Annotated[int, typer.Option(
                "--workers", metavar="N", min=0, max=256, envvar="BUTTRESS_WORKERS",
                help="Number of processes that share constructs and figures, with the same "
                     "answers; 0 for one per core, as far as the study is worth it.")] = 0,
            svg: Svg = False,
            figures: Annotated[str, typer.Option(
                "--figures", metavar="FOR",
                help="slides (PNG), or paper: also as PDF and SVG for a paper, 85 or 180 mm wide, "
                     "with real text of 8 points and no title, in the folder paper.")] = "slides",
            motion: Annotated[tuple[str, str] | None, typer.Option(
                "--motion", metavar="CONSTRUCT CONSTRUCT", show_default=False,
                help="Also an animation (motion.gif) of two constructs, pressed to their peaks and "
                     "past them.")] = None,
            at: Annotated[list[str] | None, typer.Option(
                "--at", metavar="X,Y", show_default=False,
                help="Also strain and stress at this point [mm] (points.csv); may be repeated."
            )] = None,
            field: Annotated[str, typer.Option(
                "--field", metavar="NAME",
                help="What the sections show in colours: strain ratio (strain / yield strain), von "
                     "Mises stress or least principal stress (in MPa, of cancellous bone and "
                     "fills).")] = "strain ratio") -> None:
    """Compare the constructs of a study.

    Prints a table and writes a folder of results.
    """
    from buttress.workers import cores, keep_ready

    given, text, name = given_study(study, example)
    if min(workers or cores(), cores()) > 1:
        keep_ready("buttress.comparison.solving", "buttress.draw.all")
    from buttress.comparison.compare import compare as run
    from buttress.files import claimed, drafted, new_folder
    from buttress.report.folder import document, write_results
    from buttress.results.stress import FIELDS
    from buttress.study.checked import require_known

    require_known(field, FIELDS, "field", key="--field")
    require_known(figures, ("slides", "paper"), "kind of figures", key="--figures")
    progress = say(quiet or json)
    with located(name, text):
        points = points_given(given, at or [])
    folder = new_folder(given.name, out, force)
    with located(name, text):
        if motion:
            from buttress.draw.film import film, write_film

            made = film(given, *motion, say=progress)
        comparison = run(given, progress, also_bonded=also_bonded, workers=workers or None,
                         error_bars=error_bars)
        if alternatives:
            from buttress.ranking.alternatives import with_alternatives

            comparison = with_alternatives(comparison, progress)
    with told_late() as writing, drafted(folder) as draft:
        write_results(comparison, draft, text, progress, field, points, svg,
                      workers or cores(), paper=figures == "paper")
        if motion:
            write_film(made, draft / "motion.gif", progress)
        folder = claimed(draft, folder, force)
    if json:
        print_json(document(comparison) | {"results": None if writing.error else str(folder)})
    else:
        from buttress.report.terminal import print_table

        if comparison.stages:
            from buttress.report.stages import print_stages

            print_stages(comparison.stages)
        print_table(comparison)
        if not writing.error:
            print(f"results: {folder}")
    from buttress.results.records import not_tightened

    code = 1 if comparison.lost else 0
    for sentence in comparison.lost:
        print(sentence, file=sys.stderr)
    for construct in comparison.constructs:
        stripped = not_tightened(construct)
        if stripped:
            print(f"{construct.marked_name}: {stripped}", file=sys.stderr)
        for load in construct.loads:
            if load.status == Status.UNCONVERGED:
                code = 1
            if load.status != Status.HELD and not stripped:
                who = f"; '{load.escapes}' moves freely" if load.escapes else ""
                print(f"{construct.marked_name}: {load.verdict} at {load.load_words}{who}",
                      file=sys.stderr)
    for staged in comparison.stages:
        if staged.status != Status.HELD:
            code = 1 if staged.status.startswith(Status.UNCONVERGED) else code
            print(f"{staged.name}: {staged.status}; later stages were not run", file=sys.stderr)
    for construct in comparison.constructs:
        for warning in construct.warnings:
            if not quiet:
                print(f"{construct.marked_name}: warning: {warning}", file=sys.stderr)
    from buttress.draw.all import boxed_names

    if not quiet and (names := boxed_names(comparison.study)):
        print(f"figures: warning: no installed font has every character of {', '.join(names)}; "
              "boxes replace missing characters; install a font that has them", file=sys.stderr)
    writing.tell()
    raise typer.Exit(code)
