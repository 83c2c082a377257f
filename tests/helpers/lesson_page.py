"""A lesson opened in a browser, its problems unpacked; what it says and asks for is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from buttress.lesson.page import Lesson, write_lesson


def opened(browser: Any, made: Lesson, folder: Path, predict: bool = False) -> Any:
    """The page; without ``predict`` it shows each answer at once."""
    write_lesson(made, folder / "lesson.html")
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.said, page.asked = [], []
    page.on("console", lambda m: page.said.append(m.text))
    page.on("pageerror", lambda e: page.said.append(str(e)))
    page.on("request", lambda r: page.asked.append(r.url))
    page.goto((folder / "lesson.html").as_uri())
    page.evaluate("lesson.begun")
    if not predict:
        page.uncheck("#predict")
        settled(page)
    return page


def settled(page: Any) -> None:
    """Wait until what the controls ask for is shown."""
    page.evaluate("lesson.settled")


def set_out(page: Any, *names: str) -> None:
    """Take parts out."""
    for name in names:
        page.uncheck(f"#parts input[data-part='{name}']")
        settled(page)
