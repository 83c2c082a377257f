"""The linear program gives up or prints: neither is taken for an answer, nor for output."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from buttress.fe.solve import capacity as module
from buttress.fe.solve.capacity import EITHER, Capacity, capacity
from buttress.fe.verification import hinge

LOAD = np.ones(1)


def given_up(message: str, monkeypatch: pytest.MonkeyPatch) -> Capacity:
    """The capacity where the program of the capacity itself has no answer."""
    real = module._least

    def least(cost: Any, *given: Any) -> Any:
        if cost[-1] == -1.0:
            return SimpleNamespace(status=4, message=message, fun=None, x=None)
        return real(cost, *given)

    monkeypatch.setattr(module, "_least", least)
    return capacity(hinge.bar(built_in=True).problem, LOAD)


def test_a_program_that_gives_up_proves_no_capacity(monkeypatch: pytest.MonkeyPatch) -> None:
    """It read "not limited by this model", which is said of what nothing can break."""
    found = given_up("(HiGHS Status 0: Not Set)", monkeypatch)
    assert found.status.startswith("not found")
    assert found.factor is None
    either = given_up(f"The problem is {EITHER}.", monkeypatch)
    assert either.status == "not limited by this model"


PRINTS = """
import ctypes, sys
from buttress.fe.silence import output_to_errors
with output_to_errors():
    ctypes.CDLL(None).printf(b"a line of C\\n")
    print("a line of Python", flush=True)
print("the document")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no C library by that name")
def test_what_a_library_prints_is_no_part_of_the_output() -> None:
    assert ctypes.CDLL(None).printf
    done = subprocess.run([sys.executable, "-c", PRINTS], capture_output=True, text=True, check=True)
    assert done.stdout == "the document\n"
    assert "a line of C\n" in done.stderr


def test_the_program_runs_with_its_output_turned_away(monkeypatch: pytest.MonkeyPatch,
                                                      capfd: pytest.CaptureFixture[str]) -> None:
    real = module.linprog

    def noisy(*given: Any, **options: Any) -> Any:
        import os

        os.write(1, b"Highs::returnFromOptimizeModel\n")
        return real(*given, **options)

    monkeypatch.setattr(module, "linprog", noisy)
    capacity(hinge.bar(built_in=True).problem, LOAD)
    out, err = capfd.readouterr()
    assert out == ""
    assert "Highs" in err
