"""Reading a study: from a TOML file, or a shipped example, to a frozen `Study`.

Any error in the file becomes one `InputError` that names file, key, value and what was expected.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from buttress.fe.errors import InputError
from buttress.study.case import Case
from buttress.study.checked import Checked, closest, did_you_mean, quoted, require_known
from buttress.study.complaint import as_written, complaint, show, to_tell, written
from buttress.study.coupled import is_coupled, settled
from buttress.study.own import OwnInput
from buttress.study.paths import Address
from buttress.study.renamed import renewed
from buttress.study.reuse import spelled_out
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
from buttress.study.tables import OwnName

__all__ = ["AnyStudy", "Construct", "Fill", "Fracture", "Fragment", "Plate", "Screw", "Study",
           "Void", "Wire", "as_study", "example", "example_names", "example_text", "load_study",
           "only", "parse_study", "printable", "study_from", "study_text", "text_of"]

AnyStudy = Study | Case | str | Path
"""What stands for a study: see `as_study`."""
PLACES = "the path of a study file (TOML), or the name of a shipped study: "
LARGEST_FILE = 1_000_000  # bytes; a study is a page or two of text


def as_study(given: AnyStudy) -> Study:
    """The study that is meant: itself, what `varied` made, a shipped study's name, or a path.

    Raises InputError where there is no such study or file, where the file is wrong, and for
    factors of `varied` that belong to none of a study's keys.
    """
    if isinstance(given, Study):
        return given
    if isinstance(given, Case):
        for name, factor in given.scales.items():
            raise InputError("a factor that belongs to no key of a study file", key=f"scale.{name}",
                             value=f"{factor:g}",
                             expected="this key in a sweep, a ranking or Explorer.answer")
        return given.study
    if isinstance(given, Path):
        return load_study(given)
    if not isinstance(given, str):
        raise InputError("not a study", value=type(given).__name__,
                         expected="a Study, a shipped study's name, a path, or what varied() made")
    if given in example_names():
        return example(given)
    try:
        missing = not Path(given).exists()
    except (OSError, ValueError):
        missing = False     # what is wrong with it is told where it is read
    if not missing:
        return load_study(given)
    raise InputError("no such file or shipped study" + _instead(Path(given), ""),
                     value=printable(given), expected=PLACES + quoted(example_names()))


def load_study(path: str | Path) -> Study:
    """Read the study file at ``path``, a TOML text; files that it names lie in the same folder.

    Lengths in it are in mm, forces in N, moduli in MPa, angles in degrees, as its keys say. Returns
    a frozen `Study`.

    Raises InputError, with file, key, value and what was expected, when there is no such file, it
    is not a TOML text, or anything in it is wrong.
    """
    path = Path(path)
    return parse_study(study_text(path), printable(str(path)), path.parent)


def parse_study(text: str, file: str = "", folder: Path | None = None) -> Study:
    """The study in a TOML ``text``; ``file`` is what messages call it.

    ``folder`` is where the files lie that the study names, an outline or a map; without it such a
    study is refused. Raises InputError, with key, value and what was expected, when the text is
    wrong.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        twice = "overwrite" in str(error) or "twice" in str(error)
        raise InputError(f"not TOML: {printable(str(error))}", file=file,
                         expected="each key once under its heading; [[construct]] in double "
                                  "brackets starts a new construct" if twice else
                         "lines such as  width_mm = 76  under headings such as  [section]",
                         ) from None
    except (ValueError, RecursionError):
        raise InputError("not TOML: a number too long or brackets too deep", file=file) from None
    if not data:
        raise InputError("the file has no content", file=file,
                         expected="a study; copy a shipped example to start from")
    return _study(data, file, folder, text)


def study_from(data: dict[str, Any], file: str = "", folder: Path | str | None = None) -> Study:
    """The study in ``data``, nested dicts and lists as TOML gives them.

    ``file`` and ``folder``: see `parse_study`. Raises InputError, with key, value and what was
    expected, when something in it is wrong.
    """
    return _study(data, file, folder, "")


def _study(data: dict[str, Any], file: str, folder: Path | str | None, text: str) -> Study:
    origins: dict[Address, Address] = {}
    try:
        data, origins = spelled_out(renewed(data, file), file)
    except InputError as error:
        raise as_written(error, origins, text) from None
    try:
        data, texts = settled(data, file, folder)
    except InputError as error:
        raise (_apart_from_coupled(data, file, folder, text, origins)
               or as_written(error, origins, text)) from None
    context = {"folder": folder, "own": _own(data, file, text)}
    try:
        study = Study.model_validate(data, context=context)
    except ValidationError as error:
        wrong = complaint(error, data, Study, file, text, origins)
        given = next((texts[a] for a in texts if written(".".join(a), origins) == wrong.key), None)
        raise InputError(wrong.message, file=file, key=wrong.key, expected=wrong.expected,
                         value=f"{wrong.value} from {show(given)}" if given else wrong.value,
                         line=wrong.line) from None
    study.remember(texts)
    return study


def _apart_from_coupled(data: dict[str, Any], file: str, folder: Path | str | None, text: str,
                        origins: Mapping[Address, Address]) -> InputError | None:
    """What is wrong in a study of which a coupled key has no number, apart from coupled keys.

    Such a mistake is told first: it may well be why the key has none.
    """
    try:
        Study.model_validate(data, context={"folder": folder, "own": _own(data, file, text)})
    except InputError:
        return None
    except ValidationError as error:
        if to_tell(error, is_coupled):
            return complaint(error, data, Study, file, text, origins, passed=is_coupled)
    return None


def _own(data: dict[str, Any], file: str, text: str) -> Mapping[str, dict[str, OwnName]]:
    """The names of `[own]`, which carry their rows. Raises InputError for a wrong row."""
    if "own" not in data:
        return {}
    only = {"own": data["own"]}
    try:
        return _OnlyOwn.model_validate(only).own.names()
    except ValidationError as error:
        raise complaint(error, only, _OnlyOwn, file, text) from None


class _OnlyOwn(Checked):
    own: OwnInput


def example_names() -> tuple[str, ...]:
    """Names of the shipped studies, which `example` reads."""
    folder = files("buttress").joinpath("examples")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir()
                        if f.name.endswith(".toml")))


def example_text(name: str) -> str:
    """The TOML text of the shipped study called ``name``.

    Raises InputError, with the closest name, when there is none of that name.
    """
    name = printable(name)
    require_known(name, example_names(), "example")
    return files("buttress").joinpath("examples", f"{name}.toml").read_text(encoding="utf-8")


def example(name: str) -> Study:
    """The shipped study called ``name``, as a frozen `Study`.

    Raises InputError, with the closest name, when there is none of that name.
    """
    return parse_study(example_text(name), f"{name}.toml")


def only(study: AnyStudy, *names: str) -> Study:
    """A study with some of its constructs, in the order of ``names``.

    ``study``: see `compare`. Raises InputError, with the closest name, for a construct that the
    study has not, for one named twice, and where none is named.
    """
    study = as_study(study)
    found = {c.name: c for c in study.constructs}
    for name in names:
        require_known(name, found, "construct")
    if not names or len(set(names)) < len(names):
        raise InputError("names of constructs, each of them once", value=", ".join(names),
                         expected=", ".join(found))
    return study.model_copy(update={"constructs": tuple(found[n] for n in names)})


def study_text(path: Path) -> str:
    """The text of a study file. Raises InputError for anything but a short text file."""
    shown = printable(str(path))
    try:
        if path.is_dir():
            # A folder of results holds the study that it came from.
            inside = path / "study.toml"
            raise InputError("this is a directory", file=shown,
                             expected=f"a study file (TOML), as {printable(str(inside))}"
                             if inside.is_file() else "a study file (TOML)")
        if not path.exists():
            raise InputError("no such file" + _instead(path, "--example "), file=shown,
                             expected="a study file (TOML), or --example NAME with a shipped "
                                      "one: " + quoted(example_names()))
        if not path.is_file():
            raise InputError("not a regular file", file=shown,
                             expected="a study file (TOML), or - for standard input")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read: {printable(reason)}", file=shown) from None
    return text_of(raw, shown)


def text_of(raw: bytes, shown: str) -> str:
    """The text in the bytes of a study. Raises InputError for anything but a short text."""
    if len(raw) > LARGEST_FILE:
        raise InputError("the file is too large", file=shown,
                         expected=f"a study of at most {LARGEST_FILE} bytes")
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


def _instead(path: Path, option: str) -> str:
    """Suggestion for a path without a file: a similar file in its folder, or a shipped study, which
    is asked for by its name behind an ``option``."""
    if path.name in example_names():
        return f"; for the shipped study of that name use {option}{path.name}"
    near = {p.stem: p.name for p in path.parent.glob("*.toml")} if path.parent.is_dir() else {}
    shipped = {name: f"{option}{name}" for name in example_names()}
    # Without the ending, which all have; a file before a shipped study of the same name.
    both = shipped | near
    found = closest(path.name.removesuffix(".toml"), both)
    return did_you_mean(printable(both[found]) if found else "")


def printable(text: str) -> str:
    """Text suitable for a message: control characters escaped, at most 200 characters."""
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return safe if len(safe) <= 200 else safe[:200] + "..."
