"""What a study rests on, in plain words: the rows of the data tables that it uses, and limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from buttress.model.pressing import MOVED_FROM_MM
from buttress.study import tables
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study

STATUS_WORDS = {"seen": "read in the source", "memory": "recalled, to be checked",
                "derived": "derived from other values",
                "practice": "common practice or a choice of this tool, no source",
                tables.GIVEN: "given in the study"}

SMALL = ("<b>Small displacements</b>: a fragment that has moved by millimetres is no longer where "
         "the forces were computed.")
LARGE = ("<b>Large movements in part</b>: pieces meet only those that they met at first, and heads "
         "stay where they sit in their plates.")
CORONAL = "no anterior or posterior pieces"
SAGITTAL = "no medial or lateral pieces, nothing of the bone beside the slice"
LIMITS = (
    "A <b>flat section</b> stands for the bone (plane stress with a depth that varies): no "
    f"rotation about the long axis, {CORONAL}, no torsion.",
    LARGE,
    "<b>No healing, no soft tissue</b>: no meniscus, ligament, muscle or cartilage. Nothing "
    "loosens or wears by itself: tension and friction fade only where a stage says by how much, "
    "and where stages load in cycles, bone and metal are the same in every cycle.",
    "<b>Bone is a preset</b>, not a patient: modulus and strength follow published averages. "
    "Bone inside a piece does not break in this model.",
    "<b>Metal does not break</b>: plates and screws bend at plastic hinges that never fracture.",
    "<b>Capacity is a bracket</b>, with screws as tight as they were set: the lower load "
    "assumes no friction, the upper one friction at its most favourable. It is where the model "
    "fails if nothing hardens, not a load that a patient may put on the leg.",
    "The shipped scenarios are <b>invented</b>. Compare constructs with the model; do not read off "
    "millimetres.",
)
"""What the model cannot show, as HTML of ours (no input in it)."""

MOVING = f"Once a piece or implant has moved by {MOVED_FROM_MM:g} mm, "
MOVED = (
    f"{MOVING}all pieces and implants are moved and turned along the path, fracture faces and "
    "plates meet anew where they then are, and the load keeps its line; "
    "with <b>large_movements</b> = \"off\" in [press] forces act where they do before any load.")
UNMOVED = ("Forces act where they do before any load: <b>large_movements</b> is \"off\" in [press] "
           "of this study.")
SUMMED = "cancellous core and cortex are summed through it"
RIM = "cancellous core all through it, and the cortex only where its rim lies in the plane"
MODEL = (
    f"Bone is elastic. At every point the section has the bone's depth: {SUMMED}.",
    "Fracture faces press on each other and slide with Coulomb friction; they do not interlock.",
    "Plates, screws and wires are beams. Bone supports a screw across its axis by a bearing "
    "stiffness (Vesic) and along it by the thread (shear lag; pull-out after Chapman), each up to "
    "a strength. Heads and washers press on bone or plate on both sides of their hole, and rub.",
    "Beyond their strength cancellous bone and graft stiffen again as they crush, by a share of "
    "their stiffness before, and metal by the slope of its alloy between yield and ultimate "
    "strength; a study's [hardening] sets both. Threads and cement carry no more, and keep what "
    "they carry unless [hardening] says what share of it is left beyond their peak.",
    "<b>Everything fits</b>: fractures are reduced without gap, step or debris and plates touch "
    "the bone, unless a study says otherwise. Most bench tests beside this model move more under "
    "small loads.",
    "Strength of cancellous bone follows Linde's law at the density that Morgan's law gives for "
    "its modulus: two sources are mixed.",
    "Screws are tightened first, or the stages of a construct are carried out in their order.",
    "The joint is then pressed by displacement, as by the head of a test machine, in small steps "
    "that keep slip and crushing; the force that this takes is the load. <b>The state at a load is "
    "the first that is reached by pressing slowly from the tightened state.</b> A limit is reached "
    "at its first place on this path; the peak is the largest load of the path.",
    MOVED,
    "In stages, a part that is placed joins without force as the bone then lies, a tightened "
    "screw keeps its length from then on, and slip, crushing and bending stay. Where a stage "
    "relaxes screws, their heads are held at the lessened force while the pieces move, so that "
    "sliding does not stretch them until the stage is over. Each stage is one "
    "step, or as many as it says. A piece on which nothing presses stays where it lies, held "
    "by a drag of about its weight. How far it was pushed can depend on the path, so tightening "
    "next to a loose piece calls for several steps.",
    "Capacity is limit analysis, without and with friction: a check next to the peak.",
)
"""How the model works, in plain words, as HTML of ours."""


def stated(lines: Sequence[str], study: Study) -> list[str]:
    """Lines of `LIMITS` or `MODEL` as they are true of a study."""
    out = [line.replace("plane stress", study.section.plane_state) for line in lines]
    if study.section.sagittal:
        out = [line.replace(CORONAL, SAGITTAL) for line in out]
    if study.press.large_movements == "off":
        out = [{LARGE: SMALL, MOVED: UNMOVED}.get(line, line) for line in out]
    if study.press.large_movements == "on":
        out = [line.replace(MOVING, "From the first step on ") for line in out]
    return out if study.section.side_plates else [line.replace(SUMMED, RIM) for line in out]


def markdown(line: str) -> str:
    """A line of `LIMITS` or `MODEL` for a Markdown page."""
    return line.replace("<b>", "**").replace("</b>", "**")


@dataclass(frozen=True)
class Assumption:
    """One number that the study used, unless its file overrides it."""

    what: str
    value: str
    source: str
    status: str


def assumptions(study: AnyStudy) -> list[Assumption]:
    """Every number of the data tables that bears on a study, in the order of the tables.

    ``study``: see `compare`. Each entry has what it is, its value with unit, its source, and how
    far that was confirmed. Raises InputError where there is no such study.
    """
    study = as_study(study)
    out = []
    for table, row in dict.fromkeys(_rows(study)):
        for field in tables.fields(table, row):
            q = tables.table_value(table, row, field)
            unit = "" if q.unit == "-" else f" {q.unit}"
            out.append(Assumption(f"{row}: {field.replace('_', ' ')}", f"{q.value:g}{unit}",
                                  q.source, STATUS_WORDS[q.status]))
    return out


UNNAMED = "where none is given"
"""Row of the loads of a study that names none."""


def _rows(study: Study) -> Iterator[tuple[str, str]]:
    """Table and row of what a study uses."""
    yield from _bone_rows(study)
    yield from _implant_rows(study)
    yield from _section_rows(study)
    yield from _load_rows(study)


def _bone_rows(study: Study) -> Iterator[tuple[str, str]]:
    bone = study.section.bone
    if bone == "foam":
        yield "materials", f"foam {study.section.foam_grade}"
        yield "materials", "foam shell"
    else:
        given = study.section.map
        preset = (bone, "cortical", "subchondral") if given is None else (
            *([given.law] if given.law is not None else []),
            *(["cortical"] if given.covers == "core" else []))
        for row in ("trabecular law", *preset):
            yield "materials", row
    if study.hardening.bone_share > 0:
        yield "materials", "crushed bone"
    if study.hardening.softens:
        yield "materials", "broken"
    yield "materials", "friction"
    if any(f.layer_mm for f in study.fractures):
        yield "materials", "debris"


def _implant_rows(study: Study) -> Iterator[tuple[str, str]]:
    if any(c.stages for c in study.constructs):
        yield "anatomy", "loose piece"
    if any(s.do == "relax" for c in study.constructs for s in c.stages):
        yield "materials", "fading"
    for c in study.constructs:
        for metal in (*(p.material for p in c.plates), *(s.material for s in c.screws),
                      *(w.material for w in c.wires)):
            yield "materials", metal
    for c in study.constructs:
        for screw in c.screws:
            yield "screws", screw.form
        for plate in c.plates:
            yield "plates", plate.section or "segments"
        if c.screws or c.wires:
            yield "screws", "in use"
            yield "screws", "rules"
        if c.plates:
            yield "plates", "in use"
        for wire in c.wires:
            yield "wires", next(row for row in tables.rows("wires", "wire") if tables.number(
                "wires", row, "diameter") == wire.diameter_mm)
            yield "wires", "in use"
        for fill in c.fills:
            for material in ([fill.material] if fill.material else
                             [layer.material for layer in fill.layers or ()]):
                yield "grafts", material
            yield "grafts", "in use"


def _section_rows(study: Study) -> Iterator[tuple[str, str]]:
    section = study.section
    yield "anatomy", "section"
    yield "anatomy", "outline"
    if section.outline == "anatomical":
        yield "anatomy", "anatomical sagittal" if section.sagittal else "anatomical coronal"
        if section.bone != "foam":
            yield "anatomy", "ghosts"
    if section.sagittal:
        yield "anatomy", "sagittal"
        yield "anatomy", "slope"
        yield "loads", "slice"
    yield "anatomy", "sliver"
    yield "anatomy", "small movements"
    yield "anatomy", "reference band"


def _load_rows(study: Study) -> Iterator[tuple[str, str]]:
    yield "loads", "path"
    yield "anatomy", "limits"
    yield "loads", "default"
    load = study.load
    if load.given_N == tuple(tables.number("loads", UNNAMED, f)
                             for f in tables.fields("loads", UNNAMED)):
        yield "loads", UNNAMED
    if load.activity or load.ground_kg or load.body_mass_kg:
        yield from (("loads", row) for row in ("peak force", "under one foot", "gravity",
                                               "partial weight bearing"))
        if study.section.bone not in ("foam", "soft"):
            yield "materials", "soft"
