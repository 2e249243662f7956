"""The two-plane rule: roll found, nearest legal roll, the smallest move of a point that cures it, roll of straights."""

from math import pi, radians

import numpy as np
import pytest
from drawn import bend_rows, centrelines, numbers, poses
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.roll import QUARTER, PointMove, end_shift, off_legal, plumb, smallest_move, squared_up
from railmodel.geometry.rows import BendRows, rows_from_points, wrap
from railmodel.tolerances import ANGLE

UP = np.array([0.0, 0.0, 1.0])


@given(st.lists(numbers(-10.0, 10.0), max_size=8))
def test_off_legal_is_what_is_left_beyond_the_nearest_quarter_turn(rolls: list[float]) -> None:
    off = off_legal(rolls)
    assert (np.abs(off) <= pi / 4 + 1e-12).all()
    quarters = (np.array(rolls) - off) / QUARTER
    assert np.abs(quarters - np.round(quarters)).max(initial=0.0) < 1e-12


@pytest.mark.parametrize(("roll", "off"), [(0, 0), (30.96, 30.96), (-149.04, 30.96), (89, -1), (-91, -1), (180, 0)])
def test_off_legal_keeps_the_sense(roll: float, off: float) -> None:
    assert np.degrees(off_legal(np.radians(roll))) == pytest.approx(off, abs=1e-12)


@given(bend_rows())
def test_squared_up_every_bend_is_legal_and_nothing_else_changes(rows: BendRows) -> None:
    legal = squared_up(rows)
    assert np.abs(off_legal(legal.roll)).max(initial=0.0) < 1e-14
    assert np.abs(wrap(legal.roll - rows.roll)).max(initial=0.0) <= pi / 4 + 1e-12
    assert np.array_equal(legal.straights, rows.straights)
    assert np.array_equal(legal.angle, rows.angle)
    again = squared_up(legal)
    assert np.array_equal(again.rotation, legal.rotation)


def pushed_rail(seed: int) -> tuple[np.ndarray, int]:
    """Points of a rail flat dies can bend, one pushed off by up to 12 mm, and the index of the bend farthest off."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 5))
    roll = wrap(rng.integers(0, 4, count) * QUARTER)
    straights, angles = rng.uniform(250.0, 900.0, count + 1), rng.uniform(radians(10), radians(60), count)
    rows = BendRows.of(straights[:-1], wrap(np.diff(roll, prepend=0.0)), angles, np.zeros(count), straights[-1])
    points = Centreline(rows, Pose.of([0, 400, 500], [1, 0, 0], UP)).points.copy()
    points[rng.integers(1, count + 1)] += rng.uniform(-12.0, 12.0, 3)
    return points, int(np.abs(off_legal(rolls_of(points))).argmax())


pushed_rails = st.builds(pushed_rail, st.integers(0, 1_000_000))


def rolls_of(points: np.ndarray, top: np.ndarray = UP) -> np.ndarray:
    return rows_from_points(points, np.zeros(len(points) - 2), top).roll


def moved(points: np.ndarray, move: PointMove) -> np.ndarray:
    again = points.copy()
    again[move.point] += move.by
    return again


def shortest_by_search(points: np.ndarray, index: int, wanted: list[int]) -> float:
    """The shortest move of one point that makes bends legal, by a general optimizer from many starts, mm."""
    target = QUARTER * np.round(rolls_of(points) / QUARTER)
    rng = np.random.default_rng(1)

    def residuals(by: np.ndarray) -> np.ndarray:
        trial = points.copy()
        trial[index] += by
        return np.concatenate([1e6 * wrap(rolls_of(trial) - target)[wanted], by])

    best = np.inf
    for start in [np.zeros(3), *rng.normal(0.0, 10.0, (3, 3))]:
        found = least_squares(residuals, start, method="trf", x_scale="jac", max_nfev=60)
        if np.abs(found.fun[:-3]).max() < 1.0:  # a millionth of a radian
            best = min(best, float(np.linalg.norm(found.x)))
    return best


@given(pushed_rails)
def test_the_smallest_move_makes_the_bend_legal_and_keeps_the_legal_ones(case: tuple[np.ndarray, int]) -> None:
    points, bend = case
    move = smallest_move(points, UP, bend)
    assert move is not None  # the point that was pushed can be put back
    after = np.abs(off_legal(rolls_of(moved(points, move))))
    before = np.abs(off_legal(rolls_of(points)))
    assert after[bend] <= ANGLE
    assert (after[before <= ANGLE] <= 10 * ANGLE).all()
    assert move.cures == tuple(np.flatnonzero(after <= ANGLE))
    assert move.size == pytest.approx(np.linalg.norm(move.by))


@pytest.mark.parametrize("seed", range(12))
def test_no_move_found_by_a_general_optimizer_is_shorter(seed: int) -> None:
    points, bend = pushed_rail(seed)
    move = smallest_move(points, UP, bend)
    assert move is not None
    own = shortest_by_search(points, move.point, list(move.cures))
    assert np.isfinite(own)  # the search did find such moves
    assert move.size <= own + 1e-3
    if len(move.cures) == len(points) - 2:  # it cures them all: then no other point does so with less either
        others = [shortest_by_search(points, index, list(move.cures)) for index in range(len(points))]
        assert move.size <= min(others) + 1e-3


def test_a_legal_rail_needs_no_move() -> None:
    points = np.array([[0.0, 0, 0], [900, 0, 0], [1200, 0, 200], [2000, 0, 200]])
    move = smallest_move(points, UP, 0)
    assert move is not None
    assert move.size == 0.0


def test_of_one_bend_that_goes_askew_a_point_moves_straight_into_the_plane() -> None:
    # by hand: the third point must come into the side plane y = 0; the two others would have to move more
    points = np.array([[0.0, 0, 0], [900, 0, 0], [1500, 20, 300]])
    move = smallest_move(points, UP, 0)
    assert move is not None
    assert rolls_of(moved(points, move))[0] == pytest.approx(0.0, abs=ANGLE)
    assert move.size <= shortest_by_search(points, 2, [0]) + 1e-6
    assert move.size <= 20.0


def test_where_no_single_point_can_do_it_there_is_no_move() -> None:
    # every bend askew by another amount: three bends far off at once
    rows = BendRows.of([500.0] * 4, np.radians([40, 35, -38, 42]), np.radians([30, 35, 30, 30]), [0.0] * 4, 500.0)
    points = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], UP)).points
    move = smallest_move(points, UP, 1)
    if move is not None:
        assert np.abs(off_legal(rolls_of(moved(points, move)))[1]) <= ANGLE


@given(centrelines())
def test_end_shift_is_how_far_apart_the_two_far_ends_are(line: Centreline) -> None:
    legal = Centreline(squared_up(line.rows), line.start)
    assert end_shift(line) == pytest.approx(float(np.linalg.norm(legal.points[-1] - line.points[-1])), abs=1e-8)


@given(numbers(0.0, radians(1.5)), numbers(100.0, 2000.0), numbers(radians(5), radians(60)))
def test_end_shift_of_one_bend_is_the_chord_of_its_lever(off: float, tail: float, angle: float) -> None:
    # by hand: turning about the first straight by `off` moves the end on a circle of its distance from that line
    rows = BendRows.of([500.0], [off], [angle], [100.0], tail)
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], UP))
    lever = 100.0 * (1 - np.cos(angle)) + tail * np.sin(angle)
    assert end_shift(line) == pytest.approx(2 * lever * np.sin(off / 2), abs=1e-9)


@given(poses())
def test_plumb_is_the_turn_from_the_top_that_looks_most_upward(pose: Pose) -> None:
    straight = Centreline(BendRows.of([], [], [], [], 100.0), pose).straights[0]
    roll = plumb(straight)
    assert roll is not None
    upright = pose.direction(-roll)  # turned back by it, the top face looks as much upward as it can
    assert upright[2] == pytest.approx(np.sqrt(1 - pose.t[2] ** 2), abs=1e-9)
    assert -pi <= roll <= pi


@pytest.mark.parametrize(
    ("top", "degrees"), [([0, 0, 1], 0), ([0, -1, 1], 45), ([0, 1, 1], -45), ([0, -1, 0], 90), ([0, 0, -1], 180)]
)
def test_plumb_counts_right_handed_about_the_travel(top: list[float], degrees: float) -> None:
    # heading rearward (+x), right-handed turns the top (+z) toward -y, the vehicle's left
    straight = Centreline(BendRows.of([], [], [], [], 100.0), Pose.of([0, 0, 0], [1, 0, 0], top)).straights[0]
    roll = plumb(straight)
    assert roll is not None
    assert np.degrees(roll) == pytest.approx(degrees)


@pytest.mark.parametrize("heading", [[0, 0, 1], [0, 0, -1], [1e-7, 0, 1]])
def test_a_straight_that_stands_upright_has_no_roll(heading: list[float]) -> None:
    straight = Centreline(BendRows.of([], [], [], [], 100.0), Pose.of([0, 0, 0], heading, [1, 0, 0])).straights[0]
    assert plumb(straight) is None
