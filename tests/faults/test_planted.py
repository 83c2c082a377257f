"""Every stated fault still applies to today's code, and says what should notice it."""

from __future__ import annotations

from collections import Counter

import pytest
from planted import HERE, ROOT, STORED, Fault, faults
from run import PHYSICS, rows_of

FAULTS = faults()


def test_there_are_enough_and_each_has_a_name_of_its_own() -> None:
    assert len(FAULTS) >= 60
    assert [n for n, k in Counter(f.name for f in FAULTS).items() if k > 1] == []


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.name)
def test_it_applies_exactly_once(fault: Fault) -> None:
    content = (ROOT / fault.file).read_text(encoding="utf-8")
    broken = fault.applied(content)
    assert broken != content
    compile(broken, fault.file, "exec")
    assert len(fault.breaks) > 10
    assert fault.tests
    assert set(fault.tests).isdisjoint(STORED)
    for name in fault.tests:
        assert (ROOT / name).is_file(), name


def test_a_text_that_is_gone_or_there_twice_is_refused() -> None:
    fault = Fault("f", "x.py", "a = 1", "a = 2", "", ())
    assert fault.applied("b\na = 1\n") == "b\na = 2\n"
    for content in ("b = 1", "a = 1; a = 1"):
        with pytest.raises(ValueError, match="not once"):
            fault.applied(content)


def test_the_table_shows_none_that_a_test_of_its_physics_did_not_notice() -> None:
    """A fault that is new has no row yet: `run.py --missed` makes it."""
    rows = rows_of((HERE / "noticed.md").read_text(encoding="utf-8"))
    assert len(rows) >= 60
    assert [name for name, row in rows.items()
            if row.split(" | ")[3] != PHYSICS and name in {f.name for f in FAULTS}] == []
