"""The command `buttress verify --bench`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from buttress import LABEL
from buttress.cli.common import print_json, told_late


def run_bench_tests(json: bool, progress: Callable[[str], None], only: Sequence[str],
                    out: Path | None, force: bool, record: bool, mechanisms: bool) -> None:
    """Run bench tests (all, or those named), print, write and record them where requested."""
    from buttress.bench.mechanisms import run_mechanisms
    from buttress.bench.run import run_bench
    from buttress.fe.errors import InputError
    from buttress.files import claimed, drafted, new_folder
    from buttress.report.bench import document, mechanism_lines, table_lines, write_report
    from buttress.report.benched import record_of, write_record

    if record and only:
        raise InputError("only a run of all bench tests can be recorded", key="--record",
                         value=", ".join(only), expected="--record without --only")
    folder = None if out is None else new_folder("bench", out, force)
    records, table = run_mechanisms(progress, only) if mechanisms else (
        run_bench(progress, only), {})
    with told_late() as writing:
        if record:
            print(f"recorded: {write_record(record_of(records))}", file=sys.stderr)
        if folder is not None:
            with drafted(folder) as draft:
                write_report(records, draft, table)
                folder = claimed(draft, folder, force)
    if json:
        print_json(document(records) | ({"mechanisms": table} if table else {}))
        writing.tell()
        return
    print("\n".join([*table_lines(records), *(mechanism_lines(table) if table else [])]))
    print(LABEL)
    writing.tell()
    if folder is not None:
        print(f"report: {folder}")
