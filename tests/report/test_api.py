"""The page of the facade: every public name and record with its docstring; what is committed is current."""

from __future__ import annotations

import inspect
import re
from html import unescape
from pathlib import Path

import pytest

import buttress
from buttress import LABEL
from buttress.display import displayed
from buttress.report import api

COMMITTED = Path(__file__).parents[2] / "results" / "gallery" / "api"
NAMES = ("buttress.html", "buttress/draw/figures.html", "buttress/fe/verification/statics.html")
ARRAYS = re.compile(r"ndarray\[tuple\[Any,\.\.\.\],dtype\[\w+(\[Any\])?\]\]|NDArray\[\w+(\[Any\])?\]")
"""One kind, which Python 3.11 and 3.13 write differently."""


@pytest.fixture(scope="module")
def made() -> dict[str, str]:
    return api.pages()


def words(page: str) -> str:
    """The text of a page, without markup: another version of pdoc may write other markup."""
    main = page[page.index('<main class="pdoc">'):]
    main = re.sub(r"<svg.*?</svg>|<script.*?</script>", "", main, flags=re.S)
    return ARRAYS.sub("array", re.sub(r"\s+", "", unescape(re.sub(r"<[^>]+>", "", main))))


@pytest.mark.parametrize("name", NAMES)
def test_the_committed_page_is_current(name: str, made: dict[str, str]) -> None:
    """Made anew by `buttress examples --gallery results/gallery`."""
    assert words((COMMITTED / name).read_text(encoding="utf-8")) == words(made[name])


def test_the_comparison_of_pages_finds_a_changed_docstring(made: dict[str, str]) -> None:
    page = made["buttress.html"]
    assert words(page.replace("frozen <code>Study</code>", "thawed <code>Study</code>")) != words(page)


def test_every_public_name_and_record_is_there_with_its_docstring(made: dict[str, str]) -> None:
    page = made["buttress.html"]
    text = words(page)
    assert words(f'<main class="pdoc">{LABEL}') in text
    for name in buttress.__all__:
        found = getattr(buttress, name)
        if inspect.ismodule(found):
            assert f'href="{found.__name__.replace(".", "/")}.html"' in page
            continue
        assert f'<section id="{name}">' in page
        if callable(found):
            first = (inspect.getdoc(found) or "").splitlines()[0]
            assert re.sub(r"[\s`]+|\*\*", "", first) in text, name
    for kind in displayed():
        assert f'<section id="{kind.__name__}">' in page
    assert '<section id="EdgeResult">' in page    # a part of what is shown


def test_links_lead_to_what_is_there(made: dict[str, str]) -> None:
    assert set(made) == set(NAMES)
    for name, text in made.items():
        for link in re.findall(r'href="([^"#:]+\.html)', text):
            target = (Path(name).parent / link).as_posix()
            parts: list[str] = []
            for part in target.split("/"):
                parts = parts[:-1] if part == ".." else [*parts, part]
            assert "/".join(parts) in made, (name, link)


@pytest.mark.parametrize("name", NAMES)
def test_no_page_depends_on_this_machine(name: str, made: dict[str, str]) -> None:
    text = made[name]
    assert str(Path.home()) not in text
    assert not re.search(r"at0x|_local|pathlib\.", words(text))
    assert "ViewSource" not in words(text)
