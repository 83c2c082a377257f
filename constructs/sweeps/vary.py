"""Keys of a study by their dotted path, and studies with other values at them.

A path goes through tables by key and through lists by the entries' names (by number from 1 where
entries have no name): ``section.bone``, ``fracture.shear plane.friction``,
``construct.antiglide.screw.shaft 1.angle_deg``, ``fracture.shear plane.points_mm.2.1``. ``*``
stands for every name of a list. In addition to the keys of the study file there are

- ``ANY ENTRY.present``: whether a named entry is included (removing a plate removes its screws),
- ``fracture.NAME.slope_deg``: angle of a fracture's chord to the long axis (0 is parallel to it);
  the line is turned about its end at the joint; ``fracture.NAME.turn_deg``: change of that angle,
- ``scale.NAME``: factors on quantities for which a study has no key, see `SCALES`.

A value may be an expression of other keys (see `buttress.study.coupled`); it is evaluated once all
others are set, as are the coupled keys of the study itself.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping, Sequence
from typing import Any

from buttress.fe.errors import InputError
from buttress.study.case import Case
from buttress.study.checked import closest, did_you_mean
from buttress.study.complaint import show
from buttress.study.coupled import names_in, settled
from buttress.study.paths import TEXTS, Address, below, entries, there, walk
from buttress.study.read import AnyStudy, as_study, study_from
from buttress.study.study import Study
from buttress.sweeps.turning import slope, turn_to

SCALES = {
    "cancellous_strength": "strength of bone other than cortex, under screw, thread and face",
    "bearing_stiffness": "stiffness of the springs between screws and the meshed bone",
    "friction_under_load": "friction of all contacts once the screws are tightened",
}
"""Factors without a key in the study file, 1 unless varied."""
SCALE_RANGE = (0.05, 20.0)
RANGES = {"friction_under_load": (0.0, 1.0)}
"""Of the factors that have another range."""
FOLLOWS = {("mesh", "size_mm"): (("mesh", "coarse_mm"),),
           ("section", "outline_file"): (("section", "outline_sha256"),),
           ("section", "map", "file"): (("section", "map", "sha256"),),
           ("load", "total_N"): (("load", "activity"), ("load", "ground_kg"), ("load", "case"))}
"""Keys that are derived from or replaced by another key, so dropped when that one is varied."""
LISTS = (("load", "total_N"), ("load", "activity"), ("load", "ground_kg"))
"""Keys with a list as value, also where the study has none yet."""
TURNS = ("slope_deg", "turn_deg")
LINES = ("section", "fracture", "void")
"""Tables that are complete before a fracture is turned."""


def plain(study: Study) -> dict[str, Any]:
    """The study as nested dicts and lists, as `study_from` takes them."""
    return study.model_dump(by_alias=True, exclude_none=True, mode="json")


def known_keys(study: AnyStudy) -> tuple[str, ...]:
    """Every dotted path that may be varied in a study, factors (``scale.NAME``) last.

    ``study``: see `compare`. Raises InputError where there is no such study.
    """
    study = as_study(study)
    data = plain(study)
    named = list(entries(Study, data))
    found = [*(address for address, _ in walk(Study, data)), *((*n, "present") for n in named),
             *((*n, turn) for n in named if n[0] == "fracture" for turn in TURNS)]
    return (*(".".join(address) for address in found), *(f"scale.{name}" for name in SCALES))


def addresses(study: Study, key: str) -> tuple[Address, ...]:
    """Locations in the study that match a dotted path; several with ``*``.

    Raises InputError with the closest match for an unknown key.
    """
    parts = key.split(".")
    known = [tuple(k.split(".")) for k in known_keys(study)]
    found = [k for k in known if len(k) == len(parts) and _fits(parts, k)]
    if not found:
        if parts[-1] in TEXTS:
            raise InputError("text cannot be varied", key=key,
                             expected="a key that affects the results")
        if any(_fits(parts, k) for k in known):
            raise InputError("an incomplete key", key=key, expected=_at_that_level(parts, known))
        whole = [".".join(k) for k in known]
        # A name from a lower level, without the path before it.
        near = next((k for k in whole if k.endswith(f".{key}")), "") or closest(key, whole)
        raise InputError("unknown key" + did_you_mean(near), key=key,
                         expected=_at_that_level(parts, known))
    return tuple(found)


def no_overlap(study: Study, keys: Sequence[str]) -> None:
    """Raise InputError where two keys set the same value, so that one would undo the other.

    A list and one of its numbers count as the same value, as do a fracture's angle and its change.
    """
    owners: dict[Address, str] = {}
    for key in keys:
        for address in addresses(study, key):
            place = (*address[:-1], TURNS[0]) if address[-1] in TURNS else address
            for other, owner in owners.items():
                n = min(len(other), len(place))
                if owner != key and other[:n] == place[:n]:
                    raise InputError(f"two keys set {'.'.join(address)}", key=f"{owner} and {key}",
                                     expected="one of the two, or keys that set different values")
            owners[place] = key


def _fits(parts: list[str], key: tuple[str, ...]) -> bool:
    """Whether a key begins with these parts."""
    return len(parts) <= len(key) and all(
        p in ("*", q) for p, q in zip(parts, key, strict=False))


def _at_that_level(parts: list[str], known: list[tuple[str, ...]]) -> str:
    """The possible continuations of the part of a path that matches some key."""
    i = max(i for i in range(len(parts) + 1) if any(_fits(parts[:i], k) for k in known))
    choices = dict.fromkeys(k[i] for k in known if len(k) > i and _fits(parts[:i], k))
    before = ".".join(parts[:i])
    if not choices:
        return f"nothing after {before!r}"
    return (f"after {before!r}: " if before else "") + "one of " + ", ".join(choices)


def varied(study: AnyStudy, values: Mapping[str, Any]) -> Case:
    """A study with other values at the given keys, to compare, sweep or explore.

    ``study``: see `compare`. ``values``: by dotted key, in the unit that the key's name ends with:
    ``{"section.width_mm": 68.0, "fracture.shear plane.friction": 0.4}``; `known_keys` lists them.

    Raises InputError, with the closest key, for a key that the study has not, and for a value that
    is not valid.
    """
    return Varier(as_study(study)).case(values)


class Varier:
    """Makes many cases of one study; locates each key once."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self._plain = plain(study)
        self._places: dict[str, tuple[Address, ...]] = {}

    def case(self, values: Mapping[str, Any]) -> Case:
        """The study with other values at the given keys. Raises InputError."""
        data, scales = self.assigned(values)
        return Case(study_from(data, folder=self.study.folder), scales)

    def assigned(self, values: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, float]]:
        """The changed study as nested dicts, not yet validated, and the scales."""
        data = copy.deepcopy(self._plain)
        for place, text in self.study.coupled.items():
            if there(data, place) is not None:
                _put(data, place, text)
        scales: dict[str, float] = {}
        todo = [(a, key, value) for key, value in values.items() for a in self._found(key)]
        places = {a for a, _, _ in todo}
        for place, followers in FOLLOWS.items():
            for follower in followers:
                if place in places and follower not in places:
                    _remove(data, follower)
        # Lines are turned after their points are set, and entries are removed last, a part of a
        # construct before the construct.
        turned = False
        for address, key, value in sorted(todo, key=lambda t: (_phase(t[0]), -len(t[0]))):
            if _phase(address) == 1 and not turned:
                data, turned = self._lines(data, key), True
            if address[0] == "scale":
                scales[address[1]] = _factor(address[1], key, value)
            elif address[-1] == "present":
                if not isinstance(value, bool):
                    raise InputError("wrong type", key=key, value=show(value),
                                     expected="true or false")
                if not value:
                    _take_out(data, address[:-1])
            elif _phase(address) == 1:
                _turn(data, address, key, value)
            else:
                _put(data, address, value)
        return data, scales

    def _lines(self, data: dict[str, Any], key: str) -> dict[str, Any]:
        """The study with numbers for the coupled keys of its lines, which are to be turned."""
        data, texts = settled(data, folder=self.study.folder, only=LINES)
        for place, text in texts.items():
            if any(name.startswith("fracture.") for name in names_in(text)):
                raise InputError("a fracture is turned while a line is coupled to one", key=key,
                                 value=f'{".".join(place)} = {show(text)}',
                                 expected="lines in numbers, or a sweep of their points")
        return data

    def _found(self, key: str) -> tuple[Address, ...]:
        if key not in self._places:
            self._places[key] = addresses(self.study, key)
        return self._places[key]


def _phase(address: Address) -> int:
    return (2 if address[-1] == "present" else
            1 if address[-1] in TURNS and address[0] == "fracture" else 0)


def _factor(name: str, key: str, value: Any) -> float:
    low, high = RANGES.get(name, SCALE_RANGE)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InputError("out of range", key=key, value=show(value),
                         expected=f"a factor from {low:g} to {high:g}")
    return float(value)


def _put(data: dict[str, Any], address: Address, value: Any) -> None:
    owner, last = below(data, address[:-1]), address[-1]
    if isinstance(owner, list):
        owner[int(last) - 1] = value
        return
    now = owner.get(last)
    if (isinstance(now, list) or address in LISTS) and not isinstance(value, list | tuple):
        value = [value]  # one load instead of several
    if isinstance(now, int) and not isinstance(now, bool) and isinstance(value, float) \
            and value.is_integer():
        value = int(value)
    owner[last] = value


def _remove(data: dict[str, Any], address: Address) -> None:
    below(data, address[:-1]).pop(address[-1], None)


def _take_out(data: dict[str, Any], address: Address) -> None:
    """Remove a named entry and everything that depends on it.

    With a plate go the screws whose heads are on it, with a void its fill; all of them are removed
    from the stages that name them.
    """
    owner, kind, name = below(data, address[:-2]), address[-2], address[-1]
    owner[kind] = [e for e in owner[kind] if e["name"] != name]
    gone = {name}
    if kind == "plate":
        gone |= {s["name"] for s in owner.get("screw", ()) if s.get("plate") == name}
        owner["screw"] = [s for s in owner.get("screw", ()) if s.get("plate") != name]
    if kind == "void":
        for construct in data["construct"]:
            construct["fill"] = [f for f in construct.get("fill", ()) if f["void"] != name]
    for stage in owner.get("stage", ()):
        if stage.get("what"):
            stage["what"] = [part for part in stage["what"] if part not in gone]
    if "stage" in owner:
        owner["stage"] = [s for s in owner["stage"] if s.get("what") != []]


def _turn(data: dict[str, Any], address: Address, key: str, value: Any) -> None:
    """Turn a fracture about its end at the joint, to or by an angle of ``value`` [deg]."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError("wrong type", key=key, value=show(value), expected="degrees")
    row = below(data, address[:-1])
    now, _ = slope(row["points_mm"])
    wanted = now + value if address[-1] == "turn_deg" else float(value)
    if not 0.0 <= wanted <= 90.0:
        raise InputError("a fracture turned beyond the long axis or the joint line", key=key,
                         value=show(value), expected="0 to 90 degrees to the long axis; it is "
                                                     f"{now:.3g}")
    turn_to(data, row, wanted)
