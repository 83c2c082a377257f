"""Plain data made into HTML by templates: text is escaped, and a name not given is an error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

OWN = ("buttress.report", "templates")


@dataclass(frozen=True)
class Cell:
    """A cell with more than text: ``below`` in small letters under it, ``kind`` for its colour."""

    text: str | None
    below: str = ""
    kind: str = ""
    bold: bool = False


Shown = str | Cell | None
"""What stands in a cell: lines of text, or None for a number that does not exist."""


@dataclass(frozen=True)
class Table:
    """A table; columns in ``left`` hold text, ``css`` is its class in the style sheet."""

    head: Sequence[Shown]
    rows: Sequence[Sequence[Shown]]
    left: Sequence[int] = (0,)
    css: str = ""


@cache
def environment(package: str, folder: str) -> Environment:
    """The templates in a folder of a package, and those of the report for all of them."""
    return Environment(
        loader=ChoiceLoader([PackageLoader(package, folder), PackageLoader(*OWN)]),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


def render(template: str, data: dict[str, Any], where: tuple[str, str] = OWN) -> Markup:
    """A template filled in. Raises `jinja2.UndefinedError` where it asks for what is not given."""
    return Markup(environment(*where).get_template(template).render(data))


def asset(name: str, where: tuple[str, str] = OWN) -> Markup:
    """A file next to the templates as it is: a style sheet or a script, which is not escaped."""
    env = environment(*where)
    assert env.loader is not None
    return Markup(env.loader.get_source(env, name)[0])
