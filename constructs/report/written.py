"""A study written to a file, with the files that it names beside it."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from buttress.fe.errors import InputError
from buttress.files import labelled, write_file
from buttress.model.resolve import resolved
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.study.write import text_from, text_of_study


def write_study(study: AnyStudy, path: str | Path, *, in_full: bool = False) -> Path:
    """Write a study as a study file (TOML) to ``path``; reading it gives an equal study.

    ``study``: see `compare`. ``in_full``: with every default and every derived value as a number
    (lengths in mm, loads in N), in place of the keys that were given. Files that the study names
    are copied to the same places beside it; a file at ``path`` is replaced. Returns the path.

    Raises InputError where there is no such study, an implant cannot be placed (``in_full``), or
    the file cannot be written.
    """
    study, path = as_study(study), Path(path)
    text = text_in_full(study) if in_full else text_of_study(study)
    try:
        if study.folder is None or study.folder.resolve() != path.parent.resolve():
            copy_files(study, path.parent)
        write_file(path, labelled(text))
    except OSError as error:
        raise InputError(f"the study cannot be written: {error.strerror or error}",
                         value=str(path), expected="a file in a folder that can be written to"
                         ) from None
    return path


def text_in_full(study: Study) -> str:
    """The text of a study file with every default and derived value. Raises InputError."""
    return text_from(resolved(study))


def copy_files(study: Study, folder: Path) -> None:
    """Copy the files that a study names to the same places below a folder.

    Raises `InputError` where one has changed since the study was read.
    """
    from buttress.study.files import digest, inside, read_bytes
    from buttress.study.grids import LARGEST

    for name, content in study.section.files.items():
        raw = read_bytes(inside(study.folder, name, (PurePosixPath(name).suffix.lower(),)), name,
                         LARGEST)
        if digest(raw) != content:
            raise InputError("the file changed after the study was read", key="section",
                             value=name, expected="files that stay as they are")
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(raw)
