"""Compare fixation constructs for fractures of the proximal tibia (educational).

    import buttress

    comparison = buttress.compare("medial-shear")
    comparison.to_frame()
    buttress.figures.overview(comparison, 1000.0).figure

- Studies: `example`, `example_names`, `example_text`, `load_study`, `parse_study`, `study_from`;
  changed ones: `only`, `varied`, `known_keys`; `write_study`.
- Answers: `compare`, `check`, `run_stages`, `sweep`, `sweep_frame`, `describe`, `batch`, `rank`,
  `Explorer`; `improve` searches placements; `diff` compares two answers.
- Pictures: `figures`.
- How far to trust it: `verify`, `run_bench`, `assumptions`, `LIMITS`, `glossary`, `table_value`,
  `statics`, `extrapolate`.
- `InputError`, `LABEL`.

Wherever a study is expected, a shipped study's name, the path of a study file, or what `varied`
made will do. Units: mm, N, MPa, degrees. Everything is educational and not for planning treatment.
"""

# Names are loaded when they are first asked for, so that `import buttress` costs next to nothing.
# They are imported by string: packages below import `LABEL` from here, and no statement of this
# file may point to them. Type checkers read the same names from `__init__.pyi`.

__version__ = "0.2.0"

LABEL = (
    "Educational, not for planning treatment. Follow local regulations and guidelines, "
    "the implant's instructions and licensed practice."
)

_PLACES = {
    "Explorer": "buttress.sweeps.explore",
    "InputError": "buttress.fe.errors",
    "LIMITS": "buttress.report.assumptions",
    "assumptions": "buttress.report.assumptions",
    "batch": "buttress.sweeps.batch",
    "check": "buttress.rules.check",
    "compare": "buttress.comparison.compare",
    "describe": "buttress.ranking.designs",
    "diff": "buttress.report.diff",
    "example": "buttress.study.read",
    "example_names": "buttress.study.read",
    "example_text": "buttress.study.read",
    "extrapolate": "buttress.fe.richardson",
    "figures": "buttress.draw",
    "glossary": "buttress.report.glossary",
    "improve": "buttress.improving.search",
    "known_keys": "buttress.sweeps.vary",
    "load_study": "buttress.study.read",
    "only": "buttress.study.read",
    "parse_study": "buttress.study.read",
    "rank": "buttress.ranking.rank",
    "run_bench": "buttress.bench.run",
    "run_stages": "buttress.comparison.stages",
    "statics": "buttress.fe.verification",
    "study_from": "buttress.study.read",
    "sweep": "buttress.sweeps.sweep",
    "sweep_frame": "buttress.sweeps.rows",
    "table_value": "buttress.study.tables",
    "varied": "buttress.sweeps.vary",
    "verify": "buttress.verification.table",
    "write_study": "buttress.report.written",
}
"""Where each public name lives."""
_RECORDS = ("Explorer", "batch", "compare", "improve", "rank", "run_stages", "sweep")
"""What makes records, and so loads the writers that show them in a notebook."""

__all__ = ["LABEL", "__version__", *_PLACES]


def __getattr__(name: str) -> object:
    """A public name, loaded when it is first asked for."""
    from importlib import import_module

    if name not in _PLACES:
        from difflib import get_close_matches

        near = get_close_matches(name, _PLACES, n=1)
        raise AttributeError(f"module 'buttress' has no attribute {name!r}"
                             + (f", did you mean {near[0]!r}?" if near else ""))
    if name in _RECORDS:
        import_module("buttress.report.notebook")
    place = import_module(_PLACES[name])
    found = getattr(place, name, None)
    if found is None:    # a module of its package
        found = import_module(f"{_PLACES[name]}.{name}")
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
