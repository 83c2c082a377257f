"""Keys that follow the uncertain inputs of a ranking: given ones, and plates that keep their place.

Where a fracture is turned its apex moves, and a plate that stayed where it is would mix the effect
of the slope with that of the plate's place. The top of a plate over an apex therefore keeps its
height above it. A plate with a shaped head is placed from the joint and stays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.ranking.inputs import Uncertain
from buttress.rules.plate import apexes
from buttress.study import tables
from buttress.study.points import SNAP, apex
from buttress.study.study import Construct, Plate, Study
from buttress.sweeps.checking import Checker
from buttress.sweeps.design import parse_vary
from buttress.sweeps.ranges import Coupled, Value
from buttress.sweeps.vary import TURNS, Address, addresses, varied

WHY = "the plate keeps its height above the apex of the fracture, which the slope moves"


def coupled_of(study: Study, vary: Sequence[str], inputs: Sequence[Uncertain]) -> dict[str, str]:
    """Expressions by key: those given in ``vary``, and those of plates over a turned fracture.

    A plate stays where its place is given by ``vary`` or coupled in the study, and where its
    construct could for that reason not be built at an end of the range of the slope. Raises
    InputError where a given expression is not valid with the middle of every input.
    """
    given = parse_vary(study, vary) if vary else {}
    found = {key: law.text for key, law in given.items() if isinstance(law, Coupled)}
    if found:
        varied(study, {e.key: e.middle for e in inputs} | found)
    set_ = {a for key in given for a in addresses(study, key)} | set(study.coupled)
    turns = [e for e in inputs if e.key.startswith("fracture.") and e.key.endswith(TURNS)]
    turned = {a[1]: e for e in turns for a in addresses(study, e.key)}
    for construct in study.constructs:
        for plate in construct.plates:
            address: Address = ("construct", construct.name, "plate", plate.name, "top_mm")
            over = _over(study, plate)
            if over is None or over[0] not in turned or address in set_:
                continue
            name, y = over
            text = f"{{fracture.{name}.apex.y}} {'-+'[plate.top_mm >= y]} " \
                   f"{abs(plate.top_mm - y):.6g}"
            if _fits(study, construct, turned[name], {".".join(address): text}):
                found[".".join(address)] = text
    return found


def coupled_lines(coupled: Mapping[str, str]) -> list[str]:
    """One line per coupled key, for the list of inputs."""
    return [f"{key} = {text}" + (f"; practice: {WHY}" if key.endswith(".top_mm") and
                                 ".apex.y}" in text else "") for key, text in coupled.items()]


def _over(study: Study, plate: Plate) -> tuple[str, float] | None:
    """Name and apex of the fracture that a plate is placed over: the highest below its top."""
    if plate.section is not None and tables.kind("plates", plate.section) == "head and shaft":
        return None
    lines = {f.name: f.points_mm for f in study.fractures}
    met = [(y, name) for name, _, y in apexes(study, Section(study.section), plate.side)
           if y < plate.top_mm
           and apex(lines[name], study.section, SNAP * study.mesh.size_mm)[1] == y]  # type: ignore[index]
    return None if not met else (max(met)[1], max(met)[0])


def _fits(study: Study, construct: Construct, turn: Uncertain, coupled: dict[str, Value]) -> bool:
    """Whether a construct can be built at both ends of the range of a slope, where it can with a
    plate that stays."""
    one = study.model_copy(update={"constructs": (construct,)})
    return all(_builds(one, {turn.key: end} | coupled) or not _builds(one, {turn.key: end})
               for end in turn.law.ends())


def _builds(study: Study, values: dict[str, Value]) -> bool:
    try:
        case = varied(study, values).study
        Checker().broken(case, case.constructs[0])
    except InputError:
        return False
    return True
