"""The part of a study file on the bone: its section, fractures, fragments and voids.

One frozen model per table of the TOML file, with defaults and limits. Every dimensional key ends
in its unit.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, PrivateAttr, ValidationInfo, model_validator

from buttress.study import tables
from buttress.study.checked import (
    MOST,
    Checked,
    Name,
    OneOf,
    Point,
    Within,
    distinct_points,
    refuse,
)
from buttress.study.map import MapInput, Sha256, folder_of, outline, told
from buttress.study.view import Knee, View

if TYPE_CHECKING:
    from buttress.study.outline import Drawn

Depth = Annotated[float, Within(-300, 0, "mm")]  # a height y below the joint line
Thickness = Annotated[float, Within(3, 90, "mm")]  # front to back


Side = Literal["medial", "lateral", "anterior", "posterior"]
SIDES: dict[str, tuple[Side, Side]] = {"coronal": ("medial", "lateral"),
                                       "sagittal": ("anterior", "posterior")}
"""Names of the surfaces of a section at -x and at +x, by its plane."""
BONES = ("dense", "soft", "foam")
"""Presets of the bone, and rigid foam."""
QUALITY = ("bone", "foam_grade", "modulus_scale", "map")
"""Keys of `[section]` on which its shape does not depend."""
SLICE = ("condyle", "slope_deg", "slice_mm", "shaft_offset_mm")
"""Keys of `[section]` that only a sagittal section has."""


def listed(path: str) -> Any:
    """A default from the data tables (table.row.field), read when needed, not on import."""
    table, row, field = path.split(".")
    return Field(default_factory=lambda: tables.number(table, row, field))


class SectionInput(Checked):
    """`[section]`: size of the bone and its quality. All keys have defaults.

    Widths are those of the whole bone from medial to lateral, depths from front to back. A
    *sagittal* section is a slice of one ``condyle``, from the middle of the bone to its outer wall
    (``slice_mm`` deep at the plateau, by default half the width), whose joint line falls to the
    back by ``slope_deg`` (posterior slope, from the perpendicular to the long axis) and whose shaft
    axis lies ``shaft_offset_mm`` anterior to the middle of the plateau.

    ``side`` is the knee that is drawn, a right one unless given. Pictures show a coronal section
    from the front: lateral of a right tibia is on the viewer's left. It changes no number, and in
    files x points lateral (posterior in a sagittal section) for either knee.

    ``outline``: "anatomical", with eminence, concave medial plateau and uneven flares (see
    `buttress.study.anatomical`), or "simple", a flare under a straight joint line, which foam has
    unless it is given. None where an outline is read from a file.
    ``plane_state`` and ``side_plates`` are choices of the model, not of the bone: whether anything
    strains out of the plane, and whether the cortex in front and behind shares the strain of the
    core or is only a rim in the plane.

    ``outline_file``: an outline in the study's folder that replaces the drawn sizes (see
    `buttress.study.outline`), simplified by up to ``outline_smoothing_mm``; depths out of
    the plane are still those of the keys. ``map``: the bone's modulus from a file.
    """

    plane: Literal["coronal", "sagittal"] = "coronal"
    condyle: Literal["medial", "lateral"] | None = None
    slope_deg: Annotated[float, Within(-11, 11, "deg")] | None = None
    slice_mm: Annotated[float, Within(8, 60, "mm")] | None = None
    shaft_offset_mm: Annotated[float, Within(-30, 30, "mm")] | None = None
    width_mm: Annotated[float, Within(40, 120, "mm")] = listed("anatomy.section.width")
    depth_mm: Annotated[float, Within(25, 90, "mm")] = listed("anatomy.section.depth")
    shaft_width_mm: Annotated[float, Within(12, 60, "mm")] = listed("anatomy.section.shaft_width")
    shaft_depth_mm: Annotated[float, Within(12, 60, "mm")] = listed("anatomy.section.shaft_depth")
    height_mm: Annotated[float, Within(80, 300, "mm")] = listed("anatomy.section.height")
    metaphyseal_cortex_mm: Annotated[float, Within(0.3, 8, "mm")] = listed(
        "anatomy.section.metaphyseal_cortex")
    shaft_cortex_mm: Annotated[float, Within(0.5, 12, "mm")] = listed(
        "anatomy.section.shaft_cortex")
    subchondral_mm: Annotated[float, Within(0, 6, "mm")] = listed("anatomy.section.subchondral")
    bone: Annotated[str, OneOf(lambda: BONES, "bone", "bone")] = "dense"
    foam_grade: Literal[10, 15, 20] = 15
    modulus_scale: Annotated[float, Within(0.05, 20)] = 1.0
    cortex_scale: Annotated[float, Within(0.1, 5)] = 1.0
    plane_state: Literal["plane stress", "plane strain"] = "plane stress"
    side_plates: bool = True
    side: Knee = "right"
    reference_band_mm: tuple[Depth, Depth] | None = None
    outline: Literal["simple", "anatomical"] | None = None
    outline_file: str | None = None
    outline_sha256: Sha256 | None = None
    outline_smoothing_mm: Annotated[float, Within(0.01, 3, "mm")] = 0.05
    map: MapInput | None = None

    _folder: Path | None = PrivateAttr(None)
    _drawn: Any = PrivateAttr(None)   # buttress.study.outline.Drawn

    @model_validator(mode="after")
    def _consistent(self) -> SectionInput:
        for shaft, plateau in (("shaft_width_mm", "width_mm"), ("shaft_depth_mm", "depth_mm")):
            if getattr(self, shaft) > getattr(self, plateau):
                refuse("the shaft is larger than the plateau", key=shaft,
                       value=getattr(self, shaft),
                       expected=f"at most {plateau} = {getattr(self, plateau):g}")
        usual = type(self).model_fields["foam_grade"].default
        if self.bone != "foam" and self.foam_grade != usual:
            refuse("a grade of foam for living bone", key="foam_grade", value=self.foam_grade,
                   expected='bone = "foam", or no foam_grade')
        if not self.sagittal:
            for key in SLICE:
                if getattr(self, key) is not None:
                    refuse(f"{key} belongs to a sagittal section", key=key,
                           value=getattr(self, key), expected='plane = "sagittal" in [section]')
        if self.slice_depth > self.width_mm:
            refuse("the slice is deeper than the bone is wide", key="slice_mm",
                   value=self.slice_mm, expected=f"at most width_mm = {self.width_mm:g}")
        thinnest = min(self.shaft_width_mm * self.slice_depth / self.width_mm
                       if self.sagittal else self.shaft_width_mm / 2, self.shaft_depth_mm / 2)
        for key in ("shaft_cortex_mm", "metaphyseal_cortex_mm"):
            scale, least = self.cortex_scale, f"less than {thinnest:g} mm"
            if getattr(self, key) * scale >= thinnest:
                refuse("the cortex (times cortex_scale) fills the whole shaft", key=key,
                       value=getattr(self, key), expected=least if scale == 1.0 else
                       f"{least} / cortex_scale = {scale:g}, so {thinnest / scale:.3g} mm")
        if self.reference_band_mm is not None:
            low, high = self.reference_band_mm
            if not -self.height_mm <= low < high:
                refuse("a band between two heights", key="reference_band_mm",
                       value=self.reference_band_mm,
                       expected=f"[low, high], low < high, from {-self.height_mm:g} upwards")
        return self

    @model_validator(mode="after")
    def _from_files(self, info: ValidationInfo) -> SectionInput:
        """Read the files that the section is made from."""
        self._folder = folder_of(info)
        if self.outline_file is not None:
            if self.outline is not None:
                refuse("two outlines", key="outline", value=self.outline,
                       expected="no outline, or no outline_file")
            self._no_sizes()
            content, self._drawn = told("outline_file", lambda: outline(
                self._folder, self.outline_file or "", self.outline_sha256, self.height_mm,
                self.outline_smoothing_mm))
            object.__setattr__(self, "outline_sha256", content)
            narrow = self._drawn.half_width(self._drawn.left[:, 1]).min()
            if self.shaft_cortex_mm * self.cortex_scale >= narrow:
                refuse("the cortex (times cortex_scale) fills the narrowest part of the outline",
                       key="shaft_cortex_mm", value=self.shaft_cortex_mm,
                       expected=f"less than {narrow:.1f} mm")
        else:
            if self.outline is None:
                object.__setattr__(self, "outline",
                                   "simple" if self.bone == "foam" else "anatomical")
            if self.outline == "anatomical":
                from buttress.study.anatomical import anatomical

                self._drawn = anatomical(self)
        if self.outline_file is None and self.outline_sha256 is not None:
            refuse("a digest without a file", key="outline_sha256", value=self.outline_sha256,
                   expected="outline_file as well, or no digest")
        if self.map is not None and self.bone == "foam":
            refuse("a map describes bone, not foam", key="bone", value=self.bone,
                   expected='bone = "dense" where a map is given')
        return self

    def _no_sizes(self) -> None:
        """Refuse sizes that are already set by an outline."""
        drawn = (("depth_mm", "shaft_depth_mm", "slope_deg", "shaft_offset_mm") if self.sagittal
                 else ("width_mm", "shaft_width_mm"))
        for key in drawn:
            field = type(self).model_fields[key]
            if getattr(self, key) != field.get_default(call_default_factory=True):
                refuse(f"{key} is given together with an outline, which already sets it", key=key,
                       value=getattr(self, key), expected=f"no {key}, or no outline_file")

    def __eq__(self, other: object) -> bool:
        # Where its files lie does not count; their digests do.
        return isinstance(other, SectionInput) and self.__dict__ == other.__dict__

    @property
    def folder(self) -> Path | None:
        """Folder of the study file and the files it names; None if it has none."""
        return self._folder

    @property
    def drawn(self) -> Drawn | None:
        """The outline from a file or of anatomical shape; None for the simple one."""
        return self._drawn

    @property
    def files(self) -> dict[str, str]:
        """Files from which the section is made, within the study's folder, with their digests."""
        found = {}
        if self.outline_file is not None and self.outline_sha256 is not None:
            found[self.outline_file] = self.outline_sha256
        if self.map is not None and self.map.sha256 is not None:
            found[self.map.file] = self.map.sha256
        return found

    @property
    def sagittal(self) -> bool:
        """Whether the section is a slice of one condyle, seen from the side."""
        return self.plane == "sagittal"

    @property
    def sides(self) -> tuple[Side, Side]:
        """Names of the surfaces at -x and at +x: x points lateral, or posterior."""
        return SIDES[self.plane]

    @property
    def view(self) -> View:
        """How pictures show the section: which knee, from where."""
        return View(self.side, self.sides, self.slice_condyle if self.sagittal else "")

    @property
    def beside(self) -> str:
        """The direction out of the plane, in words."""
        return "medial or lateral side" if self.sagittal else "front or back"

    @property
    def slice_condyle(self) -> Literal["medial", "lateral"]:
        """The condyle that a sagittal section cuts."""
        return self.condyle or "medial"

    @property
    def slope(self) -> float:
        """Posterior slope: fall of the joint line to the back, degrees; 0 in the coronal plane."""
        if not self.sagittal:
            return 0.0
        if self.slope_deg is not None:
            return self.slope_deg
        return tables.number("anatomy", "slope", self.slice_condyle)

    @property
    def slice_depth(self) -> float:
        """Depth of a sagittal slice at the plateau, mm: half of the bone unless given."""
        return self.width_mm / 2 if self.slice_mm is None else self.slice_mm

    @property
    def shaft_offset(self) -> float:
        """Distance of the shaft axis anterior to the middle of the joint line, mm."""
        if not self.sagittal:
            return 0.0
        if self.shaft_offset_mm is not None:
            return self.shaft_offset_mm
        return (0.5 - tables.number("anatomy", "sagittal", "axis_fraction")) * self.depth_mm

    @property
    def most_depth(self) -> float:
        """Depth of the section out of its plane at the plateau, mm."""
        return self.slice_depth if self.sagittal else self.depth_mm


class MeshInput(Checked):
    """`[mesh]`: element edge length near fractures and implants, and far from them."""

    size_mm: Annotated[float, Within(0.2, 8, "mm")] = 1.5
    coarse_mm: Annotated[float, Within(0.2, 20, "mm")] = 3.0

    @model_validator(mode="before")
    @classmethod
    def _coarse_follows(cls, data: Any) -> Any:
        # Twice the fine size unless given, so that refining needs one key only.
        if isinstance(data, dict) and "coarse_mm" not in data:
            fine = data.get("size_mm")
            if isinstance(fine, int | float) and 0.2 <= fine <= 8:
                return {**data, "coarse_mm": 2.0 * fine}
        return data

    @model_validator(mode="after")
    def _coarser(self) -> MeshInput:
        if self.coarse_mm < self.size_mm:
            refuse("coarse_mm is finer than size_mm", key="coarse_mm", value=self.coarse_mm,
                   expected=f"at least {self.size_mm:g}")
        return self


class Fracture(Checked):
    """`[[fracture]]`: a polyline that divides the section; ends outside it are cut off.

    Reduction may leave its faces apart by `gap_mm`, or a layer of debris between them, `layer_mm`
    thick and of modulus `layer_MPa` (that of "debris" in data/materials.toml unless given).
    """

    name: Name
    points_mm: Annotated[tuple[Point, ...], Field(min_length=2, max_length=MOST)]
    friction: Annotated[float, Within(0, 1.5)] = listed("materials.friction.bone_on_bone")
    gap_mm: Annotated[float, Within(0, 5, "mm")] = 0.0
    layer_mm: Annotated[float, Within(0, 3, "mm")] = 0.0
    layer_MPa: Annotated[float, Within(0.5, 2000, "MPa")] | None = None

    @property
    def layer_modulus(self) -> float:
        """Modulus of the layer of debris, MPa."""
        return self.layer_MPa or tables.number("materials", "debris", "modulus")

    @model_validator(mode="after")
    def _distinct(self) -> Fracture:
        distinct_points(self.points_mm, "points_mm")
        return self


class Fragment(Checked):
    """`[[fragment]]`: a name for the piece that contains a point; its depth if not the bone's.

    `step_mm`: how far reduction has left it below its place; it has then slid along its fracture.
    """

    name: Name
    inside_mm: Point
    depth_mm: Thickness | None = None
    step_mm: Annotated[float, Within(-5, 5, "mm")] = 0.0


class Void(Checked):
    """`[[void]]`: a polygon where bone is missing, such as under a raised fragment.

    It may adjoin fractures, and fractures may end on it.
    """

    name: Name
    points_mm: Annotated[tuple[Point, ...], Field(min_length=3, max_length=MOST)]

    @model_validator(mode="after")
    def _distinct(self) -> Void:
        distinct_points(self.points_mm, "points_mm")
        return self
