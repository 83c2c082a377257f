"""Writing files: numbered folders, never overwritten and written whole; CSV, JSON, file names."""

from __future__ import annotations

import csv
import errno
import io
import math
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from buttress import LABEL
from buttress.fe.errors import ButtressError, InputError

ROUNDING = 1e-12
"""Far below what the model knows, in the units of every column: mm, degrees, N, MPa, shares."""
ROOM_MB = 64
"""Free space that is asked for before a long run; a shipped study takes about 20 MB."""
DRAFT = ".draft-"


def new_folder(name: str, given: Path | None, force: bool) -> Path:
    """Where results go: the given folder, or the next free ``results/NAME-001``.

    Nothing is left there yet, see `drafted`. Raises `InputError` for a given folder that exists and
    is not empty, unless ``force``, and for a place that cannot be written to or has no room.
    """
    folder = Path("results") / f"{name}-001" if given is None else given
    while given is None and folder.exists():
        folder = _next(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError("the place for results is a file", key="--out", value=str(given),
                         expected="a folder, or a name that is not taken")
    require_room(folder)
    if folder.is_dir() and any(folder.iterdir()) and not force:
        raise InputError("the folder for results exists and is not empty", key="--out",
                         value=str(given), expected="a new or empty folder, or --force")
    return folder


def require_room(folder: Path) -> None:
    """Raise `InputError` unless a folder, there or not, can take results of ``ROOM_MB``."""
    try:
        above = next(p for p in (folder, *folder.absolute().parents) if p.is_dir())
        with tempfile.TemporaryFile(dir=above) as probe:
            probe.write(b"probe")
        if shutil.disk_usage(above).free < ROOM_MB * 10**6:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    except OSError as error:
        raise InputError(f"results cannot be written there: {error.strerror}", key="--out",
                         value=str(folder),
                         expected=f"a folder that can be written to, with {ROOM_MB} MB of space"
                         ) from None


def _next(folder: Path) -> Path:
    """The next name: ``NAME-002`` after ``NAME-001`` or ``NAME``."""
    name, dash, number = folder.name.rpartition("-")
    if not (dash and len(number) >= 3 and number.isdecimal()):
        name, number = folder.name, "1"
    return folder.with_name(f"{name}-{int(number) + 1:03d}")


@contextmanager
def drafted(folder: Path) -> Iterator[Path]:
    """A temporary folder for what is to be put in place of ``folder`` by `claimed`.

    It is gone at the end, however the block ends. Raises `ButtressError` where writing fails.
    """
    draft = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        # Inside a folder that exists, so that both are on one file system.
        draft = Path(tempfile.mkdtemp(prefix=DRAFT, dir=folder if folder.is_dir()
                                      else folder.parent))
        draft.chmod(0o755)
        yield draft
    except OSError as error:
        raise ButtressError(
            f"{folder}: cannot be written: {error.strerror or error}") from None
    finally:
        if draft is not None:
            shutil.rmtree(draft, ignore_errors=True)


def claimed(draft: Path, folder: Path, force: bool = False) -> Path:
    """Put a finished draft in the place of ``folder``, and return where it is now.

    A folder that has been filled in the meantime by another run is left alone, unless ``force``
    (files that are not written anew then stay): the results take the next free name.
    """
    while True:
        try:
            if force and folder.is_dir():
                _move_over(draft, folder)
            elif folder.is_dir():
                _fill(draft, folder)
            else:
                os.rename(draft, folder)
            return folder
        except OSError as error:
            if error.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.ENOTDIR):
                raise
        folder = _next(folder)


def _fill(draft: Path, folder: Path) -> None:
    """Move a draft into an empty folder. Raises OSError where another run is, or was, faster."""
    claim = folder / f"{DRAFT}claim"
    claim.touch(exist_ok=False)
    try:
        if any(not p.name.startswith(DRAFT) for p in folder.iterdir()):
            raise OSError(errno.ENOTEMPTY, os.strerror(errno.ENOTEMPTY))
        _move_over(draft, folder)
    finally:
        claim.unlink()


def write_file(path: Path, text: str) -> None:
    """Write a file whole, or leave what was there. Raises OSError where that fails."""
    with tempfile.TemporaryDirectory(prefix=DRAFT, dir=path.parent) as draft:
        made = Path(draft) / path.name
        made.write_text(text, encoding="utf-8")
        os.replace(made, path)


@contextmanager
def written_whole(folder: Path) -> Iterator[Path]:
    """A draft that takes the place of ``folder`` when the block ends well.

    Files already in ``folder`` stay unless one of the same name is written. Raises `ButtressError`
    where writing fails.
    """
    with drafted(folder) as draft:
        yield draft
        claimed(draft, folder, force=True)


def _move_over(source: Path, target: Path) -> None:
    """Move what is in a folder into another that exists, file by file."""
    for path in sorted(source.iterdir()):
        there = target / path.name
        if path.is_dir() and there.is_dir():
            _move_over(path, there)
        else:
            os.replace(path, there)


def plain(value: Any) -> Any:
    """Records as dicts and lists for JSON; pictures are left out, numbers that are not are None.

    What a record has ``more`` of stands among its fields.
    """
    if is_dataclass(value) and not isinstance(value, type):
        found = {f.name: plain(getattr(value, f.name)) for f in fields(value)
                 if f.name != "pictures"}
        return found | found.pop("more", {})
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def settled(value: Any) -> Any:
    """A number of size below `ROUNDING` is the rounding of a zero, and given as 0."""
    return 0.0 if isinstance(value, float) and abs(value) < ROUNDING else value


def as_csv(table: list[dict[str, Any]], columns: Sequence[str]) -> str:
    """The table as CSV with units in its header; a missing number is an empty field.

    The last column, ``label``, says on each row what the table is not for: a column and not a
    comment, so that readers of CSV need no option. Text that a spreadsheet would take for a formula
    gets an apostrophe in front.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*(inert(c) for c in columns), "label"])
    for row in table:
        writer.writerow([*("" if row[c] is None else inert(row[c]) for c in columns), LABEL])
    return out.getvalue()


def labelled(text: str) -> str:
    """Text of a study file with the label as its first line, a comment of TOML."""
    line = f"# {LABEL}\n"
    return text if text.startswith(line) else line + text


def inert(value: Any) -> Any:
    """The value for a CSV field; text that a spreadsheet would run gets an apostrophe in front."""
    if isinstance(value, str) and value.lstrip()[:1] in tuple("=+-@＝＋－＠"):
        return "'" + value
    return value


def file_names(names: Sequence[str]) -> dict[str, str]:
    """What files are called after each construct: its name, with its number in the study where
    another has the same letters and digits."""
    bare = [slug(name, set()) for name in names]
    return {name: f"{name} construct {i}" if bare.count(bare[i - 1]) > 1 else name
            for i, name in enumerate(names, 1)}


def slug(name: str, taken: set[str]) -> str:
    """File name of letters, digits and dashes, made unique among ``taken`` (which it joins)."""
    base = "".join(c if c.isalnum() and c.isascii() else "-" for c in name.lower())
    base = "-".join(part for part in base.split("-") if part)[:60].rstrip("-") or "construct"
    found, number = base, 2
    while found in taken:
        found, number = f"{base}-{number}", number + 1
    taken.add(found)
    return found
