"""A page read back: its tags, attributes and shown text; and text that wants to be code."""

from __future__ import annotations

from html.parser import HTMLParser

NASTY = "<script>alert('x')</script> \"q\" & <img src=x onerror=alert(1)>"


class Page(HTMLParser):
    """Tags, attributes and shown text of a page."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(source)
        assert self.open == [], f"tags left open: {self.open}"

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.attributes += [(k, v or "") for k, v in attrs]
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data) -> None:
        if self.open and self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())
