"""The words of the lesson, one file per language: `page/en.toml` and the like.

A sentence is asked for by its key, with what stands in its braces. The page's script reads the
same catalogue, so that a translation is one file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from buttress.fe.errors import ButtressError
from buttress.lesson.look import Look
from buttress.report.glossary import Glossary, Term, glossary

LANGUAGES = ("en", "de")
"""The first one is shown until another is chosen."""
FIELD = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Words:
    """The catalogue in one language: sentences by key; names of the shipped lesson that differ
    from those of its studies; the glossary where it is not that of the toolkit."""

    language: str
    name: str
    sentences: Mapping[str, str]
    page_keys: frozenset[str]
    names: Mapping[str, str]
    own_glossary: Mapping[str, Mapping[str, str]]

    def __call__(self, key: str, **values: Any) -> str:
        """A sentence. Raises `ButtressError` where it, or something to put into it, is missing."""
        if key not in self.sentences:
            raise ButtressError(f"no words for {key!r} in the catalogue {self.language!r}")

        def put(found: re.Match[str]) -> str:
            if found[1] not in values:
                raise ButtressError(f"nothing to put for {{{found[1]}}} in {key!r}")
            return str(values[found[1]])
        return FIELD.sub(put, self.sentences[key])

    def named(self, name: str) -> str:
        """A name of the shipped lesson in this language; any other name stays as it is."""
        return self.names.get(name, name)

    def listed(self, parts: list[str]) -> str:
        """A list in words."""
        return self("and").join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)

    def fixed(self, value: float, digits: int) -> str:
        """A number with so many decimals."""
        return f"{value:.{digits}f}".replace("-", "−").replace(".", self("decimal"))

    def short(self, value: float) -> str:
        """A number with the decimals that it needs."""
        return f"{value:g}".replace(".", self("decimal"))

    def mm(self, value: float | None) -> str:
        """Millimetres, three decimals below a tenth."""
        if value is None:
            return self("no.number")
        return self.fixed(value, 3 if abs(value) < 0.0995 else 2) + " mm"

    def limit(self, value: float) -> str:
        """A limit of the study in words."""
        return self.short(value) + " mm"

    def upto(self, end: float | None, most: float) -> str:
        """A limit load in words, or that there is none up to the largest load ``most``."""
        if end is None or end > most:
            return self("more.than", load=f"{most:.0f} N")
        return self("up.to", load=newton(end))

    def at(self, end: float | None, most: float) -> str:
        """A load at which something happens, or that it is beyond the largest load ``most``."""
        return self("over.load", load=f"{most:.0f} N") if end is None else newton(end)

    def outcome(self, look: Look) -> str:
        """Held with how much movement, or not."""
        if look.held:
            return self("is.over" if look.over else "is.held", moved=self.mm(look.moved_mm),
                        limit=self.limit(look.limit_mm))
        if look.status == "not tightened":
            return self("is.not.tightened")
        if look.status == "unconverged":
            return self("is.unknown", load=newton(look.load_N))
        return self("is.not.held", load=newton(look.load_N))

    def moved(self, look: Look) -> str:
        """How far it moves, or that it is not held, in as few words as a list needs."""
        if look.held:
            moved = self.mm(look.moved_mm)
            return self("short.over", moved=moved) if look.over else moved
        return self("short.unknown" if look.status == "unconverged" else "short.not.held")

    def goes(self, look: Look) -> str:
        """What fails, in words; empty where that is not known."""
        return self("and").join(self(f"goes.{key}", name=self.named(name))
                                for key, name in look.goes)

    def glossary(self, words: tuple[str, ...]) -> Glossary:
        """Words of both trades, explained in this language."""
        if not self.own_glossary:
            return Glossary(tuple(glossary()[w] for w in words))
        found = [self.own_glossary[w] for w in words]
        return Glossary(tuple(Term(f["word"], f["not_surgeon"], f["not_engineer"]) for f in found))


@cache
def words_in(language: str) -> Words:
    """The catalogue in a language."""
    text = files("buttress.lesson").joinpath("page", f"{language}.toml").read_text("utf-8")
    data = tomllib.loads(text)
    return Words(language, data["name"], {**data["page"], **data["tour"]},
                 frozenset(data["page"]), data.get("names", {}),
                 data.get("glossary", {}))


def newton(value: float) -> str:
    """Newtons, three digits."""
    return f"{float(f'{value:.3g}'):.0f} N"


def percent(value: float) -> str:
    """A share in percent."""
    return f"{100 * value:.0f} %"
