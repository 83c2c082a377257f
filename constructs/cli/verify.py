"""The command `verify`. Heavy imports wait until they are needed."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import print_json, say


@click.command(cls=options.Command)
@options.json
@options.quiet
@click.option("--record", is_flag=True,
              help="Also record the outcome as the status that reports of this version show; with "
                   "--bench, that of the bench tests.")
@click.option("--bench", is_flag=True,
              help="Compare the model with published bench tests instead: agrees, disagrees or not "
                   "comparable, with reasons. A disagreement is a result, exit 0.")
@click.option("--only", multiple=True, metavar="NAME",
              help="With --bench: only this test; may be repeated.")
@click.option("--out", type=options.PATH, metavar="DIR",
              help="With --bench: also write bench.md and bench.json.")
@click.option("--mechanisms", is_flag=True,
              help="With --bench: also run each test with nothing that hardens, with each kind of "
                   "hardening alone, in small movements, and with one thing more at a time: parts "
                   "that fit less than perfectly, anchorage that loses strength.")
@options.force
def verify(json: bool, quiet: bool, record: bool, bench: bool, only: tuple[str, ...],
           out: Path | None, mechanisms: bool, force: bool) -> int:
    """Compute the verification table against published values. Exit 1 if a case fails."""
    if bench:
        from buttress.cli.bench import run_bench_tests

        run_bench_tests(json, say(quiet or json), only, out, force, record, mechanisms)
        return 0
    for key, given in (("--only", only), ("--out", out), ("--force", force),
                       ("--mechanisms", mechanisms)):
        if given:
            from buttress.fe.errors import InputError

            raise InputError(f"{key} needs --bench", key=key,
                             expected=f"--bench, or no {key}")
    from buttress.verification.table import table_lines
    from buttress.verification.table import verify as run

    results = run(say(quiet or json))
    if record:
        from buttress.report.verified import record_of, write_record
        from buttress.versions import versions

        print(f"recorded: {write_record(record_of(results, versions()))}", file=sys.stderr)
    if json:
        print_json({"label": LABEL, "cases": results})
    else:
        print("\n".join(table_lines(results)))
        print(LABEL)
    return 0 if all(r["passes"] for r in results) else 1
