"""Reading a study: from a TOML file, or a shipped example, to a frozen `Study`.

Any error in the file becomes one `InputError` that names file, key, value and what was expected.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from buttress.fe.errors import InputError
from buttress.study.checked import closest, did_you_mean, require_known
from buttress.study.complaint import complaint
from buttress.study.study import (
    Construct,
    Fill,
    Fracture,
    Fragment,
    Plate,
    Screw,
    Study,
    Void,
    Wire,
)

__all__ = ["Construct", "Fill", "Fracture", "Fragment", "Plate", "Screw", "Study", "Void",
           "Wire", "example", "example_names", "example_text", "load_study", "only",
           "parse_study", "study_from"]

LARGEST_FILE = 1_000_000  # bytes; a study is a page or two of text


def load_study(path: str | Path) -> Study:
    """Read a study file.

    Raises InputError where the file is missing, is not TOML, or has any error in it.
    """
    path = Path(path)
    shown = _printable(str(path))
    return parse_study(_read(path, shown), shown, path.parent)


def parse_study(text: str, file: str = "", folder: Path | None = None) -> Study:
    """The study in a TOML text; `file` is what messages call it. Raises InputError.

    `folder` contains the files that the study names, an outline or a map; without it such a study
    is refused.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        twice = "overwrite" in str(error) or "twice" in str(error)
        raise InputError(f"not TOML: {_printable(str(error))}", file=file,
                         expected="each key once under its heading; [[construct]] in double "
                                  "brackets starts a new construct" if twice else
                         "lines such as  width_mm = 76  under headings such as  [section]",
                         ) from None
    except (ValueError, RecursionError):
        raise InputError("not TOML: a number too long or brackets too deep", file=file) from None
    if not data:
        raise InputError("the file has no content", file=file,
                         expected="a study; copy a shipped example to start from")
    return study_from(data, file, folder)


def study_from(data: dict[str, Any], file: str = "", folder: Path | str | None = None) -> Study:
    """The study in nested dicts and lists, as TOML gives them. Raises InputError.

    `folder`: see `parse_study`.
    """
    try:
        return Study.model_validate(data, context={"folder": folder})
    except ValidationError as error:
        raise complaint(error, data, Study, file) from None


def example_names() -> tuple[str, ...]:
    """Names of the shipped studies."""
    folder = files("buttress").joinpath("examples")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir()
                        if f.name.endswith(".toml")))


def example_text(name: str) -> str:
    """The TOML text of a shipped study. Raises InputError for an unknown name."""
    name = _printable(name)
    require_known(name, example_names(), "example")
    return files("buttress").joinpath("examples", f"{name}.toml").read_text(encoding="utf-8")


def example(name: str) -> Study:
    """A shipped study. Raises InputError for an unknown name."""
    return parse_study(example_text(name), f"{name}.toml")


def only(study: Study, *names: str) -> Study:
    """The study with some of its constructs, in the order given. Raises InputError."""
    found = {c.name: c for c in study.constructs}
    for name in names:
        require_known(name, found, "construct")
    if not names or len(set(names)) < len(names):
        raise InputError("names of constructs, each of them once", value=", ".join(names),
                         expected=", ".join(found))
    return study.model_copy(update={"constructs": tuple(found[n] for n in names)})


def _read(path: Path, shown: str) -> str:
    """The text of a study file. Raises InputError for anything but a short text file."""
    try:
        if path.is_dir():
            raise InputError("this is a directory", file=shown, expected="a study file (TOML)")
        if not path.exists():
            raise InputError("no such file" + _instead(path), file=shown,
                             expected="a study file (TOML), or --example NAME with a shipped "
                                      "one: " + ", ".join(example_names()))
        if not path.is_file():
            raise InputError("not a regular file", file=shown, expected="a study file (TOML)")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise InputError(f"the file is too large: {size} bytes", file=shown,
                             expected=f"a study of at most {LARGEST_FILE} bytes")
        raw = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read: {_printable(reason)}", file=shown) from None
    if not raw.strip():
        raise InputError("the file is empty", file=shown,
                         expected="a study; copy a shipped example to start from")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("not a text file in UTF-8", file=shown, expected="a TOML text") from None
    if "\0" in text:
        raise InputError("not a text file (it contains null bytes)", file=shown,
                         expected="a TOML text")
    return text


def _instead(path: Path) -> str:
    """Suggestion for a path without a file: a similar file in its folder, or a shipped study."""
    if path.name in example_names():
        return f'; for the shipped study of that name use --example {path.name}'
    near = [p.name for p in path.parent.glob("*.toml")] if path.parent.is_dir() else []
    found = closest(path.name, near)
    shipped = closest(path.name.removesuffix(".toml"), example_names())
    return did_you_mean(found or (f"--example {shipped}" if shipped else ""))


def _printable(text: str) -> str:
    """Text suitable for a message: control characters escaped, at most 200 characters."""
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return safe if len(safe) <= 200 else safe[:200] + "..."
