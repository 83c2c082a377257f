"""What quantities of the condyles are made from: each function takes the figures and a side."""

from __future__ import annotations

from buttress.bone.patches import patches
from buttress.fe.arrays import FloatArray
from buttress.results.figures import Figures
from buttress.results.reader import condyle_subsidence


def _condyle(f: Figures, side: str) -> tuple[FloatArray, FloatArray]:
    return condyle_subsidence(f.bone, f.values, side, f.model.hardware.loose)


def load(f: Figures, side: str) -> float:
    """Joint force on the patch of a side [N]."""
    return next(p.share for p in patches(f.bone.study) if p.name == side) * f.total


def mean(f: Figures, side: str) -> float | None:
    """Mean distal movement of a condyle's joint surface [mm]; None where it has none."""
    sunk, share = _condyle(f, side)
    return float(sunk @ share) if sunk.size else None


def largest(f: Figures, side: str) -> float | None:
    """Largest distal movement of a condyle's joint surface [mm]; None where it has none."""
    sunk, _ = _condyle(f, side)
    return float(sunk.max()) if sunk.size else None


def net(f: Figures, side: str) -> float | None:
    """Mean distal movement of a condyle's joint surface less that of the intact bone [mm]."""
    found = mean(f, side)
    return None if found is None else found - f.total * f.reader.intact[f"condyle.{side}"]


def widening(f: Figures, side: str) -> float | None:
    """Outward movement of the rim of a side [mm]; None in a sagittal section."""
    if f.bone.study.section.sagittal:
        return None
    outwards = f.values[f"rim {side} x"] - f.values["rim middle x"]
    return float(-outwards if side == "medial" else outwards)
