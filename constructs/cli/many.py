"""The commands `batch` and `diff`. Heavy imports wait until they are needed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from buttress import LABEL
from buttress.cli.common import Json, Quiet, print_json, say
from buttress.cli.sweep import Cluster, Limits, Path_, Strain, Workers, sweep_lines

RESULT = "Folder of results, study file, or name of a shipped study."


def batch(files: Annotated[list[str], typer.Argument(
              metavar="FILE", show_default=False,
              help="Study files, or names of shipped studies.")],
          store: Annotated[Path, typer.Option(
              "--store", metavar="PATH", show_default=False,
              help="Store (.sqlite) or its folder; with a store that is there, further studies are "
                   "added.")],
          path: Path_ = False, limits: Limits = False, strain: Strain = False,
          workers: Workers = 0, cluster: Cluster = "", json: Json = False, quiet: Quiet = False
          ) -> None:
    """Solve many studies into one store.

    The same command resumes a run. Exit 0 if every study has an answer, 1 if one has none or is
    left, 2 if the input is invalid.
    """
    from buttress.sweeps.batch import batch as run
    from buttress.sweeps.evaluate import Options

    done = run(files, out=store, workers=workers or None, cluster=cluster, say=say(quiet or json),
               options=Options(strain=strain, path=path, limits=limits))
    if json:
        print_json({"label": LABEL, **{k: str(v) if isinstance(v, Path) else v
                                       for k, v in vars(done).items()}})
    else:
        print("\n".join([*sweep_lines(done), f"store: {done.path}", LABEL]))
    raise typer.Exit(1 if done.failed or done.left else 0)


def diff(a: Annotated[str, typer.Argument(metavar="FIRST", show_default=False, help=RESULT)],
         b: Annotated[str, typer.Argument(metavar="SECOND", show_default=False, help=RESULT)],
         every: Annotated[bool, typer.Option(
             "--all", help="List figures without a difference too.")] = False,
         json: Json = False) -> None:
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
