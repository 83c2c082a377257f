"""Checked kinds of value that study models are built from: lengths, names, points, choices.

Each kind refuses a wrong value with what was expected and, where it can be guessed, the likely
mistake (metres for millimetres, a sign, a misspelt name). Models are frozen.
"""

from __future__ import annotations

import itertools
import math
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any, ClassVar, NoReturn

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    GetCoreSchemaHandler,
    ValidationInfo,
    model_validator,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from buttress.fe.errors import InputError

LONGEST_NAME = 60
MOST = 100  # entries of any list: far above any sensible study, below what would stall a reader
LONGEST_TEXT = 2000
FAR = 10.0  # times the limit, from where on a number hints at micrometres
PER_CENT = 10.0  # from where on a number that should be a share hints at per cent
POUND, GRAVITY = 0.45359237, 9.80665  # kg and m/s2, exact by definition; for hints only


def refuse(message: str, *, key: str = "", value: object = None, expected: str = "") -> NoReturn:
    """Raise a validation error; `key` (dotted) is below the model or value being validated."""
    context: dict[str, Any] = {"text": message, "key": key, "expected": expected}
    if value is not None:
        context["value"] = value
    raise PydanticCustomError("refused", "{text}", context)


def closest(word: str, choices: Iterable[str]) -> str:
    """The choice closest in spelling, empty when none is close."""
    known = {c.casefold(): c for c in choices}
    near = get_close_matches(word.casefold(), list(known), n=1, cutoff=0.6)
    return known[near[0]] if near else ""


def require_known(name: str, known: Iterable[str], what: str, key: str = "") -> None:
    """Raise InputError with the closest name unless ``name`` is one of the known ones."""
    names = list(known)
    if name not in names:
        raise InputError(f"no such {what}" + did_you_mean(closest(str(name), names)), key=key,
                         value=str(name), expected=quoted(names))


def quoted(names: Iterable[str]) -> str:
    """Names as a message lists them, so that one with a comma is still one."""
    return ", ".join(f'"{name}"' for name in names)


def did_you_mean(near: str) -> str:
    """`, did you mean "..."?` for the end of a message, empty for an empty suggestion."""
    return f', did you mean "{near}"?' if near else ""


class Checked(BaseModel):
    """Base of every part of a study: frozen, no unknown keys, no silent conversion of types."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    BEFORE: ClassVar[Mapping[str, str]] = {}
    """Keys of its table in a file that are resolved before it is validated, with what they hold."""
    MEANT: ClassVar[Mapping[str, str]] = {}
    """Words that people write for a key, and the key: where another one is closer in spelling."""

    @model_validator(mode="before")
    @classmethod
    def _lists_to_tuples(cls, data: Any) -> Any:
        # Immutable all the way down: TOML arrays arrive as lists, a study holds tuples.
        return {k: _tuples(v) for k, v in data.items()} if isinstance(data, dict) else data


def _tuples(value: Any) -> Any:
    return tuple(_tuples(v) for v in value) if isinstance(value, list | tuple) else value


def _slip(value: float, low: float, high: float, unit: str) -> str:
    """The likely mistake behind an implausible number, in words; empty when none fits."""
    if value < 0 and low <= -value <= high:
        return "is the sign wrong?"
    if unit == "mm" and value != 0:
        for factor, name in ((1000.0, "metres"), (10.0, "centimetres"), (25.4, "inches")):
            if low <= value * factor <= high:
                return f"looks like {name}"
        # A number not far beyond the range is more likely just that.
        if low <= value / 1000.0 <= high and abs(value) > FAR * max(abs(low), abs(high)):
            return "looks like micrometres"
    if unit == "N" and low <= value * 1000.0 <= high:
        return "looks like kilonewtons"
    if unit == "kg":
        found = [f"{name}, {value * factor:.0f} kg" for factor, name in
                 ((POUND, "pounds"), (1.0 / GRAVITY, "newtons"), (0.001, "grams"))
                 if low <= value * factor <= high]
        if found:
            return "looks like " + ", or ".join(found)
    # 5 for a friction of 0.5 is as likely as 5 per cent.
    if unit == "-" and PER_CENT <= value <= 100.0 and low <= value / 100.0 <= high:
        return "looks like a percentage"
    return ""


@dataclass(frozen=True)
class Within:
    """Plausible range of a number, inclusive, for use in `Annotated[float, Within(0, 5, "mm")]`."""

    low: float
    high: float
    unit: str = "-"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler,
                                     ) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def _check(self, value: float) -> float:
        if not self.low <= value <= self.high:
            hint = _slip(value, self.low, self.high, self.unit)
            shown = "" if self.unit == "-" else f" {self.unit}"
            what = "out of range" if self.unit == "-" else "implausible number"
            refuse(what + (f" ({hint})" if hint else ""),
                   expected=f"{self.low:g} to {self.high:g}{shown}")
        return value


@dataclass(frozen=True)
class OneOf:
    """Text that must be one of `names()`, which is called only when a study is read.

    ``own``: the list of `[own]` whose names will do, too; each becomes an `OwnName`.
    """

    names: Callable[[], Iterable[str]]
    what: str
    own: str = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler,
                                     ) -> CoreSchema:
        return core_schema.with_info_after_validator_function(self._check, handler(source))

    def _check(self, value: str, info: ValidationInfo) -> str:
        own = (info.context or {}).get("own", {}).get(self.own, {})
        if value in own:
            return own[value]
        known = [*self.names(), *own]
        if value not in known:
            refuse(f"unknown {self.what}" + did_you_mean(closest(value, known)),
                   expected="one of " + ", ".join(f'"{n}"' for n in known))
        return value


def _controls(value: str, allowed: str = "") -> bool:
    return any(unicodedata.category(c).startswith("C") and c not in allowed for c in value)


def _check_name(value: str) -> str:
    expected = f"1 to {LONGEST_NAME} printable characters"
    if _controls(value):
        refuse("control characters in a name", expected=expected)
    if not value.strip() or len(value) > LONGEST_NAME:
        what = "an empty name" if not value.strip() else f"a name of {len(value)} characters"
        refuse(what, expected=expected)
    if value != value.strip():
        refuse("a name with spaces at its ends", expected=f'"{value.strip()}"')
    if "." in value or "=" in value:
        refuse('"." or "=" in a name',
               expected='a name without them; a dotted path such as '
                        '"construct.NAME.screw.NAME.length_mm=30" addresses its parts')
    return value


def _check_slug(value: str) -> str:
    allowed = all(c.isascii() and (c.isalnum() or c in "-_") for c in value)
    if not allowed or not 1 <= len(value) <= LONGEST_NAME:
        refuse("a study's name is used for its folder",
               expected=f'1 to {LONGEST_NAME} letters, digits, "-" or "_", as in "medial-shear"')
    return value


def _check_text(value: str) -> str:
    if len(value) > LONGEST_TEXT:
        refuse(f"a text of {len(value)} characters", expected=f"at most {LONGEST_TEXT}")
    if _controls(value, "\n\t"):
        refuse("control characters in a text", expected="printable text")
    return value


Name = Annotated[str, AfterValidator(_check_name)]
Slug = Annotated[str, AfterValidator(_check_slug)]
Text = Annotated[str, AfterValidator(_check_text)]
Point = tuple[Annotated[float, Within(-150, 150, "mm")], Annotated[float, Within(-400, 50, "mm")]]


def unique(parts: Iterable[Any], where: str, what: str, taken: dict[str, str] | None = None,
           ) -> dict[str, str]:
    """Refuse two parts of the same name (case aside); returns the names seen, with what they are.

    `where` is the key of the list below the model being validated, `taken` names used elsewhere.
    """
    seen = dict(taken or {})
    for part in parts:
        folded = part.name.casefold()
        if folded in seen:
            other = seen[folded]
            refuse(f"two {what}s have this name" if other == what
                   else f"a {what} has the name of a {other}", value=part.name,
                   key=f"{where}.{part.name}.name", expected="a name of its own")
        seen[folded] = what
    return seen


def ascending(values: Iterable[float], key: str, what: str) -> None:
    """Refuse a list whose entries do not increase."""
    numbers = list(values)
    if any(not b > a for a, b in itertools.pairwise(numbers)):
        refuse(f"{what} not in increasing order", key=key, value=numbers,
               expected="increasing numbers, none repeated")


def distinct_points(points: Iterable[tuple[float, float]], key: str) -> None:
    """Refuse a polyline with two successive points closer than 0.01 mm, or one in metres."""
    rows = list(points)
    if all(abs(x) < 0.5 for point in rows for x in point):
        refuse("all points within half a millimetre (looks like metres)", key=key, value=rows,
               expected="points in mm")
    for first, second in itertools.pairwise(rows):
        if math.dist(first, second) < 0.01:
            refuse("the same point twice in a row", key=key, value=second,
                   expected="successive points that differ")
