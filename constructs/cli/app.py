"""The command `buttress`. Heavy imports wait until a command needs them."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from buttress import LABEL, __version__
from buttress.cli import improve as cli_improve
from buttress.cli import lesson as cli_lesson
from buttress.cli import many as cli_many
from buttress.cli import sweep as cli_sweep
from buttress.cli.common import (
    Compare,
    Example,
    Force,
    Json,
    Out,
    Quiet,
    StudyFile,
    Svg,
    given_study,
    located,
    points_given,
    print_json,
    say,
    told_late,
)
from buttress.cli.ending import end_on_signals
from buttress.fe.status import Status

app = typer.Typer(
    name="buttress", no_args_is_help=True, pretty_exceptions_enable=False,
    rich_markup_mode=None, context_settings={"help_option_names": ["-h", "--help"]},
    help="Compare fixation constructs for fractures of the proximal tibia with a simplified "
         f"2D finite-element model.\n\n{LABEL}")

ErrorBars = Annotated[int | None, typer.Option(
    "--error-bars", metavar="[MESHES]", show_default=False,
    help="Solve on a mesh twice as fine too (with 3, on one between them as well, for an observed "
         "order), for an interval of each figure.")]
Alternatives = Annotated[bool, typer.Option(
    "--alternatives", help="Solve with other choices of the model too, one at a time, and tell "
                           "which verdicts change.")]
AlsoBonded = Annotated[bool, typer.Option(
    "--also-bonded", help="Add each construct's bonded twin, with metal and graft fully bonded to "
                          "the bone, to show the effect of slip, lift-off and loosening.")]
NoWarnings = Annotated[bool, typer.Option(
    "--quiet", help="No progress messages and no warnings on standard error.")]
NoNotes = Annotated[bool, typer.Option("--quiet", help="Leave out the notes.")]


@app.command(cls=Compare)
def compare(study: StudyFile = None, example: Example = "", out: Out = None, force: Force = False,
            also_bonded: AlsoBonded = False, error_bars: ErrorBars = None,
            alternatives: Alternatives = False, json: Json = False, quiet: NoWarnings = False,
            workers: Annotated[int, typer.Option(
                "--workers", metavar="N", min=0, max=256, envvar="BUTTRESS_WORKERS",
                help="Number of processes that share constructs and figures, with the same "
                     "answers; 0 for one per core, as far as the study is worth it.")] = 0,
            svg: Svg = False,
            figures: Annotated[str, typer.Option(
                "--figures", metavar="FOR",
                help="slides (PNG), or paper: also as PDF and SVG for a paper, 85 or 180 mm wide, "
                     "with real text of 8 points and no title, in the folder paper.")] = "slides",
            motion: Annotated[tuple[str, str] | None, typer.Option(
                "--motion", metavar="CONSTRUCT CONSTRUCT", show_default=False,
                help="Also an animation (motion.gif) of two constructs, pressed to their peaks and "
                     "past them.")] = None,
            at: Annotated[list[str] | None, typer.Option(
                "--at", metavar="X,Y", show_default=False,
                help="Also strain and stress at this point [mm] (points.csv); may be repeated."
            )] = None,
            field: Annotated[str, typer.Option(
                "--field", metavar="NAME",
                help="What the sections show in colours: strain ratio (strain / yield strain), von "
                     "Mises stress or least principal stress (in MPa, of cancellous bone and "
                     "fills).")] = "strain ratio") -> None:
    """Compare the constructs of a study.

    Prints a table and writes a folder of results.
    """
    from buttress.comparison.compare import compare as run
    from buttress.files import claimed, drafted, new_folder
    from buttress.report.folder import document, write_results
    from buttress.results.stress import FIELDS
    from buttress.study.checked import require_known
    from buttress.workers import cores

    require_known(field, FIELDS, "field", key="--field")
    require_known(figures, ("slides", "paper"), "kind of figures", key="--figures")
    progress = say(quiet or json)
    given, text, name = given_study(study, example)
    points = points_given(given, at or [])
    folder = new_folder(given.name, out, force)
    with located(name, text):
        if motion:
            from buttress.draw.film import film, write_film

            made = film(given, *motion, say=progress)
        comparison = run(given, progress, also_bonded=also_bonded, workers=workers or None,
                         error_bars=error_bars)
        if alternatives:
            from buttress.ranking.alternatives import with_alternatives

            comparison = with_alternatives(comparison, progress)
    with told_late() as writing, drafted(folder) as draft:
        write_results(comparison, draft, text, progress, field, points, svg,
                      workers or cores(), paper=figures == "paper")
        if motion:
            write_film(made, draft / "motion.gif", progress)
        folder = claimed(draft, folder, force)
    if json:
        print_json(document(comparison) | {"results": None if writing.error else str(folder)})
    else:
        from buttress.report.terminal import print_table

        if comparison.stages:
            from buttress.report.stages import print_stages

            print_stages(comparison.stages)
        print_table(comparison)
        if not writing.error:
            print(f"results: {folder}")
    from buttress.results.records import not_tightened

    code = 1 if comparison.lost else 0
    for sentence in comparison.lost:
        print(sentence, file=sys.stderr)
    for construct in comparison.constructs:
        stripped = not_tightened(construct)
        if stripped:
            print(f"{construct.marked_name}: {stripped}", file=sys.stderr)
        for load in construct.loads:
            if load.status == Status.UNCONVERGED:
                code = 1
            if load.status != Status.HELD and not stripped:
                who = f"; '{load.escapes}' moves freely" if load.escapes else ""
                print(f"{construct.marked_name}: {load.verdict} at {load.load_words}{who}",
                      file=sys.stderr)
    for staged in comparison.stages:
        if staged.status != Status.HELD:
            code = 1 if staged.status.startswith(Status.UNCONVERGED) else code
            print(f"{staged.name}: {staged.status}; later stages were not run", file=sys.stderr)
    for construct in comparison.constructs:
        for warning in construct.warnings:
            if not quiet:
                print(f"{construct.marked_name}: warning: {warning}", file=sys.stderr)
    from buttress.draw.all import boxed_names

    if not quiet and (names := boxed_names(comparison.study)):
        print(f"figures: warning: no installed font has every character of {', '.join(names)}; "
              "boxes replace missing characters; install a font that has them", file=sys.stderr)
    writing.tell()
    raise typer.Exit(code)


@app.command()
def check(study: StudyFile = None, example: Example = "", json: Json = False,
          quiet: NoNotes = False,
          in_full: Annotated[bool, typer.Option(
              "--in-full", help="Print the study file in full instead: what is shared and taken "
                                "over written out, every default and derived value.")] = False,
          picture: Annotated[Path | None, typer.Option(
              "--picture", metavar="FILE", show_default=False,
              help="Also draw the constructs as placed, with names, numbers of holes, angles, tips "
                   "and findings (.png or .svg).")] = None) -> None:
    """Check geometry and rules of the trade without solving. Exit 1 if a rule is broken."""
    from dataclasses import asdict

    from buttress.files import labelled
    from buttress.rules.check import check as run
    from buttress.words import counted

    if picture is not None:
        from buttress.draw.placed import draw_sheet, ending

        ending(picture)
    given, text, name = given_study(study, example)
    with located(name, text):
        from buttress.bone.bone import build_meshes
        from buttress.report.written import text_in_full

        findings = run(given)
        build_meshes(given)
        full = labelled(text_in_full(given)) if in_full else ""
        if picture is not None:
            draw_sheet(given, findings, picture)
    if in_full and not json:
        print(full, end="")
    elif json:
        print_json({"label": LABEL, "study": given.name, "findings": [asdict(f) for f in findings]}
                   | ({"in_full": full} if in_full else {}))
    else:
        from buttress.report.columns import columns

        for f in findings:
            if f.level == "note" and quiet:
                continue
            said = f"{f.construct or 'study'} / {f.part}: {f.message}\nreason: {f.reason}"
            print("\n".join(columns((), [(f"{f.level:7}", said)], "<")))
        broken = sum(f.level == "broken" for f in findings)
        warned = sum(f.level == "warning" for f in findings)
        print(f"{given.name}: {counted(len(given.constructs), 'construct')}, "
              f"{counted(broken, 'rule')} broken, {counted(warned, 'warning')}, "
              + counted(len(findings) - broken - warned, "note"))
        print(LABEL)
    raise typer.Exit(1 if any(f.level == "broken" for f in findings) else 0)


@app.command()
def examples(name: Annotated[str, typer.Argument(metavar="NAME", show_default=False,
                                                 help="Study to copy.")] = "",
             out: Annotated[Path | None, typer.Option(
                 "--out", metavar="FILE", show_default=False,
                 help="Where to copy it; default NAME.toml in the current folder.")] = None,
             force: Annotated[bool, typer.Option("--force", help="Overwrite the file.")] = False,
             keys: Annotated[bool, typer.Option(
                 "--keys",
                 help="List every key of a study file and every column of the results.")] = False,
             gallery: Annotated[Path | None, typer.Option(
                 "--gallery", metavar="DIR", show_default=False,
                 help="Solve all shipped studies (or NAME) and write a page with table and figures "
                      "for each.")]
             = None, json: Json = False, quiet: Quiet = False) -> None:
    """List the shipped studies, or copy one as a starting point."""
    from buttress.fe.errors import InputError
    from buttress.files import labelled, write_file
    from buttress.study.read import example_names, example_text, parse_study

    if keys:
        from dataclasses import asdict

        from buttress.report import catalogue as columns
        from buttress.study import keys as known

        if json:
            print_json({"label": LABEL, "tables": [asdict(t) for t in known.tables()],
                        "columns": columns.as_dicts()})
        else:
            from buttress.report.columns import USUAL, terminal_width

            width = min(USUAL, terminal_width())
            print("\n".join([*known.lines(width)[:-1], "", *columns.lines(), LABEL]))
        return
    if gallery is not None:
        from buttress.report.gallery import write_gallery

        written = write_gallery(gallery, [name] if name else [], say(quiet or json))
        if json:
            print_json({"label": LABEL, "written": [str(p) for p in written]})
        else:
            print("\n".join([*(f"written: {p}" for p in written), LABEL]))
        return
    if not name:
        listed = [parse_study(example_text(n), f"{n}.toml") for n in example_names()]
        if json:
            print_json({"label": LABEL, "examples": [
                {"name": s.name, "title": s.title, "question": s.question.strip(),
                 "scenario": s.scenario.strip(),
                 "constructs": [c.name for c in s.constructs]} for s in listed]})
        else:
            for s in listed:
                print(f"{s.name}\n    {s.title}\n    {s.question.strip()}\n    constructs: "
                      + ", ".join(c.name for c in s.constructs))
            print(f"to copy one: buttress examples NAME\n{LABEL}")
        return
    text = labelled(example_text(name))
    target = out or Path(f"{name}.toml")
    if target.exists() and (not force or target.is_dir()):
        raise InputError("the file exists", key="--out", value=str(target),
                         expected="another file name, or --force")
    try:
        write_file(target, text)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", key="--out",
                         value=str(target)) from None
    if json:
        print_json({"label": LABEL, "written": str(target)})
    else:
        print(f"written: {target}\n{LABEL}")


@app.command()
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


app.command()(cli_sweep.sweep)
app.command()(cli_sweep.rank)
app.command()(cli_improve.improve)
app.command()(cli_many.batch)
app.command()(cli_many.diff)
app.command()(cli_lesson.lesson)


def version(show: bool) -> None:
    if show:
        print(f"buttress {__version__}")
        raise typer.Exit


@app.callback()
def root(show: Annotated[bool, typer.Option("--version", callback=version, is_eager=True,
                                            help="Print the version.")] = False) -> None:
    """List of commands below."""


def main() -> None:
    """Entry point: turns our own errors into one message and an exit code."""
    from buttress.fe.errors import ButtressError, InputError

    end_on_signals()
    out = sys.stdout
    try:
        try:
            app(standalone_mode=True)
        finally:
            out.flush()    # here, where a full disk or a closed pipe can still be told
            if sys.stdout is not out:    # typer met a closed pipe, and would exit with 1
                raise BrokenPipeError
    except ButtressError as error:
        print(f"buttress: {error}", file=sys.stderr)
        code = 2 if isinstance(error, InputError) else 1
        if "--json" in sys.argv and not error.beside:
            print_json({"label": LABEL, "exit_code": code, "error": error.document()})
        sys.exit(code)
    except BrokenPipeError:    # as `| head` leaves it
        _drop_output()
        sys.exit(141)
    except OSError as error:
        _drop_output()
        print(f"buttress: {error.filename or 'the output'}: {error.strerror or error}",
              file=sys.stderr)
        sys.exit(1)


def _drop_output() -> None:
    """What cannot be written to standard output is not tried again when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
