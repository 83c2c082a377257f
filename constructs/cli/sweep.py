"""The commands `sweep` and `rank`. Heavy imports wait until they are needed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import given_study, located, print_json, say, tell_boxes, told_late
from buttress.words import counted

if TYPE_CHECKING:
    from buttress.sweeps.sweep import SweepSummary


READS = ("status", "export", "figures", "svg", "json", "quiet")
"""Options that have a meaning where a store is only read."""


@click.command(cls=options.Command)
@options.study
@options.example
@options.vary
@click.option("--design", metavar="grid|lhs|sobol", default="", show_default=False,
              help="Default: grid if all ranges have steps, else lhs.")
@options.samples
@click.option("--seed", type=options.Within(0), metavar="N", help="Seed of all random numbers.")
@options.workers
@options.cluster
@options.store
@options.dry_run
@options.path
@options.limits
@options.strain
@click.option("--status", type=options.PATH, metavar="FILE",
              help="Report the progress of a store without solving.")
@click.option("--export", metavar="csv", default="", show_default=False,
              help="Write a CSV file next to the store, after the run or with --status.")
@click.option("--figures", is_flag=True, help="Also draw figures.")
@options.svg
@options.json
@options.quiet
def sweep(study: Path | None, example: str, vary: tuple[str, ...], design: str,
          samples: int | None, seed: int | None, workers: int, cluster: str, out: Path | None,
          dry_run: bool, path: bool, limits: bool, strain: bool, status: Path | None, export: str,
          figures: bool, svg: bool, json: bool, quiet: bool) -> int:
    """Solve many variants of a study into one store.

    The same command resumes a run. Ctrl-C or SIGTERM finishes the cases in progress and
    exits 1, a second Ctrl-C abandons them. Exit 0 if every case has an answer, 1 if one has none or
    is left, 2 if the input is invalid.
    """
    from buttress.fe.errors import InputError

    if export not in ("", "csv"):
        raise InputError("unknown format", key="--export", value=export, expected="csv")
    if status is not None:
        _only_status()
        _tell_status(status, export, figures, svg, json)
        return 0
    from buttress.sweeps.estimate import estimate
    from buttress.sweeps.evaluate import Options
    from buttress.sweeps.sweep import export_csv
    from buttress.sweeps.sweep import sweep as run

    _no_store(study, "with --vary KEY=RANGE")
    given, text, name = given_study(study, example)
    asked: dict[str, Any] = {"method": design, "samples": samples, "seed": seed,
                             "options": Options(strain=strain, path=path, limits=limits),
                             "workers": workers or None}
    with located(name, text):
        if dry_run:
            cost = estimate(given, list(vary), **asked)
            _show(json, {"label": LABEL, "estimate": vars(cost)}, [*cost.sentences(), LABEL])
            return 0
        done = run(given, list(vary), out=out, cluster=cluster, say=say(quiet or json),
                         **asked)
    lines = sweep_lines(done)
    written = []
    with told_late() as writing:
        if export:
            written.append(export_csv(done.path)[0])
        if figures:
            written += draw_sweep(done.path, svg)
    lines += [f"store: {done.path}", *(f"written: {p}" for p in written), LABEL]
    _show(json, {"label": LABEL, **{k: str(v) if isinstance(v, Path) else v
                                    for k, v in vars(done).items()},
                 "written": [str(p) for p in written]}, lines)
    writing.tell()
    return 1 if done.failed or done.left else 0


def sweep_lines(done: SweepSummary) -> list[str]:
    """What a run into a store has done, for the terminal."""
    lines = [f"{counted(done.cases, 'case')}: {done.done} solved now, "
             f"{done.skipped} already stored"
             + (f", {done.refused} refused" if done.refused else "")
             + (f", {done.left} left" if done.left else ""),
             f"{counted(done.factorisations, 'factorisation')} done, {done.avoided} avoided; "
             f"{counted(done.condensed, 'construct')} condensed for "
             + counted(done.answers, "answer")]
    lines += [f"{count} {what}" for what, count in done.failures.items()]
    lines += [f"refused: {reason}" for reason in done.reasons]
    if done.broken:
        lines.append(f"{counted(done.broken, 'row')} break{'s' * (done.broken == 1)} a rule of the "
                     "trade (column rules_broken)")
    return lines


@click.command(cls=options.Command)
@options.study
@options.example
@options.samples
@click.option("--seed", type=options.Within(0), default=0, metavar="N",
              help="Seed of the samples; reported and stored.")
@options.vary
@click.option("--reference", metavar="CONSTRUCT", default="", show_default=False,
              help="Reference of the paired differences; by default the first of the ranking.")
@click.option("--by", default="reserve", metavar="reserve|peak|stiffness|subsidence",
              help="What constructs are ranked by, each with its own store, since only what it "
                   "needs is solved; subsidence: at --load, of what keeps all limits.")
@click.option("--load", type=options.Number(), metavar="N",
              help="Total joint force in N; by default the largest of the study.")
@click.option("--bins", type=int, metavar="K",
              help="Share meshes: K steps for inputs that change geometry or modulus; the "
                   "resulting error is measured.")
@click.option("--no-indices", is_flag=True, help="Skip the sensitivities: far fewer cases.")
@options.workers
@options.cluster
@options.store
@options.dry_run
@options.svg
@options.json
@options.quiet
def rank(study: Path | None, example: str, samples: int | None, seed: int, vary: tuple[str, ...],
         reference: str, by: str, load: float | None, bins: int | None, no_indices: bool,
         workers: int, cluster: str, out: Path | None, dry_run: bool, svg: bool, json: bool,
         quiet: bool) -> int:
    """Compute how certain the ranking is, and what drives it."""
    from buttress.fe.errors import InputError
    from buttress.ranking.coupling import coupled_lines
    from buttress.ranking.inputs import input_lines
    from buttress.ranking.rank import estimate_rank
    from buttress.ranking.rank import rank as run
    from buttress.report.rank import table_lines, write_folder

    _no_store(study, "with --samples N")
    given, text, name = given_study(study, example)
    if samples is None:
        raise InputError("the number of samples is missing", key="--samples",
                         expected="a power of two, for example --samples 64")
    asked: dict[str, Any] = {"samples": samples, "seed": seed, "vary": list(vary), "load": load,
                             "reference": reference, "bins": bins, "by": by,
                             "with_indices": not no_indices, "workers": workers or None}
    with located(name, text):
        if dry_run:
            cost, drawn = estimate_rank(given, **asked)
            _show(json, {"label": LABEL, "estimate": vars(cost),
                         "inputs": [entry.document() for entry in drawn.inputs],
                         "coupled": dict(drawn.coupled)},
                  [*cost.sentences(), "inputs:", *(f"  {x}" for x in (
                      *input_lines(drawn.inputs), *coupled_lines(drawn.coupled))), LABEL])
            return 0
        result = run(given, out=out, cluster=cluster, say=say(quiet or json), **asked)
    folder = None
    with told_late() as writing:
        folder = write_folder(result, svg)
    if not quiet:
        tell_boxes(given)
    if json:
        print_json(result.document() | {"results": folder and str(folder)})
    else:
        print("\n".join([*table_lines(result), *([f"results: {folder}"] if folder else [])]))
    writing.tell()
    return 1 if result.summary.failed else 0


def draw_sweep(path: Path, svg: bool = False) -> list[Path]:
    """Figures of a store, in a folder next to it: lines over one key, maps over two, envelope."""
    from buttress.draw import sweep as f
    from buttress.draw.primitives import save
    from buttress.files import slug, written_whole
    from buttress.study.coupled import is_coupled
    from buttress.sweeps.rows import sweep_frame
    from buttress.sweeps.store import read_meta, reading

    with reading(path) as db:
        meta = read_meta(db)
    table, keys = sweep_frame(path), list(meta["design"]["vary"])
    if table.empty:
        return []
    limit = meta["study"]["limits"]["step_off_mm"]
    axes: dict[str, Any] = {"envelope": f.envelope(table)}
    # A coupled key follows from the others.
    keys = [key for key in keys if not is_coupled(meta["design"]["vary"][key])]
    for key in keys:
        axes[f"subsidence over {key}"] = f.over_key(table, key)
    if len(keys) == 2 and meta["design"]["method"] == "grid" and all(
            table[k].dtype.kind in "if" for k in keys):
        for name in table["construct"].cat.categories:
            axes[f"step-off {name}"] = f.limit_map(table, *keys, construct=name, limit=limit)
    folder = path.with_name(path.stem + "-figures")
    taken: set[str] = set()
    with written_whole(folder) as draft:
        drawn = [save(ax.get_figure(root=True), draft, slug(name, taken), svg)[0]
                 for name, ax in axes.items()]
    return [folder / path.name for path in drawn]


def _no_store(path: Path | None, more: str) -> None:
    """Refuse a store in the place of the study; ``more``: what the command takes beside it."""
    from buttress.fe.errors import InputError
    from buttress.sweeps.sweep import STORES

    if path is not None and path.suffix in STORES:
        raise InputError("a store in the place of a study", file=str(path),
                         expected=f"a study file (TOML) or --example NAME, {more}; a run goes on "
                                  f"in its store with --out {path}, and buttress sweep --status "
                                  f"{path} reports on it")


def _only_status() -> None:
    """Refuse options for solving together with a store that is only read."""
    from buttress.fe.errors import InputError

    context = click.get_current_context()
    given = [param.opts[-1] if param.opts[-1].startswith("-") else param.opts[-1].upper()
             for param in context.command.params if param.name not in READS and
             context.get_parameter_source(str(param.name)) is ParameterSource.COMMANDLINE]
    if given:
        raise InputError(f"--status solves nothing, so it takes no {', '.join(given)}",
                         key="--status", expected="--status FILE by itself, or with --export csv, "
                         "--figures, --json")


def _tell_status(path: Path, export: str, figures: bool, svg: bool, json: bool) -> None:
    from buttress.report.columns import columns, prose
    from buttress.sweeps.status import sweep_status
    from buttress.sweeps.sweep import export_csv

    state = sweep_status(path)
    lines = [f"{state.study}: {state.done} of {counted(state.cases, 'case')} done, "
             f"{counted(state.results, 'result')}, "
             f"{state.seconds:.0f} s of solving, {state.size_bytes / 1024:.0f} kB",
             *prose("design: " + "; ".join(f"{k} = {v}" for k, v in state.design["vary"].items())
                    + f" ({state.design['method']})"),
             *columns((), [
                 *((str(count), what) for what, count in state.statuses.items()),
                 *((str(count), f"without an answer: {what}")
                   for what, count in state.failures.items())], "><"),
             *state.examples]
    written = [export_csv(path)[0]] if export else []
    if figures:
        written += draw_sweep(path, svg)
    _show(json, {"label": LABEL, **vars(state), "written": [str(p) for p in written]},
          [*lines, *(f"written: {p}" for p in written), LABEL])


def _show(json: bool, document: dict[str, Any], lines: list[str]) -> None:
    """One JSON document, or lines, on standard output."""
    if json:
        print_json(document)
    else:
        print("\n".join(lines), file=sys.stdout)
