"""The commands `check` and `examples`. Heavy imports wait until they are needed."""

from __future__ import annotations

from pathlib import Path

import click

from buttress import LABEL
from buttress.cli import options
from buttress.cli.common import given_study, located, print_json, say, tell_boxes


@click.command(cls=options.Command)
@options.study
@options.example
@options.json
@click.option("--quiet", is_flag=True, help="Leave out the notes.")
@click.option("--in-full", is_flag=True,
              help="Print the study file in full instead: what is shared and taken over written "
                   "out, every default and derived value.")
@click.option("--picture", type=options.PATH, metavar="FILE",
              help="Also draw the constructs as placed, with names, numbers of holes, angles, tips "
                   "and findings (.png or .svg).")
def check(study: Path | None, example: str, json: bool, quiet: bool, in_full: bool,
          picture: Path | None) -> int:
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
    if picture is not None and not quiet:
        tell_boxes(given)
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
    return 1 if any(f.level == "broken" for f in findings) else 0


@click.command(cls=options.Command)
@click.argument("name", default="", metavar="[NAME]", help="Study to copy.",
                shell_complete=options.shipped)
@click.option("--out", type=options.PATH, metavar="FILE",
              help="Where to copy it; default NAME.toml in the current folder.")
@click.option("--force", is_flag=True, help="Overwrite the file.")
@click.option("--keys", is_flag=True,
              help="List every key of a study file and every column of the results.")
@click.option("--gallery", type=options.PATH, metavar="DIR",
              help="Solve all shipped studies (or NAME) and write a page with table and figures "
                   "for each.")
@options.json
@options.quiet
def examples(name: str, out: Path | None, force: bool, keys: bool, gallery: Path | None,
             json: bool, quiet: bool) -> None:
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
            from buttress.report.columns import prose

            for s in listed:
                said = "constructs: " + "; ".join(c.name for c in s.constructs)
                print("\n".join([s.name, *prose(f"    {s.title}"),
                                 *prose(f"    {s.question.strip()}"), *prose(f"    {said}")]))
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
