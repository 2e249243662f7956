"""Paths of moves: there and back from bend rows, and the S of an offset, by its angle or by its length."""

from math import cos, degrees, pi, radians, sin, tan

import numpy as np
import pytest
from drawn import bend_rows, numbers, poses
from hypothesis import assume, given
from hypothesis import strategies as st

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.path import (
    Bend,
    Move,
    Offset,
    Straight,
    TightOffset,
    moves_from_rows,
    rows_from_moves,
)
from railmodel.geometry.rows import BendRows, points_from_rows, same_shape, wrap

CLOSE = 1e-9  # mm, the bound the conventions set for every change of description

straights = st.builds(Straight, numbers(0.0, 900.0))
bends = st.builds(Bend, numbers(-pi + 1e-9, pi), numbers(radians(1), radians(170)), numbers(20.0, 300.0))
paths = st.lists(straights | bends, max_size=16)
offsets = st.builds(
    Offset, roll=numbers(-pi + 1e-9, pi), by=numbers(1.0, 500.0), radius=numbers(20.0, 300.0),
    angle=numbers(radians(2), radians(150)),
)  # fmt: skip


def gathered(path: list[Move]) -> list[Move]:
    """The path with its straights added up, one before, between and behind the bends."""
    found: list[Move] = [Straight(0.0)]
    for move in path:
        last = found[-1]
        if isinstance(move, Straight) and isinstance(last, Straight):
            found[-1] = Straight(last.length + move.length)
        elif isinstance(move, Bend):
            found += [move, Straight(0.0)]
    return found


@given(paths)
def test_moves_to_rows_to_moves_is_the_same_path(path: list[Move]) -> None:
    expected = gathered(path)
    found = moves_from_rows(rows_from_moves(path))
    assert [type(move) for move in found] == [type(move) for move in expected]
    for ours, theirs in zip(found, expected, strict=True):
        if isinstance(ours, Straight) and isinstance(theirs, Straight):
            assert ours.length == theirs.length
        elif isinstance(ours, Bend) and isinstance(theirs, Bend):
            assert (ours.angle, ours.radius) == (theirs.angle, theirs.radius)
            assert abs(float(wrap(ours.roll - theirs.roll))) < 1e-13 * len(path)


@given(bend_rows())
def test_rows_to_moves_to_rows_is_the_same_shape_with_the_same_straights_and_angles(rows: BendRows) -> None:
    again = rows_from_moves(moves_from_rows(rows))
    assert same_shape(again, rows, CLOSE)
    assert np.array_equal(again.straights, rows.straights)
    assert np.array_equal(again.angle, rows.angle)


@given(bend_rows(), poses())
def test_by_moves_the_rail_passes_the_same_points(rows: BendRows, start: Pose) -> None:
    again = rows_from_moves(moves_from_rows(rows))
    ours = points_from_rows(again, start.at, start.t, start.u)
    assert np.abs(ours - points_from_rows(rows, start.at, start.t, start.u)).max() < CLOSE


def test_a_path_of_nothing_is_a_tube_of_no_length_and_one_of_straights_has_no_bends() -> None:
    assert rows_from_moves([]).straights.tolist() == [0.0]
    assert rows_from_moves([Straight(3.0), Straight(4.0)]).straights.tolist() == [7.0]


def test_bends_that_follow_at_once_have_no_straight_between() -> None:
    rows = rows_from_moves([Bend(0.0, 0.1, 50.0), Bend(pi, 0.2, 50.0)])
    assert rows.straights.tolist() == [0.0, 0.0, 0.0]
    assert rows.rotation.tolist() == [0.0, pi]


def s_of(offset: Offset, before: float = 120.0) -> Centreline:
    rows = rows_from_moves([Straight(before), *offset.moves, Straight(80.0)])
    return Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))


def run_of(offset: Offset) -> float:
    """Along the first straight, from the first tangent to the last one, measured on the centreline laid out."""
    first, second = s_of(offset).bends
    return float(np.dot(second.pose(second.length).at - first.start.at, first.start.t))


@given(offsets)
def test_an_offset_ends_parallel_and_sideways_by_exactly_what_was_asked(offset: Offset) -> None:
    line = s_of(offset)
    toward = line.start.direction(offset.roll)
    off = line.end.at - line.start.at
    assert np.abs(line.end.t - line.start.t).max() < 1e-14
    assert np.abs(line.end.u - line.start.u).max() < 1e-14
    assert np.dot(off, toward) == pytest.approx(offset.by, abs=CLOSE)
    assert np.dot(off, np.cross(line.start.t, toward)) == pytest.approx(0.0, abs=CLOSE)


@given(offsets)
def test_over_and_angle_are_two_ways_to_write_one_offset(offset: Offset) -> None:
    _, between, _ = offset.moves
    over = run_of(offset)
    assume(between.length > 0.1 and over > 0.1)
    again = Offset(roll=offset.roll, by=offset.by, radius=offset.radius, over=over)
    first, straight, back = again.moves
    assert offset.angle is not None
    # the straight is a root: where it is short, a rounding of the run shows more in it
    assert straight.length == pytest.approx(between.length, abs=1e-9 / min(1.0, between.length / 100))
    assert first.angle == back.angle == pytest.approx(offset.angle, abs=1e-9)
    by_angle = Offset(roll=offset.roll, by=offset.by, radius=offset.radius, angle=first.angle)
    assert run_of(by_angle) == pytest.approx(over, abs=1e-7)


@given(numbers(1.0, 500.0), numbers(20.0, 300.0), numbers(1.0, 2000.0))
def test_over_is_from_the_first_tangent_to_the_last_one(by: float, radius: float, extra: float) -> None:
    least = float(np.sqrt(max(by * (4 * radius - by), 0.0)))
    offset = Offset(roll=0.4, by=by, radius=radius, over=least + extra)
    assert run_of(offset) == pytest.approx(least + extra, abs=CLOSE)
    line = s_of(offset)
    assert np.dot(line.end.at, line.start.direction(0.4)) == pytest.approx(by, abs=CLOSE)
    assert offset.moves[1].length >= 0
    assert 0 < offset.moves[0].angle < pi


@given(numbers(20.0, 300.0), numbers(0.01, 3.9), numbers(0.001, 0.9))
def test_too_short_an_over_is_refused_and_the_least_one_just_fits(radius: float, share: float, short: float) -> None:
    by = share * radius
    least = float(np.sqrt(by * (4 * radius - by)))  # two arcs of one radius, point to point: chord geometry
    with pytest.raises(TightOffset, match="does not fit two bends of radius") as caught:
        _ = Offset(roll=0.0, by=by, radius=radius, over=least * (1 - short)).moves
    assert caught.value.least_over == pytest.approx(least, rel=1e-12)
    assert isinstance(caught.value, GeometryError)
    just = Offset(roll=0.0, by=by, radius=radius, over=caught.value.least_over * (1 + 1e-12)).moves
    assert just[1].length == pytest.approx(0.0, abs=radius * 1e-5)


@given(numbers(20.0, 300.0), numbers(radians(2), radians(150)), numbers(-0.9, 2.0))
def test_the_least_by_leaves_no_straight_and_less_leaves_less_than_none(
    radius: float, angle: float, more: float
) -> None:
    least = Offset(roll=0.0, by=1.0, radius=radius, angle=angle).least_by
    assert least == pytest.approx(2 * radius * tan(angle / 2) * sin(angle), rel=1e-12)  # the half-angle identity
    by = least * (1 + more)
    between = Offset(roll=0.0, by=by, radius=radius, angle=angle).moves[1].length
    assert between == pytest.approx(least * more / sin(angle), rel=1e-9, abs=1e-9)


def test_least_by_says_nothing_where_the_run_is_given() -> None:
    assert Offset(roll=0.0, by=50.0, radius=100.0, over=400.0).least_by == 0.0


@pytest.mark.parametrize(
    ("radius", "straight", "angle", "rise", "run"),
    [
        (10, 6, 10, 1.35, 7.6), (10, 6, 15, 2.23, 8.3), (10, 6, 20, 3.26, 9.0), (10, 6, 25, 4.41, 9.5),
        (10, 6, 30, 5.68, 9.8), (10, 6, 45, 10.1, 10.1), (7, 4, 10, 0.91, 5.1), (7, 4, 15, 1.51, 5.6),
        (7, 4, 20, 2.21, 6.1), (7, 4, 25, 3.00, 6.4), (7, 4, 30, 3.88, 6.7), (7, 4, 45, 6.93, 6.9),
    ],
)  # fmt: skip
def test_the_smallest_kick_of_two_radii_and_least_straights(
    radius: float, straight: float, angle: float, rise: float, run: float
) -> None:
    # derived in the trade notes, runs apex to apex, and checked here from the arcs laid out (no published table found)
    apexes = 2 * radius * tan(radians(angle) / 2) + straight
    by = apexes * sin(radians(angle))
    assert by == pytest.approx(rise, abs=0.051 if rise > 10 else 0.0051)
    offset = Offset(roll=0.0, by=by, radius=radius, angle=radians(angle))
    assert offset.moves[1].length == pytest.approx(straight, abs=1e-12)
    apex_run = apexes * cos(radians(angle))
    assert apex_run == pytest.approx(run, abs=0.051)
    setback = radius * tan(radians(angle) / 2)
    assert run_of(offset) == pytest.approx(apex_run + 2 * setback, abs=1e-9)  # `over` is tangent to tangent, longer


def test_the_two_bends_of_an_offset_go_opposite_ways() -> None:
    first, _, back = Offset(roll=radians(90), by=60.0, radius=150.0, angle=radians(25)).moves
    assert degrees(first.roll) == pytest.approx(90)
    assert degrees(back.roll) == pytest.approx(-90)
