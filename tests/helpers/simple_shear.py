"""The shipped shear fracture on the simple outline, for tests of mechanics and not of what ships.

Numbers such as -3 (the fracture at the joint), -25 (upper end of the plates) and half widths are
those of this geometry. Movements are small, as in the closed forms that it is compared with.
"""

from __future__ import annotations

from buttress.study.read import Study, example_text, parse_study

GEOMETRY = (('outline = "anatomical"', 'outline = "simple"'),
            ("[[2.5, 15], [-24, -57.7]]", "[[-3, 0], [-24, -57.7]]"),
            ("top_mm = -27.5", "top_mm = -25"),
            ("\n[limits]", '\n[press]\nlarge_movements = "off"\n\n[limits]'))


def simple_text() -> str:
    """The study as a file."""
    text = example_text("medial-shear")
    for shipped, simple in GEOMETRY:
        assert shipped in text
        text = text.replace(shipped, simple)
    return text


def simple_shear() -> Study:
    return parse_study(simple_text())
