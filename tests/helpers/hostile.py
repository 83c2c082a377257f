"""A study whose names hold markup, mathematics, quotes and what a spreadsheet would run."""

from __future__ import annotations

from functools import cache

from small_study import small_study

from buttress.comparison.compare import compare
from buttress.results.comparison import Comparison
from buttress.study.read import study_from
from buttress.study.study import Study
from buttress.sweeps.vary import plain

NAMES = ("+1|cmd", "@SUM(A1:A9) <script>alert(1)</script>", "$\\frac{$ \\$x_1^2$ {",
         "_hidden \"quoted\" 'x'; --", "-" + "W" * 59)
TITLE = '=HYPERLINK("http://x.invalid","<b>$\\frac{1}{$</b>")'
FRACTURE, FRAGMENT, PLATE = "+$\\alpha <s>", "-me&dial $_{", "_$p$ <plate>"


@cache
def hostile_study() -> Study:
    """The small study, five constructs, every name and text hostile."""
    data = plain(small_study("nothing", "lag screws", "antiglide", "antiglide + screw",
                             "straight plate"))
    data |= {"title": TITLE, "scenario": "</p><script>alert(1)</script> $x$"}
    for construct, name in zip(data["construct"], NAMES, strict=True):
        construct |= {"name": name, "note": f"@{name} </td>"}
        for screw in construct.get("screw", []):
            screw["name"] = f"@{screw['name']} $a_b$ <u>"
            if "plate" in screw:
                screw["plate"] = PLATE
        for plate in construct.get("plate", []):
            plate["name"] = PLATE
    data["fracture"][0]["name"] = FRACTURE
    data["fragment"][0]["name"] = FRAGMENT
    return study_from(data)


@cache
def hostile_comparison() -> Comparison:
    """Its answers, with pictures."""
    return compare(hostile_study())
