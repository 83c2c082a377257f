"""Counts in words."""

from __future__ import annotations

import pytest

from buttress.words import counted


@pytest.mark.parametrize(("number", "told"), [(0, "0 cases"), (1, "1 case"), (2, "2 cases")])
def test_one_is_singular(number: int, told: str) -> None:
    assert counted(number, "case") == told
