"""Links and hinges that carry more beyond their bound, against closed forms and energies."""

import pytest

from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.verification import hardening


@pytest.mark.parametrize("case", hardening.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_the_load_goes_on_rising():
    assert hardening.crushed().peak_status == "still rising"
    assert hardening.bent().points[-1].load_N > 4 * hardening.PLASTIC / hardening.LENGTH


@pytest.mark.parametrize("law", [{"slope": -1.0}, {"slope": 1.0, "friction": 0.3, "partner": 0}])
def test_a_slope_is_refused(law):
    links = LinkList([Link("contact", "a", End(None, None), End(None, None), lower=0.0)])
    with pytest.raises(ValueError, match="slope"):
        links.add(Link("link", "b", End(None, None), End(None, None), **law))
