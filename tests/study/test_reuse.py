"""Constructs and parts written once and used again: the same study in half of the lines."""

from __future__ import annotations

import re
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from under_loads import under_loads
from wrong_input import changed, refused_at

from buttress import check
from buttress.fe.errors import InputError
from buttress.implants.sections import screw_form
from buttress.model.resolve import resolved
from buttress.study.read import example, only, parse_study, study_from
from buttress.study.reuse import spelled_out
from buttress.sweeps.vary import plain, varied

HEAD = """
name = "eight"

[mesh]
size_mm = 4
coarse_mm = 8

[[fracture]]
name = "split"
points_mm = [[16, 3], [22, -30], [45, -46]]

[[fragment]]
name = "wedge"
inside_mm = [28, -10]

[load]
total_N = [500]
medial_share = 0.4
"""
SHORT = HEAD + """
[[shared.plate]]
name = "plate"
section = "3.5 straight"
side = "lateral"
top_mm = "{fracture.split.apex.y} + 30"
length_mm = 70

[[shared.screw]]
name = "upper lag"
form = "HB 6.5"
side = "lateral"
height_mm = -9
length_mm = 62
thread_mm = 16
use = "lag"
tension_N = 100
washer = true

[[shared.screw]]
name = "lower lag"
like = "upper lag"
height_mm = -18
length_mm = 60

[[shared.screw]]
name = "shaft 1"
form = "HA 3.5"
plate = "plate"
hole = 4
length_mm = "bicortical"

[[shared.screw]]
name = "shaft 2"
like = "shaft 1"
hole = 5

[[construct]]
name = "lags"
shared = ["upper lag", "lower lag"]

[[construct]]
name = "one lag"
like = "lags"
remove = ["lower lag"]

[[construct]]
name = "tight"
like = "one lag"
[[construct.screw]]
name = "upper lag"
tension_N = 200

[[construct]]
name = "plate alone"
shared = ["plate", "shaft 1", "shaft 2"]

[[construct]]
name = "locked"
like = "plate alone"
[[construct.screw]]
name = "shaft 1"
locked = true
[[construct.screw]]
name = "shaft 2"
locked = true

[[construct]]
name = "thin"
like = "plate alone"
[[construct.plate]]
name = "plate"
section = "one-third tubular"

[[construct]]
name = "plate + lag"
like = "plate alone"
[[construct.screw]]
name = "plate lag"
like = "shaft 1"
hole = 1
use = "lag"
tension_N = 150

[[construct]]
name = "back to screws"
like = "plate + lag"
remove = ["plate"]
shared = ["upper lag", "lower lag"]
"""


def _screw(name: str, **keys: Any) -> str:
    rows = [f"{k} = {str(v).lower() if isinstance(v, bool) else repr(v)}" for k, v in keys.items()]
    return "\n".join(["[[construct.screw]]", f'name = "{name}"', *rows]).replace("'", '"') + "\n"


def _plate(section: str) -> str:
    return ('[[construct.plate]]\nname = "plate"\nsection = "' + section + '"\nside = "lateral"\n'
            'top_mm = "{fracture.split.apex.y} + 30"\nlength_mm = 70\n')


def _lag(name: str, height: float, length: float, tension: float = 100) -> str:
    return _screw(name, form="HB 6.5", side="lateral", height_mm=height, length_mm=length,
                  thread_mm=16, use="lag", tension_N=tension, washer=True)


def _shaft(name: str, hole: int, **more: Any) -> str:
    return _screw(name, form="HA 3.5", plate="plate", hole=hole, length_mm="bicortical", **more)


def _construct(name: str, *parts: str) -> str:
    return "\n".join([f'\n[[construct]]\nname = "{name}"', *parts])


UPPER, LOWER = _lag("upper lag", -9, 62), _lag("lower lag", -18, 60)
SHAFT = (_shaft("shaft 1", 4), _shaft("shaft 2", 5))
LONG = HEAD + "".join((
    _construct("lags", UPPER, LOWER), _construct("one lag", UPPER),
    _construct("tight", _lag("upper lag", -9, 62, 200)),
    _construct("plate alone", _plate("3.5 straight"), *SHAFT),
    _construct("locked", _plate("3.5 straight"), _shaft("shaft 1", 4, locked=True),
               _shaft("shaft 2", 5, locked=True)),
    _construct("thin", _plate("one-third tubular"), *SHAFT),
    _construct("plate + lag", _plate("3.5 straight"), *SHAFT,
               _shaft("plate lag", 1, use="lag", tension_N=150)),
    _construct("back to screws", UPPER, LOWER)))


def _lines(text: str) -> int:
    """Lines of the constructs with something on them."""
    return sum(1 for line in text.removeprefix(HEAD).splitlines() if line.strip())


def test_eight_constructs_in_half_of_the_lines_are_the_same_study() -> None:
    short, long = parse_study(SHORT), parse_study(LONG)
    assert len(short.constructs) == 8
    assert short == long
    assert resolved(short) == resolved(long)
    assert _lines(SHORT) <= _lines(LONG) / 2


def test_both_ways_give_the_same_answers() -> None:
    found = [under_loads(only(parse_study(text), "tight", "thin"), limits=False)
             for text in (SHORT, LONG)]
    one, other = (c.to_frame() for c in found)
    assert one.equals(other)


def test_a_coupled_key_of_a_shared_part_stays_coupled_in_every_construct() -> None:
    study = parse_study(SHORT)
    assert {a[1] for a in study.coupled} == {"plate alone", "locked", "thin", "plate + lag"}
    turned = varied(study, {"fracture.split.points_mm": [[16, 3], [22, -30], [45, -56]]}).study
    assert turned.constructs[3].plates[0].top_mm < study.constructs[3].plates[0].top_mm - 1
    assert varied(study, {}).study == parse_study(LONG)


def test_what_is_given_is_left_as_it_is() -> None:
    study = example("medial-shear")
    data = plain(study)
    assert spelled_out(data) == (data, {})
    assert spelled_out(data)[0] is data


def test_stages_are_taken_over_without_what_is_removed() -> None:
    text = HEAD + _construct("a", UPPER, LOWER) + """
[[construct.stage]]
do = "tighten"
what = ["upper lag", "lower lag"]
[[construct.stage]]
do = "tighten"
what = ["lower lag"]
[[construct.stage]]
do = "load"
total_N = 400
[[construct]]
name = "b"
like = "a"
remove = ["lower lag"]
[[construct]]
name = "c"
like = "a"
[[construct.stage]]
do = "load"
total_N = 300
"""
    _, b, c = parse_study(text).constructs
    assert [(s.do, s.what) for s in b.stages] == [("tighten", ("upper lag",)), ("load", None)]
    assert [s.total_N for s in c.stages] == [300]


@pytest.mark.parametrize(("old", "new", "key", "said"), [
    ('like = "lags"', 'like = "lag"', "construct.one lag.like", 'did you mean "lags"?'),
    ('like = "lags"', "like = 3", "construct.one lag.like", "wrong type"),
    ('like = "lags"', 'like = "one lag"', "construct.one lag.like", "like itself"),
    ('like = "lags"', 'like = "tight"', "construct.tight.like",
     "in a circle: one lag, tight, one lag"),
    ('remove = ["lower lag"]', 'remove = ["lower"]', "construct.one lag.remove",
     'no part "lower" in the construct "lags"'),
    ('like = "lags"', "", "construct.one lag.remove", "remove without like"),
    ('shared = ["upper lag", "lower lag"]', 'shared = ["uper lag", "lower lag"]', "construct.lags.shared",
     'no shared part "uper lag", did you mean "upper lag"?'),
    ('shared = ["upper lag", "lower lag"]', 'shared = ["upper lag", "upper lag"]', "construct.lags.shared",
     "already"),
    ('shared = ["upper lag", "lower lag"]', 'shared = "upper lag"', "construct.lags.shared", "wrong type"),
    ('like = "shaft 1"\nhole = 5', 'like = "shaft"\nhole = 5', "shared.screw.shaft 2.like",
     'did you mean "shaft 1"?'),
    ("[[shared.plate]]", "[[shared.plates]]", "shared.plates", 'did you mean "plate"?'),
    ('name = "lower lag"\nlike', 'name = "upper lag"\nlike', "shared.screw.upper lag.name",
     "two shared parts"),
    ('name = "tight"', 'name = "lags"', "construct.lags.name", "two constructs have this name"),
    ("[[construct]]", '[[shared.wire]]\nname = "spare"\ndiameter_mm = 2\n\n[[construct]]',
     "shared.wire.spare", "no construct uses"),
    ('like = "lags"', 'lke = "lags"\nlike = "lags"', "construct.one lag.lke",
     'did you mean "like"?'),
    ("length_mm = 62", "length_mm = 620", "shared.screw.upper lag.length_mm",
     'in the construct "lags"'),
    ("hole = 5", "hole = 15", "shared.screw.shaft 2.hole", 'in the construct "plate alone"'),
    ("tension_N = 200", "tension_N = -200", "construct.tight.screw.upper lag.tension_N",
     "is the sign wrong?"),
    ('"{fracture.split.apex.y} + 30"', '"{fracture.split.apx.y} + 30"', "shared.plate.plate.top_mm",
     "refers to nothing"),
    ('section = "3.5 straight"\n', "", "shared.plate.plate.section", "either a section"),
    ('[[construct.plate]]\nname = "plate"\nsection', '[[construct.plate]]\nname = "plate"\nhole = 3'
     "\nsection", "construct.thin.plate.plate.hole", "unknown key"),
])
def test_a_mistake_is_told_once_with_the_key_and_line_as_written(
        old: str, new: str, key: str, said: str) -> None:
    text = changed(SHORT, (old, new))
    error = refused_at(key, said, text)
    assert said in error.message
    assert "mistakes" not in error.message
    assert error.line is not None
    words = [re.escape(key.rpartition(".")[2]), "name =", r"\[\["]
    assert re.match("|".join(words), text.splitlines()[error.line - 1])


@pytest.mark.parametrize("value", [None, 3, "", [], {}, [3], [[]], [{}], {"name": "x"}, True, "{"],
                         ids=repr)
def test_whatever_stands_in_these_keys_is_answered_with_a_message(value: Any) -> None:
    places = [("construct", i, key) for i in (0, 1, 7) for key in (
        "like", "shared", "remove", "name", "screw", "plate", "stage")]
    places += [("shared", kind, 0, key) for kind in ("screw", "plate") for key in ("name", "like")]
    places += [("shared", "screw"), ("shared",), ("construct", 2), ("construct", 2, "screw", 0)]
    for place in places:
        data: Any = tomllib.loads(SHORT)
        owner = data
        for part in place[:-1]:
            owner = owner[part]
        owner[place[-1]] = value
        with suppress(InputError):    # and never another kind of error
            study_from(data)


def test_the_block_in_the_readme_is_a_study_with_parts_of_its_own() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    block = readme.split("<!-- own parts -->\n```toml\n")[1].split("```")[0]
    study = parse_study(f'name = "readme"\n{block}')
    plate, locked = study.constructs
    assert [s.name for s in plate.screws] == ["shaft 1", "shaft 2"]
    assert [(s.name, s.locked, s.hole) for s in locked.screws] == [("shaft 1", True, 6)]
    assert screw_form(plate.screws[1].form).core == 2.8
    assert not [f for f in check(study) if f.level == "broken"]
