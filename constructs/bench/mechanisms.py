"""Which mechanism brings a bench test and the model together: each run without and alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from buttress.bench.run import Say, run_bench
from buttress.study.loads import HardeningInput

ALL = "both"


def mechanisms() -> dict[str, HardeningInput]:
    """What hardens, by its name; the last is what a study has unless it says otherwise."""
    usual = HardeningInput()
    return {"nothing hardens": HardeningInput(bone_share=0.0, metal_share=0.0),
            "crushed bone": HardeningInput(bone_share=usual.bone_share, metal_share=0.0),
            "metal": HardeningInput(bone_share=0.0, metal_share=usual.metal_share),
            ALL: usual}


def run_mechanisms(say: Say = lambda text: None, only: Sequence[str] = ()
                   ) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The records of the bench tests with all mechanisms, and claims × mechanisms.

    Each row of the latter has ``test``, ``claim`` and ``verdicts`` by mechanism. Raises InputError
    as `run_bench` does.
    """
    found = {}
    for name, hardening in mechanisms().items():
        say(f"hardening: {name}")
        found[name] = run_bench(say, only, hardening)
    rows = [{"test": test["name"], "claim": claim["name"],
             "verdicts": {name: records[i]["claims"][j]["verdict"]
                          for name, records in found.items()}}
            for i, test in enumerate(found[ALL]) for j, claim in enumerate(test["claims"])]
    return found[ALL], rows
