"""The data tables: complete rows, and the numbers that were read in a source."""

from __future__ import annotations

import re

import pytest

from buttress.fe.errors import InputError
from buttress.report.assumptions import STATUS_WORDS
from buttress.study import tables

EVERY = [(t, r, f) for t in tables.TABLES for r in tables.rows(t) for f in tables.fields(t, r)]


@pytest.mark.parametrize(("table", "row", "field"), EVERY)
def test_every_number_has_unit_source_and_status(table: str, row: str, field: str) -> None:
    q = tables.table_value(table, row, field)
    assert q.unit
    assert len(q.source) > 5
    assert q.status in STATUS_WORDS.keys() - {tables.GIVEN}
    assert q.value > 0


FOUND = re.compile(r"\b(18|19|20)\d\d\b|\bdoi |PMC\d|\bISO \d|\bASTM F\d|Wheeless|the law is in terms")
NAMELESS = ("five studies in", "orthopaedic textbook", "a biomedical engineering handbook")


@pytest.mark.parametrize(("table", "row", "field"), EVERY)
def test_what_was_seen_can_be_found_and_what_has_no_source_says_so(table: str, row: str, field: str
                                                                  ) -> None:
    q = tables.table_value(table, row, field)
    if q.status == "seen":
        assert FOUND.search(q.source), q.source
    assert not any(words in q.source for words in NAMELESS)


def test_every_row_has_a_kind_and_nothing_else_but_numbers() -> None:
    for table in tables.TABLES:
        for row in tables.rows(table):
            assert tables.kind(table, row)
            assert tables.fields(table, row)


@pytest.mark.parametrize(("path", "number", "unit", "status"), [
    ("materials/trabecular law/modulus_factor", 15490, "MPa", "seen"),
    ("materials/trabecular law/modulus_exponent", 1.93, "-", "seen"),
    ("materials/trabecular law/strength_factor", 34.2, "MPa", "seen"),
    ("materials/trabecular law/strength_exponent", 1.56, "-", "seen"),
    ("materials/cortical/shear_strength", 51.6, "MPa", "seen"),
    ("materials/steel/yield_strength", 690, "MPa", "seen"),
    ("materials/titanium/yield_strength", 795, "MPa", "seen"),
    ("screws/HB 6.5/thread", 6.5, "mm", "seen"),
    ("screws/HB 6.5/pitch", 2.75, "mm", "memory"),
    ("screws/HA 3.5/core", 2.4, "mm", "seen"),
    ("plates/3.5 straight/thickness", 3.3, "mm", "practice"),
    ("loads/peak force/walking", 2.61, "body weight", "seen"),
])
def test_numbers_of_the_sources(path: str, number: float, unit: str, status: str) -> None:
    q = tables.table_value(*path.split("/"))
    assert (q.value, q.unit, q.status) == (number, unit, status)


@pytest.mark.parametrize("row", [*tables.rows("screws", "cortical"),
                                 *tables.rows("screws", "cancellous")])
def test_drill_is_between_core_and_thread(row: str) -> None:
    core, pilot, thread = (tables.number("screws", row, f) for f in ("core", "pilot", "thread"))
    assert core <= pilot < thread


@pytest.mark.parametrize(("args", "told"), [
    (("nothing", "steel", "modulus"), "materials"),
    (("materials", "stee", "modulus"), "titanium"),
    (("materials", "steel", "modulu"), "yield_strength"),
    (("materials", "steel", "kind"), "yield_strength"),
])
def test_unknown_names_are_told_with_the_known_ones(args: tuple[str, str, str], told: str) -> None:
    with pytest.raises(InputError, match=told):
        tables.table_value(*args)
