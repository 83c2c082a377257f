"""The catalogue of words: the same keys and braces in every language, and no words elsewhere."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from buttress import LABEL
from buttress.fe.errors import ButtressError
from buttress.lesson.catalogue import FIELD, LANGUAGES, words_in
from buttress.lesson.page import SHOWN, SOLVER, WORDS
from buttress.lesson.shipped import shipped_scenes

FOLDER = Path(__file__).parents[2] / "constructs" / "lesson"
PAGE = FOLDER / "page"
ENGLISH = words_in("en")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_key_and_every_brace_is_in_every_language(language: str) -> None:
    words = words_in(language)
    assert set(words.sentences) == set(ENGLISH.sentences)
    assert words.page_keys == ENGLISH.page_keys
    for key, text in words.sentences.items():
        assert text.strip(), key
        assert set(FIELD.findall(text)) == set(FIELD.findall(ENGLISH.sentences[key])), key
        assert FIELD.sub("", text).count("{") == FIELD.sub("", text).count("}") == 0, key


def test_another_language_says_something_else() -> None:
    """A sentence that was left in English would be the same in both."""
    other = words_in("de")
    same = {k for k, v in other.sentences.items()
            if v == ENGLISH.sentences[k] and re.search("[a-z]{4}", FIELD.sub("", v))}
    assert same == {"side.medial", "side.lateral"}      # Latin in both


def test_all_names_of_the_shipped_lesson_are_translated() -> None:
    names: set[str] = set()
    for scene in shipped_scenes():
        names |= {scene.title, *(f.name for f in scene.study.fragments),
                  *(f.name for f in scene.study.fractures)}
        for c in scene.study.constructs:
            names |= {c.name, *(p.name for p in (*c.plates, *c.screws, *c.wires, *c.fills))}
    assert names <= set(words_in("de").names)


def test_the_glossary_is_whole_in_every_language() -> None:
    for language in LANGUAGES:
        terms = words_in(language).glossary(WORDS).terms
        assert len(terms) == len(WORDS)
        assert all(x.word and x.not_surgeon and x.not_engineer for x in terms)


def test_the_label_is_that_of_the_toolkit() -> None:
    assert ENGLISH("label") == LABEL


def test_what_is_missing_is_an_error() -> None:
    with pytest.raises(ButtressError, match="no words for 'nothing here'"):
        ENGLISH("nothing here")
    with pytest.raises(ButtressError, match=r"nothing to put for \{load\}"):
        ENGLISH("more.than")


def script_texts(source: str) -> list[str]:
    """The string literals of a script, without its comments."""
    bare = re.sub(r"/\*.*?\*/", "", source, flags=re.S)
    bare = "\n".join(re.sub(r"(?<![:\"'])//.*", "", line) for line in bare.splitlines())
    return [a or b or c for a, b, c in re.findall(
        r'"((?:[^"\\\n]|\\.)*)"|\'((?:[^\'\\\n]|\\.)*)\'|`([^`]*)`', bare)]


def reads_as_words(text: str) -> bool:
    """Whether a string is a sentence or a phrase, and no key, name or piece of markup."""
    phrase = re.search(r"[A-Za-z]{3,} [A-Za-z]{2,}", text)
    return bool(phrase) and text not in KINDS


KINDS = {"plastic hinge", "part ", "not held", "not tightened", "not known", "held",
         "no words for ", "nothing to put for ", "Arial, 'DejaVu Sans', sans-serif", "DejaVu Sans",
         "use strict", "too far", "limit of load", "a ray that may be due to rounding"}
"""Names of kinds and verdicts inside the scripts, errors of the catalogue itself, and a font."""


@pytest.mark.parametrize("name", [*SOLVER, *SHOWN])
def test_no_script_has_words_of_its_own(name: str) -> None:
    found = [x for x in script_texts((PAGE / name).read_text("utf-8")) if reads_as_words(x)]
    assert found == []


def test_words_in_a_script_would_be_found() -> None:
    assert [x for x in script_texts('a = "The fragment slides"; // "no, not this"') if reads_as_words(x)]
    assert not [x for x in script_texts('t("moved.sinks"); /* "a comment here" */') if reads_as_words(x)]


def test_the_template_has_no_words_of_its_own() -> None:
    text = (PAGE / "lesson.html.j2").read_text("utf-8")
    bare = re.sub(r"{{.*?}}|{%.*?%}", "", text, flags=re.S)
    shown = re.sub(r"<[^>]*>|<meta.*?>", "", bare)
    assert set(re.findall(r"[A-Za-z]{3,}", shown)) <= {"PNG", "SVG", "data", "say"}
    labels = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', bare)
    assert not [x for x in labels if re.search("[A-Za-z]", x)]


@pytest.mark.parametrize("name", ["words.py", "depressed.py", "own_words.py", "page.py", "embed.py"])
def test_no_module_has_sentences_of_its_own(name: str) -> None:
    tree = ast.parse((FOLDER / name).read_text("utf-8"))
    docs = {id(node.value) for node in ast.walk(tree)
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)}
    errors = {id(leaf) for node in ast.walk(tree) if isinstance(node, ast.Raise)
              for leaf in ast.walk(node)}
    found = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)
             and isinstance(node.value, str) and id(node) not in docs | errors
             and re.search(r"[a-z]{3,} [a-z]{2,} [a-z]{2,}", node.value)]
    names = {c.name for s in shipped_scenes() for c in s.study.constructs}
    assert [x for x in found if x not in {*WORDS, *names}] == []


SILENT = {"forces.js", "screws.js", "solver.js"}
"""Scripts that say nothing themselves."""


@pytest.mark.parametrize("name", SHOWN)
def test_every_key_that_a_script_asks_for_is_there(name: str) -> None:
    source = (PAGE / name).read_text("utf-8")
    asked = re.findall(r'\bt\("([^"]+)"[,)]', source)
    assert bool(asked) is (name not in SILENT)
    for key in asked:
        assert key in ENGLISH.page_keys, key


def test_every_key_is_asked_for_somewhere() -> None:
    """A sentence that nothing says is deleted: its key, or the start of it, stands in a source."""
    source = " ".join(p.read_text("utf-8") for p in [
        *FOLDER.glob("*.py"), *(PAGE / n for n in SHOWN), PAGE / "lesson.html.j2"])
    asked = set(re.findall(r'"([a-zA-Z.]+)"', source)) | set(re.findall(r"f\"([a-z.]+)\{", source))
    unused = [k for k in ENGLISH.sentences if k not in asked and not any(
        k.startswith(a) for a in asked if a.endswith("."))]
    assert [k for k in unused if k.rsplit(".", 1)[0] not in asked
            and not k.startswith(("cannot.", "view.", "option."))] == []
