"""Text of the pages of a PDF that Chromium has printed, read from its content streams."""

from __future__ import annotations

import re
import zlib

TEXT = re.compile(rb"/(\w+) [\d.]+ Tf|<([0-9A-Fa-f]+)> Tj|\[(.*?)\] TJ", re.S)


def printed_pages(pdf: bytes) -> list[str]:
    """The text of each page, in the order in which it was drawn, without spaces."""
    objects = {int(n): body for n, body in re.findall(rb"\n(\d+) 0 obj\n(.*?)\nendobj", pdf, re.S)}
    pages = [b for b in objects.values() if re.search(rb"/Type\s*/Page\b", b)]
    assert pages, "no page in the file"
    return [_text(page, objects) for page in pages]


def _text(page: bytes, objects: dict[int, bytes]) -> str:
    fonts = {name: _letters(objects[int(n)], objects)
             for block in re.findall(rb"/Font\s*<<(.*?)>>", page, re.S)
             for name, n in re.findall(rb"/(\w+) (\d+) 0 R", block)}
    [content] = re.findall(rb"/Contents (\d+) 0 R", page)
    out, font = [], {}
    for name, one, several in TEXT.findall(_stream(objects[int(content)])):
        font = fonts[name] if name else font
        for digits in [one, *re.findall(rb"<([0-9A-Fa-f]+)>", several)]:
            out += [font.get(digits[i:i + 4].upper(), "") for i in range(0, len(digits), 4)]
    return re.sub(r"\s", "", "".join(out))


def _letters(font: bytes, objects: dict[int, bytes]) -> dict[bytes, str]:
    """What the glyphs of a font stand for."""
    found: dict[bytes, str] = {}
    for number in re.findall(rb"/ToUnicode (\d+) 0 R", font):
        table = _stream(objects[int(number)])
        for block in re.findall(rb"beginbfchar(.*?)endbfchar", table, re.S):
            for glyph, letter in re.findall(rb"<(\w+)> <(\w+)>", block):
                found[glyph.upper()] = bytes.fromhex(letter.decode()).decode("utf-16-be")
        for block in re.findall(rb"beginbfrange(.*?)endbfrange", table, re.S):
            for low, high, letter in re.findall(rb"<(\w+)> <(\w+)> <(\w+)>", block):
                for i in range(int(high, 16) - int(low, 16) + 1):
                    found[b"%04X" % (int(low, 16) + i)] = chr(int(letter, 16) + i)
    return found


def _stream(body: bytes) -> bytes:
    raw = body.split(b"stream\n", 1)[1].rsplit(b"\nendstream", 1)[0]
    return zlib.decompress(raw) if b"/FlateDecode" in body else raw
