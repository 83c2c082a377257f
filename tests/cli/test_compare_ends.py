"""How a comparison ends on the command line: what went wrong, in words and as an exit code."""

from __future__ import annotations

from dataclasses import replace

import made_up
import pytest

from buttress.cli.compare import exit_code, tell_warnings, tell_what_went_wrong
from buttress.fe.status import Status
from buttress.results.comparison import Comparison
from buttress.results.stages import StagedResult

LOST = "'raft' was not solved: a worker process died on it"
LAST = "unconverged in the stage 'weight'"


def unconverged() -> Comparison:
    made = made_up.usual()
    first, *more = made.constructs
    loads = (*first.loads[:-1], replace(first.loads[-1], status=Status.UNCONVERGED))
    return replace(made, constructs=(replace(first, loads=loads), *more))


def staged(status: str) -> Comparison:
    return replace(made_up.usual(), stages=(StagedResult("raft", "", status, ()),))


@pytest.mark.parametrize(("made", "code"), [
    (made_up.usual(), 0), (unconverged(), 1), (replace(made_up.usual(), lost=(LOST,)), 1),
    (staged("held"), 0), (staged("no equilibrium in the stage 'weight'"), 0), (staged(LAST), 1)])
def test_only_what_has_no_answer_is_a_failure(made: Comparison, code: int) -> None:
    assert exit_code(made) == code


def test_each_thing_that_went_wrong_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    tell_what_went_wrong(replace(staged(LAST), lost=(LOST,)))
    out, err = capsys.readouterr()
    first, *loads, last = err.splitlines()
    assert (out, first, last) == ("", LOST, f"raft: {LAST}; later stages were not run")
    assert len(loads) == len(made_up.LOADS)
    assert all(line.startswith("nothing: ") and line.endswith("'medial' moves freely")
               for line in loads)


def test_warnings_are_told_with_their_construct(capsys: pytest.CaptureFixture[str]) -> None:
    tell_warnings(made_up.usual())
    assert capsys.readouterr() == ("", "raft: warning: shaft 1: tip beyond the far cortex\n")
