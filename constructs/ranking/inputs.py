"""The uncertain inputs of a ranking: shipped with source and status, or given by the user."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.paths import there
from buttress.study.points import slope
from buttress.study.study import Study
from buttress.sweeps.design import parse_vary
from buttress.sweeps.keys import bone_key
from buttress.sweeps.ranges import Coupled, Distribution, Range, Value, parse_range
from buttress.sweeps.vary import TURNS, Varier, addresses, plain

TURN = f"fracture.*.{TURNS[1]}"
NEXT_TO_NONE = 0.02
"""Share of the samples that counts as next to none."""
MARGIN = 0.05
"""Distance that patches keep from the ends of the joint line [mm]."""


@dataclass(frozen=True)
class Uncertain:
    """One uncertain input. ``base`` is the study's own value where the law is relative to it.

    ``plane``: the only plane of a section to which it applies, if any. ``geometric``: whether
    another value means another mesh or modulus field. ``instead``: the shipped input that it
    replaces, in words.
    """

    name: str
    key: str
    of: str
    law: Range
    unit: str
    source: str
    status: str
    plane: str = ""
    base: float = 0.0
    geometric: bool = False
    instead: str = ""

    def values(self, share: np.ndarray) -> list[Value]:
        """Values of the key at cumulative probabilities ``(n,)``."""
        found = self.law.at(share)
        if self.of == "value":
            return found
        return [self.base * float(x) if self.of == "factor" else self.base + float(x)
                for x in found]

    @property
    def middle(self) -> Value:
        """The median."""
        return self.values(np.array([0.5]))[0]

    def document(self) -> dict[str, str]:
        """As written to JSON."""
        return {"name": self.name, "key": self.key, "of": self.of, "law": self.law.text,
                "unit": self.unit, "source": self.source, "status": self.status,
                "instead": self.instead}


def input_lines(inputs: Sequence[Uncertain]) -> list[str]:
    """One line per input: name and key, distribution, unit, status and source."""
    return [(f"{e.name} ({e.key})" if e.name != e.key else e.name) + f": {e.law.text}"
            + (f" [{e.unit}]" if e.unit else "")
            + ("" if e.of == "value" else
               f", {'times' if e.of == 'factor' else 'added to'} the study's {e.base:g}")
            + f"; {e.status}: {e.source}" + (f"; {e.instead}" if e.instead else "")
            for e in inputs]


def one_sided(study: Study, inputs: Sequence[Uncertain]) -> list[str]:
    """Names of the inputs of which next to no sample is on one side of the study's own value."""
    data, out = resolved(study), []
    for entry in inputs:
        low, high = entry.values(np.array([NEXT_TO_NONE, 1.0 - NEXT_TO_NONE]))
        own = [0.0 if a[-1] in TURNS else there(data, a) for a in addresses(study, entry.key)] \
            if entry.of == "value" and not entry.key.startswith("scale.") else []
        if any(isinstance(x, int | float) and isinstance(low, int | float)
               and isinstance(high, int | float) and (x <= low or x >= high) for x in own):
            out.append(entry.name)
    return out


@cache
def shipped() -> tuple[Uncertain, ...]:
    """The table `data/uncertain.toml`."""
    text = files("buttress").joinpath("data", "uncertain.toml").read_text(encoding="utf-8")
    return tuple(Uncertain(
        name=name, key=r["key"], of=r["of"], law=parse_range(r["law"], r["key"]), unit=r["unit"],
        source=r["source"], status=r["status"], plane=r.get("plane", ""))
                 for name, r in tomllib.loads(text).items())


def inputs_of(study: Study, vary: Sequence[str] = ()) -> tuple[Uncertain, ...]:
    """The uncertain inputs of a study: the shipped ones, with replacements and additions.

    ``vary``: texts KEY=DISTRIBUTION. Each replaces every shipped input that sets the same value.
    Inputs without a key in the study are omitted. Raises InputError for an invalid key or
    distribution, or for two given ones that set the same value.
    """
    given = parse_vary(study, vary) if vary else {}
    found: dict[str, Uncertain] = {}
    gone: dict[str, list[Uncertain]] = {key: [] for key in given}
    places = {key: _places(study, key) for key in given}
    for entry in shipped():
        if not _concerns(study, entry):
            continue
        takers = [key for key in given if places[key] & _places(study, entry.key)]
        for key in takers:
            gone[key].append(entry)
        if not takers:
            found[entry.key] = entry
    for key, law in given.items():
        if isinstance(law, Coupled):
            continue   # it follows the inputs: see `coupling`
        named = next((e.name for e in gone[key] if e.key == key), key)
        unit = gone[key][0].unit if gone[key] else ""
        found[key] = Uncertain(
            name=named, key=key, of="value", law=law, unit=unit, source="given by the user",
            status="practice", instead="; ".join(_instead(study, e, given) for e in gone[key]))
    varier, before = Varier(study), bone_key(study)
    out = []
    based = [_based(study, e) for e in found.values()]
    for entry in _on_the_joint(study, _between_axes(study, based, given), given):
        keys = {bone_key(varier.case({entry.key: v}).study)
                for v in entry.values(np.array([0.3, 0.7]))}
        out.append(replace(entry, geometric=keys != {before}))
    return tuple(out)


def _places(study: Study, key: str) -> set[tuple[str, ...]]:
    """Values in the study that a key sets; a fracture's angle and its change count as one."""
    return {(*a[:-1], TURNS[0]) if a[0] == "fracture" and a[-1] in TURNS else a
            for a in addresses(study, key)}


def _instead(study: Study, entry: Uncertain, given: Iterable[str]) -> str:
    """States that a shipped input is replaced, and which values stay as in the study."""
    left = _places(study, entry.key).difference(*(_places(study, key) for key in given))
    fixed = ", ".join(sorted(".".join(a) for a in left))
    return (f"in place of {entry.key} = {entry.law.text}"
            + (f", so that {fixed} stays as in the study" if left else ""))


def _between_axes(study: Study, entries: list[Uncertain], given: Container[str]
                  ) -> list[Uncertain]:
    """The inputs, with the common turn of fractures truncated so that none turns beyond the long
    axis or its perpendicular; left out where no turn is possible."""
    slopes = [slope(f.points_mm) for f in study.fractures]
    out = []
    for entry in entries:
        if entry.key == TURN and entry.key not in given and isinstance(entry.law, Distribution):
            middle, spread, first, last = entry.law.numbers
            low = max(first, math.ceil(-1e3 * min(slopes)) / 1e3)
            high = min(last, math.floor(1e3 * (90.0 - max(slopes))) / 1e3)
            if low >= high:
                continue
            if (low, high) != (first, last):
                text = f"normal({middle:g}, {spread:g}, {low:g}, {high:g})"
                entry = replace(entry, law=parse_range(text, TURN), source=entry.source + (
                    "; truncated so that no fracture turns beyond the long axis or its "
                    "perpendicular"))
        out.append(entry)
    return out


def _on_the_joint(study: Study, entries: list[Uncertain], given: Container[str]
                  ) -> list[Uncertain]:
    """The inputs, with those of contact patches truncated so that patches lie on the joint surface.

    The width is limited first, at the study's own positions, then the range of positions.
    """
    line = Section(study.section).shape.joint_line()
    low, high = float(line[0, 0]) + MARGIN, float(line[-1, 0]) - MARGIN
    where = patches(study)
    widest = 2.0 * min(min(p.centre - low, high - p.centre) for p in where)
    width = study.load.patch_width_mm
    out = list(entries)
    for i, entry in enumerate(out):
        if entry.key == "load.patch_width_mm":
            first, last = sorted(float(v) for v in entry.law.ends())
            if entry.key not in given and widest < last:
                entry = out[i] = _cut(entry, min(first, 0.75 * widest), widest)
            width = max(float(v) for v in entry.law.ends())
    for i, entry in enumerate(out):
        for p in where:
            if entry.key == f"load.{p.key}" and entry.of == "shift" and entry.key not in given:
                ends = sorted(float(v) for v in entry.law.ends())
                room = low + width / 2 - p.centre, high - width / 2 - p.centre
                if room[0] > ends[0] or room[1] < ends[1]:
                    out[i] = _cut(entry, max(ends[0], min(room[0], 0.0)),
                                  min(ends[1], max(room[1], 0.0)))
    return out


def _cut(entry: Uncertain, low: float, high: float) -> Uncertain:
    """The input with a uniform distribution over the valid range, and a note on that."""
    law = parse_range(f"uniform({round(low, 4):g}, {round(high, 4):g})", entry.key)
    return replace(entry, law=law, source=entry.source + "; truncated so that the patch lies on "
                                                         "the joint surface")


def _concerns(study: Study, entry: Uncertain) -> bool:
    """Whether a study has the key, in the right plane, and a value if the law is relative to it."""
    if entry.plane not in ("", study.section.plane):
        return False
    try:
        addresses(study, entry.key)
    except InputError:
        return False
    return entry.of == "value" or _value(study, entry.key) is not None


def _value(study: Study, key: str) -> Any:
    """The value of a key in a study; None where that is left to a default."""
    here: Any = plain(study)
    for part in key.split("."):
        here = here.get(part) if isinstance(here, dict) else None
    return here


def _based(study: Study, entry: Uncertain) -> Uncertain:
    if entry.of == "value":
        return entry
    # A usual contact patch lies elsewhere on a narrow plateau than its key says.
    moved = {f"load.{p.key}": p.centre for p in patches(study)}
    here = moved.get(entry.key, _value(study, entry.key))
    assert isinstance(here, int | float), f"{entry.key} is relative: not one number"
    return replace(entry, base=float(here))
