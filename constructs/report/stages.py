"""Stages as tables: on the terminal, as CSV, for the report and for notebooks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import Any

from buttress.fe.status import Status
from buttress.files import as_csv as table_as_csv
from buttress.files import plain
from buttress.report import tables as parts
from buttress.report.columns import USUAL, columns, terminal_width
from buttress.report.markup import Cell, Shown, Table
from buttress.report.terminal import number
from buttress.results.records import largest
from buttress.results.stages import StagedResult, StageResult, screw_names
from buttress.words import BREAKS_RULE, fixed

FRAME = ("Movements in the frame of the shaft, distal positive, counted from the reduced, unloaded "
         "start: where subsidence is negative, the fragment was pushed up. Subsidence, change and "
         "tilt: of the fragment that has sunk most. Change: from the stage before. Slip: largest "
         "movement of a link at its bound within the stage. Forces of screws are those between "
         "head and plate or bone, of all pieces.")
COLUMNS = ("construct", "stage", "do", "what", "words", "status", "total_load_N", "fragment",
           "subsidence_mean_mm", "subsidence_max_mm", "change_mm", "tilt_deg", "step_off_max_mm",
           "gap_max_mm", "slip_in_stage_mm", "fracture_slip_mm", "fracture_opening_mm",
           "worst_member_yield_ratio", "cycles", "cycles_limit", "cycles_verdict",
           "cycles_last_change_mm", "cycles_slip_mm", "subsidence_loaded_mm", "residual",
           "complementarity", "balance_error", "method")


def step_off(stage: StageResult) -> float | None:
    """Largest step-off after a stage, mm."""
    return largest(e.step_off_mm for e in stage.edges.values())


def _numbers(stage: StageResult) -> tuple[str, ...]:
    worst = stage.worst
    return (stage.status, "-" if stage.total_load_N is None else f"{stage.total_load_N:.0f}",
            number(worst.subsidence_mean_mm if worst else None, 3),
            number(worst.change_mm if worst else None, 3), number(step_off(stage), 3),
            number(worst.tilt_deg if worst else None, 2), number(stage.slip_mm, 3),
            "-" if stage.residual is None else f"{stage.residual:.0e}")


HEADER = ("status", "load\nN", "subsid.\nmm", "change\nmm", "step-off\nmm", "tilt\ndeg",
          "slip\nmm", "residual")


def lines(constructs: Sequence[StagedResult], width: int = USUAL) -> list[str]:
    """The stages as text of at most ``width`` columns: a table per construct, then the orders."""
    out: list[str] = []
    for c in constructs:
        out += [f"{c.marked_name}, stage by stage: {c.status}"]
        rows = [(f"{s.number:2d} {s.words}", *_numbers(s)) for s in c.stages]
        out += columns(("stage", *HEADER), rows, width=width)
        out += [line for s in c.stages if s.cycle is not None
                for line in wrap(f"stage {s.number} {s.cycle.words}", width,
                                 initial_indent="   ", subsequent_indent="   ")]
        out += [line for s in c.stages if s.loosens
                for line in wrap(f"stage {s.number}: {s.loosens}", width,
                                 initial_indent="   ", subsequent_indent="   ")]
        out += [f"   '{s.escapes}' moves freely at stage {s.number}" for s in c.stages if s.escapes]
        out += [*_screws(c, width), ""]
    out += [f"{BREAKS_RULE}.", ""] if any(c.breaks_rule for c in constructs) else []
    return out + [line for said in orders(constructs) for line in wrap(said, width)]


def _screws(construct: StagedResult, width: int) -> list[str]:
    """The forces of the screws after each stage, as many in a row as fit."""
    names = screw_names((construct,))
    held = [s for s in construct.stages if s.held]
    fit = max(1, (width - 10) // 14)
    out: list[str] = []
    for some in (names[i:i + fit] for i in range(0, len(names), fit)):
        head = ("force of", *(f"{_cut(n, 12)}\nN" for n in some))
        rows = [(f"{s.number:2d}", *(number(s.screws[n].force_N, 0) if n in s.screws else "-"
                                     for n in some)) for s in held]
        out += columns(head, rows, width=width)
    return out


def _cut(text: str, room: int) -> str:
    return text if len(text) <= room else text[:max(room - 3, 1)] + "..."


def orders(constructs: Sequence[StagedResult]) -> list[str]:
    """What the order of the same steps changes, one sentence per pair of constructs."""
    known = {c.name: c for c in constructs}
    out = []
    for a, b in itertools.combinations(constructs, 2):
        if b.name in a.same_steps_as and b.name in known:
            out.append(f"'{a.name}' and '{b.name}' take the same steps in another order: "
                       + "; ".join(_difference(a, b)) + ".")
    return out


def _difference(a: StagedResult, b: StagedResult) -> Iterator[str]:
    if a.status != Status.HELD or b.status != Status.HELD:
        yield f"{a.status} and {b.status}"
    last = a.last_held, b.last_held
    if last[0] is None or last[1] is None or a.status != b.status:
        return
    for name in last[0].fragments:
        x, y = (s.fragments[name] for s in last if s is not None)
        if x.subsidence_mean_mm is None or y.subsidence_mean_mm is None:
            continue
        yield (f"at the end '{name}' lies at {fixed(x.subsidence_mean_mm, 3)} and "
               f"{fixed(y.subsidence_mean_mm, 3)} mm")
        if step_off(last[0]) is not None:
            yield (f"with a step-off of {number(step_off(last[0]), 3)} and "
                   f"{number(step_off(last[1]), 3)} mm")
    for name, screw in last[0].screws.items():
        other = last[1].screws.get(name)
        if other is not None and screw.tightened_N is not None:
            yield f"'{name}' carries {fixed(screw.force_N, 0)} and {fixed(other.force_N, 0)} N"


def print_stages(constructs: Sequence[StagedResult]) -> None:
    """The stages on standard output."""
    width = min(USUAL, terminal_width())
    print("\n".join([*lines(constructs, width), *wrap(FRAME, width), ""]))


def rows(constructs: Sequence[StagedResult]) -> list[dict[str, Any]]:
    """One row per construct, stage and fragment; forces of screws in columns of their own."""
    names = screw_names(constructs)
    return [_row(c, s, fragment, names) for c in constructs for s in c.stages
            for fragment in s.fragments or ("",)]


def _row(c: StagedResult, s: StageResult, name: str, screws: Sequence[str]) -> dict[str, Any]:
    fragment, cycle = s.fragments.get(name), s.cycle
    row: dict[str, Any] = {
        "construct": c.name, "stage": s.number, "what": ", ".join(s.what), "fragment": name,
        "step_off_max_mm": step_off(s), "gap_max_mm": largest(e.gap_mm for e in s.edges.values()),
        "slip_in_stage_mm": s.slip_mm,
        "worst_member_yield_ratio": largest(s.yield_ratios.values()),
        "fracture_slip_mm": largest(f.slip_mm for f in s.fractures.values()),
        "fracture_opening_mm": largest(f.opening_mm for f in s.fractures.values())}
    if cycle is not None:
        row |= {"cycles": cycle.count, "cycles_limit": cycle.limit, "cycles_slip_mm": cycle.slip_mm,
                "cycles_verdict": cycle.verdict,
                "cycles_last_change_mm": cycle.change_mm[-1] if cycle.change_mm else None,
                "subsidence_loaded_mm": cycle.subsidence_loaded_mm.get(name)}
    for column in COLUMNS:
        if column not in row:
            row[column] = getattr(fragment if hasattr(fragment, column) else s, column, None)
    out = {column: plain(row[column]) for column in COLUMNS}
    return out | {f"screw {n} force_N": s.screws[n].force_N if n in s.screws else None
                  for n in screws}


def as_csv(constructs: Sequence[StagedResult]) -> str:
    """The rows as CSV, with the forces of the screws in the last columns before the label."""
    return table_as_csv(rows(constructs), [*COLUMNS, *(f"screw {n} force_N"
                                                       for n in screw_names(constructs))])


def stage_table(construct: StagedResult) -> Table:
    """The stages of a construct as a table, with the screws next to the movements."""
    names = screw_names((construct,))
    head = ("", "stage", "status", "load\n[N]", "subsid-\nence\n[mm]", "change\n[mm]",
            "step-\noff\n[mm]", "tilt\n[deg]", "slip\n[mm]", "metal\nof yield",
            *(f"{n}\n[N]" for n in names), "residual", "comple-\nmentarity")
    body: list[Sequence[Shown]] = []
    for s in construct.stages:
        worst = s.worst
        below = [s.cycle.words] if s.cycle else []
        below += [f"“{s.escapes}” moves freely"] if s.escapes else []
        below += [s.loosens] if s.loosens else []
        body.append((
            str(s.number), Cell(s.words, "\n".join(below)),
            Cell(s.status, kind="good" if s.held else "bad"), parts.number(s.total_load_N, 0),
            parts.number(worst.subsidence_mean_mm if worst else None, 3),
            parts.number(worst.change_mm if worst else None, 3), parts.number(step_off(s), 3),
            parts.number(worst.tilt_deg if worst else None, 2), parts.number(s.slip_mm, 3),
            parts.share(largest(s.yield_ratios.values())),
            *(parts.number(s.screws[n].force_N if n in s.screws else None, 0) for n in names),
            parts.tiny(s.residual), parts.tiny(s.complementarity)))
    return Table(head, body, (1, 2), "small staged")


def shown_stages(constructs: Sequence[StagedResult]) -> dict[str, Any]:
    """All stages for a page or a notebook: a table per construct, the orders, the frame."""
    return {"constructs": [(c.marked_name, c.status, stage_table(c)) for c in constructs],
            "orders": orders(constructs), "frame": FRAME + (
                f" {BREAKS_RULE}." if any(c.breaks_rule for c in constructs) else "")}
