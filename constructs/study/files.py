"""Bytes of a file that a study names: within its folder, of an expected kind and size."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath

from buttress.fe.errors import InputError

LONGEST_PATH = 200
OUR_OWN = ("comparison.csv",)
"""Names that a results folder uses for its own files."""


def inside(folder: Path | None, name: str, endings: Sequence[str]) -> Path:
    """The file that a study names, with links resolved.

    Raises InputError where there is no folder, for a path that is absolute or leads out of the
    folder (also through a link), for an unexpected suffix, and where there is no such file.
    """
    wanted = f"a path inside the study's folder, ending in {' or '.join(endings)}"
    if folder is None:
        raise InputError("a study that was not read from a file has no folder",
                         value=name, expected="load_study(PATH), or study_from(DATA, folder=PATH)")
    if not name.strip() or len(name) > LONGEST_PATH or not name.isprintable():
        raise InputError("not a file path", value=name[:40], expected=wanted)
    both = (PurePosixPath(name), PureWindowsPath(name))
    if any(p.is_absolute() or p.anchor for p in both):
        raise InputError("an absolute path", value=name, expected=wanted)
    if any(".." in p.parts for p in both):
        raise InputError("the path leads out of the study's folder", value=name, expected=wanted)
    if PurePosixPath(name).suffix.lower() not in endings:
        raise InputError("unsupported kind of file", value=name, expected=wanted)
    if str(PurePosixPath(name)).casefold() in OUR_OWN:
        raise InputError("the results folder has a file of its own with this name", value=name,
                         expected="another name for the file")
    try:
        home = folder.resolve()
        path = (home / name).resolve()
        if not path.is_relative_to(home):
            raise InputError("a symbolic link leads out of the study's folder", value=name,
                             expected=wanted)
        if not path.exists():
            raise InputError("no such file in the study's folder", value=name, expected=wanted)
    except (OSError, ValueError, RuntimeError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("the file cannot be found", value=name, expected=wanted) from None
    return path


def read_bytes(path: Path, name: str, most: int) -> bytes:
    """All of a regular file of at most `most` bytes. Raises InputError, calling it `name`."""
    try:
        # Not blocking: a pipe that nobody writes to would wait for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise InputError(f"the file cannot be read: {error.strerror}", value=name) from None
    about = os.fstat(handle)
    if not stat.S_ISREG(about.st_mode):
        os.close(handle)
        raise InputError("not a regular file", value=name, expected="a data file")
    with os.fdopen(handle, "rb") as file:
        if about.st_size > most:
            raise InputError(f"the file is too large: {about.st_size} bytes", value=name,
                             expected=f"at most {most} bytes")
        raw = file.read(most + 1)
    if len(raw) > most:
        raise InputError("the file grew while it was read", value=name,
                         expected=f"at most {most} bytes")
    return raw


def digest(raw: bytes) -> str:
    """SHA-256 of some bytes, in hexadecimal digits."""
    return hashlib.sha256(raw).hexdigest()


def same(found: str, given: str | None, name: str) -> None:
    """Raise InputError where the digest differs from that recorded in the study."""
    if given is not None and given != found:
        raise InputError("the file differs from the one with which the study was made",
                         value=f"{name}, {found[:12]}...",
                         expected=f"a file with SHA-256 {given[:12]}..., or no sha256 in the study")
