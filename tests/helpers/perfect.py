"""Studies in which nothing hardens: what gives way carries its strength and no more."""

from __future__ import annotations

from buttress.study.loads import HardeningInput
from buttress.study.study import Study


def perfect(study: Study) -> Study:
    """The study with perfect plasticity: its paths have peaks where fragments let go."""
    return study.model_copy(update={"hardening": HardeningInput(bone_share=0.0, metal_share=0.0)})
