"""Tables of the report on condyles, contact pressure, grafts, bone and who carries what."""

from __future__ import annotations

from dataclasses import dataclass, replace

from buttress.fe.status import Status
from buttress.report.markup import Shown, Table
from buttress.report.tables import number, share
from buttress.results.records import BoneResult, FragmentResult, GraftResult, LoadResult
from buttress.results.stress import SHARES
from buttress.words import fixed

UNITS = ("Pressure is a node's force over the length that it stands for and the depth of bone "
         "there (under a plate: the plate's width), tightening included. Mean and 95th percentile "
         "are taken over the whole length, open parts at 0: 95 % of the length carries at most "
         "that pressure, and a mean above it says that a few nodes carry most of the force. The "
         "largest is that of one node and depends on the mesh where it lies at the end of a line. "
         "The friction force is the sum of the sizes along the line, whichever way each acts. The "
         "profile along each line is in comparison.json.")

MORE_OF_IT = ("95th", "99th", "at x, y [mm]")
"""Columns of a stress after that of its median."""


@dataclass(frozen=True)
class Folded:
    """A table under a line that opens it, with a note below."""

    title: str
    table: Table
    note: str = ""
    opened: bool = True


def more(load: LoadResult) -> list[Folded]:
    """Tables of one construct under one load that is held; those with nothing in them left out."""
    if load.status != Status.HELD:
        return []
    found = (carriers(load), condyles(load), contacts(load), grafts(load), bone(load),
             stresses(load))
    return [replace(f, title=f"{f.title} at {load.load_words}") for f in found if f.table.rows]


def carriers(load: LoadResult) -> Folded:
    """Sources down, fragments across; only where there is more than one fragment."""
    pieces = load.fragments
    sources = list(dict.fromkeys(s for f in pieces.values() for s in f.forces_N or {}))
    rows = [(s, *(_carried(f, s) for f in pieces.values())) for s in sources]
    return Folded(
        "Who carries each fragment",
        Table(("force from", *pieces), rows if len(pieces) > 1 else ()),
        "Share of the load on the fragment that each source carries, along that load; a negative "
        "one pushes it further. A fragment without load of its own: the size of each force in N.")


def _carried(fragment: FragmentResult, source: str) -> str | None:
    if source not in (fragment.forces_N or {}):
        return None
    if fragment.carried_by is not None:
        return f"{fixed(100.0 * fragment.carried_by[source], 0)} %"
    x, y = (fragment.forces_N or {})[source]
    return f"{(x * x + y * y) ** 0.5:.0f} N"


def condyles(load: LoadResult) -> Folded:
    """Load, subsidence and widening medial and lateral of the midline."""
    rows = [(side, number(c.load_N, 0), number(c.subsidence_mean_mm, 3),
             number(c.subsidence_net_mm, 3), number(c.subsidence_max_mm, 3),
             number(c.widening_mm, 3)) for side, c in load.condyles.items()]
    return Folded(
        "Condyles", Table(("condyle", "load [N]", "subsidence, mean [mm]", "net of intact [mm]",
                           "subsidence, worst [mm]", "widening [mm]"), rows),
        ("A condyle is half of the joint surface, medial or lateral of its middle"
         if len(load.condyles) > 1 else "The condyle is all of the slice's joint surface")
        + ", whatever pieces it consists of; the main table gives the fragment that subsides most. "
        "Both are means over a joint surface relative to the shaft, and they agree where the "
        "fragment is the whole condyle. Load: the joint force on it." + (
            "" if load.widening_mm is None else " Widening: rim away from the middle of the joint; "
            f"together {number(load.widening_mm, 3)} mm."))


def contacts(load: LoadResult) -> Folded:
    """Pressure along fractures, under plates and on the faces of fills."""
    words = {"fracture": "fracture", "plate": "under plate", "graft": "faces of"}
    rows = []
    for name, c in load.contacts.items():
        where = None if c.pressure_max_at_mm is None else (
            f"{number(c.pressure_max_at_mm[0], 0)}, {number(c.pressure_max_at_mm[1], 0)}")
        rows.append((f"{words[c.kind]} {name}", number(c.force_N, 0),
                     number(c.friction_N, 0), number(c.length_mm, 0), share(c.contact_share),
                     number(c.pressure_mean_MPa, 2), number(c.pressure_p95_MPa, 2),
                     number(c.pressure_max_MPa, 2), where))
    return Folded(
        "Contact pressure",
        Table(("along", "normal force [N]", "friction force [N]", "length [mm]", "in contact over",
               "mean [MPa]", "95th percentile [MPa]", "nodal maximum [MPa]",
               "at x, y [mm]"), rows), UNITS)


def grafts(load: LoadResult) -> Folded:
    """Crushing, compression and forces of what fills voids."""
    rows = []
    for name, g in load.grafts.items():
        forces = ", ".join(f"{who} ({number(x, 0)}, {number(y, 0)})"
                           for who, (x, y) in (g.forces_N or {}).items())
        rows.append((name, number(g.crushed_mean_mm, 4), number(g.crushed_max_mm, 4),
                     share(g.at_strength), share(g.compression_mean, 2),
                     share(g.compression_p95, 2), forces or None))
    return Folded(
        "Graft and cement",
        Table(("fill", "crushed, mean [mm]", "largest [mm]", "face at its strength",
               "compressive strain, mean", "95th percentile", "forces on it (x, y) [N]"), rows,
              (0, 6)),
        "Crushed: how far bone has sunk into the face beyond the elastic part. Percentiles are "
        "by volume.")


def bone(load: LoadResult) -> Folded:
    """Strain over yield strain of each piece of bone."""
    rows = [(name, number(b.volume_mm3 / 1000.0, 1), share(b.over_yield, 2),
             number(b.strain_ratio_p95, 2), number(b.strain_ratio_p99, 2))
            for name, b in load.bone.items()]
    return Folded(
        "Bone, piece by piece",
        Table(("piece", "bone [cm³]", "share over yield", "strain / yield, 95th percentile",
               "99th percentile"), rows), opened=False)


def stresses(load: LoadResult) -> Folded:
    """Stress of the cancellous bone and cortex of each piece, and of each fill."""
    rows = []
    for name, b in load.bone.items():
        rows += [_stress(f"{name}, {words}", b, f"{tissue}_", number(b.strain_ratio_p99, 2))
                 for tissue, words in (("core", "cancellous"), ("cortex", "cortex"))
                 if b.more.get(f"{tissue}_von_mises_p50_MPa") is not None]
    rows += [_stress(name, g, "", None) for name, g in load.grafts.items()
             if g.more.get("von_mises_p50_MPa") is not None]
    return Folded(
        "Stress of bone and fills",
        Table(("tissue", "von Mises [MPa], 50th percentile", *MORE_OF_IT,
               "least principal [MPa], 50th percentile", *MORE_OF_IT,
               "strain / yield of the piece, 99th percentile"), rows),
        "Elastic stress of each tissue, tightening included, not cut off at its strength: "
        "cancellous bone and cortex share the strain in the plane, each with its own modulus. 95 % "
        "of the volume has at most that von Mises stress, or is compressed by no more than that "
        "least principal stress (negative is compression). The place is the middle of the 1 % of "
        "the volume where the stress is largest.", opened=False)


def _stress(name: str, of: BoneResult | GraftResult, prefix: str, ratio: Shown
            ) -> tuple[Shown, ...]:
    """A row of the table of stresses."""
    out: list[Shown] = [name]
    for stem in ("von_mises", "least_principal"):
        out += [number(of.more[f"{prefix}{stem}_{part}_MPa"], 3) for part in SHARES]
        x, y = of.more[f"{prefix}{stem}_p99_at_mm"]
        out.append(f"{number(x, 0)}, {number(y, 0)}")
    return (*out, ratio)
