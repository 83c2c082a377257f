"""Refusals of studies, and the text of a small study with a void, for tests of wrong input."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from buttress.fe.errors import InputError
from buttress.study.read import parse_study

VOID_STUDY = """
name = "small"
[section]
outline = "simple"
[[fracture]]
name = "inner"
points_mm = [[13, 0], [12, -9]]
[[fracture]]
name = "outer"
points_mm = [[27, 0], [28, -9]]
[[void]]
name = "hole"
points_mm = [[12, -9], [15, -20], [25, -20], [28, -9]]
[[fragment]]
name = "piece"
inside_mm = [20, -4]
[[construct]]
name = "c"
[[construct.screw]]
name = "raft"
form = "HA 3.5"
side = "lateral"
height_mm = -6
length_mm = 70
count = 4
"""
"""A depressed fragment over a void, and a raft; fills and wires are added to it."""


def changed(text: str, *pairs: tuple[str, str]) -> str:
    """The text with the first occurrence of each first text replaced. Each must be there."""
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def refused(text: str, read: Callable[[str, str], object] = parse_study) -> InputError:
    """How a study is refused when it is read: one message of bounded length."""
    with pytest.raises(InputError) as caught:
        read(text, "s.toml")
    if read is parse_study:
        assert caught.value.file == "s.toml"
        assert str(caught.value).startswith("s.toml: ")
    assert str(caught.value).replace("\n", "").isprintable()
    assert len(str(caught.value)) < 2500
    return caught.value


def refused_at(key: str, told: str, text: str,
               read: Callable[[str, str], object] = parse_study) -> InputError:
    """The refusal of a study, which names this key and says this."""
    error = refused(text, read)
    assert error.key == key
    assert told in str(error)
    return error
