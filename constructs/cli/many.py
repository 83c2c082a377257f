"""The commands `batch` and `diff`. Heavy imports wait until they are needed."""

from __future__ import annotations

from pathlib import Path

import click

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import print_json, say
from buttress.cli.sweep import sweep_lines

RESULT = "Folder of results, study file, or name of a shipped study."


@click.command(cls=options.Command)
@click.argument("files", type=options.FILE_OR_NAME, nargs=-1, required=True, metavar="FILE...",
                help="Study files, or names of shipped studies.")
@click.option("--store", type=options.PATH, required=True, metavar="PATH",
              help="Store (.sqlite) or its folder; with a store that is there, further studies are "
                   "added.")
@options.path
@options.limits
@options.strain
@options.workers
@options.cluster
@options.json
@options.quiet
def batch(files: tuple[str, ...], store: Path, path: bool, limits: bool, strain: bool, workers: int,
          cluster: str, json: bool, quiet: bool) -> int:
    """Solve many studies into one store.

    The same command resumes a run. Exit 0 if every study has an answer, 1 if one has none or is
    left, 2 if the input is invalid.
    """
    from buttress.sweeps.batch import batch as run
    from buttress.sweeps.evaluate import Options

    done = run(list(files), out=store, workers=workers or None, cluster=cluster,
               say=say(quiet or json),
               options=Options(strain=strain, path=path, limits=limits))
    if json:
        print_json({"label": LABEL, **{k: str(v) if isinstance(v, Path) else v
                                       for k, v in vars(done).items()}})
    else:
        print("\n".join([*sweep_lines(done), f"store: {done.path}", LABEL]))
    return 1 if done.failed or done.left else 0


@click.command(cls=options.Command)
@click.argument("a", type=options.FILE_OR_NAME, metavar="FIRST", help=RESULT)
@click.argument("b", type=options.FILE_OR_NAME, metavar="SECOND", help=RESULT)
@click.option("--all", "every", is_flag=True, help="List figures without a difference too.")
@options.json
def diff(a: str, b: str, every: bool, json: bool) -> None:
    """Tell what differs between two results, or two studies.

    In the input, in each figure (beyond its interval) and in the verdicts.
    """
    from buttress.report.diff import diff as run
    from buttress.report.diff import lines

    found = run(a, b)
    if json:
        print_json(found.document())
    else:
        print("\n".join(lines(found, every)))
