"""Arguments and options that commands share, each written once, and how their help lists them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

PATH: Any = click.Path(path_type=Path)
"""A file or folder, which a shell completes."""
FILE_OR_NAME: Any = click.Path(readable=False)
"""A file, which a shell completes, or the name of a shipped study; whoever reads it complains."""


class Command(click.Command):
    """A command whose help lists its arguments, and to which every mistake in them points."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        try:
            return super().parse_args(ctx, args)
        except click.UsageError as error:
            error.ctx = ctx    # a missing value comes without
            raise

    def format_arguments(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(str(a.metavar).strip("[]."), f"{a.help}{'  [required]' * a.required}")
                for a in self.params if isinstance(a, click.Argument)]
        if rows:
            with formatter.section("Arguments"):
                formatter.write_dl(rows)


class Within(click.IntRange):
    """An integer between bounds, both allowed."""

    name = "integer"    # so in messages


class Number(click.types.FloatParamType):
    """A number."""

    name = "number"


def shipped(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of shipped studies, for a shell that completes words."""
    from buttress.study.read import example_names

    return [name for name in example_names() if name.startswith(incomplete)]


study = click.argument("study", type=PATH, required=False, metavar="[STUDY.toml]",
                       help="Study file; - for standard input.")
example = click.option("--example", metavar="NAME", default="", show_default=False,
                       shell_complete=shipped, help="Use a shipped study instead of a file.")
json = click.option("--json", is_flag=True, help="Print one JSON document to standard output.")
quiet = click.option("--quiet", is_flag=True, help="No progress messages on standard error.")
out = click.option("--out", type=PATH, metavar="DIR",
                   help="Results folder; default results/STUDY-001.")
svg = click.option("--svg", is_flag=True, help="Figures also as SVG, beside PNG.")
force = click.option("--force", is_flag=True, help="Write to a folder that is not empty.")

# Of the commands that solve many cases into a store.
vary = click.option(
    "--vary", multiple=True, metavar="KEY=RANGE",
    help="What to vary; may be repeated: a dotted KEY of the study (* for every name), "
         "NAME.present, fracture.NAME.slope_deg (angle to the long axis), "
         "scale.cancellous_strength, "
         "scale.bearing_stiffness; RANGE is a:b:n, a list, an expression of keys in braces such as "
         "'{fracture.NAME.apex.y} + 13', or normal(m,s), lognormal(median,s), "
         "uniform(a,b), triangular(a,m,b), choice(a,b).")
samples = click.option("--samples", type=int, metavar="N",
                       help="Number of samples for lhs or sobol.")
workers = click.option("--workers", type=Within(0, 256), default=0, metavar="N",
                       help="Number of processes; 0 for one per core.")
cluster = click.option("--cluster", metavar="ADDRESS", default="", show_default=False,
                       help="Address of a running Dask scheduler to use instead of local "
                            "processes.")
store = click.option("--out", type=PATH, metavar="PATH",
                     help="Store (.sqlite) or its folder; the default name is derived from the "
                          "input, so that the same command resumes where it stopped.")
dry_run = click.option("--dry-run", is_flag=True, help="Estimate the cost; solve one case.")
path = click.option("--path", is_flag=True,
                    help="Also press each construct to its peak: peak, reserve, stiffness, first "
                         "yield (slower).")
limits = click.option("--limits", is_flag=True,
                      help="As --path, and the load at every limit and, with a body mass, the "
                           "cells of the weight-bearing table (slower still).")
strain = click.option("--strain", is_flag=True,
                      help="Also the share of bone over its yield strain (slower).")
