"""The comparison as a table on the terminal: best first, with columns that say how to trust it."""

from __future__ import annotations

from functools import partial
from textwrap import wrap as broken

from buttress import LABEL
from buttress.comparison.twins import WORDS
from buttress.report import alternatives, bearing, error_bars
from buttress.report.columns import USUAL, terminal_width
from buttress.report.trust import how_far
from buttress.report.twins import pair_lines
from buttress.results.bearing import weight_bearing
from buttress.results.beyond import peak_not_known
from buttress.results.comparison import Comparison
from buttress.results.judged import AT_ANY_LOAD, HOW_TO_READ
from buttress.results.limits import yield_words
from buttress.results.order import answer, best_first, named_first, order_words, rank_words
from buttress.results.path import NOTICED_MM
from buttress.results.quantities import headed, in_row, worst_fragment
from buttress.results.quantity import Quantity
from buttress.results.records import (
    BEYOND,
    ENDED,
    HELD_BY_NOTHING,
    NOT_KNOWN,
    NOT_LOADED,
    ConstructResult,
    LoadResult,
    not_loaded,
)
from buttress.results.verdict import KEPT, verdict
from buttress.study.activities import carried, newtons
from buttress.words import BREAKS_RULE, fixed, listed, span

wrap = partial(broken, break_on_hyphens=False)
"""Lines of a text; a word such as step-off stays whole."""
VERDICTS = (
    "A verdict is one of this model. Within all limits: no limit of the study is reached up to "
    "that load; what has yielded, been crushed or given way below it stands beside (crushed "
    f"locally: by {NOTICED_MM:g} mm at the first place of a screw or face; what is around it still "
    "carries). Over a limit: the one that is reached first. Fails: above the largest load of the "
    "path. Only with friction: within all limits, but not above the load stated beside if friction "
    "is lost after the screws are tightened; what happens then stands behind “else”.")
PEAK = (
    "Peak: the largest load on that path. Marked > it is no peak but the end of the search or of "
    "the path: the load was still rising, and beyond it parts move farther than this model "
    "follows; more counts as not held. It is not known above a load where answers do not converge.")
VERDICT = 1
"""Number of its column."""
SINCE = ("from the last tightening or, where stages load a construct, from before the first that "
         "does")
"""From when movements count."""
FIRST_REACHED = (
    "The state at a load is the first that is reached by pressing slowly from the tightened state, "
    "or from the one that the stages of a construct leave.")
FRAME = (
    "Movements are relative to the shaft, positive distally and where a gap opens, and count "
    f"{SINCE}; each row shows the fragment that subsides most. {FIRST_REACHED} {PEAK} Capacity: "
    f"limit analysis without – with friction. {HOW_TO_READ}", VERDICTS,
    "Over 100 % of yield the outer fibre of a plate or screw has yielded; the stress shown is the "
    "elastic one.")


def header() -> tuple[str, ...]:
    """Heads of the columns, with units on their last lines."""
    return ("load N", "verdict", *(_head(q) for q in headed()), "residual")


def _head(q: Quantity) -> str:
    *above, last = q.header.split("|")
    if not above:
        return f"{last}\n{q.shown_unit}".rstrip()
    unit = f"% {last}" if q.shown_unit == "%" else f"{last} {q.shown_unit}"
    return "\n".join([*above, unit.rstrip()])


def cells(load: LoadResult) -> tuple[str, ...]:
    """A row of the table: an answer, with the figures of the fragment that subsides most."""
    worst = worst_fragment(load)
    return (newtons(load.total_load_N), load.verdict,
            *(q.text(in_row(q, load, worst)) or "-" for q in headed()),
            "-" if load.residual is None else f"{load.residual:.0e}")


def beside(load: LoadResult) -> str:
    """What is to be said of a load next to its verdict: from which load on, and what has yielded
    or been crushed below it; in a table it stands under the verdict."""
    words = load.verdict_words.removeprefix(load.verdict).lstrip("; ")
    return "" if words == AT_ANY_LOAD else words


def extra(construct: ConstructResult, every: tuple[ConstructResult, ...]) -> str:
    """Quantities of a construct that tables show in addition to those with words of their own."""
    found = ((q, q.text(q.of(construct, every))) for q in headed(constructs=True) if q.of)
    return "; ".join(f"{q.words}: {'-' if said is None else f'{said} {q.shown_unit}'.rstrip()}"
                     for q, said in found)


def number(value: float | None, digits: int) -> str:
    """Rounded text, "-" for a number that does not exist; no minus before a zero."""
    return "-" if value is None else fixed(value, digits)


def capacity_text(construct: ConstructResult) -> str:
    """The bracket in newtons, or the words for a capacity that the model does not limit."""
    low, high = construct.capacity_N
    if high is None:
        return construct.capacity_status if low is None else f"{low:.0f} – not limited"
    return span(low or 0.0, high)


def ends_text(construct: ConstructResult) -> str:
    """The peak load [N], as in a cell: ``5964``, ``> 8279`` (`no_peak` says why),
    ``not known (≥ 950)``."""
    ends = construct.equilibrium_ends_N
    if construct.ends_status == NOT_KNOWN:
        return f"{NOT_KNOWN} (≥ {carried(construct.known_to_N or 0.0)})"
    if construct.ends_status == ENDED and ends:
        return f"> {carried(ends)}"
    return f"> {construct.search_limit_N:.0f}" if ends is None else carried(ends)


def no_peak(construct: ConstructResult) -> str:
    """What the load in the column of the peak is, where it is none; else empty."""
    return {ENDED: "end of the path", BEYOND: "end of the search"}.get(construct.ends_status, "")


def ends_words(construct: ConstructResult) -> str:
    """The peak load, in a clause."""
    if not_loaded(construct):
        return f"{NOT_LOADED[construct.status]}, so that no load was applied"
    if construct.ends_status == NOT_KNOWN:
        return peak_not_known(construct)
    ends = construct.equilibrium_ends_N
    if ends is None:
        return f"no peak up to {construct.search_limit_N:.0f} N"
    if construct.ends_status == ENDED:
        return (f"no peak: the path ends at {carried(ends)} N, beyond which parts move farther "
                "than this model follows")
    return f"peak at {carried(ends)} N" if ends > 0.0 else "no load is carried"


def lines(comparison: Comparison, width: int = USUAL) -> list[str]:
    """The table as text of at most ``width`` columns: a heading per construct, then a line per
    load. Where the verdict does not fit next to the numbers it stands below them, and what then
    does not fit either stands in a further part."""
    order = best_first(comparison.constructs)
    head = [h.split("\n") for h in header()]
    rows = {c.name: [cells(load) for load in c.loads] for c in order}
    wide = [max(len(x) for x in (*h, *(r[i] for some in rows.values() for r in some)))
            for i, h in enumerate(head)]
    parts = _parts(wide, width)
    below = VERDICT not in parts[0]

    def line(values: list[str] | tuple[str, ...], part: list[int]) -> str:
        return "  ".join(values[i].ljust(wide[i]) if i == VERDICT else values[i].rjust(wide[i])
                         for i in part).rstrip()

    indent = " " * (wide[0] + 2)

    def heads(part: list[int]) -> list[str]:
        return [line([h[k] if k < len(h) else "" for h in head], part) for k in (0, 1)]

    study = comparison.study
    out = [*wrap(study.title or study.name, width),
           *wrap(f"Question: {study.question}" if study.question else "", width), ""]
    named = [c for c in study.load.cases if c.name]
    out += [f"{newtons(c.total_N):>6} N: {c.name}" for c in named] + [""] * bool(named)
    for words in (answer(order).words, *cautions(comparison)):
        out += wrap(words, width)
    out.append("")
    out += heads(parts[0]) if len(parts) == 1 else []
    for construct in order:
        capacity = capacity_text(construct)
        out += ["", *wrap(f"{construct.marked_name}: capacity {capacity}"
                          f"{' N' if capacity[-1:].isdigit() else ''}, {ends_words(construct)}",
                          width, subsequent_indent="  ")]
        first = "" if not_loaded(construct) else f"first limit: {construct.first_limit}"
        for words in (rank_words(construct, comparison.constructs),
                      verdict(construct, comparison.constructs),
                      *filter(None, [first, yield_words(construct),
                                     extra(construct, comparison.constructs),
                                     error_bars.words(construct)]),
                      *construct.remarks, *(f"warning: {w}" for w in construct.warnings
                                            if construct.breaks_rule)):
            out += wrap(words, width, initial_indent="  ", subsequent_indent="    ")
        for number_of, part in enumerate(parts):
            out += heads(part) if len(parts) > 1 else []
            for load, values in zip(construct.loads, rows[construct.name], strict=True):
                out.append(line(values, part))
                said = load.verdict_words if below else beside(load)
                out += wrap(said if number_of == 0 else "", width,
                            initial_indent=indent, subsequent_indent=indent)
    marks = ["", BREAKS_RULE + "."] if any(c.breaks_rule for c in comparison.constructs) else []
    return [*out, *marks, ""]


def cautions(comparison: Comparison) -> list[str]:
    """What is to be said beside the answer: where it cannot be had, and what does not fade."""
    return [*_in_soft_bone(comparison), *_tension_kept(comparison)]


def _in_soft_bone(comparison: Comparison) -> list[str]:
    """That what comes first cannot be tightened in soft bone, or gives way in its stages."""
    first = named_first(best_first(comparison.constructs))
    found = None if comparison.soft is None else comparison.soft.constructs.get(first.name)
    said = "" if found is None else NOT_LOADED.get(found.status, "")
    return [f"In soft bone '{first.marked_name}' {said}."] if said else []


def _tension_kept(comparison: Comparison) -> list[str]:
    """That tension does not fade, where a construct has tightened screws, which hold, and no stage
    for it: of which constructs, where it does fade in others."""
    fades = {s.name for s in comparison.stages if any(x.do == "relax" for x in s.stages)}
    kept = [c.marked_name for c in comparison.constructs
            if c.tightened_N > 0.0 and c.name not in fades and not not_loaded(c)]
    if not kept:
        return []
    return [KEPT.format("Tightened screws" if not fades else
                        "The tightened screws of " + listed([f"'{name}'" for name in kept]))]


def trust_lines(comparison: Comparison, width: int) -> list[str]:
    """How far the numbers go, one kind of error after another."""
    return [line for kind, said in how_far(comparison).items()
            for line in wrap(f"{kind}: {said}", width, subsequent_indent="  ")]


def _parts(wide: list[int], width: int) -> list[list[int]]:
    """Which columns stand next to each other: all, if they fit, else the load and as many numbers
    as fit, without the verdict."""
    if sum(wide) + 2 * (len(wide) - 1) <= width:
        return [[*range(len(wide))]]
    parts = [[0]]
    for i in range(VERDICT + 1, len(wide)):
        if len(parts[-1]) > 1 and sum(wide[k] + 2 for k in (*parts[-1], i)) - 2 > width:
            parts.append([0])
        parts[-1].append(i)
    return parts


def print_table(comparison: Comparison) -> None:
    """The table on standard output, with the frame of reference and the label."""
    width = min(USUAL, terminal_width())
    narrow = min(92, width)
    print("\n".join(lines(comparison, width)))
    table = weight_bearing(comparison)
    if table is not None:
        print("\n".join([*bearing.lines(table, width), ""]))
    for words in (order_words(comparison.study.limits.movement_mm,
                              comparison.meshes is not None), *FRAME):
        print("\n".join(wrap(words, narrow)))
    if beside := pair_lines(tuple(best_first(comparison.constructs))):
        print("\n" + "\n".join(beside))
        print("\n".join(wrap(WORDS, narrow)))
    if comparison.meshes is not None:
        print("\n".join(wrap(error_bars.MEANING, narrow)))
    if comparison.alternatives is not None:
        for words in ("", *alternatives.lines(comparison), ""):
            print("\n".join(wrap(words, narrow, subsequent_indent="  ") or [""]))
    print("\n".join(trust_lines(comparison, narrow)))
    for construct in comparison.constructs:
        if why := not_loaded(construct):
            print("\n".join(wrap(f"'{construct.marked_name}' {why}.", narrow)))
        elif construct.capacity_N[1] == 0.0:
            print(f"'{construct.marked_name}' is {HELD_BY_NOTHING}: capacity 0 N.")
    print(LABEL)
