"""The command `verify`. Heavy imports wait until they are needed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from buttress import LABEL
from buttress.cli.common import Force, Json, Quiet, print_json, say


def verify(json: Json = False, quiet: Quiet = False,
           record: Annotated[bool, typer.Option(
               "--record", help="Also record the outcome as the status that reports of this "
                                "version show; with --bench, that of the bench tests.")] = False,
           bench: Annotated[bool, typer.Option(
               "--bench", help="Compare the model with published bench tests instead: agrees, "
                               "disagrees or not comparable, with reasons. A disagreement "
                               "is a result, exit 0."
           )] = False,
           only: Annotated[list[str] | None, typer.Option(
               "--only", metavar="NAME", show_default=False,
               help="With --bench: only this test; may be repeated.")] = None,
           out: Annotated[Path | None, typer.Option(
               "--out", metavar="DIR", show_default=False,
               help="With --bench: also write bench.md and bench.json.")] = None,
           mechanisms: Annotated[bool, typer.Option(
               "--mechanisms", help="With --bench: also run each test with nothing that hardens, "
                                    "with each kind of hardening alone, and with large "
                                    "movements.")] = False,
           force: Force = False) -> None:
    """Compute the verification table against published values. Exit 1 if a case fails."""
    if bench:
        from buttress.cli.bench import run_bench_tests

        run_bench_tests(json, say(quiet or json), only or [], out, force, record, mechanisms)
        return
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
    raise typer.Exit(0 if all(r["passes"] for r in results) else 1)
