"""A comparison shared among processes: the same to the last bit, and what is done is kept."""

from __future__ import annotations

import os
import pickle

import numpy as np
import pytest
from small_study import small_study

from buttress import workers
from buttress.comparison.compare import compare
from buttress.comparison.cost import Cost
from buttress.comparison.solving import Part, Solved, parts_of, processes
from buttress.fe.errors import InputError
from buttress.files import plain
from buttress.model.model import Bones, assemble
from buttress.report.folder import document
from buttress.study.read import example

STUDY = small_study("nothing", "lag screws")
SHARING = small_study("lag screws", "antiglide + lag screws", "straight plate")


def test_no_bit_depends_on_which_constructs_were_solved_before() -> None:
    # Their screws have columns in common, whose responses the bone would remember.
    forth, back = Bones(SHARING), Bones(SHARING)
    found = [assemble(forth.of(c), c).problem for c in SHARING.constructs]
    again = [assemble(back.of(c), c).problem for c in reversed(SHARING.constructs)][::-1]
    for one, other in zip(found, again, strict=True):
        assert np.array_equal(one.flexibility, other.flexibility)
        assert np.array_equal(one.measure_links, other.measure_links)


def deadly(part: Part) -> Solved:
    if part.construct.name == "nothing" and not part.soft:
        os._exit(9)
    assert workers._worker is not None
    return workers._worker(part)


def test_a_construct_that_kills_its_workers_is_named_and_the_others_are_kept(
        monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    whole = compare(STUDY, pictures=False)
    monkeypatch.setattr(workers, "_work", deadly)
    said: list[str] = []
    shared = compare(STUDY, said.append, pictures=False, workers=2)
    assert shared.names == ("lag screws",)
    assert shared.lost == (f"'nothing': not solved: {workers.KILLED}",)
    assert document(shared)["lost"] == [*shared.lost]
    assert "a worker died; 'nothing' is solved again" in capsys.readouterr().err
    assert "solved 'lag screws' (" in " ".join(said)
    for one in shared:    # every number, to the last bit
        assert plain(one) == plain(whole[one.name])
    assert plain(shared.soft) == plain(whole.soft)


def test_where_every_worker_dies_that_is_the_message(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = parts_of(STUDY)
    lost = {p.number: Solved(p.number, lost=True) for p in parts}
    monkeypatch.setattr("buttress.comparison.compare._all", lambda *given: lost)
    with pytest.raises(Exception, match="no construct could be solved: 2 workers died"):
        compare(STUDY)


def test_the_first_error_in_the_order_of_the_study_is_raised(monkeypatch: pytest.MonkeyPatch
                                                             ) -> None:
    def local(groups, job, count, stop):
        for group in reversed(groups):
            for part in group:
                yield pickle.loads(pickle.dumps(Solved(part.number, error=InputError(
                    "wrong", key=f"construct.{part.construct.name}"))))

    monkeypatch.setattr("buttress.comparison.compare.local", local)
    with pytest.raises(InputError, match=r"^wrong; key: construct.nothing$"):
        compare(STUDY, workers=2)


def test_as_many_processes_as_cores_and_constructs_where_the_study_is_worth_it(
        monkeypatch: pytest.MonkeyPatch) -> None:
    small, large = parts_of(STUDY), parts_of(example("bicondylar"))
    for cores, one, many in ((1, 1, 1), (3, 1, 3), (64, 1, 5)):
        monkeypatch.setattr("buttress.comparison.solving.cores", lambda cores=cores: cores)
        assert (processes(small, None), processes(large, None)) == (one, many)
    assert (processes(small, 64), processes(large, 3)) == (2, 3)    # as asked, but none idle


def test_the_estimate_is_said_once_and_corrected_where_it_was_wrong() -> None:
    said: list[str] = []
    cost = Cost(10.0, 2, said.append)
    cost.spent(1.0, 30.0)    # 30 s for a tenth, on two workers: too little to tell by
    cost.spent(1.0, 30.0)
    assert said == ["about 2 min to solve all constructs on 2 workers"]
    cost.spent(2.0, 4.0)
    assert said[1:] == ["about 80 s to solve all constructs on 2 workers, judging by the constructs "
                        "so far (2 min was the first estimate)"]
    short: list[str] = []
    Cost(10.0, 1, short.append).spent(2.0, 1.0)
    assert short == []


MEASURED = {
    "medial-shear": [0.9, 1.0, 1.6, 2.4, 2.6, 1.5, 0.8, 0.1, 0.3, 0.3, 0.3, 0.3],
    "lateral-depression": [1.2, 0.7, 0.6, 0.9, 0.9, 1.1, 0.6, 1.0, 1.3, 1.7],
    "bicondylar": [1.1, 3.0, 4.1, 6.4, 6.5],
    "posterior-shear": [0.6, 0.6, 1.7, 1.3, 1.2, 1.5, 1.5, 0.5, 0.1, 0.4, 0.3, 0.2, 0.3, 0.3],
    "bicondylar-detached": [4.3, 3.4, 4.9, 17.2],
    "staged-tightening": [3.5, 2.2, 3.3],
}
"""Seconds of the processor for each part of shipped studies, that of the first with its bone."""


@pytest.mark.parametrize("name", MEASURED)
def test_what_is_said_is_within_half_as_much_again_of_what_it_takes(
        name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the measured times: the last that was said, and all but a first one, too."""
    monkeypatch.setattr("buttress.comparison.cost.LONG", 0.0)
    parts, seconds = parts_of(example(name)), MEASURED[name]
    said: list[str] = []
    bones = len({p.soft for p in parts})
    cost = Cost(bones + sum(p.weight for p in parts), 1, said.append)
    told, soft = [], False
    for part, took in zip(parts, seconds, strict=True):
        new = part.number == 0 or (part.soft and not soft)
        soft = part.soft
        cost.spent(part.weight + new, took, last=part is parts[-1])
        if cost.said is not None:
            told.append(cost.said / sum(seconds))
    assert all(1 / 1.5 < share < 1.5 for share in told), told
    assert len(said) <= 2
