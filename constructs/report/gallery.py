"""The gallery: of each shipped study the table and key pictures, each with its command."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from buttress import LABEL
from buttress.draw import all as figures
from buttress.draw.images import few_colours, image_of
from buttress.draw.primitives import DPI
from buttress.draw.stages import common_factor
from buttress.fe.errors import ButtressError, InputError
from buttress.fe.status import Status
from buttress.files import as_csv, claimed, drafted, require_room
from buttress.report.api import write_api
from buttress.report.catalogue import markdown as columns_of_results
from buttress.report.stages import lines as stage_lines
from buttress.report.stages import orders
from buttress.report.terminal import cautions, lines
from buttress.report.trust import how_far
from buttress.results.comparison import Comparison
from buttress.results.order import answer as first_of
from buttress.results.order import best_first, carries_nothing, named_first, ranked, reserve
from buttress.results.records import not_loaded
from buttress.results.rows import rows
from buttress.results.verdict import verdict
from buttress.study.activities import newtons
from buttress.study.read import example, example_names

SHAPES = {
    "bicondylar": "Schatzker V, AO/OTA 41-C", "bicondylar-detached": "Schatzker VI, AO/OTA 41-C",
    "fading-tension": "Schatzker IV, AO/OTA 41-B",
    "lateral-depression": "Schatzker III, AO/OTA 41-B2",
    "lateral-split": "Schatzker I, AO/OTA 41-B1", "medial-shear": "Schatzker IV, AO/OTA 41-B",
    "posterior-shear": "posterior column, AO/OTA 41-B",
    "staged-tightening": "Schatzker I, AO/OTA 41-B1"}
"""What a surgeon would call the shape of each study's fracture."""
SOURCES = ("Shapes are named after Schatzker et al., Clin Orthop 1979;138:94-104, the AO/OTA "
           "compendium, J Orthop Trauma 2018;32 Suppl 1, and the columns of Luo et al., J Orthop "
           "Trauma 2010;24:683-92 (from memory, to be checked); the scenarios are invented, and a "
           "flat section shows a part of such a fracture only.")
COLUMNS = ("construct", "total_load_N", "fragment", "verdict", "subsidence_mean_mm",
           "subsidence_net_mm", "tilt_deg", "step_off_max_mm", "gap_max_mm",
           "worst_member_yield_ratio", "reserve_N", "reserve_is", "capacity_lower_N",
           "capacity_upper_N", "equilibrium_ends_N", "ends_status", "step_off_limit_N")
DIGITS = 9
OTHERS = {"lesson": ("The lesson (one page, `lesson.html`: open it in a browser)",
                     "buttress lesson --out results/gallery/lesson --force"),
          "bench": ("Comparisons with published bench tests",
                    "buttress verify --bench --out results/gallery/bench --force")}
"""Folders of the gallery that hold no shipped study, and the command that makes each."""
REMAKE = "buttress examples --gallery results/gallery"
Say = Callable[[str], None]


def numbers(comparison: Comparison) -> str:
    """The compact numbers of a comparison as CSV, nine digits each."""
    return as_csv([{c: f"{row[c]:.{DIGITS}g}" if isinstance(row[c], float) else row[c]
                    for c in COLUMNS} for row in rows(comparison)], COLUMNS)


def chosen(comparison: Comparison) -> tuple[str, str]:
    """Construct and fragment of the free body: the one named first, what subsides most in it."""
    best = named_first(best_first(comparison.constructs))
    held = [r for r in best.loads if r.status == Status.HELD]
    if not held:
        return best.name, comparison.fragments[0]
    sunk = {k: f.subsidence_mean_mm for k, f in held[-1].fragments.items()
            if f.subsidence_mean_mm is not None}
    return best.name, max(sunk, key=lambda k: sunk[k]) if sunk else next(iter(held[-1].fragments))


def answer(comparison: Comparison) -> str:
    """Which construct comes first or shares the first rank, and what holds it there."""
    order = best_first(comparison.constructs)
    first = named_first(order)
    if carries_nothing(first):
        return "no construct is known to carry load."
    why = verdict(first, comparison.constructs)
    return f"{first_of(order).words} Of '{first.marked_name}': {why[:1].lower()}{why[1:]}"


def all_in_order(comparison: Comparison) -> str:
    """Each construct with the load that it is ordered by, best first, in one sentence."""
    order = [c for c in best_first(comparison.constructs) if ranked(c)]
    said = [f"'{c.marked_name}' " + (not_loaded(c).split(": ")[0] or f"{reserve(c).text} N")
            for c in order]
    return (f"load at which the joint has moved {order[0].reserve.movement_mm:g} mm, or at which "
            f"the path ends before (≥: a lower bound): {'; '.join(said)}.")


def pictures(comparison: Comparison) -> list[tuple[str, str, Figure, str]]:
    """The key pictures: file name, what it shows, the figure, and the line of Python for it.

    File names are those of the folder that `buttress compare` writes.
    """
    construct, fragment = chosen(comparison)
    names = figures.stems(comparison)
    load = figures.overview_load(comparison)
    picture = figures.shown_picture(comparison[construct], load)
    found: list[tuple[tuple[str, str, str], str, Any, str]] = []
    if load is not None:
        found.append((("overview", "", ""), f"All constructs at {newtons(load)} N, deformed",
                      figures.overview(comparison, load),
                      f"figures.overview(comparison, {load:g})"))
    if load is not None and picture is not None:
        found.append((("free body", construct, fragment),
                      f"Free body of “{fragment}” in “{construct}”",
                      figures.free_body(picture, fragment),
                      f"figures.free_body(figures.shown_picture(comparison[{construct!r}], "
                      f"{load:g}), {fragment!r})"))
    found.append((("movement", "", ""), "Load over movement of the joint",
                  figures.curves(comparison), "figures.curves(comparison)"))
    found.append((("capacity", "", ""), "Capacity", figures.capacity(comparison),
                  "figures.capacity(comparison)"))
    if comparison.stages:
        found.append((("all stages", "", ""), "What the stages did",
                      figures.stages_overview(comparison.stages),
                      "figures.stages_overview(comparison.stages)"))
    for number, staged in enumerate(comparison.stages):
        if any(staged.pictures):
            found.append((("stages", staged.name, ""), f"“{staged.name}” after each stage",
                          figures.stage_pictures(staged, factor=common_factor(comparison.stages)),
                          f"figures.stage_pictures(comparison.stages[{number}])"))
    out = []
    for key, words, ax, code in found:
        figure = ax.get_figure(root=True)
        assert isinstance(figure, Figure)
        out.append((names[key], words, figure, code))
    return out


def save_small(figure: Figure, path: Path) -> Path:
    """A PNG of few colours; the same figure gives the same bytes."""
    few_colours([image_of(figure, DPI)])[0].save(path, optimize=True)
    return path


def shown(text: str) -> str:
    """Text of a study for a Markdown page: no markup of either kind."""
    flat = escape(" ".join(text.split()), quote=False)
    return "".join("\\" + c if c in "\\`*_[]#|$~!" else c for c in flat)


def write_study(comparison: Comparison, folder: Path) -> list[Path]:
    """Table, numbers, pictures and the page of one study into its folder, which exists."""
    study = comparison.study
    command = f"buttress compare --example {study.name}"
    table = "\n".join(line.rstrip() for line in lines(comparison)).strip()
    page = [f"# {shown(study.title or study.name)}", "", LABEL, "", shown(study.scenario), "",
            *([f"**The question:** {shown(study.question)}", ""] if study.question else []),
            f"**The answer of this model:** "
            f"{shown(' '.join([answer(comparison), *cautions(comparison)]))}", "",
            f"**All constructs:** {shown(all_in_order(comparison))}", "",
            *(line for said in orders(comparison.stages) for line in (shown(said), ""))]
    rest = [f"All of this comes from one command; the files are in the folder that it writes:\n\n"
            f"    {command}\n",
            f"## The table\n\n<details><summary>The table of <code>{command}</code>, best first"
            "</summary>\n", "```", table, "```", "", "</details>", "",
            "[The numbers](comparison.csv)", ""]
    if comparison.stages:
        staged = "\n".join(line.rstrip() for line in stage_lines(comparison.stages)).strip()
        rest += ["## Stage by stage", "", "```", staged, "```", ""]
    rest += ["## How far these numbers go", "",
             *(f"- **{kind}**: {shown(said)}" for kind, said in how_far(comparison).items()), ""]
    written = [folder / "comparison.csv"]
    written[0].write_text(numbers(comparison), encoding="utf-8")
    for stem, words, figure, code in pictures(comparison):
        written.append(save_small(figure, folder / f"{stem}.png"))
        ticks = "``" if "`" in code else "`"
        page += [f"## {shown(words)}", "",
                 f"`{command}` → `{stem}.png`; in Python {ticks}{code}{ticks}", "",
                 f"![{shown(words)}]({stem}.png)", ""]
    page += rest
    written.append(folder / "README.md")
    written[-1].write_text("\n".join(page), encoding="utf-8")
    return written


def write_gallery(folder: Path, names: Sequence[str] = (), say: Say = lambda text: None
                  ) -> list[Path]:
    """Solve the shipped studies (or some of them) and write their part of the gallery.

    The index lists every study that lies in the folder. Files of the studies that are made are
    replaced. Raises InputError for a study that is not shipped.
    """
    from buttress.comparison.compare import compare

    require_room(folder)
    written = []
    for name in names or example_names():
        study = example(name)
        say(f"gallery: {name}")
        comparison = compare(study, say)
        target = folder / name
        try:
            with drafted(target) as draft:
                made = write_study(comparison, draft)
                for old in (*target.glob("*.png"), *target.glob("*.csv"), *target.glob("*.txt")):
                    old.unlink()
                claimed(draft, target, force=True)
        except ButtressError:    # what was solved is still shown
            say("\n".join(lines(comparison)))
            raise
        written += [target / path.name for path in made]
    return [*written, *write_index(folder), *_api(folder, say)]


def _api(folder: Path, say: Say) -> list[Path]:
    """The page of the facade; where pdoc is missing this says so, and what is there stays."""
    try:
        return write_api(folder / "api")
    except InputError as error:
        say(f"gallery: {error}")
        return []


def write_index(folder: Path) -> list[Path]:
    """The page that lists the studies of the folder, and the pages of words."""
    from buttress.report.assumptions import LIMITS, MODEL, markdown
    from buttress.report.glossary import glossary
    from buttress.study.keys import markdown as keys_of_a_study

    out = ["# Gallery", "", LABEL, "", "All scenarios are invented. Made by", "",
           f"    {REMAKE}", "",
           "(`buttress examples NAME --gallery results/gallery` makes one study anew.)", "",
           "| study | shape of the fracture | constructs | command |",
           "| --- | --- | --- | --- |"]
    for name in example_names():
        if (folder / name / "README.md").exists():
            study = example(name)
            out.append(f"| [{shown(study.title or name)}]({name}/README.md) | "
                       f"{SHAPES[name]} | {len(study.constructs)} | "
                       f"`buttress compare --example {name}` |")
    out += [f"| [{words}]({name}/) | | | `{command}` |"
            for name, (words, command) in OTHERS.items() if (folder / name).exists()]
    out += ["", SOURCES, "", "[Every key of a study file](keys.md) · "
            "[what Python offers](api/buttress.html) (open it in a browser) · "
            "[What this cannot tell you, and what it assumes](assumptions.md) · "
            "[words, for people who are not engineers and for people who are not surgeons]"
            "(glossary.md)", ""]
    pages = {"README.md": "\n".join(out), "keys.md": f"{keys_of_a_study()}\n{columns_of_results()}",
             "glossary.md": f"# Words\n\n{LABEL}\n\n{glossary().markdown()}",
             "assumptions.md": f"# What this cannot tell you\n\n{LABEL}\n\n"
                               + "\n".join(f"- {markdown(x)}" for x in LIMITS)
                               + "\n\n# How the model works\n\n"
                               + "\n".join(f"- {markdown(x)}" for x in MODEL)
                               + "\n\nThe numbers behind it, each with its source and how far it "
                                 "was confirmed, stand in the report of every comparison "
                                 "(`report.html`) and in `constructs/data/`.\n"}
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in pages.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [folder / name for name in pages]
