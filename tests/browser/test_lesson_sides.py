"""Which knee the lesson shows: the section and its forces as seen from the front."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_lesson import small_lesson

from buttress.lesson.page import write_lesson

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("knee", ["right", "left"])
def test_the_section_is_drawn_as_seen_from_the_front(browser: Any, tmp_path: Path, knee: str
                                                     ) -> None:
    """The medial fragment lies on the viewer's right in a right knee; so do the forces on it."""
    lesson = small_lesson()
    scene = lesson.scenes[0]
    section = scene.study.section.model_copy(update={"side": knee})
    study = scene.study.model_copy(update={"section": section})
    path = tmp_path / "lesson.html"
    write_lesson(replace(lesson, scenes=(replace(scene, study=study),)), path)
    page, said = browser.new_page(viewport={"width": 1280, "height": 720}), list[str]()
    page.on("pageerror", lambda e: said.append(str(e)))
    page.goto(path.as_uri())
    page.evaluate("lesson.begun")
    page.evaluate("lesson.predict = false; go(1)")
    middles = page.evaluate("""() => [...$('section').querySelectorAll('path')].map((p) =>
        [p.getAttribute('fill'), p.getBBox().x + p.getBBox().width / 2])""")
    shaft, fragment = (next(x for fill, x in middles if fill == wanted)
                       for wanted in ("#EDE6D6", "#E3C99A"))
    assert (fragment > shaft) == (knee == "right")
    at = dict(page.evaluate("""() => [...$('section').querySelectorAll('text')].map((t) =>
        [t.textContent, t.getBBox().x])"""))
    assert (at["lateral"] < shaft < at["medial"]) == (knee == "right")
    assert ("R" in at, "L" in at) == (knee == "right", knee == "left")
    assert abs(at[knee[0].upper()] - shaft) > 20.0
    assert (at[knee[0].upper()] < shaft) == (at["lateral"] < shaft)
    assert f"{knee.title()} tibia seen from the front" in page.inner_text("#picture-note")
    assert f"{knee} tibia seen from the front" in page.get_attribute("#section", "aria-label")
    told = page.evaluate("""() => forcesOn(lesson.now).map((f) => {
        const ring = lesson.now.geometry.rings.find((r) => r.kind === 'fragment').points;
        const { to } = canvas($('free'), lesson.now.scene, ring, 1), at = to([0, 0]);
        return [f.name, f.force[0], to(f.force)[0] - at[0], direction(lesson.now.scene, f.force)]; })""")
    assert told
    for name, x, drawn, words in told:
        assert np.sign(drawn) == np.sign(x) * (-1.0 if knee == "right" else 1.0), name
        if abs(x) > 1.0 and ("medial" in words or "lateral" in words):
            assert ("lateral" in words) == (x > 0.0), name      # words are of the bone
    assert said == []
    page.close()
