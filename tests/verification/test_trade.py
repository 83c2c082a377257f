"""Facts of the trade beside the tables and the rules: each holds, and a rule that is lost shows."""

from __future__ import annotations

import pytest

from buttress.rules.check import Finding
from buttress.verification import trade


@pytest.mark.parametrize("case", trade.CASES, ids=lambda c: c.name)
def test_each_fact_holds_and_is_marked_as_practice(case) -> None:
    assert case.passes(case.compute())
    assert (case.basis, case.status) == ("common practice", "practice")
    assert "no source" in case.source


@pytest.mark.parametrize("name", trade.RULES)
def test_a_rule_that_is_silent_or_speaks_always_is_noticed(name: str,
                                                            monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trade, "check", lambda study: [])
    assert trade.kept(name) == 0.0
    always = Finding(construct="c", part="p", level="warning", rule=trade.RULES[name][0],
                     message="m", reason="r")
    monkeypatch.setattr(trade, "check", lambda study: [always])
    assert trade.kept(name) == 0.0
