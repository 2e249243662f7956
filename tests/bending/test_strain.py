"""Strain, wall and smallest offset of a bend."""

from math import radians

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.strain import largest_angle_for_offset, smallest_offset, wall_after_bend
from railmodel.errors import GeometryError


@pytest.mark.parametrize(
    ("depth", "radius", "strain", "outer", "inner"),
    [(4, 8, 25.0, 0.80, 1.33), (4, 10, 20.0, 0.83, 1.25), (4, 12, 16.7, 0.86, 1.20), (3, 8, 18.8, 0.84, 1.23),
     (2, 6, 16.7, 0.86, 1.20), (2, 8, 12.5, 0.89, 1.14)],
)  # fmt: skip
def test_the_wall_table_of_the_trade(depth, radius, strain, outer, inner):
    # derived: strain (H / 2) / R, outer wall R / (R + H / 2), inner wall R / (R - H / 2)
    found = wall_after_bend(depth=depth, wall=1, radius=radius)
    assert 100 * found.outer_strain == pytest.approx(strain, abs=0.051)
    assert found.outer_wall == pytest.approx(outer, abs=0.0051)
    assert found.inner_wall == pytest.approx(inner, abs=0.0051)
    assert found.outer_wall < found.outer_wall_free < 1


@pytest.mark.parametrize(
    ("radius", "depth", "inside", "outside"),
    [(609.6, 219.1, 1.110, 0.924), (762, 273.05, 1.109, 0.924), (1270, 273.2, 1.060, 0.951)],
)
def test_pipe_bend_factors_lie_where_the_walls_go(radius, depth, inside, outside):
    # ASME B31.3-2016, 304.2.1 eqs (3c) to (3e), the intrados and extrados factors of round pipe under pressure, an
    # analogy: I = (4 R/D -+ 1) / (4 R/D -+ 2). The published numbers, and the wall leaning the same way by less
    pipe_inside = (4 * radius / depth - 1) / (4 * radius / depth - 2)
    pipe_outside = (4 * radius / depth + 1) / (4 * radius / depth + 2)
    assert pipe_inside == pytest.approx(inside, abs=6e-4)
    assert pipe_outside == pytest.approx(outside, abs=6e-4)
    found = wall_after_bend(depth=depth, wall=1, radius=radius)
    assert found.outer_wall < pipe_outside < 1 < pipe_inside < found.inner_wall


@given(st.floats(10, 200), st.floats(1.05, 20), st.floats(0, 0.05))
def test_a_neutral_axis_moved_inward_stretches_more(depth, ratio, part):
    radius = ratio * depth
    plain = wall_after_bend(depth=depth, wall=3, radius=radius)
    moved = wall_after_bend(depth=depth, wall=3, radius=radius, shift=part * radius)
    assert moved.outer_strain >= plain.outer_strain
    # the mean of the two fibres is the stretch of the centreline
    assert (moved.outer_strain + moved.inner_strain) / 2 == pytest.approx(part / (1 - part), abs=1e-12)


def test_a_radius_inside_the_tube_is_refused():
    with pytest.raises(GeometryError, match="must be above 50"):
        wall_after_bend(depth=100, wall=3, radius=50)


@pytest.mark.parametrize(
    ("radius", "between", "angle", "offset"),
    [(10, 6, 10, 1.35), (10, 6, 15, 2.23), (10, 6, 20, 3.26), (10, 6, 30, 5.68), (10, 6, 45, 10.1), (7, 4, 10, 0.91),
     (7, 4, 20, 2.21), (7, 4, 25, 3.00), (7, 4, 45, 6.93)],
)  # fmt: skip
def test_the_smallest_offset_table_of_the_trade(radius, between, angle, offset):
    # derived: h_min = (2 R tan(angle / 2) + L_min) sin(angle)
    assert smallest_offset(radius=radius, between=between, angle=radians(angle)) == pytest.approx(offset, abs=0.051)


@given(st.floats(50, 500), st.floats(0, 300), st.floats(1, 400))
def test_the_largest_angle_just_makes_the_offset(radius, between, offset):
    angle = largest_angle_for_offset(radius=radius, between=between, offset=offset)
    reached = smallest_offset(radius=radius, between=between, angle=angle)
    if angle < radians(90):
        assert reached == pytest.approx(offset, rel=1e-9)
    else:
        assert reached <= offset
