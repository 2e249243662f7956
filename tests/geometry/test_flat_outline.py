"""Outlines of lines and arcs, held against shapely and against elementary formulas."""

from math import pi, radians, sin, tan

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from railmodel.geometry.flat_outline import Outline, crossings, doubled, rounded, tight_edges, turns

SQUARE = np.array([(0, 0), (40, 0), (40, 30), (0, 30)], dtype=float)
ELL = np.array([(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)], dtype=float)


@st.composite
def stars(draw: st.DrawFn) -> np.ndarray:
    """A polygon that does not cross itself: corners at rising angles about a middle, at any distance from it."""
    count = draw(st.integers(3, 12))
    reach = draw(st.lists(st.floats(20, 200), min_size=count, max_size=count))
    angle = (np.arange(count) + draw(st.floats(0, 1))) * 2 * np.pi / count
    return np.array(reach)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def largest_share(points: np.ndarray, radii: np.ndarray) -> float:
    """What the radii must be multiplied by to fit everywhere."""
    return min((tight.share for tight in tight_edges(points, radii)), default=1.0)


@given(stars(), st.floats(0.05, 0.95))
def test_area_and_length_are_those_of_a_fine_polygon(points, share):
    radii = np.full(len(points), 50.0)
    outline = rounded(points, radii * largest_share(points, radii) * share)
    fine = shapely.Polygon(outline.flattened(radians(0.05)))
    assert fine.is_valid
    assert outline.area == pytest.approx(fine.area, rel=1e-5, abs=1e-3)
    assert outline.length == pytest.approx(fine.length, rel=1e-6, abs=1e-3)
    assert outline.area > 0
    assert np.allclose(outline.box, fine.bounds, rtol=0, atol=1e-3)


@given(stars(), st.tuples(st.floats(-250, 250), st.floats(-250, 250)))
def test_inside_is_the_distance_to_the_edge(points, at):
    radii = np.full(len(points), 30.0)
    outline = rounded(points, radii * largest_share(points, radii) * 0.9)
    fine = shapely.Polygon(outline.flattened(radians(0.05)))
    distance = fine.exterior.distance(shapely.Point(at))
    assert abs(outline.inside(at)) == pytest.approx(distance, abs=1e-3)
    if distance > 1e-3:
        assert (outline.inside(at) > 0) == fine.contains(shapely.Point(at))


def test_a_rounded_rectangle_loses_four_minus_pi_of_its_radius_squared():
    outline = rounded(SQUARE, np.full(4, 5.0))
    assert outline.area == pytest.approx(40 * 30 - (4 - pi) * 25, rel=1e-12)
    assert outline.length == pytest.approx(2 * 70 - (8 - 2 * pi) * 5, rel=1e-12)
    assert outline.box == pytest.approx((0, 0, 40, 30))
    assert [edge.radius for edge in outline.edges if edge.turn] == pytest.approx([5] * 4)


def test_a_hollow_corner_gains_what_an_outer_one_loses():
    outline = rounded(ELL, [0, 0, 0, 8, 0, 0])
    assert outline.area == pytest.approx(60 * 20 + 20 * 30 + (1 - pi / 4) * 64, rel=1e-12)


def test_a_circle_of_two_half_arcs():
    circle = Outline.of([(10, 0), (-10, 0)], [1, 1])
    assert circle.area == pytest.approx(100 * pi)
    assert circle.length == pytest.approx(20 * pi)
    assert circle.box == pytest.approx((-10, -10, 10, 10))
    assert np.allclose([edge.centre for edge in circle.edges], 0, atol=1e-12)
    assert circle.inside((3, 4)) == pytest.approx(5)
    assert circle.inside((0, 13)) == pytest.approx(-3)


def test_a_circular_segment_has_the_area_of_the_handbooks():
    # area of a circular segment r^2 (t - sin t) / 2, in any table of plane figures
    turn, radius = radians(100), 30.0
    half = radius * sin(turn / 2)
    outline = Outline.of([(-half, 0), (half, 0)], [tan(turn / 4), 0])
    assert outline.area == pytest.approx(radius**2 * (turn - sin(turn)) / 2)


def test_the_way_round_does_not_matter():
    there, back = rounded(ELL, np.full(6, 4.0)), rounded(ELL[::-1], np.full(6, 4.0))
    assert there.area == pytest.approx(back.area, rel=1e-12)
    assert there.area > 0
    bulged = Outline.of([(10, 0), (-10, 0), (-10, -5)], [1, 0, 0.3])
    assert Outline.of(bulged.points[::-1], -np.roll(bulged.bulge[::-1], -1)).area == pytest.approx(bulged.area)


def test_turning_and_moving_keep_the_shape():
    outline = rounded(ELL, np.full(6, 4.0))
    turned = outline.turned().moved((100, 7))
    assert turned.area == pytest.approx(outline.area, rel=1e-12)
    assert turned.length == pytest.approx(outline.length, rel=1e-12)
    assert np.subtract(turned.box[2:], turned.box[:2]) == pytest.approx([50, 60])


def test_radii_that_just_fit_leave_no_line_between_them():
    outline = rounded(SQUARE, np.full(4, 15.0))
    assert len(outline.edges) == 6
    assert outline.area == pytest.approx(10 * 30 + 225 * pi)
    assert list(tight_edges(SQUARE, np.full(4, 15.0))) == []


def test_radii_that_do_not_fit_are_told_with_what_would():
    tight = list(tight_edges(SQUARE, np.full(4, 16.0)))
    assert [(edge.first, edge.second) for edge in tight] == [(1, 2), (3, 0)]
    assert [(edge.has, edge.needs) for edge in tight] == [(30, pytest.approx(32))] * 2
    assert tight[0].share == pytest.approx(30 / 32)


@given(stars())
def test_a_polygon_round_a_middle_crosses_nothing(points):
    assert list(crossings(points)) == []
    assert shapely.Polygon(points).is_valid


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=8))
def test_crossings_are_found_where_shapely_finds_a_polygon_that_is_not_simple(corners):
    points = np.array(corners, dtype=float)
    if doubled(points):
        return
    assert (list(crossings(points)) == []) == shapely.LinearRing(points).is_simple


def test_turns_of_a_square_add_up_to_once_round():
    assert turns(SQUARE) == pytest.approx([pi / 2] * 4)
    assert turns(ELL).sum() == pytest.approx(2 * pi)
    assert doubled(np.array([(0, 0), (1, 0), (1, 0), (0, 1)], dtype=float)) == [1]


def test_a_straight_edge_has_no_centre():
    with pytest.raises(ValueError, match="no centre"):
        _ = rounded(SQUARE, 0.0).edges[0].centre
