"""What differs between two results of a comparison, or two studies, in words and numbers.

Figures are those of comparison.csv that have a better and a worse. Two differ where their error
bars do not meet; without error bars, where they are apart by more than the width of a tie.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.files import plain
from buttress.model.resolve import resolved
from buttress.report.error_bars import NO_PEAK, TWICE
from buttress.results.figures import Level
from buttress.results.order import AT_LEAST, MOVED, TIE
from buttress.results.quantities import LIMITS
from buttress.results.quantity import Quantity
from buttress.results.records import NOT_KNOWN
from buttress.results.rows import csv_columns
from buttress.results.verdict import SAME_MM
from buttress.study.activities import carried, newtons, reached
from buttress.study.changes import changes, shown
from buttress.study.checked import closest, did_you_mean, quoted
from buttress.study.read import PLACES, as_study, example_names, printable
from buttress.words import MARKED, marked, minus

NONE, DIFFERS, UNKNOWN = "no difference", "differs", "not known"
MEANING = (
    "No difference: the error bars of both figures meet or, where there are none, the figures are "
    f"within {100 * TIE:g}\N{NO-BREAK SPACE}% of each other, or read alike as tables show them; "
    f"movements less than {SAME_MM:g} mm apart are the same. "
    "Not known: one of them is only a lower bound, or was not found.")
BOUNDS = {"reserve_N": ("reserve_is", AT_LEAST), "peak_N": ("peak_status", NOT_KNOWN)}
"""Columns that hold a lower bound where another column says so."""
FROM_ON = {"first_yield_N", "first_crushing_N", *(x.column for x in LIMITS)}
"""Loads from which on something is so."""
UP_TO = {"reserve_N", "peak_N", "equilibrium_ends_N"}
"""Loads that are still carried, but for a reserve at which the joint has moved."""
WHOLE = 1000.0
"""Figures from here on are told without decimals."""
WORDS = ("status", "verdict", "first_limit", "rank", "reserve_is", "peak_status", "capacity_status",
         "carried_most_by")
"""Columns of words that are compared."""


About = tuple[str, float | None, str, str, str, str]
"""Construct, load, fragment, quantity, words and unit of a figure."""


@dataclass(frozen=True)
class Change:
    """A figure or word of both results; ``load_N`` and ``fragment`` where it is of those."""

    construct: str
    load_N: float | None
    fragment: str
    quantity: str
    words: str
    unit: str
    a: Any
    b: Any
    found: str
    by: str

    @property
    def in_words(self) -> bool:
        """Whether it is told in words on either side."""
        return isinstance(self.a, str) or isinstance(self.b, str)

    @property
    def where(self) -> str:
        """Load and fragment, as far as it is of those."""
        return _where(self.load_N, self.fragment)


@dataclass(frozen=True)
class Diff:
    """``input``: keys that differ, with both values; ``only``: constructs of one side alone."""

    a: str
    b: str
    input: tuple[tuple[str, Any, Any], ...]
    figures: tuple[Change, ...]
    only: dict[str, list[str]]
    solved: bool
    breaking: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())
    apart: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    """Loads and fragments that one side alone has, of constructs of both, in words."""

    def named(self, construct: str, sides: tuple[int, ...] = (0, 1)) -> str:
        """The name of a construct, marked where it breaks a rule of the trade on one side."""
        return marked(construct, any(construct in self.breaking[i] for i in sides))

    def document(self) -> dict[str, Any]:
        """For JSON."""
        return {"label": LABEL, "a": self.a, "b": self.b, "meaning": MEANING,
                "input": [{"key": k, "a": plain(x), "b": plain(y)} for k, x, y in self.input],
                "only_in": self.only,
                "only_in_figures": {s: list(x) for s, x in zip("ab", self.apart, strict=True)},
                "breaks_rule": {s: sorted(x) for s, x in zip("ab", self.breaking, strict=True)},
                "results_compared": self.solved,
                "figures": [asdict(c) for c in self.figures]}


@dataclass(frozen=True)
class Side:
    """A result or a study that is compared."""

    name: str
    study: dict[str, Any]
    rows: dict[tuple[str, str, str], dict[str, str]] | None
    bars: dict[tuple[str, str, float | None, str], tuple[float, float | None]]
    cells: dict[tuple[str, str], str]

    @property
    def breaking(self) -> frozenset[str]:
        """Constructs that break a rule of the trade."""
        return frozenset(key[0] for key, r in (self.rows or {}).items() if r.get("rule_findings"))


def diff(a: str | Path, b: str | Path) -> Diff:
    """What differs between two results or studies.

    ``a``, ``b``: folders of results (or their comparison.json), study files, or names of shipped
    studies. Where one is a study, inputs alone are compared. Raises InputError where there is no
    such thing.
    """
    one, other = _side(str(a)), _side(str(b))
    found = tuple(changes(one.study, other.study))
    if one.rows is None or other.rows is None:
        return Diff(one.name, other.name, found, (), {}, False)
    names = [list(dict.fromkeys(key[0] for key in x.rows or ())) for x in (one, other)]
    only = {"a": [n for n in names[0] if n not in names[1]],
            "b": [n for n in names[1] if n not in names[0]]}
    return Diff(one.name, other.name, found, (*_figures(one, other), *_cells(one, other)), only,
                True, (one.breaking, other.breaking), (_apart(one, other), _apart(other, one)))


def _side(given: str) -> Side:
    path = Path(given)
    folder = path if path.is_dir() else path.parent if path.suffix == ".json" else None
    if folder is None:
        if not path.exists() and given not in example_names():
            raise InputError("no such results or study" + did_you_mean(
                closest(given, example_names())), value=printable(given),
                expected="a folder that buttress compare wrote (or its comparison.json), "
                + PLACES + quoted(example_names()))
        return Side(given, resolved(as_study(given)), None, {}, {})
    try:
        document = json.loads((folder / "comparison.json").read_text(encoding="utf-8"))
        with open(folder / "comparison.csv", newline="", encoding="utf-8") as file:
            rows = {(r["construct"], r["total_load_N"], r["fragment"]): r
                    for r in csv.DictReader(file)}
        bars = {(c["name"], x["key"], x["load_N"], x["fragment"]): (x["low"], x["high"])
                for c in document["constructs"] for x in c.get("bars", ()) if x["low"] is not None}
        table = document["weight_bearing"]
        cells = {(name, row["name"]): cell["verdict"]
                 for row in (table["rows"] if table else ()) for name, cell in row["cells"].items()}
        return Side(given, document["study"], rows, bars, cells)
    except (OSError, ValueError, KeyError, TypeError) as error:
        why = error.strerror if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        raise InputError(f"not the results of a comparison ({why})", file=given,
                         expected="a folder that buttress compare wrote, with comparison.json and "
                                  "comparison.csv") from None


def _where(load_N: float | None, fragment: str) -> str:
    load = "" if load_N is None else f"{newtons(load_N)} N"
    return ", ".join(filter(None, (load, fragment)))


def _apart(one: Side, other: Side) -> tuple[str, ...]:
    """Loads and fragments that one side alone has, of constructs of both: nothing to compare."""
    mine, theirs = one.rows or {}, other.rows or {}
    both = {key[0] for key in theirs} & {key[0] for key in mine}
    found: dict[str, set[str]] = {}
    for name, load, fragment in mine:
        if name in both and (name, load, fragment) not in theirs:
            found.setdefault(_where(float(load), fragment), set()).add(name)
    return tuple(where if names == both else f"{where} ({', '.join(sorted(names))})"
                 for where, names in found.items())


def _words(q: Quantity, of: str, pair: tuple[dict[str, str], dict[str, str]]) -> str:
    """What a figure is called: no two of a construct alike, and a peak only where both have one."""
    if q.key == "peak_N" and (status := {r["peak_status"] for r in pair}) & set(NO_PEAK):
        return NO_PEAK[status.pop()] if len(status) == 1 else "largest load of the path"
    of = of or ("piece" if q.level is Level.PIECE else "")
    return q.said(q.words, of) + (f", {of}" if of and "{}" not in q.words else "")


def _figures(one: Side, other: Side) -> Iterator[Change]:
    """Figures and words of constructs that both have, and of their loads and fragments."""
    assert one.rows is not None
    assert other.rows is not None
    first = {key[0]: row for key, row in reversed(other.rows.items())}
    seen = set()
    for key, row in one.rows.items():
        construct, load, fragment = key
        for column, q, of in csv_columns():
            if column in TWICE:
                continue    # as the peak
            whole = q.level is Level.CONSTRUCT
            their = first.get(construct) if whole else other.rows.get(key)
            if (whole and (construct, column) in seen) or their is None or column not in their:
                continue
            seen.add((construct, column))
            place: tuple[float | None, str] = (None, "") if whole else (float(load), fragment)
            about: About = (construct, *place, column, _words(q, of, (row, their)),
                            "" if q.unit == "-" else q.unit)
            pair = row.get(column, ""), their[column]
            if column in WORDS:
                if pair != ("", ""):
                    same = pair[0] == pair[1]
                    yield Change(*about, pair[0], pair[1], NONE if same else DIFFERS, "")
            elif q.kind in (float, int) and q.worse and q.style != "power" and pair != ("", ""):
                lower = [BOUNDS.get(column, ("", ""))[1] == r.get(BOUNDS.get(column, ("", ""))[0])
                         and column in BOUNDS for r in (row, their)]
                bars = tuple(side.bars.get((construct, column, *place)) for side in (one, other))
                yield _figure(about, q, pair, lower, bars)


def _figure(about: About, q: Quantity,
            pair: tuple[str, str], lower: list[bool],
            bars: tuple[tuple[float, float | None] | None, ...]) -> Change:
    a, b = (float(x) if x else None for x in pair)
    if a is None or b is None:
        which = "second" if a is None else "first"
        return Change(*about, a, b, DIFFERS, f"only the {which} has one")
    share = f", {minus(f'{100 * (b - a) / abs(a):+.0f}')} %" if a else ""
    by = f"{difference(a, b)} {about[-1]}".strip() + share
    if any(lower):
        return Change(*about, a, b, UNKNOWN, "a lower bound")
    same = about[-1] == "mm" and abs(b - a) < SAME_MM
    if bars[0] is not None and bars[1] is not None:
        ends = [(low, float("inf") if high is None else high) for low, high in bars if bars]  # type: ignore[misc]
        apart = ends[0][1] < ends[1][0] or ends[1][1] < ends[0][0]
        return Change(*about, a, b, DIFFERS if apart and not same else NONE, f"{by}; by error bars")
    alike = same or abs(b - a) <= TIE * max(abs(a), abs(b)) or q.text(a) == q.text(b)
    return Change(*about, a, b, NONE if alike else DIFFERS, by)


def difference(a: float, b: float) -> str:
    """By how much the second is larger, in plain digits: ``+0.0708``, ``−14999``."""
    return minus(f"{b - a:+.0f}" if abs(b - a) >= WHOLE else f"{b - a:+.3g}")


def _cells(one: Side, other: Side) -> Iterator[Change]:
    """Verdicts of the weight-bearing table."""
    for (construct, activity), verdict in one.cells.items():
        now = other.cells.get((construct, activity))
        if now is not None:
            yield Change(construct, None, "", "verdict", f"verdict, {activity}", "", verdict, now,
                         NONE if verdict == now else DIFFERS, "")


def lines(found: Diff, every: bool = False) -> list[str]:
    """For the terminal; ``every``: figures without a difference too."""
    from buttress.report.columns import columns, prose

    out = [f"a: {found.a}", f"b: {found.b}", ""]
    out += ["input:", *columns(("key", "a", "b"), [(k, shown(x), shown(y))
                                                  for k, x, y in found.input], "<")] \
        if found.input else ["input: no difference"]
    if not found.solved:
        return [*out, "", "No figures were compared: a study has none before it is solved.", LABEL]
    for side, names in found.only.items():
        told = "; ".join(found.named(n, ("ab".index(side),)) for n in names)
        out += ["", f"only in {side}: {told}"] if names else []
    for side, places in zip("ab", found.apart, strict=True):
        out += ["", f"figures only in {side}: at {'; '.join(places)}"] if places else []
    for construct in dict.fromkeys(c.construct for c in found.figures):
        own = [c for c in found.figures if c.construct == construct]
        listed = [c for c in own if every or c.found != NONE]
        same = sum(c.found == NONE for c in own)
        differ = sum(c.found == DIFFERS for c in own)
        unknown = sum(c.found == UNKNOWN for c in own)
        out += ["", f"{found.named(construct)}: {differ} differ, {same} without a difference, "
                    f"{unknown} not known"]
        kinds = next(((c.a, c.b) for c in own if c.quantity == "reserve_is"), ("", ""))
        out += columns(("figure", "load, fragment", "a", "b", "", "by"), [
            (c.words + (f" [{c.unit}]" if c.unit else ""), c.where,
             *(_figure_text(c.quantity, value, kind)
               for value, kind in zip((c.a, c.b), kinds, strict=True)), c.found, c.by)
            for c in listed if not c.in_words], "<<>><<")
        # Words would leave the columns of figures no room.
        for c in listed:
            if c.in_words:
                what = ", ".join(filter(None, (c.words, c.where)))
                out += prose(f"{what}: {_text(c.a)} (a), {_text(c.b)} (b): {c.found}")
    meant = [f"{MARKED} in a or b"] if any(found.breaking) else []
    return [*out, "", *meant, MEANING, LABEL]


def _figure_text(quantity: str, value: float | None, kind: str) -> str:
    """A figure as the tables of a comparison round it; ``kind``: of the reserve of that side."""
    if value is not None and quantity in FROM_ON:
        return reached(value)
    if value is not None and quantity in UP_TO:
        return f"{value:.0f}" if (quantity, kind) == ("reserve_N", MOVED) else carried(value)
    return _text(value)


def _text(value: Any) -> str:
    if value in (None, ""):
        return "-"
    return value if isinstance(value, str) else \
        f"{value:.0f}" if abs(value) >= WHOLE else f"{value:.4g}"
