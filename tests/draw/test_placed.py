"""The picture of a study before it is solved: names, holes, angles, tips and findings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command import inside
from figure_texts import clashes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image
from shapely import LineString, box

from buttress import LABEL, check, example, figures, study_from
from buttress.bone.section import Section
from buttress.draw.placed import sheet
from buttress.draw.seen import MARK
from buttress.fe.errors import InputError
from buttress.implants.placement import screw_axis
from buttress.implants.sections import outer, screw_form
from buttress.study.implants import Screw
from buttress.study.read import only
from buttress.sweeps.vary import plain


def shown(figure: Figure) -> str:
    return "\n".join(t.get_text() for t in (*figure.texts, *(t for ax in figure.axes
                                                             for t in ax.texts)))


@pytest.mark.parametrize("name", ["posterior-shear", "bicondylar-detached"])
def test_a_sheet_names_every_part_and_no_text_overlaps(name: str) -> None:
    study = example(name)
    figure = sheet(study, check(study))
    said = shown(figure).replace("\n", " ")
    for construct in study.constructs:
        assert construct.name in said
        for _, parts in construct.parts():
            assert all(p.name in said for p in parts)
    assert clashes(figure) == []
    assert LABEL in said
    assert study.section.view.all_words in said
    assert sum(t.get_gid() == MARK for ax in figure.axes for t in ax.texts) == len(
        study.constructs)


@pytest.mark.parametrize("name", ["medial-shear", "fading-tension", "bicondylar",
                                  "posterior-shear", "lateral-split"])
def test_no_leader_runs_through_the_number_of_a_hole(name: str) -> None:
    """They ran straight to what they name, through the lane of the numbers."""
    figure = sheet(example(name), ())
    figure.draw_without_rendering()
    lines = 0
    for ax in figure.axes:
        numbers = [t for t in ax.texts if t.get_text().isdecimal()]
        paths = [ax.transData.transform(way) for c in ax.collections
                 if isinstance(c, LineCollection) and c.get_zorder() == 4
                 for way in c.get_segments()]
        lines += len(paths)
        for text in numbers:
            at = Text.get_window_extent(text)     # without the white box behind it
            for way in paths:
                assert not LineString(way).intersects(box(at.x0, at.y0, at.x1, at.y1)), (
                    ax.get_title(), text.get_text())
    assert lines > 10


def test_it_says_angle_length_hole_and_tip_of_a_screw_and_numbers_the_holes() -> None:
    study = only("medial-shear", "antiglide + screw")
    [construct] = study.constructs
    ax = figures.placed(study, "antiglide + screw")
    screw = next(s for s in construct.screws if s.hole is not None)
    axis = screw_axis(Section(study.section), screw, construct.plates)
    label = next(t.get_text() for t in ax.texts if t.get_text().startswith(screw.name))
    for words in (f"{axis.length:.0f} mm", f"{screw.angle_deg:g}°", f"hole {screw.hole}",
                  f"tip {axis.tip[0]:.0f}, {axis.tip[1]:.0f}"):
        assert words.replace("-", "−") in label
    assert screw.form in label
    numbers = [t for t in ax.texts if t.get_text().isdecimal()]
    assert [t.get_text() for t in numbers] == [str(i + 1) for i in range(len(
        construct.plates[0].holes))]
    outside = [t.get_position()[0] for t in numbers]
    assert max(outside) < 0.0    # on the outer side of a medial plate
    [dots] = [line for line in ax.lines if line.get_marker() == "o"]
    assert np.allclose(sorted(dots.get_xdata()), sorted(
        screw_axis(Section(study.section), s, construct.plates).tip[0] for s in construct.screws))


def test_findings_are_numbered_on_the_part_and_told_below() -> None:
    data = plain(only("medial-shear", "lag screws"))
    data["construct"][0]["screw"][0]["thread_mm"] = 60.0    # thread on both sides of the fracture
    study = study_from(data)
    findings = check(study)
    told = [f for f in findings if f.level in ("broken", "warning")]
    assert told
    figure = sheet(study, findings)
    said = shown(figure)
    assert f"{told[0].part} [1]" in said
    level = {"broken": "(!) breaks a rule of the trade", "warning": "warning"}[told[0].level]
    assert f"[1] {level}: {told[0].part}: " in said
    assert ("lag screws (!)" in said) == any(f.level == "broken" for f in findings)
    assert " ".join(told[0].message.split()) in said.replace("\n", " ")
    assert "Angles of screws in a plate are to the perpendicular on the plate at the hole" in " ".join(
        said.split())
    assert clashes(figure) == []


def test_the_command_writes_one_file_of_the_asked_kind(tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    done = inside("check", "--example", "lateral-split", "--picture", str(path))
    assert done.returncode in (0, 1)
    assert [p.name for p in tmp_path.iterdir()] == ["p.png"]
    with Image.open(path) as image:
        assert image.size[0] > 1000


@pytest.mark.parametrize(("given", "said"), [("p.pdf", "unsupported kind of picture"),
                                             ("no/such/p.svg", "cannot be written")])
def test_a_place_where_no_picture_can_be_is_refused(given: str, said: str, tmp_path: Path) -> None:
    done = inside("check", "--example", "lateral-split", "--picture", str(tmp_path / given))
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_construct_that_is_not_there_is_answered_with_the_closest() -> None:
    with pytest.raises(InputError, match='did you mean "antiglide"'):
        figures.placed("medial-shear", "antiglid")


@pytest.mark.parametrize(("name", "wanted"), [
    ("posterior-shear", "buttress + lag"), ("lateral-depression", "raft + wires + impacted graft")])
def test_a_screw_with_thread_throughout_and_a_wire_are_as_wide_all_along(name: str, wanted: str
                                                                         ) -> None:
    """They were drawn as wedges, half as wide at the head (a wire: at its tip)."""
    study = example(name)
    construct = next(c for c in study.constructs if c.name == wanted)
    ax = figures.placed(study, construct.name)
    [metal] = [c for c in ax.collections if isinstance(c, PolyCollection)
               and len(c.get_paths()) == sum(len(parts) for kind, parts in construct.parts()
                                             if kind != "fill")]
    section = Section(study.section)
    axes = {p.name: screw_axis(section, p, construct.plates) for p in construct.pins}
    pins = len(construct.pins)
    for pin, path in zip(construct.pins, metal.get_paths()[-pins:], strict=True):
        axis = axes[pin.name]
        along = np.array(axis.point(1.0)) - np.array(axis.point(0.0))
        across = (path.vertices - axis.head) @ np.array([-along[1], along[0]])
        place = (path.vertices - axis.head) @ along
        shaft = screw_form(pin.form).shaft if isinstance(pin, Screw) else None
        for end, wide in ((0.0, shaft or outer(pin)), (axis.length, outer(pin))):
            at_end = across[np.abs(place - end) < 1e-6]
            assert np.ptp(at_end) == pytest.approx(wide), (pin.name, end)
