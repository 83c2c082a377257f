import math
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from buttress.fe import verification
from buttress.fe.verification import Case, cases, register


def case(**changes):
    given = {"name": "x", "source": "s", "status": "derived", "quantity": "q", "unit": "mm",
             "reference": 2.0, "tolerance": 0.01, "compute": lambda: 2.0}
    return Case(**{**given, **changes})


@pytest.mark.parametrize(("changes", "value", "passes"), [
    ({}, 2.0199, True), ({}, 2.0201, False), ({}, 1.9801, True), ({}, 1.9799, False),
    ({"reference": -2.0}, -2.0199, True), ({"reference": -2.0}, 2.0, False),
    ({"reference": 0.0}, 0.0099, True), ({"reference": 0.0}, -0.0101, False),
    ({"kind": "at least"}, 1.9799, False), ({"kind": "at least"}, 9.0, True),
    ({"kind": "at most"}, 2.0201, False), ({"kind": "at most"}, -9.0, True),
    ({"reference": -2.0, "kind": "at least"}, -1.9, True),
    ({"reference": -2.0, "kind": "at least"}, -2.1, False),
    ({}, math.nan, False), ({"kind": "at least"}, math.nan, False),
    ({"kind": "at most"}, math.nan, False)])
def test_a_value_passes_within_the_tolerance(changes, value, passes):
    assert case(**changes).passes(value) is passes


def test_every_module_with_cases_is_in_the_table():
    folder = Path(verification.__file__).parent
    made = {p.stem for p in folder.glob("*.py") if "CASES = register(" in p.read_text()}
    assert made == set(verification.MODULES)
    assert len(verification.MODULES) == len(made)
    listed = [case.name for name in verification.MODULES
              for case in import_module(f"buttress.fe.verification.{name}").CASES]
    assert [entry.name for entry in cases()] == listed


def test_the_table_is_complete_and_says_where_each_number_is_from():
    table = cases()
    names = [entry.name for entry in table]
    assert len(set(names)) == len(names)
    assert [entry.name for entry in cases()] == names
    for entry in table:
        assert entry.source
        assert entry.unit
        assert entry.status in ("seen", "memory", "derived", "practice")
        assert entry.tolerance >= 0


def test_a_name_is_used_once():
    first = cases()[0]
    with pytest.raises(ValueError, match="two verification cases"):
        register(first)


def test_the_registry_itself_imports_nothing_heavy():
    code = ("import sys, buttress.fe.verification; "
            "print([m for m in ('numpy', 'scipy', 'buttress.fe.verification.patch') if m in sys.modules])")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize(("name", "reference", "tolerance"), [
    ("shrink fit, lowest pressure", 45.48587, 1e-3),
    ("shrink fit, highest pressure", 45.48587, 1e-3),
    # One node of 16 T6 elements in the contact's half-width.
    ("Cattaneo-Mindlin, stick zone", math.sqrt(1 - 0.288), 1 / 32 / math.sqrt(1 - 0.288))])
def test_contact_cases_have_the_tolerances_that_were_set(name, reference, tolerance):
    [entry] = [entry for entry in cases() if entry.name == name]
    assert entry.reference == pytest.approx(reference, rel=1e-6)
    assert entry.tolerance <= tolerance * (1 + 1e-12)
    assert entry.kind == "equal"
