"""Words of both trades, explained for people who are not surgeons and who are not engineers."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from markupsafe import Markup

from buttress.report.markup import render
from buttress.study.checked import require_known

HEAD = ("word", "for people who are not surgeons", "for people who are not engineers")


@dataclass(frozen=True)
class Term:
    """A word and what it means to either reader."""

    word: str
    not_surgeon: str
    not_engineer: str


@dataclass(frozen=True)
class Glossary:
    """The words in the order of the file: the bone, what is put in, what is found."""

    terms: tuple[Term, ...]

    def __getitem__(self, word: str) -> Term:
        """One word. Raises InputError with the closest one where it is not explained."""
        found = {t.word: t for t in self.terms}
        require_known(word, found, "word in the glossary")
        return found[word]

    def html(self) -> Markup:
        """The words as an HTML table, for a page or a notebook."""
        return render("glossary.html.j2", {"head": HEAD, "terms": self.terms})

    def _repr_html_(self) -> str:
        return self.html()

    def markdown(self) -> str:
        """The words as a Markdown table."""
        lines = ["| " + " | ".join(HEAD) + " |", "| --- | --- | --- |"]
        lines += [f"| **{t.word}** | {t.not_surgeon} | {t.not_engineer} |" for t in self.terms]
        return "\n".join(lines) + "\n"


@cache
def glossary() -> Glossary:
    """The words of both trades, each explained for readers of the other one.

    Shown as a table in a notebook; ``glossary()["tilt"]`` is one word. Raises InputError, with the
    closest word, for one that is not explained.
    """
    text = files("buttress").joinpath("data", "glossary.toml").read_text(encoding="utf-8")
    return Glossary(tuple(Term(word, entry["not_surgeon"], entry["not_engineer"])
                          for word, entry in tomllib.loads(text).items()))
