"""The command `compare`. Heavy imports wait until they are needed."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from buttress.cli import options
from buttress.cli.common import (
    given_study,
    located,
    points_given,
    print_json,
    say,
    tell_boxes,
    told_late,
)
from buttress.fe.status import Status

if TYPE_CHECKING:
    from buttress.results.comparison import Comparison


class Command(options.Command):
    """The command whose option ``--error-bars`` may stand without a number."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        given = list(args)
        ended = given.index("--") if "--" in given else len(given)
        for i in reversed([i for i, a in enumerate(given[:ended]) if a == "--error-bars"]):
            if not re.fullmatch(r"[+-]?\d[\d.]*", "".join(given[i + 1:i + 2])):
                given.insert(i + 1, "2")
        return super().parse_args(ctx, given)


@click.command(cls=Command)
@options.study
@options.example
@options.out
@options.force
@click.option("--also-bonded", is_flag=True,
              help="Add each construct's bonded twin, with metal and graft fully bonded to the "
                   "bone, to show the effect of slip, lift-off and loosening.")
@click.option("--error-bars", type=int, metavar="[MESHES]",
              help="Solve on a mesh twice as fine too (with 3, on one between them as well, for an "
                   "observed order), for an interval of each figure.")
@click.option("--alternatives", is_flag=True,
              help="Solve with other choices of the model too, one at a time, and tell which "
                   "verdicts change.")
@options.json
@click.option("--quiet", is_flag=True,
              help="No progress messages and no warnings on standard error.")
@click.option("--workers", type=options.Within(0, 256), default=0, metavar="N",
              envvar="BUTTRESS_WORKERS", show_envvar=True,
              help="Number of processes that share constructs and figures, with the same answers; "
                   "0 for one per core, as far as the study is worth it.")
@options.svg
@click.option("--figures", default="slides", metavar="FOR",
              help="slides (PNG), or paper: also as PDF and SVG for a paper, 85 or 180 mm wide, "
                   "with real text of 8 points and no title, in the folder paper.")
@click.option("--motion", nargs=2, metavar="CONSTRUCT CONSTRUCT",
              help="Also an animation (motion.gif) of two constructs, pressed to their peaks and "
                   "past them.")
@click.option("--at", multiple=True, metavar="X,Y",
              help="Also strain and stress at this point [mm] (points.csv); may be repeated.")
@click.option("--field", default="strain ratio", metavar="NAME",
              help="What the sections show in colours: strain ratio (strain / yield strain), von "
                   "Mises stress or least principal stress (in MPa, of cancellous bone and "
                   "fills).")
def compare(study: Path | None, example: str, out: Path | None, force: bool, also_bonded: bool,
            error_bars: int | None, alternatives: bool, json: bool, quiet: bool, workers: int,
            svg: bool, figures: str, motion: tuple[str, str] | None, at: tuple[str, ...],
            field: str) -> int:
    """Compare the constructs of a study.

    Prints a table and writes a folder of results.
    """
    from buttress.workers import cores, keep_ready

    given, text, name = given_study(study, example)
    if min(workers or cores(), cores()) > 1:
        keep_ready("buttress.comparison.solving", "buttress.draw.all")
    from buttress.comparison.compare import compare as run
    from buttress.files import claimed, drafted, new_folder
    from buttress.report.folder import write_results
    from buttress.results.stress import FIELDS
    from buttress.study.checked import require_known

    require_known(field, FIELDS, "field", key="--field")
    require_known(figures, ("slides", "paper"), "kind of figures", key="--figures")
    progress = say(quiet or json)
    with located(name, text):
        points = points_given(given, at)
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
    show(comparison, None if writing.error else folder, json)
    tell_what_went_wrong(comparison)
    if not quiet:
        tell_warnings(comparison)
    writing.tell()
    return exit_code(comparison)


def show(comparison: Comparison, folder: Path | None, json: bool) -> None:
    """The answer on standard output, and the folder of results if it could be written."""
    if json:
        from buttress.report.folder import document

        print_json(document(comparison) | {"results": folder and str(folder)})
        return
    from buttress.report.terminal import print_table

    if comparison.stages:
        from buttress.report.stages import print_stages

        print_stages(comparison.stages)
    print_table(comparison)
    if folder:
        print(f"results: {folder}")


def tell_what_went_wrong(comparison: Comparison) -> None:
    """Cases without an answer or equilibrium, on standard error."""
    from buttress.results.records import not_loaded

    for sentence in comparison.lost:
        print(sentence, file=sys.stderr)
    for construct in comparison.constructs:
        stripped = not_loaded(construct)
        if stripped:
            print(f"{construct.marked_name}: {stripped}", file=sys.stderr)
            continue
        for load in construct.loads:
            if load.status != Status.HELD:
                who = f"; '{load.escapes}' moves freely" if load.escapes else ""
                print(f"{construct.marked_name}: {load.verdict} at {load.load_words}{who}",
                      file=sys.stderr)
    for staged in comparison.stages:
        if staged.status != Status.HELD:
            print(f"{staged.name}: {staged.status}; later stages were not run", file=sys.stderr)


def tell_warnings(comparison: Comparison) -> None:
    """Warnings of constructs and of figures, on standard error."""
    for construct in comparison.constructs:
        for warning in construct.warnings:
            print(f"{construct.marked_name}: warning: {warning}", file=sys.stderr)
    tell_boxes(comparison.study, apart=True)


def exit_code(comparison: Comparison) -> int:
    """1 if a case or a stage has no answer; no equilibrium is an answer."""
    unknown = [load for construct in comparison.constructs for load in construct.loads
               if load.status == Status.UNCONVERGED]
    unknown_stages = [staged for staged in comparison.stages
                      if staged.status.startswith(Status.UNCONVERGED)]
    return 1 if comparison.lost or unknown or unknown_stages else 0
