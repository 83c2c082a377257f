"""The catalogue: one row per quantity that a comparison or a sweep reports.

Tables on the terminal and on the page, comparison.csv, JSON, the store of a sweep with its
comments, axis labels, limits, the keys of a ranking and the list of output columns are made from
these rows. A new quantity is one row here and one function in `figures` (of an answer), or one
that takes a `ConstructResult` (level construct, field ``of``).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from buttress.results import condyle_figures as condyle
from buttress.results import figures as f
from buttress.results.derived import PATH
from buttress.results.figures import Figures, Level
from buttress.results.order import ranks, reserve
from buttress.results.quantity import COLLECTIONS, EQUILIBRIUM, Limit, Quantity, value_of
from buttress.results.records import (
    NOT_LOADED,
    ConstructResult,
    LoadResult,
    not_loaded,
)
from buttress.results.stress import LEAST, SHARES, VON_MISES
from buttress.results.verdict import verdict

LIMITS = (
    Limit("step-off", "step_off_mm", "step_off_mm", "mm", "mm", "step_off_limit_N"),
    Limit("depression", "depression_mm", "subsidence_max_mm", "mm", "mm", "depression_limit_N"),
    Limit("widening", "widening_mm", "widening_mm", "mm", "mm", "widening_limit_N"),
    Limit("bone over yield", "bone_over_yield_share", "bone_over_yield", "strain / yield strain",
          "of its volume", "bone_limit_N"),
    Limit("metal over yield", "metal_yield_ratio", "yield_ratio", "stress / yield stress",
          "of yield", "metal_limit_N"))
MOVEMENT = ((Level.EDGE, "step_off_mm"), (Level.EDGE, "gap_mm"),
            (Level.FRAGMENT, "subsidence_net_mm"))
"""By the largest of these the joint has moved, which orders constructs."""


def _first(c: ConstructResult, every: tuple[ConstructResult, ...]) -> str | None:
    """Name of the limit that is reached first; where no load is held, the words why."""
    if not_loaded(c):
        return NOT_LOADED[c.status]
    if c.lowest_limit == EQUILIBRIUM and c.equilibrium_ends_N == 0.0:
        return c.first_limit.split(" (")[0]
    return c.lowest_limit


def _limit_row(x: Limit) -> Quantity:
    return Quantity(
        key=x.column, words=f"load at the limit of {x.name}", unit="N", level=Level.CONSTRUCT,
        definition=f"joint force at which the limit of {x.name} is reached; empty: not reached",
        of=lambda c, every: c.limits[x.name].load_N if x.name in c.limits else (
            c.step_off_limit_N if x.name == "step-off" else None),
        worse="less", digits=0, csv="=", json=False)


def _stress_rows(level: Level, tissue: str, of: str, prefix: str, column: str
                 ) -> tuple[Quantity, ...]:
    """Percentiles of both stresses of a tissue, and the places of the 99th.

    ``column``: what the columns of the 95th percentiles begin with.
    """
    rows: list[Quantity] = []
    worse: Literal["more", "less"]
    for stem, name, worse, exceeds in (
            ("von_mises", VON_MISES, "more", "does not exceed"),
            ("least_principal", LEAST, "less", "does not exceed in compression (negative)")):
        rows += [Quantity(
            key=f"{prefix}{stem}_{part}_MPa", unit="MPa", level=level, strain=True, worse=worse,
            words=f"{name} of {of}, {100 * share:.0f} % by volume", digits=2,
            csv=f"{column}{stem}_{part}_MPa" if part == "p95" else "", glossary="stress, strain",
            read=f.of_tissue(tissue, name, part),
            definition=f"elastic {name} that {100 * share:.0f} % of the volume of {of} {exceeds}")
            for part, share in SHARES.items()]
        rows.append(Quantity(
            key=f"{prefix}{stem}_p99_at_mm", unit="mm", level=level, strain=True, kind=tuple,
            words=f"place of the largest {name} of {of}", read=f.of_tissue(tissue, name, "at"),
            definition=f"x and y of the middle of the 1 % of {of} where it is largest in size"))
    return tuple(rows)


C, L, F, E = Level.CONSTRUCT, Level.LOAD, Level.FRAGMENT, Level.EDGE
NAMES = tuple(Quantity(kind=str, csv="=", json=False, always=True, **row) for row in (
    {"key": "construct", "level": C, "words": "construct", "unit": "",
     "of": lambda c, every: c.name, "definition": "name of the construct in the study"},
    {"key": "total_load_N", "level": L, "words": "total joint force", "unit": "N",
     "definition": "total joint force on the plateau"},
    {"key": "load_name", "level": L, "words": "load", "unit": "",
     "definition": "name of an activity or of a mass on the ground; empty: a load given in N"},
    {"key": "fragment", "level": F, "words": "fragment", "unit": "",
     "definition": "name of the fragment in the study"}))
"""What a row of comparison.csv is of."""
CATALOGUE: tuple[Quantity, ...] = (
    *NAMES,
    Quantity(key="status", words="status", unit="", level=L, kind=str, csv="=", always=True,
             read=f.of_answer("status"), store="=",
             definition="held, no equilibrium or unconverged", glossary="no equilibrium"),
    Quantity(key="verdict", words="verdict", unit="", level=L, kind=str, csv="=", always=True,
             definition="within all limits, only with friction, over a limit: which, fails, cannot "
                        "be tightened or not known"),
    Quantity(key="subsidence_mean_mm", words="mean subsidence", unit="mm", level=F,
             axis="mean subsidence of the worst fragment", read=f.subsidence_mean, worse="more",
             header="subsidence|mean", csv="=", store="=", glossary="subsidence",
             definition="mean over the length of a fragment's joint surface, distal positive"),
    Quantity(key="subsidence_max_mm", words="largest subsidence", unit="mm", level=F,
             read=f.subsidence_max, at=f.lowest_point, worse="more", csv="=", store="=",
             glossary="subsidence", definition="worst node of a fragment's joint surface"),
    Quantity(key="subsidence_net_mm", words="mean subsidence, net of the intact bone", unit="mm",
             level=F, read=f.subsidence_net, worse="more", header="net of|intact", csv="=",
             store="=", glossary="subsidence", definition="mean less that of the intact bone"),
    Quantity(key="step_off_mm", words="step-off", unit="mm", level=E, read=f.step_off, at=f.lips,
             worse="more", header="step-off", csv="step_off_max_mm", store="=",
             glossary="step-off",
             definition="movement of a fracture's lips across the joint line, unsigned"),
    Quantity(key="gap_mm", words="gap", unit="mm", level=E, read=f.gap, at=f.lips, worse="more",
             header="gap", csv="gap_max_mm", store="=", glossary="gap",
             definition="movement of a fracture's lips along the joint line, opening positive"),
    Quantity(key="tilt_deg", words="tilt", unit="deg", level=F, read=f.tilt, worse="size",
             digits=2, header="tilt", csv="=", store="=", glossary="tilt",
             definition="least-squares rotation of a fragment, positive where its lateral "
                        "(posterior) end rises"),
    Quantity(key="slip_max_mm", words="slip", unit="mm", level=Level.FRACTURE, read=f.slip,
             worse="more", csv="=", definition="largest slip along a fracture"),
    Quantity(key="opening_max_mm", words="opening", unit="mm", level=Level.FRACTURE,
             read=f.opening, worse="more", csv="=", definition="largest opening along a fracture"),
    Quantity(key="slip_beyond_element", words="slip beyond an element", unit="-",
             level=Level.FRACTURE, read=f.slip_beyond_element, kind=bool,
             definition="whether slip exceeds the element size, which questions small slip"),
    Quantity(key="widening_mm", words="widening of the plateau", unit="mm", level=L,
             read=f.plateau_widening, at=f.wider_rim, worse="more", csv="=", store="=",
             glossary="condylar widening", definition="by how much the plateau grows wider"),
    Quantity(key="stiffness_N_per_mm", words="stiffness", unit="N/mm", level=L, read=f.stiffness,
             worse="less", digits=0, csv="=", definition="joint force over the mean displacement "
             "of the contact patches along it, the work-conjugate one"),
    Quantity(key="capacity_lower_N", words="capacity, lower bound", unit="N", level=C,
             of=lambda c, every: c.capacity_N[0], worse="less", digits=0, csv="=", store="=",
             json=False, glossary="holding capacity",
             definition="limit load without friction; empty: not limited by this model"),
    Quantity(key="capacity_upper_N", words="capacity, upper bound", unit="N", level=C,
             of=lambda c, every: c.capacity_N[1], worse="less", digits=0, csv="=", store="=",
             json=False, glossary="holding capacity",
             definition="limit load with friction; empty: not limited by this model"),
    Quantity(key="capacity_status", words="status of the capacity", unit="", level=C, kind=str,
             of=lambda c, every: c.capacity_status, csv="=", store="=", json=False,
             glossary="limit analysis", definition="what limit analysis says"),
    Quantity(key="links", words="links", unit="-", level=C, kind=int, of=lambda c, every: c.links,
             store="=", json=False, definition="links of the condensed problem"),
    Quantity(key="warnings", words="warnings", unit="-", level=C, kind=int, store="=", json=False,
             definition="warnings of the model builder"),
    Quantity(key="rules_broken_count", words="rules broken", unit="-", level=C, kind=int,
             store="=", json=False, definition="rules of the trade that are broken"),
    Quantity(key="rules_broken", words="rules broken", unit="", level=C, kind=str, store="=",
             json=False, definition='PART: RULE of each, "; " between them; empty: none'),
    Quantity(key="tightening", words="tightening", unit="", level=C, kind=str, store="=",
             json=False, definition="held, strips: SCREW, lets go: PIECE, no equilibrium or not "
             "converged; empty: nothing is tightened"),
    Quantity(key="equilibrium_ends_N", words="load above which it fails", unit="N", level=C,
             of=lambda c, every: c.equilibrium_ends_N, worse="less", digits=0, csv="=", json=False,
             glossary="no equilibrium",
             definition="largest joint force on the path of slow pressing, at its peak or at its "
             "end (see ends_status); empty: not known, or beyond the range that is pressed"),
    Quantity(key="ends_status", words="status of that load", unit="", level=C, kind=str,
             of=lambda c, every: c.ends_status, csv="=", json=False,
             definition="whether that load is a peak (found), lies beyond the search (the range "
             "that is pressed), is not known, or the path ends while the load rises (movements "
             "larger than followed)"),
    Quantity(key="known_to_N", words="load known to be carried", unit="N", level=C, csv="=",
             of=lambda c, every: c.known_to_N, worse="less", digits=0, json=False,
             definition="largest joint force known to be carried"),
    Quantity(key="rank", words="rank", unit="", level=C, kind=str, csv="=", json=False,
             of=lambda c, every: ranks(every).get(c.name),
             definition="place among the constructs of the study; a range where the answer is "
             "not known; empty: a bonded twin, or nothing is fractured"),
    Quantity(key="reserve_N", words="load by which constructs are ordered", unit="N", level=C,
             of=lambda c, every: reserve(c).load_N, worse="less", digits=0, csv="=", json=False,
             store="=", path=True,
             definition="joint force by which constructs are ordered"),
    Quantity(key="reserve_is", words="kind of that load", unit="", level=C, kind=str, csv="=",
             of=lambda c, every: reserve(c).kind, json=False, store="=", path=True,
             definition="what that load is: joint moved, peak or at least (a lower bound)"),
    Quantity(key="reserve_movement_mm", words="movement that orders constructs", unit="mm", level=C,
             of=lambda c, every: c.reserve.movement_mm, csv="=", json=False,
             definition="movement of the joint by which constructs are ordered: limits.movement_mm "
             "of the study"),
    *PATH,
    Quantity(key="verdict", words="verdict", unit="", level=C, kind=str, of=verdict,
             definition="what carries, what fails first and what it depends on, in one sentence"),
    *(_limit_row(x) for x in LIMITS),
    Quantity(key="first_limit", words="first limit", unit="", level=C, kind=str, of=_first,
             csv="=", json=False, definition="limit that is reached first as the load rises"),
    Quantity(key="bone_over_yield", words="bone over yield", unit="-", level=L, strain=True,
             read=f.of_bone(0), worse="more", digits=2, style="percent", csv="=", store="=",
             glossary="yield",
             definition="share of the bone's volume over its yield strain"),
    Quantity(key="strain_ratio_p95", words="95th percentile of strain over yield strain",
             unit="-", level=L, strain=True, read=f.of_bone(1), worse="more",
             definition="95th percentile by volume of strain over yield strain"),
    Quantity(key="strain_ratio_p99", words="99th percentile of strain over yield strain",
             unit="-", level=L, strain=True, read=f.of_bone(2), worse="more",
             definition="99th percentile by volume of strain over yield strain"),
    Quantity(key="von_mises_MPa", words="largest stress", axis="largest {} stress", unit="MPa",
             level=Level.PART, read=f.von_mises, worse="more", digits=0, store="{}_stress_MPa",
             glossary="stress, strain",
             definition="largest von Mises stress of the outer fibres of a {}"),
    Quantity(key="yield_ratio", words="largest stress / yield", axis="largest {} stress / yield",
             unit="-", level=Level.PART, read=f.yield_ratio, at=f.most_stressed, worse="more",
             digits=0, style="percent", header="metal|of yield",
             csv="worst_member_yield_ratio", store="{}_yield_ratio", glossary="yield",
             definition="largest von Mises stress of a {} over its yield strength"),
    Quantity(key="axial_N", words="largest axial force", unit="N", level=Level.PART, read=f.axial,
             worse="size", digits=0, definition="axial force of largest size in a member"),
    Quantity(key="hinges", words="hinges that turn", unit="-", level=Level.PART, read=f.hinges,
             kind=int, worse="more", digits=0, glossary="plastic hinge",
             definition="plastic hinges of a member that have rotated"),
    Quantity(key="stations_at_capacity", words="screw stations at capacity", unit="-", level=L,
             read=f.stations, kind=int, worse="more", digits=0, csv="=", store="=",
             glossary="pull-out",
             definition="screw stations whose bearing or thread is at its strength"),
    Quantity(key="applied_x_N", words="load on the fragment along x", unit="N", level=F,
             always=True, digits=0, csv="=", json=False,
             definition="joint force on a fragment towards +x"),
    Quantity(key="applied_y_N", words="load on the fragment along y", unit="N", level=F,
             always=True, digits=0, csv="=", json=False,
             definition="joint force on a fragment, proximal positive"),
    Quantity(key="balance_error", words="balance error", unit="-", level=F, read=f.balance_error,
             worse="more", style="power", csv="=", glossary="free body",
             definition="force that the forces on a fragment leave unbalanced over the total "
             "load, moments over load times drawn width"),
    Quantity(key="residual", words="residual", unit="-", level=L, read=f.of_answer("residual"),
             worse="more", style="power", csv="=", store="=", glossary="residual",
             definition="equilibrium error over the load"),
    Quantity(key="complementarity", words="complementarity error", unit="-", level=L,
             read=f.of_answer("complementarity"), worse="more", style="power", csv="=", store="=",
             definition="complementarity error over the load"),
    Quantity(key="method", words="method", unit="", level=L, read=f.of_answer("method"), kind=str,
             csv="=", store="=", always=True, definition="how the answer was found"),
    Quantity(key="steps", words="steps", unit="-", level=L, read=f.of_answer("steps"), kind=int,
             always=True, digits=0, definition="steps of the solver"),
    Quantity(key="escapes", words="what moves freely", unit="", level=L, read=f.who_escapes,
             kind=str, store="=", always=True, glossary="no equilibrium",
             definition="failure mechanism: the fragment that moves freely"),
    Quantity(key="volume_mm3", words="volume", unit="mm3", level=Level.PIECE, read=f.volume,
             always=True, digits=0, definition="volume of a piece of bone"),
    Quantity(key="over_yield", words="bone over yield", unit="-", level=Level.PIECE, strain=True,
             read=f.of_bone(0), worse="more", digits=2, style="percent",
             csv="fragment_over_yield", glossary="yield",
             definition="share of a piece's volume over its yield strain"),
    Quantity(key="strain_ratio_p95", words="95th percentile of strain over yield strain",
             unit="-", level=Level.PIECE, strain=True, read=f.of_bone(1), worse="more",
             csv="fragment_strain_ratio_p95",
             definition="95th percentile by volume of a piece's strain over yield strain"),
    Quantity(key="strain_ratio_p99", words="99th percentile of strain over yield strain",
             unit="-", level=Level.PIECE, strain=True, read=f.of_bone(2), worse="more",
             definition="99th percentile by volume of a piece's strain over yield strain"),
    Quantity(key="carried_most_by", words="what carries most", unit="", level=F, kind=str,
             csv="=", json=False,
             glossary="carried share",
             definition="fracture, plate or screw that carries most of a fragment's own load"),
    Quantity(key="carried_most_share", words="largest carried share", unit="-", level=F,
             csv="=", json=False, digits=0,
             style="percent", glossary="carried share",
             definition="share of a fragment's own load that this source carries"),
    Quantity(key="load_N", words="load on the condyle", unit="N", level=Level.CONDYLE,
             read=condyle.load, always=True, digits=0, definition="joint force on a condyle"),
    Quantity(key="subsidence_mean_mm", words="mean subsidence of the {} condyle", unit="mm",
             level=Level.CONDYLE, read=condyle.mean, worse="more", glossary="subsidence",
             csv="{}_subsidence_mean_mm",
             definition="mean over the joint surface of the {} condyle, whatever its pieces"),
    Quantity(key="subsidence_max_mm", words="largest subsidence of the {} condyle", unit="mm",
             level=Level.CONDYLE, read=condyle.largest, worse="more", glossary="subsidence",
             definition="worst node of the joint surface of a condyle"),
    Quantity(key="subsidence_net_mm", words="mean subsidence of the {} condyle, net", unit="mm",
             level=Level.CONDYLE, read=condyle.net, worse="more", glossary="subsidence",
             definition="mean of a condyle less that of the intact bone"),
    Quantity(key="widening_mm", words="widening on the {} side", unit="mm", level=Level.CONDYLE,
             read=condyle.widening, worse="more", csv="{}_widening_mm",
             glossary="condylar widening",
             definition="how far the rim of the {} condyle moves outwards from the midline"),
    *(Quantity(key=key, words=words, unit=unit, level=Level.CONTACT, worse="more", csv=csv,
               read=f.of_record(Level.CONTACT, key), glossary="contact pressure",
               definition=definition)
      for key, words, unit, csv, definition in (
          ("force_N", "normal force", "N", "", "sum of the normal forces along a contact"),
          ("friction_N", "friction force", "N", "", "sum of the sizes of the friction forces"),
          ("length_mm", "length", "mm", "", "length of a line of contact"),
          ("contact_share", "share in contact", "-", "", "share of that length in contact"),
          ("pressure_mean_MPa", "mean pressure", "MPa", "", "mean over all of the length"),
          ("pressure_p95_MPa", "95th percentile of pressure", "MPa", "{}_pressure_p95_MPa",
           "95th percentile of contact pressure over the length of a {}, open parts at 0"),
          ("pressure_max_MPa", "nodal maximum of pressure", "MPa", "",
           "largest pressure of a node, which may depend on the mesh"))),
    *(Quantity(key=key, words=words, unit=unit, level=Level.GRAFT, worse="more", csv=csv,
               read=f.of_record(Level.GRAFT, key), glossary="crushing of graft",
               definition=definition)
      for key, words, unit, csv, definition in (
          ("crushed_mean_mm", "mean crushing", "mm", "",
           "mean depth by which the faces of a graft are crushed"),
          ("crushed_max_mm", "largest crushing", "mm", "graft_crushed_max_mm",
           "largest depth by which a graft's faces are crushed"),
          ("at_strength", "share at its strength", "-", "graft_at_strength",
           "share of a graft's faces that carries the crushing strength"),
          ("compression_mean", "mean compression", "-", "",
           "largest compressive strain, mean by volume"),
          ("compression_p95", "95th percentile of compression", "-", "",
           "largest compressive strain, 95th percentile by volume"))),
    *_stress_rows(Level.PIECE, "core", "a piece's cancellous bone", "core_", "fragment_core_"),
    *_stress_rows(Level.PIECE, "cortex", "a piece's cortex", "cortex_", "fragment_cortex_"),
    *_stress_rows(Level.GRAFT, "fill", "a graft", "", "graft_"),
    Quantity(key="twin_of", words="twin of", unit="", level=C, kind=str, csv="=", json=False,
             of=lambda c, every: c.twin_of, glossary="bonded twin",
             definition="construct whose bonded twin this is"),
    Quantity(key="rule_findings", words="rules of the trade that it breaks", unit="", level=C,
             kind=str, csv="=", json=False, of=lambda c, every: "; ".join(c.rule_findings) or None,
             definition='PART: what is found of each rule that it breaks, "; " between them; '
                        "empty: none"),
)
"""All quantities, in the order of the columns of comparison.csv."""


def quantities(level: Level) -> Iterator[Quantity]:
    """The rows of a level."""
    return (q for q in CATALOGUE if q.level is level)


def quantity(level: Level, key: str) -> Quantity:
    """The row of a key."""
    return next(q for q in quantities(level) if q.key == key)


def by_column(column: str) -> tuple[Quantity, str] | None:
    """The row of a column of the store or of comparison.csv, and what the column is of."""
    for table in ("store", "csv"):
        for q in CATALOGUE:
            if column in (columns := q.columns(getattr(q, table))):
                return q, columns[column]
    return None


def limited(limit: Limit) -> Quantity:
    """The quantity that a limit refers to."""
    return next(q for q in CATALOGUE if q.key == limit.quantity and q.read and q.worse)


def read_level(figures: Figures, level: Level, place: str) -> dict[str, Any]:
    """All quantities of a level at one place of an answer, by key."""
    return {q.key: q.value(figures, place) for q in quantities(level) if q.json and q.read}


def construct_values(c: ConstructResult, every: tuple[ConstructResult, ...]) -> dict[str, Any]:
    """Quantities of a construct that its record does not hold as fields, by key."""
    return {q.key: q.of(c, every) for q in quantities(C) if q.json and q.of is not None}


def worst_fragment(load: LoadResult) -> str | None:
    """The fragment that subsides most; None where none has a joint surface or is held."""
    sunk = {k: v.subsidence_mean_mm for k, v in load.fragments.items()
            if v.subsidence_mean_mm is not None}
    return max(sunk, key=lambda k: sunk[k]) if sunk else None


def in_row(q: Quantity, load: LoadResult, fragment: str | None, of: str = "") -> Any:
    """A quantity of an answer as one row of a table has it.

    Of the fragment of the row; elsewhere the worst of all places, or of those that a column is
    ``of`` (a side, a kind of contact).
    """
    if q.level is L:
        return value_of(load, q.key)
    found = getattr(load, COLLECTIONS[q.level])
    if q.level in (F, Level.PIECE):
        return value_of(found.get(fragment), q.key)
    if q.level is Level.CONDYLE:
        return value_of(found.get(of), q.key)
    return q.worst(value_of(x, q.key) for x in found.values()
                   if not of or q.level is Level.GRAFT or x.kind == of)


def headed(constructs: bool = False) -> list[Quantity]:
    """Quantities with a column in the tables of the terminal and the page: of an answer, or of a
    construct."""
    return [q for q in CATALOGUE if q.header and (q.level is C) is constructs]
