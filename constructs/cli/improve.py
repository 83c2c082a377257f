"""The command `improve`. Heavy imports wait until they are needed."""

from __future__ import annotations

from pathlib import Path

import click

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import located, print_json, say, told_late


@click.command(cls=options.Command)
@click.argument("study", type=options.FILE_OR_NAME, metavar="STUDY",
                help="Study file, or name of a shipped study.")
@click.argument("construct", metavar="CONSTRUCT", help="Name of the construct.")
@click.option("--free", multiple=True, metavar="KEY=LOW:HIGH",
              help="A free key with its bounds; may be repeated: a dotted KEY as in sweep --vary, "
                   "such as the top_mm of a plate or the hole, height_mm, angle_deg or length_mm "
                   "of a screw; a coupled key as KEY={expression}.")
@click.option("--by", default="reserve", metavar="reserve|peak|stiffness",
              help="What is to become larger.")
@click.option("--cases", type=options.Within(2, 10_000), default=24, metavar="N",
              help="Placements to solve; a larger number continues a search.")
@click.option("--samples", type=options.Within(1, 1024), default=1, metavar="N",
              help="Samples of uncertain bone (a power of two), of which the worst counts; 1 is "
                   "the study's own bone.")
@click.option("--seed", type=options.Within(0), default=0, metavar="N", help="Seed of the points.")
@click.option("--workers", type=options.Within(0, 256), default=1, metavar="N",
              help="Number of processes; 0 for one per core.")
@options.store
@options.svg
@options.json
@options.quiet
def improve(study: str, construct: str, free: tuple[str, ...], by: str, cases: int, samples: int,
            seed: int, workers: int, out: Path | None, svg: bool, json: bool, quiet: bool) -> int:
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
        found = run(given, construct, list(free), by=by, cases=cases, samples=samples, seed=seed,
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
    return 1 if found.interrupted else 0
