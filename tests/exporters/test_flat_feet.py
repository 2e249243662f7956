"""Footprints, holes and fit points on flat layouts and bend sheets: where they are drawn, and what is said of them."""

from collections.abc import Callable
from itertools import combinations
from math import pi
from pathlib import Path

import ezdxf
import ezdxf.bbox
import numpy as np
import pyogrio
import pytest
import shapely
from flats import VERSIONS
from papers import HAULER, HOSTILE, NASTY_READ, frame_at, job_of, written

from exporters.flat_layout import write_flat_layout
from exporters.room import Rect
from railmodel.bending.flat_station import flat_station
from railmodel.bending.plan import plan_job
from railmodel.fitting.footprints import footprints
from railmodel.frame import Frame

CROWDED = """\
job: Crowded rail
units: mm
tubes: {main: {height: 80, width: 40, wall: 3, corner: 6}, cross: {height: 80, width: 40, wall: 3, corner: 6}}
parts:
  - {name: rail, tube: main, hand: pair, points: [[0, 300, 400], {at: [600, 300, 400], radius: 200}, [1800, 300, 700]]}
crossmembers:
  - {name: as high as the rail, tube: cross, between: [rail], x: 100}
plates:
  - name: bracket
    thickness: 5
    size: [120, 50]
    corner: 10
    holes: [{at: [20, 15], diameter: 11}, {at: [60, 15], diameter: 13}, {at: [100, 15], diameter: 9}]
    place: {at: [330, 320, 370], normal: [0, 1, 0]}
    mirror: true
fit_points:
  - {name: one, at: [200, 300, 445], to: {part: rail, face: top}, gap: {want: 5, within: 1}}
  - {name: two, at: [203, 300, 445], to: {part: rail, face: top}, gap: {want: 5, within: 1}}
  - {name: three, at: [206, 310, 445], to: {part: rail, face: top}, gap: {want: 5, within: 1}}
"""


def drawn(
    folder: Path, frame: Frame, label: str, version: str = "R2010", on_stock: Callable[[float], float] | None = None
) -> Path:
    part = next(part for part in frame.parts if part.label == label)
    path = folder / f"{label}_{version}.dxf"
    write_flat_layout(
        part, path, unit=frame.unit, job=frame.job.job, revision=None, version=version,
        feet=footprints(frame, part.read), on_stock=on_stock,
    )  # fmt: skip
    return path


def marks(path: Path) -> list[shapely.Geometry]:
    """What GDAL finds on the layer of footprints."""
    info, _, shapes, columns = pyogrio.raw.read(path)
    layer = columns[list(info["fields"]).index("Layer")]
    return [shapely.from_wkb(shape) for name, shape in zip(layer, shapes, strict=True) if name == "FOOTPRINT"]


@pytest.mark.parametrize("version", VERSIONS)
def test_they_stand_at_their_lengths_on_their_faces(tmp_path, version):
    """By hand: girth 229.699 from the inboard face up: 79.699 - ... halves of the corners' arcs between the faces."""
    frame = frame_at(job_of(tmp_path, CROWDED))
    found = marks(drawn(tmp_path, frame, "rail right", version))
    arc = 6 * pi / 4
    tall, wide = 68 + 2 * arc, 28 + 2 * arc  # faces from mid-corner to mid-corner: inboard, top, outboard, bottom
    outboard = tall + wide + tall / 2
    circles = sorted(
        (round(shape.centroid.x, 3), round(shape.centroid.y, 3), round(np.ptp(shape.bounds[::2]), 3))
        for shape in found if len(shape.coords) > 20 and np.ptp(shape.bounds[::2]) < 15
    )  # fmt: skip
    # the plate's x goes forward from X 330, its holes 15 over Z 370: 15 under the centreline, so nearer the bottom
    y = round(outboard + 15, 3)
    assert circles == [(230.0, y, 9.0), (270.0, y, 13.0), (310.0, y, 11.0)]
    crosses = [shape for shape in found if len(shape.coords) == 2 and shape.bounds[1] == shape.bounds[3]]
    on_top = sorted(shape.centroid.x for shape in crosses if tall < shape.centroid.y < tall + wide)
    assert on_top == pytest.approx([200, 203, 206])
    middle = tall + wide / 2
    assert sorted(round(abs(shape.centroid.y - middle), 6) for shape in crosses if shape.centroid.x > 199)[:3] == [
        0, 0, 10,
    ]  # fmt: skip
    (foot,) = [shape for shape in found if shape.bounds[3] <= tall + 1e-6 and len(shape.coords) > 4]
    assert foot.bounds[::2] == pytest.approx((80, 120))
    assert foot.bounds[1] == pytest.approx(0)  # as high as the rail: to the middles of its corners
    assert foot.bounds[3] == pytest.approx(tall)


@pytest.mark.parametrize("label", ["rail right", "rail left"])
def test_both_versions_are_sound_and_hold_the_same(tmp_path, label):
    frame = frame_at(job_of(tmp_path, CROWDED))
    counted = []
    for version in VERSIONS:
        document = ezdxf.readfile(drawn(tmp_path, frame, label, version))
        audit = document.audit()
        assert audit.errors == audit.fixes == []
        own = document.modelspace().query('*[layer=="FOOTPRINT"]')
        kinds = ["POLYLINE" if one.dxftype() == "LWPOLYLINE" else one.dxftype() for one in own]
        counted.append((sorted(kinds), len(document.modelspace())))
        assert all(one.is_closed for one in own if "POLYLINE" in one.dxftype())
    assert counted[0] == counted[1]
    assert sorted(set(counted[0][0])) == ["CIRCLE", "LINE", "POLYLINE"]


def test_every_place_has_a_letter_of_its_own_and_no_text_lies_on_another(tmp_path):
    frame = frame_at(job_of(tmp_path, CROWDED))
    texts = ezdxf.readfile(drawn(tmp_path, frame, "rail right")).modelspace().query("TEXT")
    letters = sorted(text.dxf.text for text in texts if len(text.dxf.text) == 1 and text.dxf.text.isalpha())
    assert letters == list("abcdefgh")
    boxes = [(text.dxf.text, ezdxf.bbox.extents([text])) for text in texts]
    rects = [(words, Rect(*box.extmin.vec2, *box.extmax.vec2)) for words, box in boxes if box.has_data]
    for (one, first), (other, second) in combinations(rects, 2):
        assert not first.grown(-0.05).meets(second), (one, other)


def test_they_are_told_in_words_with_their_place_on_the_stock(tmp_path):
    frame = frame_at(HAULER)
    plan = next(plan for plan in plan_job(frame).parts if plan.marks.reading.part.label == "side rail right")
    path = drawn(tmp_path, frame, "side rail right", on_stock=lambda along: flat_station(plan.marks, along))
    said = " ".join(
        text.dxf.text
        for text in sorted(ezdxf.readfile(path).modelspace().query("TEXT"), key=lambda text: -text.dxf.insert.y)
    )
    said = " ".join(said.split())  # lines end with the space they were broken after
    assert (
        'b: front crossmember, inboard face, at 12.000 (12"), 1.500 from the top edge, covers 11.000 to 13.000; stock '
        '12.000 (12")' in said
    )
    # two bends before it take 1.2 % less stock than their arcs; the mark is the bend sheet's
    assert 'd: cab mount, top face, at 66.658 (66 11/16"), 1.000 from the outboard edge' in said
    assert 'stock 66.614 (66 5/8")' in said
    (right, *_) = written("bend sheets", HAULER, tmp_path)
    assert 'cab mount, top face 66.614 (66 5/8") 1.000 from the outboard edge, covers 65.114 to 68.114' in right.text
    assert 'middle crossmember, inboard face 78.614 (78 5/8") 1.000 from the top edge' in right.text  # 1/2 over middle


def test_holes_are_marked_on_the_bend_sheet(tmp_path):
    (right, left) = written("bend sheets", job_of(tmp_path, CROWDED), tmp_path)[:2]
    for page in (right, left):
        for words in (
            "hole 9.0 of bracket, outboard face 230.0 55.0 from the top edge",
            "hole 13.0 of bracket, outboard face 270.0 55.0 from the top edge",
            "hole 11.0 of bracket, outboard face 310.0 55.0 from the top edge",
            "bracket, outboard face 270.0 45.0 from the top edge, covers 210.0 to 330.0",
            "three, top face 206.0 10.0 from the outboard edge",
            "as high as the rail, inboard face 100.0 40.0 from the top edge, covers 80.0 to 120.0",
        ):
            assert words in page.text


def test_round_tube_is_measured_round_its_girth(tmp_path):
    """A point 12.7 aside of the top of a tube of 2 in: asin(1/2) = 30 degrees, round by 25.4 * pi / 6 = 13.299 mm."""
    text = """\
job: Round
units: mm
tubes: {main: {diameter: 50.8, wall: 3}}
parts:
  - {name: rail, tube: main, points: [[0, 0, 400], [900, 0, 400]]}
fit_points:
  - {name: eye, at: [300, 12.7, 430], to: {part: rail, face: top}, gap: {want: 5, within: 1}}
"""
    frame = frame_at(job_of(tmp_path, text))
    path = drawn(tmp_path, frame, "rail")
    (line, *_) = [shape for shape in marks(path) if shape.bounds[1] == shape.bounds[3]]
    girth = 50.8 * pi
    assert line.centroid.x == pytest.approx(300)
    assert line.centroid.y == pytest.approx(3 * girth / 8 + 13.299, abs=1e-3)  # mid-top, and on toward +s: the right
    said = " ".join(text.dxf.text for text in ezdxf.readfile(path).modelspace().query("TEXT"))
    assert "13.3 round from its middle toward the right" in said


@pytest.mark.parametrize("version", VERSIONS)
def test_any_name_is_only_text(tmp_path, version):
    frame = frame_at(job_of(tmp_path, HOSTILE))
    label = next(part.label for part in frame.parts if part.hand == "right")
    path = tmp_path / "hostile.dxf"
    part = next(part for part in frame.parts if part.label == label)
    write_flat_layout(
        part, path, unit="in", job=frame.job.job, revision=frame.job.revision, version=version,
        feet=footprints(frame, part.read),
    )  # fmt: skip
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    said = " ".join(
        text.plain_text()
        for text in sorted(document.modelspace().query("TEXT"), key=lambda text: -text.dxf.insert.y)
    )  # fmt: skip
    assert f"#mount {NASTY_READ[:20]}" in said
