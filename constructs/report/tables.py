"""Pieces of the report page: escaped text, numbers, tables, the figures of one construct."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from buttress.draw.charts import bracket_words
from buttress.report.terminal import MARK, ends_text, ends_words
from buttress.results.bearing import MOST_COLUMNS, Bearing
from buttress.results.limits import kept_words, limit_words
from buttress.results.order import ENDS, FAR, ranks, reserve, reserve_words
from buttress.results.quantities import headed, in_row, worst_fragment
from buttress.results.quantity import Quantity
from buttress.results.records import (
    CANNOT_TIGHTEN,
    ONLY_FRICTION,
    ConstructResult,
    FragmentResult,
    LoadResult,
    largest,
    not_tightened,
    shown_status,
)
from buttress.results.search import not_found
from buttress.study.activities import newtons

NONE = '<span class="none" title="this number does not exist">–</span>'


def text(value: object) -> str:
    """Text of a study or a result, shown letter by letter."""
    return escape(str(value), quote=True)


def number(value: float | None, digits: int) -> str:
    """A number with fixed decimals; a dash where it does not exist."""
    if value is None:
        return NONE
    shown = f"{value:.{digits}f}"
    # No "-0.00": the sign of a rounded zero says nothing.
    return shown.lstrip("-") if float(shown) == 0.0 else shown.replace("-", "−")


def tiny(value: float | None) -> str:
    """An error measure in powers of ten."""
    return NONE if value is None else f"{value:.0e}"


def share(value: float | None, digits: int = 0) -> str:
    """A fraction as per cent."""
    return NONE if value is None else f"{100.0 * value:.{digits}f} %"


def table(head: Sequence[str], body: Iterable[Sequence[str]], left: Sequence[int] = (0,),
          css: str = "") -> str:
    """An HTML table of cells that are HTML already; columns in ``left`` hold text."""
    def cells(row: Sequence[str], tag: str) -> str:
        return "".join(f'<{tag}{" class=t" if i in left else ""}>{c}</{tag}>'
                       for i, c in enumerate(row))

    rows = "".join(f"<tr>{cells(r, 'td')}</tr>" for r in body)
    return (f'<div class="wide"><table class="{css}"><thead><tr>{cells(head, "th")}</tr></thead>'
            f"<tbody>{rows}</tbody></table></div>")


def items(lines: Iterable[str]) -> str:
    """A list of lines that are HTML already."""
    return "<ul>" + "".join(f"<li>{line}</li>" for line in lines) + "</ul>"


TRUST = ("largest<br>error", "bone<br>over yield", "warn-<br>ings")


def head() -> tuple[str, ...]:
    """Heads of the main table."""
    far = FAR.replace(" ", "&nbsp;")
    return ("construct", "load<br>[N]", "status", *(_head(q) for q in headed()),
            "capacity<br>[N]", "equilib-<br>rium ends<br>[N]", "rank",
            f"joint moved<br>{far} at<br>[N]", *(_head(q) for q in headed(constructs=True)))


def _head(q: Quantity) -> str:
    unit = "" if q.shown_unit in ("", "%") else f"|[{q.shown_unit}]"
    return "<br>".join(text(part) for part in (q.header + unit).split("|"))


def shown(q: Quantity, value: object) -> str:
    """A quantity as a cell shows it; a dash where it does not exist."""
    said = q.text(value)
    if said is None:
        return NONE
    return text(said.replace("-", "−") if not isinstance(value, str) else said) + (
        " %" if q.style == "percent" else "")


def main_table(constructs: Sequence[ConstructResult]) -> str:
    """The comparison, one row a construct and load, with the columns that say how to trust it."""
    groups, places = [], ranks(tuple(constructs))
    for c in constructs:
        rows = []
        for i, load in enumerate(c.loads):
            first = i == 0
            span = f' rowspan="{len(c.loads)}"'
            worst = worst_fragment(load)
            beside = "".join(f"<div class=remark>{text(words)}</div>" for words in c.remarks)
            cells = ([f"<th{span} class=t scope=row>{text(c.marked_name)}{beside}</th>"]
                     if first else [])
            cells += [f"<td>{c_}</td>" for c_ in (
                _load(load), _status(c, load),
                *(shown(q, in_row(q, load, worst)) for q in headed()))]
            if first:
                cells += [f"<td{span} class=words>{text(bracket_words(c).removesuffix(' N'))}</td>",
                          f"<td{span}>{text(ends_text(c))}</td>",
                          f"<td{span}>{places.get(c.name, NONE)}</td>",
                          f"<td{span}>{_moved(c)}</td>",
                          *(f"<td{span}>{shown(q, q.of(c, tuple(constructs)))}</td>"
                            for q in headed(constructs=True) if q.of)]
            cells += [f"<td class=trust>{c_}</td>" for c_ in (
                tiny(largest(errors(load))), share(load.bone_over_yield, 2))]
            if first:
                cells.append(f"<td{span} class=trust>{len(c.warnings)}</td>")
            rows.append(f'<tr{" class=first" if first else ""}>{"".join(cells)}</tr>')
        groups.append("<tbody>" + "".join(rows) + "</tbody>")
    heads = head()
    line = "".join(f"<th{' class=t' if i == 0 else ''}>{h}</th>" for i, h in enumerate(heads))
    line += "".join(f"<th class=trust>{h}</th>" for h in TRUST)
    return (f'<div class="wide"><table class="main"><thead><tr><th colspan="{len(heads)}" '
            f'class="t band">answer</th><th colspan="{len(TRUST)}" class="t band trust">trust</th>'
            f'</tr><tr>{line}</tr></thead>{"".join(groups)}</table></div>'
            + (f"<p class=small>{text(MARK)}.</p>" if any(c.breaks_rule for c in constructs)
               else ""))


def errors(load: LoadResult) -> tuple[float | None, float | None, float | None]:
    """Residual, complementarity error and the largest balance error of a fragment."""
    return (load.residual, load.complementarity,
            largest(f.balance_error for f in load.fragments.values()))


def trust_table(constructs: Sequence[ConstructResult]) -> str:
    """How each answer was found, its three errors one by one and its steps."""
    rows = [(text(c.name), text(load.load_words), *(tiny(e) for e in errors(load)),
             text(load.method), str(load.steps)) for c in constructs for load in c.loads]
    return table(("construct", "load", "residual", "complementarity", "balance error",
                  "method", "steps"), rows, (0, 5), "small")


def _moved(construct: ConstructResult) -> str:
    """The load by which a construct is ordered; that equilibrium ends there, where it does."""
    found = reserve(construct)
    return text(found.text) + ("<br><small>ends</small>" if found.kind == ENDS else "")


def _load(load: LoadResult) -> str:
    """A load in newtons, and below it the name that it may have."""
    name = f"<br><small>{text(load.load_name)}</small>" if load.load_name else ""
    return newtons(load.total_load_N) + name


def _status(construct: ConstructResult, load: LoadResult) -> str:
    shown = shown_status(construct, load)
    kind = {"held": "good", ONLY_FRICTION: "open", "unconverged": "open"}.get(shown, "bad")
    return f'<span class="{kind}">{text(shown)}</span>'


def forces(fragment: FragmentResult, toward: str = "lateral") -> str:
    """Who carries a fragment: every force on it, with the sum that closes."""
    if fragment.forces_N is None or fragment.moments_Nmm is None:
        x, y = fragment.applied_N
        return (f"<p>The load on it is ({number(x, 0)}, {number(y, 0)}) N. Nothing balances it, so "
                "there are no forces to list.</p>")
    rows = [("load", fragment.applied_N, fragment.applied_moment_Nmm)]
    rows += [(name, fragment.forces_N[name], fragment.moments_Nmm[name])
             for name in sorted(fragment.forces_N, key=lambda n: -_size(fragment.forces_N[n]))]  # type: ignore[index]
    total = (sum(r[1][0] for r in rows), sum(r[1][1] for r in rows))
    body = [(text(name), number(f[0], 1), number(f[1], 1), number(_size(f), 1),
             number(moment / 1000.0, 2)) for name, f, moment in rows]
    body.append(("<b>sum</b>", number(total[0], 1), number(total[1], 1), number(_size(total), 1),
                 number(sum(r[2] for r in rows) / 1000.0, 2)))
    return table(("force from", f"{toward} x [N]", "up y [N]", "size [N]", "moment about its "
                  "centroid [N m]"), body) + (
        f"<p class=small>Balance error {tiny(fragment.balance_error)} of the total load.</p>")


def _size(force: tuple[float, float]) -> float:
    return float((force[0] ** 2 + force[1] ** 2) ** 0.5)


def metal(load: LoadResult) -> str:
    """Stress of plates, screws and wires under a load."""
    if not load.members:
        return ""
    return table(("plate, screw or wire", "stress [MPa]", "of its yield", "largest axial force [N]",
                  "hinges that turn"),
                 [(text(name), number(m.von_mises_MPa, 0), share(m.yield_ratio),
                   number(m.axial_N, 0), NONE if m.hinges is None else str(m.hinges))
                  for name, m in load.members.items()])


def lets_go(c: ConstructResult) -> str:
    """What is at its bound when the upper bound of capacity is reached."""
    if not c.lets_go:
        return ""
    return "<h3>What lets go at the upper bound of capacity</h3>" + table(
        ("link", "of", "places", "mean x [mm]", "mean y [mm]"),
        [(text(g.kind), text(g.source), str(g.count), number(g.place_mm[0], 0),
          number(g.place_mm[1], 0)) for g in c.lets_go], (0, 1))


def limits_table(c: ConstructResult) -> str:
    """At which load each limit is reached first, and where; in words why one is not."""
    return table(("limit", "reached at [N]", "where"), [
        (f"<b>{text(limit_words(name, r))}</b>" if name == c.lowest_limit
         else text(limit_words(name, r)), number(r.load_N, 0),
         text(CANNOT_TIGHTEN if not_tightened(c) else
              kept_words(name, r) if not_found(r) else
              r.where.words if r.where else r.missing)) for name, r in c.limits.items()],
        (0, 2), "small") if c.limits else ""


def bearing_table(bearing: Bearing) -> str:
    """The weight-bearing table, activities down and constructs across, or turned where
    constructs are many; below it the source of each joint force."""
    forces_ = [f"{text(row.name)}<br>{row.force_words} N" for row in bearing.rows]
    names = [text(c) for c in bearing.constructs]
    cells_ = [[text(row.cells[c].words) for row in bearing.rows] for c in bearing.constructs]
    if len(names) > MOST_COLUMNS:
        head, side = ["construct", *forces_], names
    else:
        head, side = ["under one leg", *names], forces_
        cells_ = [list(column) for column in zip(*cells_, strict=True)]
    body = [(name, *line) for name, line in zip(side, cells_, strict=True)]
    sources = [(text(row.name), row.force_words, f"{text(row.source)}: {text(row.status)}")
               for row in bearing.rows]
    return table(head, body, range(len(head)), "bearing") + table(
        ("under one leg", "joint force [N]", "source and status"), sources, (0, 2), "small")


def facts(c: ConstructResult) -> str:
    """What is said of a construct over all loads: capacity, limits, warnings."""
    step = ("" if c.step_off_limit_N is None
            else f"; the step-off limit is reached at {c.step_off_limit_N:.0f} N")
    lines = [f"Capacity by limit analysis: <b>{text(bracket_words(c))}</b>.",
             f"Loaded step by step, <b>{text(ends_words(c))}</b>{step}.",
             f"For the order: {text(reserve_words(c))}.",
             f"First limit: {text(c.first_limit)}."]
    if why := not_tightened(c):
        lines[3] = f"<b>It {text(why)}.</b>"
    return items(lines) + limits_table(c) + (
        '<p class="warn"><b>Warnings</b></p>' + items(text(w) for w in c.warnings)
        if c.warnings else "<p class=small>No warnings from the rules of the trade.</p>")
