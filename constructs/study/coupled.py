"""Coupled keys: numbers of a study written as expressions of other keys.

``top_mm = "{fracture.shear plane.apex.y} + 13"``: names in braces, numbers, ``+ - * /`` and
parentheses. A name is the dotted path of a key of the study that holds a number (see `paths`), or
one of what a fracture has besides (`READINGS`). Coordinates are those of the section.
"""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from buttress.fe.errors import InputError
from buttress.study.bone import QUALITY, SectionInput
from buttress.study.checked import closest, did_you_mean
from buttress.study.complaint import complaint, show
from buttress.study.paths import Address, below, kinds, there, walk
from buttress.study.study import Fracture, Study

READINGS = {
    "apex.x": "", "apex.y": "the lowest point at which it leaves the bone on one of its sides",
    "upper.x": "", "upper.y": "its upper end, as drawn",
    "lower.x": "", "lower.y": "its lower end, as drawn",
    "slope_deg": "angle of its chord to the long axis"}
"""What a fracture has besides its keys, as ``fracture.NAME.apex.y`` [mm]."""
TABLES = ("section", "mesh", "load", "limits")
FOLLOWING = ("mesh.coarse_mm",)
"""Keys without a fixed default: where the file does not give them they have no value to refer to.
"""
EXPECTED = ('numbers and keys in braces with + - * / and parentheses, such as '
            '"{fracture.NAME.apex.y} + 13"')
LONGEST = 300
DO: dict[type, Callable[..., float]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.Div: operator.truediv, ast.UAdd: operator.pos, ast.USub: operator.neg}


def is_coupled(value: Any) -> bool:
    """Whether a value is an expression of other keys."""
    return isinstance(value, str) and "{" in value


def settled(data: dict[str, Any], file: str = "", folder: Path | str | None = None,
            only: tuple[str, ...] = ()) -> tuple[dict[str, Any], dict[Address, str]]:
    """A study in nested dicts and lists with numbers for its coupled keys, and their expressions.

    ``file``, ``folder``: see `parse_study`; ``only``: just the keys of these tables. ``data`` stays
    as it is. Raises InputError for a coupled key that is no expression, refers to nothing or to
    itself, divides by zero or has no finite value.
    """
    found = _Settling(data, file, folder)
    texts = {a: t for a, t in found.texts.items() if not only or a[0] in only}
    for address in texts:
        found.settle(address)
    return found.data, texts


def names_in(text: str) -> list[str]:
    """The names in an expression."""
    return [name.strip() for name in re.findall(r"\{([^{}]*)\}", text)]


class _Settling:
    def __init__(self, data: dict[str, Any], file: str, folder: Path | str | None) -> None:
        self.file, self.folder = file, folder
        self.data: dict[str, Any] = _lists(data)
        fields = list(walk(Study, {t: {} for t in TABLES} | self.data))
        self._fields: dict[Address, FieldInfo] = dict(fields)
        self.texts = {a: str(text) for a, field in fields
                      if is_coupled(text := there(self.data, a))
                      and kinds(field.annotation) & {int, float}}
        self._open: list[Address] = []

    def settle(self, address: Address) -> None:
        """Put a number in the place of one expression, after those that it refers to."""
        text = self.texts[address]
        if not is_coupled(there(self.data, address)):
            return
        if address in self._open:
            circle = [*self._open[self._open.index(address):], address]
            raise self._wrong(address, "a coupled key that refers to itself" if len(circle) == 2
                              else "coupled keys in a circle: "
                              + ", ".join(".".join(a) for a in circle),
                              "an expression of keys that do not depend on it")
        self._open.append(address)
        value = self._value(address, text)
        self._open.pop()
        owner, last = below(self.data, address[:-1]), address[-1]
        allowed = kinds(self._fields[address].annotation)
        number = int(value) if float not in allowed and value.is_integer() else value
        owner[int(last) - 1 if isinstance(owner, list) else last] = number

    def _value(self, address: Address, text: str) -> float:
        names: list[float] = []

        def put(match: re.Match[str]) -> str:
            names.append(self._number(address, match[1].strip()))
            return f" _{len(names) - 1} "

        # Names stand in braces, so that letters elsewhere are a mistake (but for 1e3).
        rest = re.sub(r"\{[^{}]*\}", "", text)
        if len(text) > LONGEST or not re.fullmatch(r"[0-9eE.+\-*/()\s]*", rest):
            raise self._wrong(address, "not an expression", EXPECTED)
        try:
            tree = ast.parse(re.sub(r"\{([^{}]*)\}", put, text).strip(), mode="eval")
            value = float(_evaluated(tree.body, names))
        except (SyntaxError, ValueError, RecursionError, MemoryError):
            raise self._wrong(address, "not an expression", EXPECTED) from None
        except ZeroDivisionError:
            raise self._wrong(address, "a coupled key that divides by zero",
                              "a divisor that is not zero") from None
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise self._wrong(address, "a coupled key without a finite value", "a finite number")
        return value

    def _number(self, asking: Address, name: str) -> float:
        """The number that a name in the expression of a key stands for."""
        parts = tuple(name.split("."))
        known = self._fields
        if parts[0] == "fracture" and ".".join(parts[2:]) in READINGS and any(
                a[:2] == parts[:2] for a in known):
            return self._reading(asking, parts[1], ".".join(parts[2:]))
        if parts not in known:
            near = closest(name, [".".join(a) for a in known] + [
                f"fracture.{a[1]}.{x}" for a in known if a[0] == "fracture" for x in READINGS])
            raise self._wrong(asking, f"a coupled key that refers to nothing: no key "
                              f"{show(name)}" + did_you_mean(near),
                              "the dotted path of a key with a number, or fracture.NAME. with one "
                              "of " + ", ".join(READINGS))
        if parts in self.texts:
            self.settle(parts)
        value = there(self.data, parts)
        if value is None and name not in FOLLOWING and not known[parts].is_required():
            value = known[parts].get_default(call_default_factory=True)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self._wrong(asking, f"a coupled key that refers to a key without a number: "
                              f"{name}" + (f" is {show(value)}" if value is not None else ""),
                              "a key with a number in this study")
        return float(value)

    def _reading(self, asking: Address, fracture: str, what: str) -> float:
        """What a fracture has besides its keys."""
        # What reads points needs much time to import.
        from buttress.study import points

        apex = what.startswith("apex")
        for address in self.texts:
            if address[:3] == ("fracture", fracture, "points_mm") or (
                    apex and (address[0] == "section" or address == ("mesh", "size_mm"))):
                self.settle(address)
        row = below(self.data, ("fracture", fracture))
        line = self._valid(Fracture, row, f"fracture.{fracture}").points_mm
        if what == "slope_deg":
            return points.slope(line)
        if apex:
            snap = points.SNAP * self._number(asking, "mesh.size_mm")
            shape = {k: v for k, v in self.data.get("section", {}).items() if k not in QUALITY}
            section = self._valid(SectionInput, shape, "section")
            found = points.apex(line, section, snap)
            if found is None:
                raise self._wrong(asking, f"the fracture {show(fracture)} has no apex: it leaves "
                                  "the bone on neither side", "a fracture that reaches the surface")
            xy = found
        else:
            xy = points.ends(line)[what.startswith("lower")]
        return float(xy[what.endswith("y")])

    def _valid(self, model: type[Any], data: Any, key: str) -> Any:
        try:
            return model.model_validate(data, context={"folder": self.folder})
        except ValidationError as error:
            wrong = complaint(error, data, model, self.file)
            raise InputError(wrong.message, file=self.file, value=wrong.value,
                             key=".".join(p for p in (key, wrong.key) if p),
                             expected=wrong.expected) from None

    def _wrong(self, address: Address, message: str, expected: str) -> InputError:
        return InputError(message, file=self.file, key=".".join(address),
                          value=show(self.texts[address]), expected=expected)


def _evaluated(node: ast.AST, names: list[float]) -> float:
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return float(node.value)  # type: ignore[arg-type]
    if isinstance(node, ast.Name):
        return names[int(node.id.removeprefix("_"))]
    if isinstance(node, ast.BinOp) and type(node.op) in DO:
        return DO[type(node.op)](_evaluated(node.left, names), _evaluated(node.right, names))
    if isinstance(node, ast.UnaryOp) and type(node.op) in DO:
        return DO[type(node.op)](_evaluated(node.operand, names))
    raise ValueError("no such operation")


def _lists(value: Any) -> Any:
    """A copy with lists for tuples."""
    if isinstance(value, dict):
        return {k: _lists(v) for k, v in value.items()}
    return [_lists(v) for v in value] if isinstance(value, list | tuple) else value
