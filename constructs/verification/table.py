"""The verification table: every registered case, computed now, next to its published value."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter
from typing import Any

from buttress.fe.threads import one_thread
from buttress.fe.verification import cases
from buttress.report.columns import Row, columns
from buttress.report.verified import counts, counts_words
from buttress.verification import cases as of_constructs
from buttress.words import counted


def verify(say: Callable[[str], None] = lambda text: None, whole: bool = True
              ) -> list[dict[str, Any]]:
    """The verification table: every registered case, computed now.

    ``say``: called with the name of each case. ``whole``: also cases of whole constructs, which
    take most of the time.

    Returns one dict per case: ``name``, ``quantity`` with its ``unit``, ``reference`` (published
    or in closed form) and ``computed``, ``deviation`` and ``tolerance`` (relative to the
    reference, absolute where that is 0), ``passes``, ``source``, ``status`` of the source,
    ``basis`` (closed form, published, self-consistency, common practice), ``seconds``. A case that
    fails says so; it raises nothing.
    """
    out = []
    with one_thread():
        for case in [*cases(), *(of_constructs() if whole else ())]:
            say(case.name)
            start = perf_counter()
            value = float(case.compute())
            out.append({
                "name": case.name, "quantity": case.quantity, "unit": case.unit,
                "reference": case.reference, "computed": value, "kind": case.kind,
                "tolerance": case.tolerance, "deviation": case.deviation(value),
                "passes": bool(case.passes(value)), "source": case.source, "status": case.status,
                "basis": case.basis, "seconds": round(perf_counter() - start, 3)})
    return out


HEAD = ("", "case", "computed", "unit", "asked", "reference", "tolerance", "off by")


def table_lines(results: list[dict[str, Any]]) -> list[str]:
    """The table as text, one line per case, sources below each name."""
    rows: list[Row] = []
    last = ""
    for r in results:
        if r["source"] != last:
            rows += [f"\n{r['source']}  [{r['basis']}, {r['status']}]"]
            last = r["source"]
        rows.append((
            "  ok" if r["passes"] else "  FAIL", f"{r['name']}: {r['quantity']}",
            f"{r['computed']:.7g}", r["unit"], r["kind"], f"{r['reference']:.7g}",
            f"{r['tolerance']:g}", f"{r['deviation']:.2g}"))
    failed = sum(not r["passes"] for r in results)
    return [*columns(HEAD, rows, "<<><<>"),
            f"\n{counted(len(results), 'row')}, {failed} " + ("fails" if failed == 1 else "fail"),
            counts_words(*counts(results))]
