"""Constructs and parts that are written once and used again: `like`, `remove`, `shared`.

They are spelled out before a study is validated, so that no other code meets them:

- ``like = "NAME"`` in a construct: the parts, stages and model of that construct, less those in
  ``remove`` (with a plate go the screws on it); entries of the construct come on top, and one with
  the name of a part that is there changes only the keys that it gives;
- ``shared = ["NAME", ...]`` in a construct: parts defined once as ``[[shared.plate]]``,
  ``[[shared.screw]]``, ``[[shared.wire]]`` or ``[[shared.fill]]``;
- ``like = "NAME"`` in a plate, screw, wire or fill: the keys of a part of its kind, in the same
  construct before it or shared.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from buttress.fe.errors import InputError
from buttress.study.checked import closest, did_you_mean
from buttress.study.complaint import show
from buttress.study.paths import Address

KINDS = ("plate", "screw", "wire", "fill")
WORDS = ("like", "shared", "remove")


@dataclass
class Part:
    """A plate, screw, wire or fill as nested dicts and lists, and where each key was written."""

    kind: str
    row: dict[str, Any]
    home: Address
    keys: dict[str, Address] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Its name, empty where it has none: that is refused when it is validated."""
        name = self.row.get("name")
        return name if isinstance(name, str) else ""


@dataclass
class _Spelled:
    """A construct with all of its parts, as far as it is spelled out."""

    parts: list[Part]
    stages: list[tuple[Any, Address]]
    model: Any
    model_at: Address


def spelled_out(data: dict[str, Any], file: str = ""
                ) -> tuple[dict[str, Any], dict[Address, Address]]:
    """A study in nested dicts and lists without `like`, `remove` and `shared`.

    Returns it and where what it took over was written: address by address. ``data`` stays as it is.
    Raises InputError for references that are missing or run in a circle, for the removal of what
    is not there, and for a shared part that no construct uses.
    """
    rows = data.get("construct")
    if not isinstance(rows, list | tuple) or not ("shared" in data or any(
            _asks(row) for row in rows)):
        return data, {}
    return _Spelling(data, file).all()


def origins_in(text: str) -> dict[Address, Address]:
    """Where in a valid study file that was written which its constructs took over."""
    return spelled_out(tomllib.loads(text))[1]


def _asks(row: Any) -> bool:
    return isinstance(row, dict) and (any(word in row for word in WORDS) or any(
        isinstance(part, dict) and "like" in part for kind in KINDS for part in _list(row, kind)))


def _list(row: Mapping[str, Any], key: str) -> Sequence[Any]:
    found = row.get(key, ())
    return found if isinstance(found, list | tuple) else ()


class _Spelling:
    def __init__(self, data: dict[str, Any], file: str) -> None:
        self.data, self.file = data, file
        self.shared: list[Part] = []
        self.used: set[Address] = set()
        self.rows = {row["name"]: row for row in reversed(data["construct"])
                     if isinstance(row, dict) and isinstance(row.get("name"), str)}
        self.done: dict[str, _Spelled] = {}
        self.open: list[str] = []

    def all(self) -> tuple[dict[str, Any], dict[Address, Address]]:
        self._shared()
        out = {key: value for key, value in self.data.items() if key != "shared"}
        out["construct"] = rows = []
        origins: dict[Address, Address] = {}
        for number, row in enumerate(self.data["construct"], 1):
            name = row.get("name") if isinstance(row, dict) else None
            if name is None and _asks(row):
                raise InputError("missing key", file=self.file, key=f"construct.{number}.name",
                                 expected="a name")
            if isinstance(name, str) and row is not self.rows[name]:
                raise self._wrong(("construct", name, "name"), "two constructs have this name",
                                  name, "a name of its own")
            if not isinstance(name, str):
                rows.append(row)    # without a name: refused when it is validated
            else:
                rows.append(self._written(row, self._construct(name), origins))
        for part in self.shared:
            if part.home not in self.used:
                raise self._wrong(part.home, "a shared part that no construct uses", part.name,
                                  "its name in shared = [...] of a construct, or no such part")
        return out, origins

    def _shared(self) -> None:
        given = self.data.get("shared", {})
        if not isinstance(given, dict):
            raise self._wrong(("shared",), "wrong type", given,
                              "headings such as [[shared.screw]], each with a name")
        for kind, entries in given.items():
            if kind not in KINDS:
                raise self._wrong(("shared", kind), "unknown key" + did_you_mean(
                    closest(kind, KINDS)), "", "one of " + ", ".join(KINDS))
            for i, row in enumerate(entries if isinstance(entries, list | tuple) else [entries]):
                name = row.get("name") if isinstance(row, dict) else None
                home = ("shared", kind, name if isinstance(name, str) else str(i + 1))
                if not isinstance(entries, list | tuple) or not isinstance(name, str):
                    raise self._wrong(home, "a shared part without a name", "",
                                      f"[[shared.{kind}]] with a name")
                if any(part.name == name for part in self.shared):
                    raise self._wrong((*home, "name"), "two shared parts have this name", name,
                                      "a name of its own")
                self.shared.append(self._part(kind, row, home, None, []))

    def _construct(self, name: str) -> _Spelled:
        """A construct by its name, with what it takes from others."""
        if name in self.done:
            return self.done[name]
        row, at = self.rows[name], ("construct", name)
        found = _Spelled([], [], row.get("model"), (*at, "model"))
        like = row.get("like")
        if like is not None:
            base = self._like(name, like)
            found.parts = [_taken(part) for part in base.parts]
            found.stages = list(base.stages)
            if "model" not in row:
                found.model, found.model_at = base.model, base.model_at
        self._remove(row, at, found)
        for used in self._names(row, "shared", at):
            found.parts.append(self._use(used, at, found.parts))
        own: list[Part] = []
        for kind in KINDS:
            for i, entry in enumerate(_list(row, kind)):
                if not isinstance(entry, dict):
                    continue    # refused when it is validated
                called = entry.get("name")
                home = (*at, kind, called if isinstance(called, str) else str(i + 1))
                there = next((p for p in found.parts if p.kind == kind and p.name == called
                              and p not in own), None)
                part = self._part(kind, entry, home, there, found.parts)
                own.append(part)
                if there is None:
                    found.parts.append(part)
                else:
                    found.parts[found.parts.index(there)] = part
        if "stage" in row:
            found.stages = [(stage, (*at, "stage", str(i + 1)))
                            for i, stage in enumerate(_list(row, "stage"))]
        self.done[name] = found
        return found

    def _like(self, name: str, like: Any) -> _Spelled:
        at = ("construct", name, "like")
        if not isinstance(like, str):
            raise self._wrong(at, "wrong type", like, "the name of a construct, in quotes")
        if like not in self.rows:
            raise self._wrong(at, "no such construct" + did_you_mean(closest(like, self.rows)),
                              like, ", ".join(show(n) for n in self.rows if n != name)
                              or "another [[construct]]")
        self.open.append(name)
        if like in self.open:
            circle = [*self.open[self.open.index(like):], like]
            raise self._wrong(at, "a construct like itself" if len(circle) == 2 else
                              "constructs that are like each other in a circle: "
                              + ", ".join(circle), like, "a construct that stands on its own")
        base = self._construct(like)
        self.open.pop()
        return base

    def _remove(self, row: dict[str, Any], at: Address, found: _Spelled) -> None:
        """Take out parts, with a plate the screws on it, and their names from the stages."""
        names = self._names(row, "remove", at)
        if names and "like" not in row:
            raise self._wrong((*at, "remove"), "remove without like", row["remove"],
                              "like = the construct from which parts are taken out")
        gone: set[str] = set()
        for name in names:
            known = [part.name for part in found.parts]
            if name not in known:
                raise self._wrong((*at, "remove"), f"no part {show(name)} in the construct "
                                  f"{show(row['like'])}" + did_you_mean(closest(name, known)),
                                  row["remove"], ", ".join(map(show, known)) or "no remove")
            gone.add(name)
        for part in found.parts:
            if part.kind == "plate" and part.name in gone:
                gone |= {p.name for p in found.parts if p.row.get("plate") == part.name}
        found.parts = [part for part in found.parts if part.name not in gone]
        stages = []
        for stage, place in found.stages:
            if gone and isinstance(stage, dict) and isinstance(stage.get("what"), list | tuple):
                stage = {**stage, "what": [
                    w for w in stage["what"] if not (isinstance(w, str) and w in gone)]}
            if not isinstance(stage, dict) or stage.get("what") != []:
                stages.append((stage, place))
        found.stages = stages

    def _use(self, name: str, at: Address, there: list[Part]) -> Part:
        """A shared part, for a construct with some parts."""
        if any(part.name == name for part in there):
            raise self._wrong((*at, "shared"), f"the part {show(name)} is there already", name,
                              "each name once, and none that like brings")
        found = next((part for part in self.shared if part.name == name), None)
        if found is None:
            known = [part.name for part in self.shared]
            raise self._wrong((*at, "shared"), f"no shared part {show(name)}"
                              + did_you_mean(closest(name, known)), name,
                              ", ".join(map(show, known)) or "a [[shared.screw]] or the like")
        self.used.add(found.home)
        return _taken(found)

    def _part(self, kind: str, row: dict[str, Any], home: Address, there: Part | None,
              beside: list[Part]) -> Part:
        """An entry with the keys of the part that it is like, or that it changes."""
        base = there
        if "like" in row:
            base = self._model(kind, row["like"], home, beside)
        own = {key: value for key, value in row.items() if key != "like"}
        kept = {key: value for key, value in (base.row if base else {}).items() if key not in own}
        return Part(kind, copy.deepcopy(kept) | own, home,
                    {key: base.keys.get(key, (*base.home, key)) for key in kept} if base else {})

    def _model(self, kind: str, like: Any, home: Address, beside: list[Part]) -> Part:
        near = [part for part in beside if part.kind == kind and part.home != home]
        known = {part.name: part for part in (*self.shared, *near) if part.kind == kind}
        if not isinstance(like, str):
            raise self._wrong((*home, "like"), "wrong type", like,
                              f"the name of a {kind}, in quotes")
        if like not in known:
            raise self._wrong((*home, "like"), f"no such {kind} in this construct before it, or "
                              "shared" + did_you_mean(closest(like, known)), like,
                              ", ".join(show(n) for n in known) or f"the name of a {kind}")
        self.used.add(known[like].home)
        return known[like]

    def _names(self, row: dict[str, Any], key: str, at: Address) -> list[str]:
        given = row.get(key, [])
        if not isinstance(given, list | tuple) or not all(isinstance(n, str) for n in given):
            raise self._wrong((*at, key), "wrong type", given,
                              'a list of names in quotes, such as ["upper lag", "plate"]')
        return list(given)

    def _written(self, row: dict[str, Any], found: _Spelled, origins: dict[Address, Address]
                 ) -> dict[str, Any]:
        """The construct in full; where it took over something, that place goes to ``origins``."""
        at = ("construct", row["name"])
        out = {key: value for key, value in row.items() if key not in (*WORDS, "stage")
               and not (key in KINDS and isinstance(value, list | tuple))}
        if found.model is not None:
            out["model"] = found.model
            if found.model_at[1] != row["name"]:
                origins[*at, "model"] = found.model_at
        for kind in KINDS:
            wrong = [entry for entry in _list(row, kind) if not isinstance(entry, dict)]
            parts = [part for part in found.parts if part.kind == kind]
            if parts or wrong:
                out[kind] = [*(copy.deepcopy(part.row) for part in parts), *wrong]
            for part in parts:
                here = (*at, kind, part.name)
                if part.home[:2] != at:
                    origins[here] = part.home
                origins.update({(*here, key): place for key, place in part.keys.items()})
        if not isinstance(row.get("stage", []), list | tuple):
            out["stage"] = row["stage"]
        elif found.stages:
            out["stage"] = [copy.deepcopy(stage) for stage, _ in found.stages]
            origins.update({(*at, "stage", str(i + 1)): place
                            for i, (_, place) in enumerate(found.stages) if place[:2] != at})
        return out

    def _wrong(self, address: Address, message: str, value: Any, expected: str) -> InputError:
        return InputError(message, file=self.file, key=".".join(address), expected=expected,
                          value=show(value) if value != "" else "")


def _taken(part: Part) -> Part:
    """A part as another construct takes it over; its keys stay where they were written."""
    return Part(part.kind, part.row, part.home,
                {key: part.keys.get(key, (*part.home, key)) for key in part.row})
