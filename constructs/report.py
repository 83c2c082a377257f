"""The report of a comparison: one self-contained page that can be printed.

Everything from a study is escaped, so that names with markup appear as text.
"""

from __future__ import annotations

import base64
from html import escape
from pathlib import Path

from constructs import LABEL
from constructs.figures import stems
from constructs.output import largest
from constructs.results import Comparison, ConstructResult
from constructs.table import HEADER, best_first, capacity_text, cells, ends_text

STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#111;background:#fff;margin:0 auto;max-width:1100px;
padding:0 20px 40px}
h1{font-size:1.7em;margin:.6em 0 .2em}h2{margin-top:1.6em;border-bottom:2px solid #888}
.label{border:2px solid #7a3b00;background:#fff6ea;padding:.5em .8em;font-weight:600}
table{border-collapse:collapse;font-size:.82em;margin:.6em 0}
th,td{border:1px solid #999;padding:.25em .5em;text-align:right;white-space:pre-line}
th:first-child,td:first-child,td:nth-child(3){text-align:left}th{background:#eee}
img{max-width:100%;height:auto}.wide{overflow-x:auto}code{background:#eee;padding:0 .25em}
section{break-inside:avoid-page}@media print{body{max-width:none}a{color:inherit}}
"""

CANNOT = (
    "anything about a patient: scenarios are invented, bone quality is a preset;",
    "what happens out of the plane: one section stands for the whole bone, front and back support "
    "and rotation are missing;",
    "large movements: displacements are small against the parts, a fragment that slides far is "
    "only said to escape;",
    "time: nothing heals, loosens or tires; soft tissue, tendons and meniscus are missing;",
    "breaking: metal bends as a perfectly plastic hinge, bone crushes at screws and contacts, "
    "neither cracks.",
)

ASSUMPTIONS = (
    "Plane stress with the bone's depth at every point: cancellous core and cortex are summed "
    "through the depth.",
    "Fracture faces touch and rub (Coulomb); they do not interlock.",
    "Screws and plates are beams; bone holds a screw across by a bearing stiffness (Vesic) and "
    "along by its thread (shear lag; pull-out after Chapman), each up to a strength.",
    "Strength of cancellous bone follows Linde's law at the density that Morgan's law gives for "
    "its modulus: two sources are mixed.",
    "Capacity is a bracket of limit analysis: without friction and with friction; stepwise "
    "loading tells where equilibrium really ends in this model.",
    "Every value stands with unit, source and status in the data tables of the package.",
)


def write_report(comparison: Comparison, path: Path, figures: list[Path]) -> None:
    """Write the page; ``figures`` are the files drawn for this comparison (PNGs are embedded)."""
    path.write_text(page(comparison, figures), encoding="utf-8")


def page(comparison: Comparison, figures: list[Path]) -> str:
    """The page as text."""
    study = comparison.study
    title = escape(study.title or study.name)
    files = {f.stem: f for f in figures if f.suffix == ".png"}
    named = stems(comparison)
    own: dict[str, list[str]] = {}
    for (_, construct, _), stem in named.items():
        own.setdefault(construct, []).append(stem)
    shared = [s for s in files if not any(s in found for name, found in own.items() if name)]
    parts = [
        f"<h1>{title}</h1>", f'<p class="label">{escape(LABEL)}</p>',
        f"<p>{escape(study.scenario.strip())}</p>",
        "<h2>What this cannot tell you</h2>", _list(CANNOT),
        "<h2>What was asked</h2>",
        f"<p>Loads: {', '.join(f'{x:g} N' for x in study.load.total_N)} of joint force, "
        f"{study.load.medial_share:.0%} of it medial. Step-off limit "
        f"{study.limits.step_off_mm:g} mm.</p>",
        _list([f"{c.name}: {c.note}" if c.note else c.name for c in comparison.constructs]),
        "<h2>Comparison, best first</h2>", _table([HEADER, *cells(comparison)]),
        "<p>Movements in the frame of the shaft, distal and opening positive, zero after the last "
        "tightening; the worst fragment.</p>",
        *(_image(files[s]) for s in shared if s in files)]
    for construct in best_first(comparison.constructs):
        parts.append(_construct(construct, [files[s] for s in own.get(construct.name, ())
                                            if s in files]))
    parts += ["<h2>Assumptions</h2>", _list(ASSUMPTIONS), "<h2>Trust</h2>",
              _table([("quantity", "value"), *((k, _short(v)) for k, v in comparison.trust.items()),
                      *((f"mesh of {k}", _short(v)) for k, v in comparison.mesh.items())]),
              "<h2>How to reproduce</h2>",
              "<p>The exact input lies beside this page: <code>buttress compare study.toml</code>. "
              "Versions: " + escape(_short(comparison.versions)) + ". "
              "<code>buttress verify</code> computes the verification table of this version.</p>",
              f'<p class="label">{escape(LABEL)}</p>']
    return ('<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
            '<meta name="viewport" content="width=device-width">'
            f"<title>{title}</title><style>{STYLE}</style></head><body><main>\n"
            + "\n".join(parts) + "\n</main></body></html>\n")


def _construct(c: ConstructResult, images: list[Path]) -> str:
    rows: list[tuple[str, ...]] = [("load N", "fragment", "force from", "x N", "y N",
                                    "balance error")]
    for load in c.loads:
        for name, f in load.fragments.items():
            if f.forces_N is None:
                rows.append((f"{load.total_load_N:g}", name, load.status, "-", "-", "-"))
                continue
            rows.append((f"{load.total_load_N:g}", name, "load", f"{f.applied_N[0]:.0f}",
                         f"{f.applied_N[1]:.0f}", f"{f.balance_error:.0e}"))
            rows += [("", "", source, f"{x:.0f}", f"{y:.0f}", "")
                     for source, (x, y) in f.forces_N.items()]
    facts = [f"capacity {capacity_text(c)} N, equilibrium ends at {ends_text(c)} N",
             f"first limit: {c.first_limit}", *(f"warning: {w}" for w in c.warnings)]
    facts += [f"lets go: {g.kind} of {g.source} ({g.count})" for g in c.lets_go]
    yielded = largest(x.bone_over_yield for x in c.loads)
    if yielded is not None:
        facts.append(f"bone volume over yield strain, worst load: {100 * yielded:.2g} %")
    return (f"<section><h2>{escape(c.name)}</h2><p>{escape(c.note)}</p>{_list(facts)}"
            + "".join(_image(p) for p in images)
            + "<h3>Who carries the fragment (forces on it; x lateral, y proximal)</h3>"
            + _table(rows) + "</section>")


def _table(rows: list[tuple[str, ...]]) -> str:
    head = "".join(f'<th scope="col">{escape(c)}</th>' for c in rows[0])
    body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>"
                   for row in rows[1:])
    return f'<div class="wide"><table><tr>{head}</tr>{body}</table></div>'


def _list(items: list[str] | tuple[str, ...]) -> str:
    return "<ul>" + "".join(f"<li>{escape(i)}</li>" for i in items) + "</ul>"


def _image(path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode()
    return f'<p><img alt="{escape(path.stem)}" src="data:image/png;base64,{data}"></p>'


def _short(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{k} {_short(v)}" for k, v in value.items())
    return f"{value:.3g}" if isinstance(value, float) else str(value)
