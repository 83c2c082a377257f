"""The command `improve`. Heavy imports wait until they are needed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from buttress import LABEL
from buttress.cli.common import (
    Json,
    Quiet,
    Svg,
    located,
    print_json,
    say,
    told_late,
)

Free = Annotated[list[str] | None, typer.Option(
    "--free", metavar="KEY=LOW:HIGH", show_default=False,
    help="A free key with its bounds; may be repeated: a dotted KEY as in sweep --vary, such as "
         "the top_mm of a plate or the hole, height_mm, angle_deg or length_mm of a screw; a "
         "coupled key as KEY={expression}.")]


def improve(study: Annotated[str, typer.Argument(
                metavar="STUDY", show_default=False,
                help="Study file, or name of a shipped study.")],
            construct: Annotated[str, typer.Argument(metavar="CONSTRUCT", show_default=False,
                                                     help="Name of the construct.")],
            free: Free = None,
            by: Annotated[str, typer.Option("--by", metavar="reserve|peak|stiffness",
                                            help="What is to become larger.")] = "reserve",
            cases: Annotated[int, typer.Option(
                "--cases", metavar="N", min=2, max=10_000,
                help="Placements to solve; a larger number continues a search.")] = 24,
            samples: Annotated[int, typer.Option(
                "--samples", metavar="N", min=1, max=1024,
                help="Samples of uncertain bone (a power of two), of which the worst counts; 1 is "
                     "the study's own bone.")] = 1,
            seed: Annotated[int, typer.Option("--seed", metavar="N", min=0,
                                              help="Seed of the points.")] = 0,
            workers: Annotated[int, typer.Option(
                "--workers", metavar="N", min=0, max=256,
                help="Number of processes; 0 for one per core.")] = 1,
            out: Annotated[Path | None, typer.Option(
                "--out", metavar="PATH", show_default=False,
                help="Store (.sqlite) or its folder; the default name is derived from the input, "
                     "so that the same command resumes where it stopped.")] = None,
            svg: Svg = False, json: Json = False, quiet: Quiet = False) -> None:
    """Search for a better placement of parts (educational).

    Of one construct, by free keys within bounds. Placements that cannot be built or break a rule
    of the trade are refused. Ctrl-C or SIGTERM finishes the case in progress; the same command
    resumes. Exit 0 if the search is complete, 1 if placements are left, 2 if the input is invalid.
    """
    from buttress.draw.landscape import landscape
    from buttress.draw.primitives import save
    from buttress.files import written_whole
    from buttress.improving.records import SEARCH
    from buttress.improving.search import improve as run
    from buttress.report.columns import columns
    from buttress.study.read import as_study
    from buttress.workers import cores

    given = as_study(study)
    with located(study, ""):
        found = run(given, construct, free or [], by=by, cases=cases, samples=samples, seed=seed,
                    out=out, workers=0 if workers == 1 else workers or cores(),
                    say=say(quiet or json))
    pictures: list[Path] = []
    with told_late() as writing:
        folder = found.path.with_name(found.path.stem + "-figures")
        with written_whole(folder) as draft:
            made = save(landscape(found).get_figure(root=True), draft,  # type: ignore[arg-type]
                        "landscape", svg)
        pictures = [folder / path.name for path in made]
    if json:
        print_json(found.document() | {"written": [str(p) for p in pictures]})
    else:
        print("\n".join([
            *found.sentences(), *columns(("free key", "bounds", "start", "largest found"),
                                         found.rows(), "<>>>"),
            f"store: {found.path}", *(f"written: {p}" for p in pictures), SEARCH, LABEL]))
    writing.tell()
    raise typer.Exit(1 if found.interrupted else 0)
