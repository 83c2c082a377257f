"""Rows of the catalogue of what is read off the path of a construct."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

from buttress.results.figures import Level
from buttress.results.path import NOTICED_MM, Derived
from buttress.results.quantity import Quantity
from buttress.results.records import ConstructResult

C = Level.CONSTRUCT


def _path_row(key: str, words: str, definition: str,
              of: Callable[[Derived, tuple[ConstructResult, ...]], Any]) -> Quantity:
    return Quantity(key=key, words=words, unit="N", level=Level.CONSTRUCT, definition=definition,
                    of=of, worse="less", digits=0, csv="=", store="=", json=False, path=True)


def _at_2mm(key: str, c: Derived, every: tuple[ConstructResult, ...]) -> float | None:
    del every
    return c.load_at_N.get(key, {}).get("2")


PATH = (
    _path_row("peak_N", "peak load", "largest joint force that the path carries; a peak "
              "only where peak_status is found, else the last load of the path",
              lambda c, every: c.peak_N),
    Quantity(key="peak_status", words="status of the peak", unit="", level=C, kind=str, csv="=",
             of=lambda c, every: c.peak_status, json=False, store="=", path=True,
             definition="as the status of the peak load: found, beyond the search, not known, or "
             "movements larger than followed"),
    replace(_path_row("stiffness_N_per_mm", "secant stiffness", "secant of the force on what "
                      "the section shows over how far its joint is pressed, at a stated load",
                      lambda c, every: c.stiffness_N_per_mm),
            unit="N/mm", csv="secant_stiffness_N_per_mm", store="secant_stiffness_N_per_mm"),
    *(_path_row(f"load_at_2mm_{key}_N", f"load at 2 mm of {words}",
                f"joint force at 2 mm of {of}; empty: not reached",
                partial(_at_2mm, key))
      for key, words, of in (
          ("subsidence", "subsidence", "mean subsidence of the fragment that subsides most"),
          ("step_off", "step-off", "the largest step-off"))),
    _path_row("first_yield_N", "load at first yield of metal", "joint force at which an outer "
              "fibre of a member first yields; empty: not reached",
              lambda c, every: c.first_yield_N),
    _path_row("first_crushing_N", "load at first local crushing", "joint force at which "
              f"bone, foam or a filling is first crushed by {NOTICED_MM:g} mm at one place, at a "
              "screw or on a face; "
              "empty: not reached",
              lambda c, every: c.first_crushing_N))
"""What is read off the path of a construct, in comparison.csv and, where asked, in a store."""
