"""A lesson opened in a browser, its problems unpacked; what it says and asks for is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from buttress.lesson.page import Lesson, write_lesson

AGREES = """() => {
    const out = [];
    lesson.shown.forEach((now, k) => {
        const side = lesson.sides[k];
        if (!side) return;
        if (!now) { out.push('nothing shown'); return; }
        const choice = DATA.scenes[Number($('scene').value)].choices[Number($(k ? 'beside' : 'choice').value)];
        if (choice.name !== now.choice) out.push('menu ' + choice.name + ', shown ' + now.choice);
        const there = new Set(now.geometry.members.map((m) => m.name));
        for (const p of choice.parts) {
            const box = [...partsOf(k).querySelectorAll('input')].find((b) => b.dataset.part === p.name);
            if (!box || box.checked !== there.has(p.name)) out.push('box of ' + p.name);
            const button = [...partsOf(k).querySelectorAll('button')].find((b) => b.dataset.kind === p.name);
            if (p.kinds && button.textContent !== t('kind.' + now.kinds[p.name])) out.push('kind of ' + p.name);
        }
        if (now.load !== Number($('load').value)) out.push('load');
        const said = $(k ? 'outcome-b' : 'outcome').textContent;
        if (!said.includes(tied(newton(now.load)))) out.push('no load in: ' + said);
        if (now.held && !said.includes(tied(mm(now.moves[now.fragment])))) out.push('other numbers: ' + said);
        if ((now.verdict === 'not known') !== (said === tied(t('outcome.unknown', { load: newton(now.load) })))) out.push('not known');
        const drawn = $(k ? 'section-b' : 'section'), fresh = document.createElementNS(SVG, 'svg');
        drawSection(fresh, now);
        if (drawn.innerHTML !== fresh.innerHTML) out.push('another picture');
        for (const a of SLIDERS) if (!$(a).disabled && now.label[a] !== $(a + '-value').textContent) out.push('slider ' + a);
    });
    return out; }"""
"""What of a shown state disagrees: its menus, boxes, numbers, picture and sliders."""


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
