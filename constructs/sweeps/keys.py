"""Which cases share a mesh, a factorisation and a condensed problem, by hashes of their content.

Keys are conservative: unless known otherwise, a key is assumed to change the mesh. Friction, load
sizes and share, tension of screws and the factors of `vary.SCALES` change neither mesh nor
columns; patches and direction of the load change only load columns.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from buttress.model.model import blocks_of
from buttress.study.case import Case
from buttress.study.loads import SIZES
from buttress.study.study import Construct, Study

TEXTS = ("name", "title", "question", "scenario")
"""Texts of a study on which no figure depends."""
NO_PART = (*TEXTS, "load", "limits", "hardening", "press", "construct")
"""Tables and texts of a study that do not belong to its bone."""
SIZE_OF_LOAD = (*SIZES, "body_mass_kg")
FIT = ("gap_mm", "layer_mm", "layer_MPa", "step_mm")
"""Keys of a fracture or a fragment on what reduction has left: they change links alone."""
LAW_ONLY_LOAD = (*SIZE_OF_LOAD, "medial_share", "shift_mm")


def digest(data: Any) -> str:
    """Short hash of the content of nested dicts and lists."""
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:20]


def _dump(part: Any) -> dict[str, Any]:
    return part.model_dump(by_alias=True, exclude_none=True, mode="json")


def case_hash(case: Case, options: dict[str, Any]) -> str:
    """Hash of everything on which a case's figures depend."""
    data = _dump(case.study)
    for text in TEXTS:
        data.pop(text, None)
    for construct in data["construct"]:
        construct.pop("note", None)
    return digest([data, dict(case.scales), options])


def bone_key(study: Study, construct: Construct | None = None) -> str:
    """Hash of everything that determines mesh and modulus field (None: the bare bone)."""
    data = {k: v for k, v in _dump(study).items() if k not in NO_PART}
    for piece in (*data.get("fracture", ()), *data.get("fragment", ())):
        for name in ("friction", *FIT):
            piece.pop(name, None)
    own: Any = []
    if construct is not None:
        if construct.model == "links":
            own = list(blocks_of(construct))
        else:  # metal bonded into the bone is part of its modulus field
            own = _dump(construct)
            own.pop("note", None)
    return digest([data, own])


def load_key(study: Study) -> str:
    """Hash of where and in which direction the bone is loaded."""
    return digest({k: v for k, v in _dump(study)["load"].items() if k not in LAW_ONLY_LOAD})


def hardware_key(study: Study, construct: Construct) -> str:
    """Hash of everything that determines members and the positions of links, given the bone.

    A face without friction has no tangential link, so the presence of friction counts, and
    likewise that of hardening.
    """
    data = _dump(construct)
    data.pop("name")
    data.pop("note", None)
    for plate in data.get("plate", ()):
        plate["friction"] = plate.get("friction", 0.0) > 0
    for screw in data.get("screw", ()):
        screw.pop("tension_N", None)
    rubbing = {f.name: f.friction > 0 for f in study.fractures}
    given = study.hardening
    hardens = [given.bone_share > 0, given.metal_share > 0, given.thread_residual,
               given.bond_residual]
    fit = [[_dump(piece).get(name) for name in FIT]
           for piece in (*study.fractures, *study.fragments)]
    return digest([data, rubbing, hardens, fit])


@dataclass(frozen=True)
class Planned:
    """A case ready to be solved, with the keys of what it shares with others.

    ``bones``: keys of its bones, one per distinct bone; ``frames``: (bone, hardware) keys of its
    constructs; ``answers``: hashes of all that the figures of its constructs depend on; ``law``:
    hash of everything but the size of the load; ``folder``: the folder of the study's files.
    """

    number: int
    hash: str
    data: dict[str, Any]
    scales: dict[str, float]
    bones: tuple[str, ...]
    frames: tuple[tuple[str, str], ...]
    answers: tuple[str, ...]
    law: str
    folder: str | None = None


def planned(number: int, case: Case, options: dict[str, Any]) -> Planned:
    """A case with its hash and keys."""
    keys = [bone_key(case.study, c) for c in case.study.constructs]
    frames = [(k, hardware_key(case.study, c))
              for k, c in zip(keys, case.study.constructs, strict=True)]
    data = _dump(case.study)
    rest = {**data, "load": {k: v for k, v in data["load"].items()
                             if k not in SIZE_OF_LOAD}}
    own = [digest([frame, {k: v for k, v in c.items() if k not in ("name", "note")},
                   data.get("fracture"), data.get("fragment"), data["load"], dict(case.scales)])
           for frame, c in zip(frames, data["construct"], strict=True)]
    return Planned(
        number=number, hash=case_hash(case, options), data=data, scales=dict(case.scales),
        bones=tuple(dict.fromkeys(keys)), frames=tuple(frames),
        answers=tuple(own), law=digest([rest, dict(case.scales)]),
        folder=None if case.study.folder is None else str(case.study.folder.resolve()))


def groups(cases: Iterable[Planned]) -> list[list[Planned]]:
    """Cases grouped by shared bones; in a group, cases of equal hardware and law are adjacent."""
    found: dict[tuple[str, ...], list[Planned]] = {}
    first: dict[tuple[tuple[str, str], ...] | str, int] = {}
    for case in cases:
        found.setdefault(case.bones, []).append(case)
        first.setdefault(case.frames, case.number)
        first.setdefault(case.law, case.number)
    return [sorted(group, key=lambda c: (first[c.frames], first[c.law], c.number))
            for group in found.values()]


@dataclass(frozen=True)
class Sharing:
    """Numbers of cases, constructs, distinct bones and distinct hardware in a plan.

    ``per_construct``: by name, hardware and answers that no construct before it has.
    """

    cases: int
    constructs: int
    bones: int
    frames: int
    per_construct: dict[str, tuple[int, int]]


def sharing(cases: Iterable[Planned]) -> Sharing:
    """Counts over all cases."""
    listed = list(cases)
    frames, answers = (Counter({part: c["name"] for case in listed for part, c in zip(
        getattr(case, what), case.data["construct"], strict=True)}.values())
        for what in ("frames", "answers"))
    return Sharing(len(listed), sum(len(c.data["construct"]) for c in listed),
                   len({b for c in listed for b in c.bones}),
                   len({f for c in listed for f in c.frames}),
                   {name: (frames[name], answers[name]) for name in answers})
