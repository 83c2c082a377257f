"""The constructs of a comparison once more with other choices of the model, one at a time.

The choices are the rows of `data/alternatives.toml`. Each is one changed study, made like a case of
a sweep and solved like a construct of a comparison; cases that share a mesh, a factorisation or a
condensed construct compute it once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import Any

from buttress.bone.fills import fill_material
from buttress.comparison.solving import solved
from buttress.fe.errors import InputError
from buttress.fe.threads import one_thread
from buttress.results.comparison import Comparison
from buttress.results.reader import Reader
from buttress.results.records import ConstructResult
from buttress.results.spread import Alternative, ModelSpread
from buttress.study.case import Case
from buttress.study.study import Construct, Study
from buttress.sweeps.keys import bone_key
from buttress.sweeps.vary import Varier, addresses, plain
from buttress.sweeps.workshop import Workshop

ABSENT, SAME = "the study has nothing of it", "the study is like that"
STAGED = "stages say how the screws are tightened"
STUCK = ("nothing can be placed, tightened or loosened step by step where metal is stuck fast from "
         "the start")
NO_PRESET = "the bone of the study is no preset of living bone"
NEEDS: Mapping[str, Callable[[Construct], bool]] = {
    "pin": lambda c: bool(c.pins), "screw": lambda c: bool(c.screws),
    "bond": lambda c: any(fill_material(fill).bond is not None for fill in c.fills)}
"""What a construct must have for an alternative to act on it."""
UNLESS: Mapping[str, tuple[Callable[[Construct], bool], str]] = {
    "tightened in stages": (lambda c: any(stage.do == "tighten" for stage in c.stages), STAGED),
    "staged": (lambda c: bool(c.stages), STUCK)}
"""Constructs that an alternative leaves out, and why."""


@cache
def shipped() -> Mapping[str, Mapping[str, Any]]:
    """The table `data/alternatives.toml`."""
    text = files("buttress").joinpath("data", "alternatives.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def with_alternatives(comparison: Comparison, say: Callable[[str], None] = lambda text: None
                      ) -> Comparison:
    """A comparison with its model spread: every construct solved with each alternative.

    ``say``: called with a line of progress as each alternative begins. Bonded twins are left out.
    What an alternative does not apply to, or cannot be built, is named with the reason.
    """
    own = comparison.own
    study = comparison.study.model_copy(update={"constructs": tuple(
        c for c in comparison.study.constructs if c.name in own)})
    varier, left_out = Varier(study), dict[str, str]()
    cases: list[tuple[Alternative, Case]] = []
    for name, row in shipped().items():
        found = changed(study, varier, row)
        if isinstance(found, str):
            left_out[name] = found
            continue
        values, case = found
        cases.append((Alternative(name, row["group"], row["words"], row["source"], row["status"],
                                  values), case))
    shop, tried = Workshop(), {}
    # Those on the study's own bone first, so that it is meshed and factorised once.
    same = bone_key(study)
    for made, case in sorted(cases, key=lambda x: bone_key(x[1].study) != same):
        say(f"alternative: {made.name}")
        left, why = _left_out(study, shipped()[made.name])
        constructs, refused = _solved(shop, case, left)
        tried[made.name] = replace(made, constructs=constructs, refused=refused,
                                   left_out=dict.fromkeys(left, why))
    return replace(comparison, alternatives=ModelSpread(
        tuple(tried[made.name] for made, _ in cases), left_out))


def changed(study: Study, varier: Varier, row: Mapping[str, Any]
            ) -> tuple[dict[str, Any], Case] | str:
    """The values that an alternative sets in a study and the case; else why there is none."""
    acts = NEEDS.get(row.get("needs", ""))
    if row.get("plane", study.section.plane) != study.section.plane or (
            acts is not None and not any(map(acts, study.constructs))):
        return ABSENT
    if "section.bone" in row.get("set", {}) and (
            study.section.map is not None or study.section.bone == "foam"):
        return NO_PRESET
    sets = row.get("set", {})
    left, why = _left_out(study, row)
    if left and len(left) == len(study.constructs):
        return why
    if left:
        sets = {key.replace("construct.*", f"construct.{c.name}", 1): value
                for key, value in sets.items() for c in study.constructs if c.name not in left}
    values = {key: value for key, value in sets.items() if _there(study, key)}
    values |= {key: _number(study, key) + more for key, more in row.get("add", {}).items()
               if _there(study, key)}
    if not values:
        return ABSENT
    try:
        case = varier.case(values)
    except InputError as error:
        return str(error)
    if not case.scales and plain(case.study) == plain(study):
        return SAME
    return values, case


def _left_out(study: Study, row: Mapping[str, Any]) -> tuple[list[str], str]:
    """Names of the constructs that an alternative does not apply to, and why."""
    if "unless" not in row:
        return [], ""
    is_one, why = UNLESS[row["unless"]]
    return [c.name for c in study.constructs if is_one(c)], why


def _there(study: Study, key: str) -> bool:
    try:
        return bool(addresses(study, key))
    except InputError:
        return False


def _number(study: Study, key: str) -> float:
    """The value of a key of `[load]`, given or by default."""
    name = key.removeprefix("load.")
    return float(study.load.slice_centre if name == "slice_centre_mm"
                 else getattr(study.load, name))


def _solved(shop: Workshop, case: Case, left: Collection[str] = ()
            ) -> tuple[dict[str, ConstructResult], dict[str, str]]:
    """Every construct of a case but some, and why others could not be built."""
    done: dict[str, ConstructResult] = {}
    refused: dict[str, str] = {}
    with one_thread():
        shop.make_room(case.study)
        for construct in (c for c in case.study.constructs if c.name not in left):
            try:
                intact = shop.intact(case.study)
                model = shop.model(case, construct)[1]
                tissues = shop.grounds[bone_key(case.study, construct)].tissues
                done[construct.name] = solved(
                    Reader(model.bone, tissues, intact), model, others=False)
            except InputError as error:
                refused[construct.name] = str(error)
    return done, refused
