"""The report of a comparison: one HTML page that needs nothing else, to read or to print."""

from __future__ import annotations

import base64
import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from buttress import LABEL
from buttress.bone.patches import patches
from buttress.comparison.twins import WORDS, pairs
from buttress.draw.all import overview_load, shown_picture, stems
from buttress.fe.solve.step import TOO_FAR
from buttress.model.pressing import ENDS_BELOW
from buttress.model.resolve import resolved
from buttress.report import alternatives, error_bars
from buttress.report.assumptions import LIMITS, MODEL, assumptions, stated
from buttress.report.checklist import GUIDANCE, checklist, cost
from buttress.report.contact import more
from buttress.report.glossary import glossary
from buttress.report.markup import Cell, Shown, Table, asset, render
from buttress.report.stages import shown_stages
from buttress.report.tables import (
    bearing_tables,
    facts,
    forces,
    lets_go,
    main_table,
    metal,
    number,
    trust_table,
)
from buttress.report.terminal import FIRST_REACHED, PEAK, SINCE, VERDICTS, cautions
from buttress.report.trust import ALGEBRA, how_far
from buttress.report.verified import recorded, sentences
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.judged import HOW_TO_READ
from buttress.results.order import answer, best_first, order_words
from buttress.results.records import ENDED, ConstructResult, not_loaded
from buttress.results.stress import STRAIN_RATIO
from buttress.study.activities import carried
from buttress.study.bone import SectionInput
from buttress.study.study import Study
from buttress.words import BREAKS_RULE

LARGEST_PICTURES = 7_000_000
"""Bytes of pictures (as base64) in one page; later ones are named, not shown."""
Figures = Mapping[str, Path | bytes] | Iterable[Path]


@dataclass(frozen=True)
class Figure:
    """A picture as a data address; an empty one where it is too large, and ``stem`` names it."""

    caption: str
    address: str
    stem: str


def write_report(comparison: Comparison, path: Path, figures: Figures, field: str = STRAIN_RATIO
                 ) -> None:
    """Write the page. ``figures``: PNG files by file name without ending, or just the files.
    ``field``: what colours the sections in them.

    Pictures that are not given are left out; where all would make the page too large, those of the
    constructs that do worst are named instead of shown.
    """
    pictures = _pictures(comparison, figures)
    order = best_first(comparison.constructs)
    study = comparison.study
    listed = assumptions(study)

    def figure(kind: str, caption: str, construct: str = "", fragment: str = "") -> Figure | None:
        stem = stems(comparison).get((kind, construct, fragment), "")
        address = pictures.get(stem)
        return None if address is None else Figure(caption, address, stem)

    page = render("page.html.j2", {
        "title": study.title or study.name, "label": LABEL, "style": _style(),
        "asked": _asked(comparison), "cannot": [Markup(line) for line in stated(LIMITS, study)],
        "answer": answer(order),
        "lost": (*cautions(comparison), *comparison.lost), "main": main_table(order),
        "verdict_words": VERDICTS, "peak_words": PEAK, "since": SINCE,
        "first_reached": FIRST_REACHED,
        "both_words": HOW_TO_READ,
        "order_words": order_words(study.limits.movement_mm, comparison.meshes is not None),
        "tilt_words": study.section.view.tilt_words, "twins": _twins(order), "twin_words": WORDS,
        "bars": None if comparison.meshes is None else {
            "table": error_bars.table(order, comparison.meshes), "meaning": error_bars.MEANING},
        "spread": alternatives.page(comparison),
        "trust": trust_table(order), "algebra": ALGEBRA, "how_far": how_far(comparison),
        "pictured": _loads_pictured(comparison),
        "figures": [
            figure("overview", f"Deformed sections of all constructs, {study.section.view.words}"),
            figure("movement", "Load over movement of the joint, of all constructs"),
            figure("capacity",
                   "Capacity of all constructs by limit analysis, and loads on their paths"),
            *(figure("curves", f"Subsidence of {f} under load", fragment=f)
              for f in comparison.fragments),
            figure("map", "Map of the bone over the mesh")],
        "bearing": _bearing(comparison, figure),
        "stages": shown_stages(comparison.stages) if comparison.stages else None,
        "stage_figures": [figure("all stages", "What the stages of all constructs did")] + [
            figure(kind, f"{c.name}: {what} after each stage", c.name)
            for c in comparison.stages for kind, what in (
                ("stages", "the fragment"), ("screw forces", "force of each screw"))],
        "constructs": [_construct(comparison, c, figure) for c in order],
        "model": [Markup(line) for line in stated(MODEL, study)],
        "assumed": Table(("what", "value", "source", "status"),
                         [(a.what, a.value, a.source, a.status) for a in listed],
                         (0, 2, 3), "small"),
        "assumed_words": ", ".join(f"{n} {status}" for status, n in Counter(
            a.status for a in listed).items()),
        "verified": sentences(recorded()), "guidance": GUIDANCE,
        "checklist": Table(("", "item", "reported"), _checklist(comparison), (0, 1, 2),
                           "small checklist"),
        "made": _made(comparison, field),
        "glossary": glossary().html()})
    Path(path).write_text(page, encoding="utf-8")


def _checklist(comparison: Comparison) -> list[tuple[str, str, str]]:
    """Its rows, each heading on its first row only."""
    rows, last = [], ""
    for heading, item, said in checklist(comparison):
        rows.append((heading if heading != last else "", item, said))
        last = heading
    return rows


def _style() -> Markup:
    """The style sheet, with the label at the foot of every printed page."""
    rule = f"@page{{@bottom-center{{content:{json.dumps(LABEL)};font:7.5pt sans-serif}}}}"
    return asset("report.css") + Markup(rule)


def _pictures(comparison: Comparison, figures: Figures) -> dict[str, str]:
    """Data addresses of the pictures that go into the page, the most informative first."""
    given: dict[str, Path | bytes] = (
        dict(figures) if isinstance(figures, Mapping)
        else {p.stem: p for p in figures if p.suffix == ".png"})
    rank = {c.name: i for i, c in enumerate(best_first(comparison.constructs))}
    kinds = ["overview", "all stages", "movement", "capacity", "weight bearing", "curves", "map",
             "stages", "screw forces", "tornado", "deformed", "contact", "free body"]
    order = sorted(stems(comparison).items(),
                   key=lambda item: (kinds.index(item[0][0]), rank.get(item[0][1], -1)))
    out, size = {}, 0
    for _, stem in order:
        if stem not in given:
            continue
        content = given[stem]
        raw = content if isinstance(content, bytes) else Path(content).read_bytes()
        size += 4 * len(raw) // 3
        out[stem] = ("" if size > LARGEST_PICTURES
                     else "data:image/png;base64," + base64.b64encode(raw).decode("ascii"))
    return out


def _bone(study: Study) -> str:
    """What the bone is made of and where its outline comes from, in words."""
    section = study.section
    made = f"rigid foam, grade {section.foam_grade}" if section.bone == "foam" else section.bone
    words = f"bone preset “{made}”"
    if section.map is not None:
        where = "through all of its depth" if section.map.covers == "all" else "between its cortex"
        words = f"{section.map.words}, {where}"
    if section.outline_file is not None:
        words += f", outline from {section.outline_file}"
    return words


def _pictured(section: SectionInput) -> str:
    """Which knee pictures show and from where, and whether the study says which."""
    words = f"{section.view.all_words}, marked {section.view.mark}"
    given = "side" in section.model_fields_set
    return words + ("" if given else " (the study names no side; a right knee is drawn)")


def _shares(study: Study) -> str:
    """Which share of the joint force goes where, in words."""
    first = patches(study)[0]
    share = f"{100 * first.share:.0f} %"
    if not study.section.sagittal:
        return f"{share} on the {first.name} side"
    return f"of which the slice takes the {share} of the {first.name} condyle"


def _limits(study: Study) -> str:
    """All limits of the study with their units, as far as its section has such a figure."""
    limits = study.limits
    wide = "" if study.section.sagittal else (
        f"widening of the plateau by {limits.widening_mm:g} mm, ")
    metal = ("; the first yield of metal is an event on the curve, and no limit of this study"
             if limits.metal_yield_ratio is None else
             f", metal at {100 * limits.metal_yield_ratio:g} % of yield")
    return (f"step-off of {limits.step_off_mm:g} mm at the joint, depression of "
            f"{limits.depression_mm:g} mm of a fragment's joint surface, {wide}"
            f"{100 * limits.bone_over_yield_share:g} % of the bone over yield{metal}")


def _asked(comparison: Comparison) -> dict[str, Any]:
    study = comparison.study
    load = study.load
    shift = f", resultant moved {abs(load.shift_mm):g} mm to " + (
        "lateral" if load.shift_mm > 0.0 else "medial") if load.shift_mm else ""
    direction = ("straight down the shaft" if load.direction_deg == 0.0
                 else f"{load.direction_deg:g} degrees off the shaft, positive to "
                      f"{study.section.sides[1]}")
    section = study.section
    return {
        "question": study.question.strip(), "scenario": study.scenario.strip(),
        "study": f"{study.name}, {section.plane} section, {_bone(study)}",
        "pictures": _pictured(section),
        "fractures": "; ".join(f"{f.name} (friction {f.friction:g})"
                               for f in study.fractures) or "none",
        "loads": f"{load.all_words} in total, {_shares(study)}{shift}, {direction}",
        "limits": _limits(study),
        "constructs": Table(
            ("construct", "what it is"),
            [(Cell(c.marked_name, bold=True), c.note) for c in comparison.constructs], (0, 1),
            "plain")
        if any(c.note for c in comparison.constructs) else None}


def _bearing(comparison: Comparison, figure: Callable[..., Figure | None]
             ) -> dict[str, Any] | None:
    """The weight-bearing table, where the study gives a body mass."""
    found = weight_bearing(comparison)
    return None if found is None else {
        "title": found.title, "mass": f"{found.body_mass_kg:g}", "judged": found.judged,
        "tables": bearing_tables(found),
        "doubts": (*filter(None, [found.mark]), *found.doubts),
        "figure": figure("weight bearing", found.title)}


def _twins(order: list[ConstructResult]) -> Table | None:
    """Constructs next to their bonded twins."""
    def two(values: tuple[float | None, float | None], digits: int) -> tuple[Shown, Shown]:
        return number(values[0], digits), number(values[1], digits)

    rows = [(p.construct, p.load.load_words, *two(p.subsidence_mm, 3), *two(p.step_off_mm, 3),
             *two(p.widening_mm, 3), *two(p.stiffness_N_per_mm, 0)) for p in pairs(tuple(order))]
    head = ["construct", "load"]
    for what in ("subsidence [mm]", "step-off [mm]", "widening [mm]", "stiffness [N/mm]"):
        head += [what, "bonded"]
    return Table(head, rows, (0, 1), "small") if rows else None


def _construct(comparison: Comparison, c: ConstructResult, figure: Callable[..., Figure | None]
               ) -> dict[str, Any]:
    picture = shown_picture(c, overview_load(comparison))
    at = picture.load_N if picture is not None else (overview_load(comparison)
                                                     or c.loads[0].total_load_N)
    load = next((r for r in c.loads if r.total_load_N == at), c.loads[0])
    notes = [f"{r.load_words}: {_told(c, n)}" for r in c.loads for n in r.notes]
    if load.escapes and not not_loaded(c):
        notes.insert(0, f"Fails at {load.load_words}: “{load.escapes}” moves "
                        "freely. The motion drawn is the failure mechanism of limit analysis: "
                        "rigid pieces that slide along their faces and rotate at hinges.")
    return {
        "name": c.marked_name, "note": c.note, "mark": BREAKS_RULE if c.breaks_rule else "",
        "facts": facts(c, comparison.constructs, _fades(comparison, c)),
        "load": load.load_words,
        "figures": [
            figure("deformed", f"{c.name}: section under {load.load_words} of joint force", c.name),
            figure("contact", f"{c.name}: contact pressure at {load.load_words}", c.name),
            figure("tornado", f"{c.name}: the load by which it is ordered, with each alternative",
                   c.name)],
        "more": more(load),
        "fragments": [
            {"name": name, "forces": forces(fragment, comparison.study.section.sides[1]),
             "figure": figure("free body", f"{c.name}: free body of {name} at {load.load_words}",
                              c.name, name)} for name, fragment in load.fragments.items()],
        "metal": metal(load), "lets_go": lets_go(c), "notes": notes}


def _told(c: ConstructResult, note: str) -> str:
    """A note on a load, with the load at which the path of its construct ends, where that is it."""
    ends = c.equilibrium_ends_N
    if note != ENDS_BELOW or c.ends_status != ENDED or ends is None:
        return note
    return f"the path ends at {carried(ends)} N, beyond which {TOO_FAR}"


def _loads_pictured(comparison: Comparison) -> str:
    """At which load pictures show the constructs, and why some are shown at another one."""
    most = overview_load(comparison)
    if most is None:
        return ""
    at = comparison.study.load.words(most)
    shown = [p for c in comparison.constructs if (p := shown_picture(c, most)) is not None]
    others = [f"{p.marked_name} at {p.load_words}" for p in shown if p.load_N != most]
    if not others:
        return f"All pictures of sections show {at}."
    return (f"Pictures of sections show {at}, at which more than half of the constructs are held "
            "(those held at no load of the study are not counted). A construct that is not held "
            "there is shown so next to the others, and in its own pictures at the largest load of "
            f"the study at which it is held: {', '.join(others)}.")


def _fades(comparison: Comparison, c: ConstructResult) -> bool:
    """Whether a stage of a construct lets the tension of its screws fade."""
    return any(s.do == "relax" for made in comparison.stages if made.name == c.name
               for s in made.stages)


def _made(comparison: Comparison, field: str) -> dict[str, Any]:
    """Mesh, versions, errors, and the command and input by which the page can be made again."""
    rows = {name: row for name, row in comparison.mesh.items() if isinstance(row, dict)}
    head = [k.replace("_", " ") for k in next(iter(rows.values()), {})]
    asked = " --also-bonded" if any(c.twin_of for c in comparison.constructs) else ""
    if comparison.meshes is not None:
        asked += f" --error-bars {len(comparison.meshes.elements)}"
    if comparison.alternatives is not None:
        asked += " --alternatives"
    if field != STRAIN_RATIO:
        asked += f' --field "{field}"'
    return {
        "mesh": Table(("body", *head), [(name, *map(str, row.values()))
                                        for name, row in rows.items()]),
        "versions": ", ".join(f"{k} {v}" for k, v in comparison.versions.items()),
        "cost": cost(comparison),
        "worst": ", ".join(f"{k.replace('_', ' ')} {v:.0e}" for k, v in comparison.trust.items()
                           if isinstance(v, float)),
        "command": f"buttress compare study.toml{asked}",
        "input": json.dumps(resolved(comparison.study), indent=1, ensure_ascii=False)}
