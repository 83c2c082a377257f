"""Springs of a pin in bone: each stated law by hand, and springs in series."""

from __future__ import annotations

import math

import pytest

from buttress.fe.bodies.embed import (
    axial_compliance,
    lateral_compliance,
    medium_axial,
    medium_lateral,
    sheet_line,
)

E, NU, D, EI, EA = 400.0, 0.3, 4.5, 1.2e6, 1.4e6
STRETCH = 400.0 * 300.0


def test_a_buried_beam_rests_on_twice_a_half_space() -> None:
    """Vesic: 0.65 (E d^4 / EI)^(1/12) E / (1 - nu^2) on one side."""
    one = 0.65 * (E * D**4 / EI) ** (1 / 12) * E / (1 - NU**2)
    assert medium_lateral(E, NU, D, EI) == pytest.approx(2 * one)


def test_shear_between_two_circles() -> None:
    """Shear flow q spreads over 2 pi r: the slip is the integral of q / (2 pi r G)."""
    shear, outer, steps = E / (2 * (1 + NU)), 30.0, 20000
    step = (outer - D) / 2 / steps
    slip = sum(step / (2 * math.pi * (D / 2 + (i + 0.5) * step) * shear) for i in range(steps))
    assert medium_axial(E, NU, D, outer) == pytest.approx(1 / slip, rel=1e-6)


def test_link_and_sheet_in_series_are_the_medium() -> None:
    own = medium_lateral(E, NU, D, EI)
    sheet = sheet_line(STRETCH, NU, (own / (4 * EI)) ** 0.25)
    link = lateral_compliance(E, NU, STRETCH, D, EI)
    assert sheet == pytest.approx(4 * STRETCH * (own / (4 * EI)) ** 0.25 / (2.7 * 1.3))
    assert link > 0.0
    assert link + 1 / sheet == pytest.approx(1 / own)
    own = medium_axial(E, NU, D, 30.0)
    link = axial_compliance(E, NU, STRETCH, D, EA, 30.0)
    assert link > 0.0
    assert link + 1 / sheet_line(STRETCH, NU, math.sqrt(own / EA)) == pytest.approx(1 / own)


def test_a_sheet_softer_than_the_medium_needs_no_link() -> None:
    assert lateral_compliance(E, NU, STRETCH / 1e4, D, EI) == 0.0
