"""The report of a comparison: one HTML page that needs nothing else, to read or to print."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from buttress import LABEL
from buttress.bone.patches import patches
from buttress.comparison.twins import WORDS, pairs
from buttress.draw.all import overview_load, shown_picture, stems
from buttress.model.resolve import resolved
from buttress.report.assumptions import LIMITS, MODEL, assumptions
from buttress.report.contact import more
from buttress.report.glossary import glossary
from buttress.report.stages import stages_html
from buttress.report.style import STYLE
from buttress.report.tables import (
    bearing_table,
    facts,
    forces,
    items,
    lets_go,
    main_table,
    metal,
    number,
    table,
    text,
    trust_table,
)
from buttress.report.verified import recorded, sentences
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.order import ORDER, best_first, tied_first, why_first
from buttress.results.records import ConstructResult, not_tightened
from buttress.study.study import Study

LARGEST_PICTURES = 7_000_000
"""Bytes of pictures (as base64) in one page; later ones are named, not shown."""
LEGEND = (
    f"<p class=small>{ORDER} Subsidence "
    "(mean over the joint surface of the fragment that sinks most) is in the frame of the shaft, "
    "distal positive, zero after the last tightening; net of intact: less what intact bone does "
    "under the same load. Tilt is counter-clockwise as drawn; a gap opens positive. Capacity: "
    "limit analysis without friction to with friction, with every tightened screw at the force to "
    "which it was set; only with friction: held above the capacity without it. Equilibrium ends: "
    "the largest load that loading step by step still holds; it may be above the capacity, since "
    "the load stretches the screws further, and is not known where answers do not converge. "
    "Largest error: "
    "the worst of residual, complementarity and balance error, relative to the load; an answer "
    "whose errors are over tolerance is refused. A dash is a number that does not exist.</p>")
ERRORS = (
    "<p class=small>Residual: equilibrium of the whole; complementarity: how far forces are from "
    "what contact, friction and strength allow; balance error: what the forces on a fragment leave "
    "over.</p>")
Figures = Mapping[str, Path | bytes] | Iterable[Path]


def write_report(comparison: Comparison, path: Path, figures: Figures) -> None:
    """Write the page. ``figures``: PNG files by file name without ending, or just the files.

    Pictures that are not given are left out; where all would make the page too large, those of the
    constructs that do worst are named instead of shown.
    """
    pictures = _pictures(comparison, figures)
    order = best_first(comparison.constructs)
    study = comparison.study
    title = study.title or study.name
    parts = [
        f"<header><h1>{text(title)}</h1><p class=label>{text(LABEL)}</p></header>",
        '<section class="top"><div>', _asked(comparison), '</div><div class="cannot">',
        "<h2>What this cannot tell you</h2>", items(LIMITS), "</div></section>",
        "<section><h2>The comparison, best first</h2>", _answer(order), main_table(order), LEGEND,
        _twins(order),
        "<details><summary>How far to trust it: each answer\'s errors and method</summary>",
        trust_table(order), ERRORS, "</details></section>", "<section><h2>Side by side</h2>",
        _figure(comparison, pictures, ("overview", "", ""), "Deformed sections of all constructs"),
        _figure(comparison, pictures, ("capacity", "", ""), "Capacity of all constructs"),
        *(_figure(comparison, pictures, ("curves", "", f), f"Subsidence of {f} under load")
          for f in comparison.fragments),
        _figure(comparison, pictures, ("map", "", ""), "Map of the bone over the mesh"),
        "</section>", _bearing(comparison, pictures), _stages(comparison, pictures),
        *(_construct(comparison, c, pictures) for c in order),
        "<section><h2>Assumptions</h2>", _assumptions(comparison), "</section>",
        "<section><h2>How far this version is verified</h2>",
        *(f"<p>{text(line)}</p>" for line in sentences(recorded())), "</section>",
        "<section><h2>Mesh, versions, how to reproduce</h2>", _reproduce(comparison), "</section>",
        "<section class=words><h2>Words</h2>", f'<div class="wide">{glossary().html()}</div>',
        "</section>", f"<footer><p class=label>{text(LABEL)}</p></footer>"]
    page = (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        'img-src data:; style-src \'unsafe-inline\'">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{text(title)}</title><style>{STYLE}</style></head>\n<body>\n"
        + "\n".join(p for p in parts if p) + "\n</body></html>\n")
    Path(path).write_text(page, encoding="utf-8")


def _pictures(comparison: Comparison, figures: Figures) -> dict[str, str]:
    """Data addresses of the pictures that go into the page, most telling first."""
    given: dict[str, Path | bytes] = (
        dict(figures) if isinstance(figures, Mapping)
        else {p.stem: p for p in figures if p.suffix == ".png"})
    rank = {c.name: i for i, c in enumerate(best_first(comparison.constructs))}
    kinds = ["overview", "capacity", "weight bearing", "curves", "map", "stages", "screw forces",
             "deformed", "contact", "free body"]
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


def _figure(comparison: Comparison, pictures: dict[str, str], key: tuple[str, str, str],
            caption: str) -> str:
    stem = stems(comparison).get(key, "")
    address = pictures.get(stem)
    if address is None:
        return ""
    if not address:
        return f"<p class=small>{text(caption)}: too large for this page, see {text(stem)}.png.</p>"
    return (f'<figure><img alt="{text(caption)}" src="{address}">'
            f"<figcaption>{text(caption)}</figcaption></figure>")


def _bone(study: Study) -> str:
    """What the bone is made of and where its outline comes from, in words that are HTML."""
    section = study.section
    made = f"rigid foam, grade {section.foam_grade}" if section.bone == "foam" else section.bone
    words = f"bone preset “{text(made)}”"
    if section.map is not None:
        where = "through all of its depth" if section.map.covers == "all" else "between its cortex"
        words = f"{text(section.map.words)}, {where}"
    if section.outline_file is not None:
        words += f", outline from {text(section.outline_file)}"
    return words


def _shares(study: Study) -> str:
    """Which share of the joint force goes where, in words."""
    first = patches(study)[0]
    share = f"{100 * first.share:.0f} %"
    if not study.section.sagittal:
        return f"{share} on the {first.name} side"
    return f"of which the slice takes the {share} of the {first.name} condyle"


def _limits(study: Study) -> str:
    """All limits of the study with their units."""
    limits = study.limits
    return (f"step-off of {limits.step_off_mm:g} mm at the joint, depression of "
            f"{limits.depression_mm:g} mm of a fragment's joint surface, widening of the plateau "
            f"by {limits.widening_mm:g} mm, {100 * limits.bone_over_yield_share:g} % of the bone "
            f"over yield, metal at {limits.metal_yield_ratio:g} of yield")


def _asked(comparison: Comparison) -> str:
    study = comparison.study
    load = study.load
    shift = f", resultant {load.shift_mm:+g} mm to lateral" if load.shift_mm else ""
    direction = ("straight down the shaft" if load.direction_deg == 0.0
                 else f"{load.direction_deg:g} degrees off the shaft, positive to "
                      f"{study.section.sides[1]}")
    section = study.section
    facts_ = [
        f"<b>Study</b> {text(study.name)}, {text(section.side)} tibia, {text(section.plane)} "
        f"section, {_bone(study)}.",
        "<b>Fractures</b> " + "; ".join(f"{text(f.name)} (friction {f.friction:g})"
                                        for f in study.fractures) + "."
        if study.fractures else "<b>Fractures</b> none.",
        f"<b>Loads</b> {text(load.all_words)} in total, {_shares(study)}{shift}, {direction}.",
        f"<b>Limits</b> {_limits(study)}."]
    rows = [(f"<b>{text(c.name)}</b>", text(c.note)) for c in comparison.constructs]
    return ("<h2>What was asked</h2>"
            + (f"<p>{text(study.scenario.strip())}</p>" if study.scenario.strip() else "")
            + items(facts_) + table(("construct", "what it is"), rows, (0, 1), "plain"))


def _bearing(comparison: Comparison, pictures: dict[str, str]) -> str:
    """The weight-bearing table, where the study gives a body mass."""
    found = weight_bearing(comparison)
    if found is None:
        return ""
    return (f"<section><h2>{text(found.title)}</h2>"
            f"<p>Body mass {found.body_mass_kg:g} kg. {text(found.judged)}</p>"
            + bearing_table(found) + (items(text(x) for x in found.doubts) if found.doubts else "")
            + _figure(comparison, pictures, ("weight bearing", "", ""), found.title)
            + "</section>")


def _answer(order: list[ConstructResult]) -> str:
    best = order[0]
    held = any(r.status == "held" for r in best.loads)
    if not any(r.fragments for c in order for r in c.loads):
        return ("<p>Nothing is broken in this study, so there is no fragment that could sink or "
                "let go, and no order of the constructs.</p>")
    none = "" if held else "No construct holds any of the loads. "
    if len(order) == 1:
        said = none or f"<b>{text(best.marked_name)}</b>: {text(why_first(order))}."
        return f"<p>{said.strip()}</p>"
    place = "shares the first rank" if tied_first(order) else "comes first"
    return (f"<p>{none}<b>{text(best.marked_name)}</b> {place}: "
            f"{text(why_first(order))}.</p>")


def _twins(order: list[ConstructResult]) -> str:
    """Constructs beside their bonded twins."""
    found = pairs(tuple(order))
    if not found:
        return ""

    def two(values: tuple[float | None, float | None], digits: int) -> tuple[str, str]:
        return number(values[0], digits), number(values[1], digits)

    rows = [(text(p.construct), text(p.load.load_words), *two(p.subsidence_mm, 3),
             *two(p.step_off_mm, 3), *two(p.widening_mm, 3), *two(p.stiffness_N_per_mm, 0))
            for p in found]
    head = ["construct", "load"]
    for what in ("subsidence [mm]", "step-off [mm]", "widening [mm]", "stiffness [N/mm]"):
        head += [what, "bonded"]
    return f"<h3>Beside their bonded twins</h3><p>{text(WORDS)}</p>" + table(head, rows, (0, 1),
                                                                           "small")


def _construct(comparison: Comparison, c: ConstructResult, pictures: dict[str, str]) -> str:
    picture = shown_picture(c)
    at = picture.load_N if picture is not None else (overview_load(comparison)
                                                     or c.loads[0].total_load_N)
    load = next((r for r in c.loads if r.total_load_N == at), c.loads[0])
    out = [f"<section class=construct><h2>{text(c.name)}</h2>",
           f"<p>{text(c.note)}</p>" if c.note else "", facts(c),
           _figure(comparison, pictures, ("deformed", c.name, ""),
                   f"{c.name}: section under {load.load_words} of joint force"),
           _figure(comparison, pictures, ("contact", c.name, ""),
                   f"{c.name}: contact pressure at {load.load_words}"), more(load)]
    for name, fragment in load.fragments.items():
        out += [_figure(comparison, pictures, ("free body", c.name, name),
                        f"{c.name}: {name} cut free at {load.load_words}"),
                f"<h3>Who carries “{text(name)}” at {text(load.load_words)}</h3>",
                forces(fragment, comparison.study.section.sides[1])]
    if load.members and load.status == "held":
        out += [f"<h3>Metal at {text(load.load_words)}</h3>", metal(load)]
    out.append(lets_go(c))
    notes = [f"{text(r.load_words)}: {text(n)}" for r in c.loads for n in r.notes]
    if load.escapes and not not_tightened(c):
        notes.insert(0, f"Without equilibrium at {text(load.load_words)}: “{text(load.escapes)}” "
                        "escapes. The motion drawn is that of limit analysis: rigid pieces that "
                        "slide along their faces and turn at hinges.")
    return "".join(out) + (items(notes) if notes else "") + "</section>"


def _stages(comparison: Comparison, pictures: dict[str, str]) -> str:
    if not comparison.stages:
        return ""
    out = ["<section class=stages><h2>Stage by stage</h2>", stages_html(comparison.stages)]
    for c in comparison.stages:
        out += [_figure(comparison, pictures, ("stages", c.name, ""),
                        f"{c.name}: the fragment after each stage"),
                _figure(comparison, pictures, ("screw forces", c.name, ""),
                        f"{c.name}: force of each screw after each stage")]
    return "".join(out) + "</section>"


def _assumptions(comparison: Comparison) -> str:
    listed = assumptions(comparison.study)
    counts: dict[str, int] = {}
    for a in listed:
        counts[a.status] = counts.get(a.status, 0) + 1
    summary = ", ".join(f"{n} {text(s)}" for s, n in counts.items())
    return (items(MODEL) + "<p>The numbers behind it, unless the study gives its own:</p>"
            f"<p class=small>{len(listed)} numbers: {summary}.</p>"
            + table(("what", "value", "source", "status"),
                    [(text(a.what), text(a.value), text(a.source), text(a.status))
                     for a in listed], (0, 2, 3), "small"))


def _reproduce(comparison: Comparison) -> str:
    mesh = [(text(name), *(text(v) for v in row.values()))
            for name, row in comparison.mesh.items() if isinstance(row, dict)]
    rows = [r for r in comparison.mesh.values() if isinstance(r, dict)]
    head = ("body", *(text(k.replace("_", " ")) for k in rows[0])) if rows else ("body",)
    seconds = sum(comparison.seconds.values())
    versions = ", ".join(f"{text(k)} {text(v)}" for k, v in comparison.versions.items())
    worst = ", ".join(f"{text(k.replace('_', ' '))} {v:.0e}" for k, v in comparison.trust.items()
                      if isinstance(v, float))
    twins = " --also-bonded" if any(c.twin_of for c in comparison.constructs) else ""
    given = json.dumps(resolved(comparison.study), indent=1, ensure_ascii=False)
    return (table(head, mesh) + f"<p>Versions: {versions}. Solved in {seconds:.0f} s.</p>"
            + (f"<p>Worst errors over all answers: {worst}.</p>" if worst else "")
            + "<p>To reproduce, run this in the folder of results, where <code>study.toml</code> "
              f"is the exact input:</p><pre>buttress compare study.toml{twins}</pre>"
              "<details><summary>The input with all defaults filled in</summary>"
              f"<pre>{text(given)}</pre></details>")
