"""The report page in a real browser: no error, no request, readable at every width, printable."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hostile import hostile_comparison
from made_up import long_names, usual
from printed import printed_pages

from buttress import LABEL
from buttress.draw.all import draw_all
from buttress.report.page import write_report

pytestmark = pytest.mark.browser
SCREEN = {"width": 1280, "height": 800}


@pytest.fixture(scope="module", params=["usual", "long names", "hostile"])
def address(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("report")
    made = {"usual": usual, "long names": lambda: long_names(4),
            "hostile": hostile_comparison}[request.param]()
    write_report(made, folder / "report.html", draw_all(made, folder))
    return (folder / "report.html").as_uri()


@pytest.fixture(scope="module")
def opened(browser: Any, address: str) -> Iterator[Any]:
    """The page, opened once for all tests; what it said and asked for by the end of loading."""
    shown = browser.new_page(viewport=SCREEN)
    said, asked = [], []
    shown.on("console", lambda m: said.append(m.text))
    shown.on("pageerror", lambda e: said.append(str(e)))
    shown.on("request", lambda r: asked.append(r.url))
    shown.goto(address)
    shown.said, shown.asked = said, asked.copy()
    shown.printed = None
    shown.folds = shown.eval_on_selector_all("details", "all => all.map(d => d.open)")
    yield shown
    shown.close()
    assert said == []
    assert {u for u in asked if not u.startswith("data:")} == {address}


@pytest.fixture
def page(opened: Any) -> Any:
    """The page as it is first seen: on a laptop's screen, what is folded away folded away."""
    opened.emulate_media(media="null")      # as the browser has it: printing is printing
    opened.set_viewport_size(SCREEN)
    opened.eval_on_selector_all(
        "details", "(all, open) => all.forEach((d, i) => { d.open = open[i]; })", opened.folds)
    opened.evaluate("scrollTo(0, 0)")
    return opened


@pytest.fixture
def printed(page: Any) -> bytes:
    """The page on paper, printed once."""
    if page.printed is None:
        page.printed = page.pdf(prefer_css_page_size=True)
    return page.printed


def test_no_error_and_no_request_leaves_the_page(page: Any, address: str) -> None:
    assert page.said == []
    assert [u for u in page.asked if not u.startswith("data:")] == [address]


def test_every_picture_is_shown(page: Any) -> None:
    sizes = page.eval_on_selector_all("img", "all => all.map(i => [i.naturalWidth, i.alt])")
    assert len(sizes) >= 9
    assert all(width > 1000 and alt for width, alt in sizes)


def test_what_it_cannot_tell_is_on_the_first_screen(page: Any) -> None:
    box = page.locator(".cannot").bounding_box()
    last = page.locator(".cannot li").last.bounding_box()
    assert box["y"] < 400
    assert last["y"] + last["height"] <= 800
    assert page.locator(".label").first.bounding_box()["y"] < 200


@pytest.mark.parametrize("width", [1280, 800, 390])
def test_the_page_does_not_scroll_sideways(page: Any, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_no_table_scrolls_sideways_on_a_laptop(page: Any) -> None:
    page.eval_on_selector_all("details", "all => all.forEach(d => d.open = true)")
    wide = page.eval_on_selector_all(
        ".wide", "all => all.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.innerText)")
    assert wide == []


def test_names_are_text(page: Any) -> None:
    assert page.locator("script, i, s, u, table b b, h1 b, plate").count() == 0


def test_no_name_becomes_code(page: Any) -> None:
    # A dialogue would be one: alert() in a name opens it.
    told: list[str] = []
    page.on("dialog", lambda d: (told.append(d.message), d.dismiss()))
    page.reload()
    page.wait_for_timeout(100)
    assert told == []
    if "=HYPERLINK" in page.title():
        names = page.locator("table.main th[scope=row]").all_text_contents()
        assert "@SUM(A1:A9) <script>alert(1)</script>" in names
        assert page.locator("h1").text_content() == page.title()


def test_it_prints(page: Any, printed: bytes) -> None:
    folded = page.locator("details table")
    assert folded.count() >= 1
    assert not folded.first.is_visible()
    page.emulate_media(media="print")
    assert folded.first.is_visible()      # what is folded away on the screen is on the paper
    assert printed.startswith(b"%PDF")
    assert len(printed) > 50_000


def test_the_label_stands_on_every_printed_page(printed: bytes) -> None:
    texts = printed_pages(printed)
    assert len(texts) > 3
    label = LABEL.replace(" ", "")
    assert [i for i, text in enumerate(texts, 1) if label not in text] == []
