"""A lesson opened in a browser, its problems unpacked; what it says and asks for is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from buttress.lesson.page import Lesson, write_lesson


def opened(browser: Any, made: Lesson, folder: Path) -> Any:
    write_lesson(made, folder / "lesson.html")
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.said, page.asked = [], []
    page.on("console", lambda m: page.said.append(m.text))
    page.on("pageerror", lambda e: page.said.append(str(e)))
    page.on("request", lambda r: page.asked.append(r.url))
    page.goto((folder / "lesson.html").as_uri())
    page.evaluate("lesson.begun")
    return page
