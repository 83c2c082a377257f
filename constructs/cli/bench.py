"""The command `buttress verify --bench`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from buttress import LABEL
from buttress.cli.common import print_json


def run_bench_tests(json: bool, progress: Callable[[str], None], only: Sequence[str],
                    out: Path | None, force: bool, record: bool) -> None:
    """Run bench tests (all, or those named), print, write and record them where requested."""
    from buttress.bench.run import run_bench
    from buttress.fe.errors import InputError
    from buttress.files import new_folder, written_whole
    from buttress.report.bench import document, table_lines, write_report
    from buttress.report.benched import record_of, write_record

    if record and only:
        raise InputError("only a run of all bench tests can be recorded", key="--record",
                         value=", ".join(only), expected="--record without --only")
    folder = None if out is None else new_folder("bench", out, force)
    records = run_bench(progress, only)
    if record:
        print(f"recorded: {write_record(record_of(records))}", file=sys.stderr)
    if folder is not None:
        with written_whole(folder) as draft:
            write_report(records, draft)
    if json:
        print_json(document(records))
        return
    print("\n".join(table_lines(records)))
    print(LABEL)
    if folder is not None:
        print(f"report: {folder}")
