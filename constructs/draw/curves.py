"""Load over movement as a test machine draws it: every construct's path with its events."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from buttress.draw import primitives as d
from buttress.draw.page import page
from buttress.draw.text import LINE, SIZE, width, wrap, wrap_all
from buttress.fe.arrays import FloatArray
from buttress.results.beyond import (
    friction_needed,
    friction_not_known,
    lost_not_known,
    peak_not_known,
)
from buttress.results.comparison import Comparison
from buttress.results.crossing import Curve, crossing, crossings
from buttress.results.crushed import BONE, CRUSHED, MEDIA
from buttress.results.judged import ONLY_FRICTION
from buttress.results.order import ranked
from buttress.results.path import PathEvent, lies_between
from buttress.results.records import (
    ENDED,
    NOT_KNOWN,
    NOT_LOADED,
    ConstructResult,
    not_loaded,
)
from buttress.study.activities import carried, reached
from buttress.study.checked import require_known
from buttress.study.tables import number
from buttress.words import BREAKS_RULE

SHOWN_MM = 2.2
"""Movement up to which curves are drawn: a little beyond the 2 mm that bench tests call failure."""
MOVEMENT = "movement: the largest of net subsidence, step-off and gap"
ORDER, FAILURE = "constructs are ordered here", "failure in bench tests"
EVENTS = {"opening": ("o", "a face opens"), "crushing": ("v", "{} " + CRUSHED),
          "anchorage": ("P", "part of an anchorage gives way"),
          "thread": ("^", "the thread of a screw gives way"),
          "hinge": ("D", "a plastic hinge forms"),
          "snap": ("*", "a part shifts in a jump")}
"""Marker and meaning of the events that are drawn (``{}``: what is crushed); slip begins with the
first load."""
PEAK, CROSSING, STUDY = "peak", "two curves cross", "loads of the study"
BARS = "error bar over meshes"
MARKS = (*(meaning.format(" or ".join(MEDIA[:3])) for _, meaning in EVENTS.values()), PEAK,
         CROSSING, STUDY, BARS)


def curves(comparison: Comparison, fragment: str | None = None, *, ax: Axes | None = None
           ) -> Axes:
    """Total joint force over movement, one line per construct.

    Without a ``fragment``, the movement is that by which constructs are ordered, the largest of net
    subsidence, step-off and gap of the joint; lines show where they are, and rings where the
    sentence of a construct says that two curves cross. With one, it is the mean subsidence of its
    joint surface, with rings by the same rule: first one is ahead by more than a tie, then the
    other. Markers show the first event of each kind, a cross the peak. With ``ax``, leave room for
    the list right of it.

    Raises InputError, with the closest name, for a fragment that the study has not.
    """
    if fragment is not None:
        require_known(fragment, comparison.fragments, "fragment")
    constructs = comparison.constructs
    stated = _stated(comparison) if fragment is None else {}
    words = [f"{c.marked_name} ({ending(c)})" for c in constructs]
    if ax is None:
        ax, lines, room = _slide(words, [*MARKS, *stated])
    else:
        lines, room = wrap_all(words, 5.0, (3.4, 4.2, 5.2))
        room = max(room, *(width(x) for x in (*MARKS, *stated)))
        d.label(ax.get_figure(root=True))  # type: ignore[arg-type]
    handles, drawn, kinds = [], {c.name: shown(c, fragment) for c in constructs}, set[str]()
    farthest = max((float(x) for moved, _ in drawn.values() for x in moved), default=0.0)
    stated = {w: at for w, at in stated.items() if at[0] <= farthest}
    for i, c in enumerate(constructs):
        look = d.series(i)
        [path] = ax.plot(*drawn[c.name], linewidth=2.2, label=lines[i], gid=f"path {c.name}",
                         color=look["color"], linestyle=look["linestyle"])
        handles.append(path)
        kinds |= _mark(ax, c, fragment, look["color"], drawn[c.name])
        kinds |= {BARS} if _error_bars(ax, c, fragment, look["color"]) else set()
    if rings := _crossings(constructs, drawn, fragment):
        kinds.add(CROSSING)
    for x, y in rings:
        ax.plot(x, y, marker="o", markersize=13, markerfacecolor="none", markeredgecolor="black",
                markeredgewidth=1.2, zorder=7, gid="crossing")
    _frame(ax, comparison, list(drawn.values()), stated)
    ax.set_xlabel("mean subsidence of the joint surface [mm]" if fragment else
                  "movement of the joint [mm]", size=SIZE)
    ax.set_ylabel("total joint force [N]", size=SIZE)
    d.title(ax, f"{fragment}: force over subsidence" if fragment else
            "Force over movement of the joint", "; ".join(filter(None, (
                "" if fragment else MOVEMENT,
                BREAKS_RULE if any(c.breaks_rule for c in constructs) else ""))))
    ax.grid(alpha=0.25)
    signs = _signs(kinds, stated)
    for sign in signs:
        sign.set_label(wrap(str(sign.get_label()), room))
    ax.legend(handles=[*handles, *signs], labelspacing=0.35, handlelength=2.6,
              **d.beside(ax))
    if not any((np.asarray(load) > 0.0).any() for _, load in drawn.values()):
        ax.text(0.5, 0.5, "no construct has a number here: the fragment\n"
                          "is not held, or does not reach the joint" if fragment else
                          "no construct carries load", size=SIZE, ha="center",
                transform=ax.transAxes)
    return ax


def _slide(words: list[str], marks: list[str]) -> tuple[Axes, list[str], float]:
    """Axes with room for the list right of them, the constructs' lines in it, wrapped, and the
    width of the list [in]."""
    now = page()
    high = now.high - 1.9
    lines, widest = wrap_all(words, high / 1.12 - (len(marks) + 1) * LINE,
                             (now.wide - 2.0,) if now.narrow else (3.4, 4.2, 5.2))
    needed = 1.12 * LINE * (sum(w.count("\n") + 1 for w in lines) + len(marks) + 1)
    room = now.wide - 2.0 if now.narrow else max(widest, *(width(x) for x in marks))
    widest = max(widest, room)
    figure: Figure = d.slide(now.high if now.narrow else max(now.high, needed + 1.9))
    return d.axes_at(figure, 1.2, 1.1, now.wide - (1.4 if now.narrow else widest + 2.5),
                     figure.get_figheight() - 1.9), lines, room


def _crossings(constructs: Sequence[ConstructResult], drawn: dict[str, Curve],
               fragment: str | None) -> list[tuple[float, float]]:
    """Where two curves cross [mm, N]: over the movement that orders as sentences have it, of all
    pairs that they compare (nothing bonded); over a fragment's subsidence as drawn."""
    pairs = combinations(constructs, 2)
    if fragment is not None:
        return [p for a, b in pairs for p in crossings(a, b, drawn[a.name], drawn[b.name])]
    told = [crossing(a, b) for a, b in pairs if ranked(a) and ranked(b)]
    return [p for found in told if found is not None for p in found.places]


def _frame(ax: Axes, comparison: Comparison, drawn: Sequence[Curve],
           stated: dict[str, tuple[float, Any]]) -> None:
    """Limits of the axes, the loads of the study, and the movements that are stated."""
    known = [x for moved, _ in drawn for x in moved]
    most = min(max((y for _, load in drawn for y in load), default=1.0),
               max(c.search_limit_N for c in comparison.constructs))
    for load_N in comparison.study.load.total_N:
        if load_N <= 1.06 * most:
            ax.axhline(load_N, color="#555555", linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
    for words, (movement, style) in stated.items():
        ax.axvline(movement, color="#555555", linewidth=1.2, linestyle=style, zorder=1, gid=words)
    ax.set_xlim(1.06 * min(0.0, min(known, default=0.0)), max(known, default=1.0) or 1.0)
    ax.set_ylim(0.0, 1.06 * most if most > 0.0 else 1.0)


def _signs(kinds: set[str], stated: dict[str, tuple[float, Any]]) -> list[Line2D]:
    """Entries of the list for the marks and lines that were drawn."""
    crushed = " or ".join(x for x in MEDIA if x in kinds)
    out = [_sign(sign, words.format(crushed)) for k, (sign, words) in EVENTS.items() if k in kinds]
    out += [_sign("X", PEAK)] if PEAK in kinds else []
    out += [Line2D([], [], linestyle="none", marker="o", markersize=12, markerfacecolor="none",
                   markeredgecolor="black", label=CROSSING)] if CROSSING in kinds else []
    out += [_sign("|", BARS)] if BARS in kinds else []
    out.append(Line2D([], [], color="#555555", linestyle=(0, (4, 3)), label=STUDY))
    return out + [Line2D([], [], color="#555555", linewidth=1.2, linestyle=style, label=words)
                  for words, (_, style) in stated.items()]


def _stated(comparison: Comparison) -> dict[str, tuple[float, Any]]:
    """Movements at which lines stand [mm], and their style, by words for the list."""
    ordered = comparison.study.limits.movement_mm
    failure = number("anatomy", "limits", "failure")
    out = {f"{ordered:g} mm: {ORDER}": (ordered, "-")}
    if failure != ordered:
        out[f"{failure:g} mm: {FAILURE}"] = (failure, ":")
    return out


def _error_bars(ax: Axes, c: ConstructResult, fragment: str | None, colour: str) -> bool:
    """Draw the interval over the meshes: of the subsidence at each load, or of the load by which
    constructs are ordered; whether there is any."""
    if fragment is None:
        bar = c.bar("reserve_N")
        if bar is None or bar.low is None or bar.high is None or c.reserve.load_N is None:
            return False
        ax.plot([c.reserve.movement_mm] * 2, [bar.low, bar.high], marker="_", markersize=13,
                color=colour, markeredgewidth=1.6, linewidth=1.6, zorder=7,
                gid=f"error bar {c.name}")
        return True
    found = [(b.low, b.high, b.load_N) for b in c.bars
             if (b.key, b.fragment) == ("subsidence_mean_mm", fragment)
             and b.low is not None and b.high is not None and abs(b.high) <= SHOWN_MM]
    for low, high, load in found:
        ax.plot([low, high], [load or 0.0] * 2, marker="|", markersize=13, color=colour,
                markeredgewidth=1.6, linewidth=1.6, zorder=7, gid=f"error bar {c.name}")
    return bool(found)


def _sign(marker: str, words: str) -> Line2D:
    return Line2D([], [], linestyle="none", marker=marker, color="#555555", markersize=9,
                  markeredgecolor="#555555" if marker == "|" else "white", label=words)


def movements(c: ConstructResult, fragment: str | None) -> Sequence[float | None]:
    """Movement at each point of a path [mm]: of the joint, or the subsidence of a fragment."""
    if fragment is not None:
        return c.curve_subsidence_mm.get(fragment, ())
    return () if c.path is None else [p.moved_mm for p in c.path.points]


def shown(c: ConstructResult, fragment: str | None) -> Curve:
    """Movement [mm] and load [N] of a path's points, ended at `SHOWN_MM`; empty without one."""
    pairs = [(s, p) for s, p in zip(movements(c, fragment), c.curve_load_N, strict=False)
             if s is not None]
    if fragment is None:
        # Loads at stated movements were looked for between the points, where a chord is less exact.
        for found in (c.reserve, c.reserve_to_failure):
            if found is None or found.load_N is None:
                continue
            k = next((i for i, (moved, _) in enumerate(pairs) if moved > found.movement_mm), 0)
            if k and lies_between(found.load_N, pairs[k - 1][1], pairs[k][1]):
                pairs.insert(k, (found.movement_mm, found.load_N))
    if not pairs:
        return np.zeros(0), np.zeros(0)
    sunk, load = np.array(pairs, dtype=float).T
    beyond = np.flatnonzero(np.abs(sunk) > SHOWN_MM)
    if not beyond.size or beyond[0] == 0:
        return sunk, load
    last = int(beyond[0])
    share = (np.copysign(SHOWN_MM, sunk[last]) - sunk[last - 1]) / (sunk[last] - sunk[last - 1])
    return (np.append(sunk[:last], np.copysign(SHOWN_MM, sunk[last])),
            np.append(load[:last], load[last - 1] + share * (load[last] - load[last - 1])))


def _mark(ax: Axes, c: ConstructResult, fragment: str | None, colour: str, curve: Curve
          ) -> set[str]:
    """Draw the first event of each kind, and the peak; the kinds that were drawn, and what is
    crushed."""
    if c.path is None:
        return set()
    at = np.array([p.ram_mm for p in c.path.points])
    sunk = [p.moved_mm if fragment is None else p.subsidence_mm.get(fragment)
            for p in c.path.points]
    if any(s is None for s in sunk):
        return set()
    seen = set[str]()
    for event in c.path.events:
        if event.kind in seen or (event.kind not in EVENTS and event.kind != PEAK):
            continue
        x = _place(curve, event, at, np.array(sunk, dtype=float))
        if abs(x) > SHOWN_MM or event.load_N <= 0.0:
            continue
        seen |= {event.kind, event.what or BONE} if event.kind == "crushing" else {event.kind}
        marker = "X" if event.kind == PEAK else EVENTS[event.kind][0]
        ax.plot(x, event.load_N, marker=marker, markersize=12 if event.kind == PEAK else 9,
                color=colour, markeredgecolor="white", markeredgewidth=0.8, zorder=6,
                gid=f"{event.kind} {c.name}")
    return seen


def _place(curve: Curve, event: PathEvent, at: FloatArray, sunk: FloatArray) -> float:
    """Movement [mm] at which the drawn curve has the load of an event, between the two points of
    the path (ram displacement ``at``, movement ``sunk``) that it lies between; else by the ram."""
    k = int(np.clip(np.searchsorted(at, event.ram_mm), 1, len(at) - 1)) if len(at) > 1 else 0
    low, high = sorted(sunk[max(k - 1, 0):k + 1][[0, -1]])
    moved, load = curve
    for i in range(len(moved) - 1):
        rise = load[i + 1] - load[i]
        if (min(moved[i:i + 2]) >= low and max(moved[i:i + 2]) <= high and rise != 0.0
                and 0.0 <= (share := (event.load_N - load[i]) / rise) <= 1.0):
            return float(moved[i] + share * (moved[i + 1] - moved[i]))
    return float(np.interp(event.ram_mm, at, sunk))


def ending(c: ConstructResult) -> str:
    """The peak of a construct in words, for a list."""
    if not_loaded(c):
        return NOT_LOADED[c.status]
    if c.ends_status == NOT_KNOWN:
        return peak_not_known(c)
    ends = c.equilibrium_ends_N
    if ends == 0.0:
        return "no load is carried"
    if ends is None:
        said = f"no peak up to {c.search_limit_N:g} N"
    elif c.ends_status == ENDED:
        said = (f"ends at {carried(ends)} N, beyond which parts move farther than this model "
                "follows")
    else:
        said = f"peak at {carried(ends)} N"
    least, limit = friction_needed(c)
    most = c.search_limit_N if ends is None else ends
    if least is None and (known := friction_not_known(c)) is not None and known < most:
        return f"{said}, {lost_not_known(known)}"
    if least is None or least > most:
        return said
    if limit:
        return f"{said}, with friction lost over a limit from {reached(least)} N"
    return f"{said}, {ONLY_FRICTION}" + (f" above {carried(least)} N" if least >= 1.0 else "")
