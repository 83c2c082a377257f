"""Alternatives that change no load, and what counts as the first failing part, are said."""

from __future__ import annotations

from dataclasses import replace

from made_up import comparison, construct

from buttress.report.alternatives import idle_lines, lines, summary
from buttress.results.path import Reserve
from buttress.results.spread import Alternative, ModelSpread


def test_an_alternative_that_leaves_every_load_is_named() -> None:
    """It counted among those "with which the order holds" without a word."""
    made = comparison((construct("a"), construct("b")))
    less = {c.name: replace(c, reserve=Reserve(500.0, 0.5, "gap", None)) for c in made.constructs}
    same = dict(made.own)
    tried = tuple(Alternative(name, "fit", "words", "source", "practice", {}, found)
                  for name, found in (("left low", same), ("gap", less), ("none", {})))
    made = replace(made, alternatives=ModelSpread(tried))
    assert idle_lines(made) == ["no load of the order changes at all with: left low"]
    said = " ".join(lines(made))
    assert "no load of the order changes at all with: left low" in said
    assert "Parts that fail within 5\N{NO-BREAK SPACE}% of load of each other are a tie" in said
    assert summary(made).startswith("verdicts that none of 2 alternatives changes (1 of which changes "
                                    "no load of the order; 1 more cannot be built): order")
    without = replace(made, alternatives=ModelSpread(tried[1:]))
    assert idle_lines(without) == []
    assert summary(without).startswith(
        "verdicts that none of 1 alternative changes (1 more cannot be built): order")
