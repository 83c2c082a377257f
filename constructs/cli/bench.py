"""The command `buttress verify --bench`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from buttress import LABEL
from buttress.cli.common import print_json


def run_bench_tests(json: bool, progress: Callable[[str], None], only: Sequence[str],
                    out: Path | None, force: bool) -> None:
    """Run bench tests (all, or those named), print them and write them where requested."""
    from buttress.bench.run import run_bench
    from buttress.files import new_folder, written_whole
    from buttress.report.bench import document, table_lines, write_report

    folder = None if out is None else new_folder("bench", out, force)
    records = run_bench(progress, only)
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
