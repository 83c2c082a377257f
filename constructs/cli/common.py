"""Shared parts of the commands: reading the study, progress, JSON, errors."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from buttress.fe.errors import ButtressError


def say(quiet: bool) -> Callable[[str], None]:
    """Progress to standard error, or nowhere."""
    return (lambda text: None) if quiet else (lambda text: print(text, file=sys.stderr))


def given_study(path: Path | None, example: str) -> tuple[Any, str, str]:
    """The study, its text, and its name in messages. Raises `InputError`."""
    from buttress.fe.errors import InputError
    from buttress.study.checked import quoted
    from buttress.study.read import (
        LARGEST_FILE,
        example_names,
        example_text,
        parse_study,
        printable,
        study_text,
        text_of,
    )

    if (path is None) == (not example):
        raise InputError("either a study file or --example NAME is needed", key="STUDY.toml",
                         value=f"{path or 'no file'}, {example or 'no example'}",
                         expected="one of the two; shipped studies: " + quoted(example_names()))
    if example:
        text = example_text(example)
        return parse_study(text, f"{example}.toml"), text, f"{example}.toml"
    assert path is not None
    if str(path) == "-":
        name, folder = "standard input", Path()
        text = text_of(sys.stdin.buffer.read(LARGEST_FILE + 1), name)
    else:
        name, folder = printable(str(path)), path.parent
        text = study_text(path)
    return parse_study(text, name, folder), text, name


def points_given(study: Any, given: Sequence[str]) -> list[tuple[float, float]]:
    """Points of the section [mm] as they stand after --at. Raises `InputError`."""
    if not given:
        return []
    from buttress.bone.section import Section
    from buttress.fe.errors import InputError
    from buttress.results.probe import in_outline

    found = []
    for text in given:
        try:
            x, y = (float(part) for part in text.split(","))
        except ValueError:
            raise InputError("not a point", key="--at", value=text,
                             expected="x,y in mm, such as 20,-15") from None
        found.append((x, y))
    in_outline(Section(study.section), found, "--at")
    return found


def tell_boxes(study: Any, apart: bool = False) -> None:
    """Say on standard error which names figures cannot show, since no font has their characters;
    ``apart``: see `boxed_names`."""
    from buttress.draw.all import boxed_names

    if names := boxed_names(study, apart):
        print(f"figures: warning: no installed font has every character of {', '.join(names)}; "
              "boxes replace missing characters; install a font that has them", file=sys.stderr)


def print_json(data: dict[str, Any]) -> None:
    """One JSON document on standard output; numbers that do not exist are null, and signs that
    the output cannot write are escaped."""
    import json

    from buttress.cli.signs import writes

    text = json.dumps(data, indent=1, allow_nan=False, ensure_ascii=False)
    print(text if writes(text) else json.dumps(data, indent=1, allow_nan=False))


class told_late:
    """Context that keeps the news that files could not be written until results were shown."""

    error: ButtressError | None = None

    def __enter__(self) -> told_late:
        return self

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> bool:
        if isinstance(error, ButtressError):
            self.error = error
            error.beside = True
        return self.error is not None

    def tell(self) -> None:
        """Raise it now, if there is any."""
        if self.error is not None:
            raise self.error


class located:
    """Context that adds file, line and the key as it was written to an `InputError` that has none
    and is not on an option."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: Any, trace: Any) -> None:
        from buttress.fe.errors import InputError

        if isinstance(error, InputError) and not error.file and error.key[:2] != "--":
            from buttress.study.complaint import as_written
            from buttress.study.reuse import origins_in

            raise as_written(error.at(file=self.file), origins_in(self.text),
                             self.text) from None
