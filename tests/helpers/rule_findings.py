"""What the rules of the trade find in a study of one construct "c", for their tests."""

from __future__ import annotations

from buttress.rules.check import Finding, check
from buttress.study.read import Study


def found_in(study: Study) -> dict[str, Finding]:
    """Findings on the construct by their rule, the last where there are more; each is complete."""
    found = [f for f in check(study) if f.construct]
    for finding in found:
        assert finding.construct == "c"
        assert finding.part
        assert finding.message
        assert len(finding.reason) > 30
    return {f.rule: f for f in found}
