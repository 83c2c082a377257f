"""The page of the facade, made from its docstrings by pdoc: what `import buttress` offers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import is_dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, get_args, get_type_hints

import buttress
from buttress.display import displayed
from buttress.fe.errors import InputError

TEMPLATES = Path(__file__).parent / "templates"
"""Holds ``module.html.jinja2``, by which pdoc adds the label."""
PUBLIC: list[str] = vars(buttress)["__all__"]
"""The names of the facade; the stub that type checkers read lists them one by one."""
KINDS = ('class="annotation"', 'class="signature', 'class="return-annotation"')
"""What lines that state kinds (types) hold."""
PREFIX = re.compile(r'(?:<span class="n">[a-z_]\w*</span><span class="o">\.</span>)+(?=<span|<a)'
                    r"|(?<![\w/.#])(?:[a-z_]\w*\.)+(?=[A-Za-z])")
"""The modules before the name of a kind, which Python 3.11 and 3.13 name differently."""


def records() -> dict[str, type]:
    """The records that calls return, and those of which these are made, by name."""
    found: dict[str, type] = {}
    left = list(displayed())
    while left:
        kind = left.pop()
        if found.setdefault(kind.__name__, kind) is not kind:
            raise ValueError(f"two records are called {kind.__name__}")
        left += [part for hint in hints(kind) for part in parts(hint)
                 if is_dataclass(part) and part.__module__.startswith("buttress.results.")
                 and part.__name__ not in found]
    return dict(sorted(found.items()))


def hints(kind: type) -> list[Any]:
    """The kinds of a record's fields that can be told: others are of type checkers only."""
    try:
        return list(get_type_hints(kind).values())
    except NameError:
        return []


def parts(hint: Any) -> Iterator[type]:
    """The classes of which a kind of field is made: of ``dict[str, EdgeResult]`` both."""
    if isinstance(hint, type) and not get_args(hint):
        yield hint
    for part in get_args(hint):
        yield from parts(part)


def facade() -> ModuleType:
    """The public names, and after them the records that their calls return."""
    from importlib import import_module

    import_module("buttress.report.notebook")
    for name in PUBLIC:    # loaded when asked for, which pdoc does not
        getattr(buttress, name)
    shown = ModuleType("buttress", buttress.__doc__)
    for name in PUBLIC:
        setattr(shown, name, getattr(buttress, name))
    for name, kind in records().items():
        setattr(shown, name, kind)
    shown.__dict__["__all__"] = [*PUBLIC, *records()]
    return shown


def pages() -> dict[str, str]:
    """The pages by their path: the facade, and the modules that are names of it.

    Raises InputError where pdoc is missing, which comes with the extra "test".
    """
    try:
        from pdoc import doc, render
    except ImportError:
        raise InputError("the page of the facade needs pdoc",
                         expected='.venv/bin/pip install -e ".[test]"') from None
    render.configure(template_directory=TEMPLATES, docformat="markdown", show_source=False,
                     search=False, footer_text=buttress.LABEL)
    below = [found for name in PUBLIC
             if isinstance(found := getattr(buttress, name), ModuleType)]
    modules = {m.__name__: doc.Module(m) for m in (facade(), *below)}
    return {f"{name.replace('.', '/')}.html": plain(render.html_module(module, modules))
            for name, module in modules.items()}


def plain(text: str) -> str:
    """A page without empty lines, and kinds by their own names: ``Path``, not with its module."""
    lines = (line.rstrip() for line in text.splitlines() if line.strip())
    return "\n".join(PREFIX.sub("", line) if any(k in line for k in KINDS) else line
                     for line in lines) + "\n"


def write_api(folder: Path) -> list[Path]:
    """The pages of `pages`, written below ``folder``."""
    written = []
    for name, text in pages().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        written.append(path)
    return written
