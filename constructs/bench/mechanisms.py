"""Which mechanism brings a bench test and the model together: each run without and alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from buttress.bench.run import Say, run_bench
from buttress.study.loads import HardeningInput, PressInput

SMALL = "both, small movements"
USUAL = "both, large movements"
"""What a study has unless it says otherwise."""


def mechanisms() -> dict[str, dict[str, Any]]:
    """The parts of a study that each mechanism replaces, by its name."""
    usual, small = HardeningInput(), PressInput(large_movements="off")
    hardens = {"nothing hardens": HardeningInput(bone_share=0.0, metal_share=0.0),
               "crushed bone": HardeningInput(bone_share=usual.bone_share, metal_share=0.0),
               "metal": HardeningInput(bone_share=0.0, metal_share=usual.metal_share),
               SMALL: usual}
    return {name: {"hardening": slopes, "press": small} for name, slopes in hardens.items()} | {
        USUAL: {"hardening": usual, "press": PressInput(large_movements="auto")}}


def run_mechanisms(say: Say = lambda text: None, only: Sequence[str] = ()
                   ) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The records of the bench tests with the usual mechanisms, and claims × mechanisms.

    Each row of the latter has ``test``, ``claim`` and ``verdicts`` by mechanism. Raises InputError
    as `run_bench` does.
    """
    found = {}
    for name, parts in mechanisms().items():
        say(f"mechanisms: {name}")
        found[name] = run_bench(say, only, parts)
    rows = [{"test": test["name"], "claim": claim["name"],
             "verdicts": {name: records[i]["claims"][j]["verdict"]
                          for name, records in found.items()}}
            for i, test in enumerate(found[USUAL]) for j, claim in enumerate(test["claims"])]
    return found[USUAL], rows
