"""Which mechanism brings a bench test and the model together: each run without and alone.

To the mechanisms of the model as it is are added, one at a time, those that no study has unless it
says so: what fits less than perfectly, and what loses strength beyond its peak. They are the rows
of these groups in `data/alternatives.toml`, all of them, with the values there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from buttress.bench.run import Say, chosen, run_test, study_of
from buttress.ranking.alternatives import changed, shipped
from buttress.study.loads import HardeningInput, PressInput
from buttress.study.study import Study
from buttress.sweeps.vary import Varier

SMALL = "both, small movements"
USUAL = "both, large movements"
"""What a study has unless it says otherwise."""
ADDED = ("fit of the fracture", "fit of plates", "beyond the peak")
"""Groups of alternatives that are added one at a time."""

Change = Callable[[Study], Study | None]
"""A study with another mechanism; None where it would be the same."""


def added() -> dict[str, str]:
    """What is added to the model as it is, in words, by its name."""
    return {name: row["words"] for name, row in shipped().items() if row["group"] in ADDED}


def mechanisms() -> dict[str, Change]:
    """How each mechanism, by its name, changes a study; "both, large movements" does not."""
    usual, small = HardeningInput(), PressInput(large_movements="off")
    hardens = {"nothing hardens": HardeningInput(bone_share=0.0, metal_share=0.0),
               "crushed bone": HardeningInput(bone_share=usual.bone_share, metal_share=0.0),
               "metal": HardeningInput(bone_share=0.0, metal_share=usual.metal_share),
               SMALL: usual}
    return {name: _parts(hardening=slopes, press=small) for name, slopes in hardens.items()} | {
        USUAL: lambda study: None} | {name: _alternative(name) for name in added()}


def _parts(**parts: Any) -> Change:
    return lambda study: study.model_copy(update=parts)


def _alternative(name: str) -> Change:
    def change(study: Study) -> Study | None:
        found = changed(study, Varier(study), shipped()[name])
        return None if isinstance(found, str) else found[1].study

    return change


def run_mechanisms(say: Say = lambda text: None, only: Sequence[str] = ()
                   ) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The records of the bench tests with the usual mechanisms, and claims × mechanisms.

    The latter has the name of the model as it is (``usual``), what is ``added`` to it one at a
    time (words by name), and ``claims``: rows with ``test``, ``claim``, ``bench``, ``unit`` and, by
    mechanism, ``verdicts`` and ``computed`` (figures as in the records). Raises InputError as
    `run_bench` does.
    """
    tests, found = chosen(only), dict[str, list[dict[str, Any]]]()
    say(f"mechanisms: {USUAL}")
    usual = [run_test(test, say) for test in tests]
    for name, change in mechanisms().items():
        if name != USUAL:
            say(f"mechanisms: {name}")
        found[name] = []
        for test, record in zip(tests, usual, strict=True):
            study = change(study_of(test)) if test.study else None
            found[name].append(record if study is None else run_test(test, say, study))
    rows = [{"test": test["name"], "claim": claim["name"], "bench": claim["bench"],
             "unit": claim["unit"],
             **{key: {name: records[i]["claims"][j][part] for name, records in found.items()}
                for key, part in (("verdicts", "verdict"), ("computed", "computed"))}}
            for i, test in enumerate(usual) for j, claim in enumerate(test["claims"])]
    return usual, {"usual": USUAL, "added": added(), "claims": rows}
