"""The bench comparisons: every test is in the table, and a verdict follows from numbers alone."""

import itertools

import pytest

from buttress.bench.expect import RULES, Claim, Reading, expectations, verdict

#: The bench tests to compare with: a word of the source, and of the figures that must be written.
ROWS = {
    "Zeng": ("0.131", "0.437", "0.842"),
    "Ratcliff": ("4136", "2895"),
    "Zhang": ("strongest of the four",),
    "J Exp Orthop 2020": ("0.89", "0.38", "yield"),
    "Cross": ("0.54", "0.64", "0.48", "1.36", "1.4", "2.4", "2.8"),
    "J Orthop Surg Res 2016": ("0.66", "0.36"),
    "2013;14:120": ("1796", "2276"),
    "2016;17:287": ("no differences in displacement", "more displacement"),
    "BMC Musculoskelet Disord 2022": ("562 +/- 164",),
    "Baumann": ("30 to 40 %", "identical"),
    "J Orthop Traumatol 2013": ("p 0.05", "no significant difference in inferior displacement"),
    "Bioengineering 2025": ("3395", "2766", "7802", "6225"),
    "Ali, Saleh": ("4201", "4150", "4260"),
    "Russell & Leighton": ("less subsidence with cement in one trial, no difference in the others",),
}


@pytest.mark.parametrize("row", ROWS)
def test_every_bench_test_is_in_the_table_with_its_figures(row):
    found = [t for t in expectations() if row in t.source]
    assert 1 <= len(found) <= 2  # some in the front view and in the side view
    for test in found:
        written = " ".join(c.figure for c in test.claims)
        assert all(figure in written for figure in ROWS[row])
        assert test.status in ("seen", "memory")


def test_the_table_holds_nothing_else_and_each_claim_is_complete():
    table = expectations()
    assert len({t.source for t in table}) == len(ROWS)
    assert len({t.name for t in table}) == len(table)
    names = [c.name for t in table for c in t.claims]
    assert len(names) == len(set(names))
    for test in table:
        assert test.study or all(c.not_comparable for c in test.claims)
        assert not test.study or (test.bone in ("foam 15", "foam 20", "soft",
                                                         "dense") and test.assumptions)
        for claim in test.claims:
            assert claim.rule in RULES
            assert claim.figure
            assert claim.rule == "none" or (claim.quantity and claim.of and claim.unit)
        if "synthetic" in test.test:
            assert test.bone.startswith("foam")


def test_bands_are_those_that_were_set():
    factors = {(t.source.split()[0], c.factor) for t in expectations() for c in t.claims if c.factor}
    assert factors == {("Zeng,", 3.0), ("Cross", 2.0)}
    assert [c.name for t in expectations() for c in t.claims if c.rule == "order"] == [
        "stiffness at 1000 N", "load at 2 mm of the locked plate", "failure load of two plates"]


def claim(rule, **more):
    given = {"name": "x", "figure": "f", "rule": rule, "unit": "mm", "quantity": "q", "of": "a",
             "load_N": (500.0, 1500.0), "against": ("b",), "bench": 1.0, "factor": 3.0}
    return Claim(**{**given, **more})


LET_GO, OVER, NOTHING = Reading(None, "unbounded"), Reading(100.0, "over"), Reading(None)
NIL = Reading(None, "nil")


@pytest.mark.parametrize(("rule", "values", "expected"), [
    ("band", (3.0,), "agrees"), ("band", (1 / 3.0001,), "disagrees"), ("band", (3.01,), "disagrees"),
    ("band", (LET_GO,), "disagrees"), ("band", (OVER,), "not comparable"),
    ("order", (3.1,), "agrees"), ("order", (3.2,), "disagrees"),
    ("more", (1.05, 1.0), "agrees"), ("more", (1.04, 1.0), "disagrees"),
    ("more", (LET_GO, 1.0), "agrees"), ("more", (1.0, LET_GO), "disagrees"),
    ("more", (LET_GO, LET_GO), "not comparable"), ("more", (OVER, 50.0), "agrees"),
    ("more", (OVER, 99.0), "not comparable"), ("more", (OVER, OVER), "not comparable"),
    ("more", (50.0, OVER), "disagrees"), ("more", (2.0, 1.0, 1.95), "disagrees"),
    ("less", (1.0, 1.05), "agrees"), ("less", (1.0, 1.04), "disagrees"),
    ("less", (50.0, OVER), "agrees"), ("less", (OVER, 50.0), "disagrees"),
    ("less", (1.0, LET_GO), "agrees"), ("more", (1.0, 0.0), "agrees"),
    ("more", (0.0, 0.0), "not comparable"), ("more", (0.0, 1.0), "disagrees"),
    ("no difference", (0.0, 0.0), "not comparable"), ("no difference", (0.0, 1.0), "disagrees"),
    ("no difference", (NIL, 1.0), "disagrees"), ("order", (NIL,), "disagrees"),
    ("band", (NOTHING,), "not comparable"),
    ("grows", (1.0, 3.2), "agrees"), ("grows", (1.0, 3.1), "disagrees"),
    ("grows", (1.0, LET_GO), "agrees"), ("grows", (LET_GO, LET_GO), "not comparable"),
    ("no difference", (1.0, 1.25), "agrees"), ("no difference", (1.0, 1.26), "disagrees"),
    ("no difference", (1.0, LET_GO), "disagrees"),
    ("no difference", (OVER, OVER), "not comparable"),
    ("no difference", (OVER, 50.0), "disagrees"),
    ("no difference", (OVER, 99.0), "not comparable"),
    ("no difference", (LET_GO, LET_GO), "not comparable")])
def test_a_verdict_follows_from_the_numbers(rule, values, expected):
    readings = tuple(v if isinstance(v, Reading) else Reading(v) for v in values)
    against = tuple("bcd"[:len(readings) - 1])
    assert verdict(claim(rule, against=against), readings)[0] == expected


def test_what_was_called_not_comparable_stays_so_whatever_comes_out():
    told = claim("more", not_comparable="because")
    for a, b in itertools.product((1.0, 2.0), repeat=2):
        assert verdict(told, (Reading(a), Reading(b))) == ("not comparable", "because")
