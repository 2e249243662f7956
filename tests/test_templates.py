"""Bend-check templates against the tube's own inner face, and plates nested on sheets."""

from math import degrees, pi, radians, tan

import numpy as np
import pytest
import shapely
from flats import side_rail
from hypothesis import given
from hypothesis import strategies as st
from jobfiles import HEAD, job_file
from rails import part

from railmodel.frame import build_frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job
from railmodel.nesting import fits, nest
from railmodel.templates import USUAL_DEPTH, part_templates, templates

ALONG = Pose.of((0, 0, 0), (1, 0, 0), (0, 0, 1))
TUBE = Section(height=80, width=40, wall=3, corner=6)


def bent(angle: float, radius: float, straights: tuple[float, float] = (500.0, 500.0)):
    """One bend toward the top, degrees and mm."""
    rows = BendRows.of([straights[0]], [0.0], [radians(angle)], [radius], straights[1])
    return part(Centreline(rows, ALONG), TUBE, name="rail")


def inner_face(drawn, reach_before: float, reach_after: float) -> np.ndarray:
    """Points of the inner (top) face's middle line in the plane of the bend, template axes: from the solid's frame."""
    (bend,) = drawn.line.bends
    stations = np.linspace(bend.station - reach_before, bend.station + bend.length + reach_after, 200)
    pose = drawn.line.pose_at(stations)
    face = pose.at + drawn.section.height / 2 * pose.u
    origin = drawn.line.pose_at(bend.station)
    return np.stack([face[:, 0] - origin.at[0, 0], face[:, 2] - drawn.section.height / 2], axis=1)


@pytest.mark.parametrize("angle", [5, 30, 90, 120, 170])
@pytest.mark.parametrize("radius", [60, 90, 200])
def test_a_template_touches_the_inner_face_from_end_to_end_and_lies_on_its_hollow_side(angle, radius):
    drawn = bent(angle, radius)
    (template,) = part_templates(drawn, beyond=120, depth=30)
    face = inner_face(drawn, 120, 120)
    assert max(min(edge.distance(point) for edge in template.outline.edges) for point in face) < 1e-9
    polygon = shapely.Polygon(template.outline.flattened(radians(0.2)))
    assert polygon.is_valid
    inward = shapely.LineString(face).parallel_offset(0.5 * template.depth, "left")
    assert polygon.buffer(0.05).contains(inward)
    assert template.inner == pytest.approx(radius - 40)
    assert template.outline.area > 0


def test_a_template_has_the_area_of_its_straights_and_its_ring():
    (template,) = part_templates(bent(90, 200), beyond=120, depth=30)
    assert template.outline.area == pytest.approx(2 * 120 * 30 + pi / 4 * (160**2 - 130**2), rel=1e-12)
    (sharp,) = part_templates(bent(90, 60), beyond=120, depth=30)  # the back has no radius left
    corner = (30 - 20) * tan(pi / 4)  # each straight of the back begins that far before the tangent
    assert sharp.outline.area == pytest.approx(2 * 120 * 30 + pi / 4 * 20**2 - corner**2, rel=1e-12)


def test_a_template_goes_no_further_than_the_straight_it_lies_on():
    (template,) = part_templates(bent(30, 200, (50.0, 0.0)), beyond=120, depth=30)
    assert (template.before, template.after) == (50, 0)
    left, _, _, _ = template.outline.box
    assert left == pytest.approx(-50)


@given(st.floats(0.05, 3.0), st.floats(1.0, 400.0), st.floats(0, 300), st.floats(0, 300), st.floats(1, 200))
def test_every_template_is_a_simple_outline(angle, inner, before, after, depth):
    rows = BendRows.of([before], [0.0], [angle], [inner + TUBE.height / 2], after)
    drawn = part(Centreline(rows, ALONG), TUBE)
    (template,) = part_templates(drawn, beyond=200, depth=depth)
    assert shapely.Polygon(template.outline.flattened(radians(1))).is_valid
    assert template.outline.area > 0
    assert template.depth <= depth


def test_bends_that_are_alike_share_a_template_and_say_their_faces():
    found = part_templates(side_rail(), beyond=50)
    assert [(one.bends, one.faces) for one in found] == [((1, 2), ("top", "bottom")), ((3, 4), ("outboard", "inboard"))]
    assert [round(degrees(one.angle)) for one in found] == [15, 30]


def test_a_job_has_templates_where_it_asks_for_them(tmp_path):
    rail = "{name: rail, tube: main, hand: pair, points: [[0, 9, 0], {at: [800, 9, 0], radius: 200}, [1600, 200, 0]]}"
    text = f"{HEAD}parts:\n  - {rail}\n"
    assert templates(build_frame(read_job(job_file(tmp_path, text)))) == ()
    asked = build_frame(read_job(job_file(tmp_path, text + "templates: {beyond: 100, depth: 25}\n")))
    (template,) = templates(asked)
    assert (template.part, template.hand, template.faces) == ("rail", "right", ("outboard",))
    assert (template.before, template.depth, template.inner) == (100, 25, 180)
    (usual,) = templates(build_frame(read_job(job_file(tmp_path, text + "templates: {beyond: 100}\n"))))
    assert usual.depth == USUAL_DEPTH


sizes = st.lists(st.tuples(st.floats(5, 400), st.floats(5, 400)), max_size=30)


@given(sizes, st.floats(0, 20), st.floats(0, 30))
def test_nested_pieces_keep_apart_and_stay_on_the_sheet(pieces, gap, edge):
    sheet = (500.0, 420.0)
    spots = nest(pieces, sheet, gap=gap, edge=edge)
    assert [spot.piece for spot in spots] == [i for i, size in enumerate(pieces) if fits(size, sheet, edge)]
    room = shapely.box(edge, edge, sheet[0] - edge, sheet[1] - edge).buffer(1e-5, join_style="mitre")
    boxes = []
    for spot in spots:
        width, height = pieces[spot.piece][::-1] if spot.turned else pieces[spot.piece]
        boxes.append((spot.sheet, shapely.box(spot.x, spot.y, spot.x + width, spot.y + height)))
        assert room.contains(boxes[-1][1])
    for i, (number, box) in enumerate(boxes):
        assert all(box.distance(other) >= gap - 1e-5 for sheet_of, other in boxes[:i] if sheet_of == number)
    assert {spot.sheet for spot in spots} == set(range(max((spot.sheet for spot in spots), default=-1) + 1))


def test_equal_pieces_fill_a_sheet():
    spots = nest([(100, 50)] * 16, (400, 200), gap=0, edge=0)
    assert {spot.sheet for spot in spots} == {0}
    upright = nest([(100, 50)] * 16, (200, 400), gap=0, edge=0)
    assert {spot.sheet for spot in upright} == {0}
    assert all(spot.turned for spot in upright)
