"""Centrelines: joints, frames, nearest places, both ends and hands, and the roll that the order of planes causes."""

import numpy as np
import pytest
from drawn import centrelines, poses
from hypothesis import given
from hypothesis import strategies as st

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows

CLOSE = 1e-9  # mm
QUARTER = np.pi / 2


def unsquare(pose: Pose) -> float:
    """How far the frame is from right-handed, square and unit length, anywhere on the pose."""
    frame = np.stack([pose.t, pose.s, pose.u], axis=-2)
    square = frame @ np.swapaxes(frame, -1, -2) - np.eye(3)
    return float(max(np.abs(square).max(), np.abs(np.cross(pose.t, pose.s) - pose.u).max()))


def apart(a: Pose, b: Pose) -> float:
    """Largest difference of two poses: mm in place, and per unit in direction."""
    return float(max(np.abs(getattr(a, name) - getattr(b, name)).max() for name in ("at", "t", "s", "u")))


@given(centrelines())
def test_every_stretch_begins_where_the_one_before_ends_with_the_same_frame(line: Centreline) -> None:
    for before, after in zip(line.stretches, line.stretches[1:], strict=False):
        assert apart(before.pose(before.length), after.start) < CLOSE
        assert after.station == pytest.approx(before.station + before.length, abs=CLOSE)
    last = line.stretches[-1]
    assert line.length == pytest.approx(last.station + last.length, abs=CLOSE)


@given(centrelines())
def test_straights_count_from_0_bends_from_1_and_hold_the_rows(line: Centreline) -> None:
    assert [straight.number for straight in line.straights] == list(range(line.rows.count + 1))
    assert [bend.number for bend in line.bends] == list(range(1, line.rows.count + 1))
    assert np.array_equal([straight.length for straight in line.straights], line.rows.straights)
    assert np.array_equal([bend.angle for bend in line.bends], line.rows.angle)
    assert np.array_equal([bend.roll for bend in line.bends], line.rows.roll)
    assert {stretch.kind for stretch in line.stretches[::2]} == {"straight"}


@given(centrelines())
def test_the_frame_stays_square_turns_with_the_path_and_does_not_twist(line: Centreline) -> None:
    step = 1e-3
    stations = np.linspace(0, line.length - step, 200)
    here, next_ = line.pose_at(stations), line.pose_at(stations + step)
    assert unsquare(here) < 1e-12
    travel = (next_.at - here.at) / step
    tightest = line.rows.radius.min(initial=np.inf)
    assert np.abs(travel - here.t).max() < step / tightest + 1e-8  # t is the way the path goes
    twist = np.sum((next_.u - here.u) * here.s, axis=-1) / step
    assert np.abs(twist).max() < step / tightest**2 + 1e-8  # radians per mm about t


@given(centrelines(least=1))
def test_a_bend_is_a_circle_between_its_tangents(line: Centreline) -> None:
    # Euclid: centre to vertex R / cos(angle / 2), tangent length R tan(angle / 2), both tangents equal
    points = line.points
    for bend, vertex in zip(line.bends, points[1:-1], strict=True):
        arc = bend.pose(np.linspace(0, bend.length, 9))
        end = bend.pose(bend.length)
        scale = CLOSE * 10
        assert np.abs(np.linalg.norm(arc.at - bend.centre, axis=-1) - bend.radius).max() < scale
        assert np.linalg.norm(vertex - bend.centre) == pytest.approx(bend.radius / np.cos(bend.angle / 2), abs=scale)
        setback = bend.radius * np.tan(bend.angle / 2)
        assert np.abs(vertex - setback * bend.start.t - bend.start.at).max() < scale
        assert np.abs(vertex + setback * end.t - end.at).max() < scale
        assert np.abs(arc.t @ bend.axis).max() < 1e-12
        assert np.dot(bend.start.t, end.t) == pytest.approx(np.cos(bend.angle), abs=1e-12)


@given(centrelines())
def test_through_its_own_points_it_is_the_same_centreline(line: Centreline) -> None:
    again = Centreline.from_points(line.points, line.rows.radius, line.start.u)
    stations = np.linspace(0, line.length, 50)
    ours, theirs = line.pose_at(stations), again.pose_at(stations)
    assert np.abs(ours.at - theirs.at).max() < 1e-8  # the stations shift by what the arcs' rounding adds up to
    assert np.abs(again.points - line.points).max() < CLOSE


@given(centrelines())
def test_from_the_other_end_every_place_is_the_same_with_the_same_top_face(line: Centreline) -> None:
    other = line.reversed()
    stations = np.linspace(0, line.length, 50)
    assert apart(other.pose_at(line.length - stations), line.pose_at(stations).turned_back()) < 1e-8
    assert apart(other.reversed().pose_at(stations), line.pose_at(stations)) < 1e-8


@given(centrelines())
def test_the_other_hand_is_the_mirror_image_everywhere_and_twice_gives_it_back(line: Centreline) -> None:
    stations = np.linspace(0, line.length, 50)
    here, there = line.pose_at(stations), line.mirrored().pose_at(stations)
    assert apart(there, here.mirrored()) < CLOSE
    assert unsquare(there) < 1e-12  # right-handed still, so s is not just mirrored
    assert np.abs(there.s + here.s * [1, -1, 1]).max() < 1e-12
    assert np.array_equal(line.mirrored().mirrored().start.at, line.start.at)
    assert np.array_equal(line.mirrored().mirrored().rows.rotation, line.rows.rotation)


@given(centrelines(), st.lists(st.tuples(*[st.floats(-4000, 4000)] * 3), min_size=1, max_size=20))
def test_the_nearest_place_is_as_near_as_any_of_many_sampled_places(
    line: Centreline, targets: list[tuple[float, float, float]]
) -> None:
    points = np.array(targets)
    station, distance = line.closest(points)
    assert np.abs(np.linalg.norm(line.pose_at(station).at - points, axis=-1) - distance).max() < CLOSE
    assert station.min() >= 0
    assert station.max() <= line.length + CLOSE
    sampled = line.pose_at(np.linspace(0, line.length, 4001)).at
    nearest = np.linalg.norm(points[:, None] - sampled, axis=-1).min(axis=1)
    assert (distance <= nearest + CLOSE).all()
    assert (distance >= nearest - line.length / 8000 - CLOSE).all()


@given(centrelines(), st.floats(0, 1), st.floats(-30, 30), st.floats(-30, 30))
def test_a_point_beside_the_centreline_is_no_farther_than_it_was_set_off(
    line: Centreline, share: float, right: float, up: float
) -> None:
    station = share * line.length
    place = line.pose_at(station)
    beside = place.at + right * place.s + up * place.u
    assert line.closest(beside)[1][0] <= np.hypot(right, up) + CLOSE


def test_the_nearest_place_of_points_beyond_the_ends_is_the_end() -> None:
    line = Centreline.from_points([[0, 0, 0], [1000, 0, 0], [1000, 0, 800]], [200])
    station, distance = line.closest([[-30, 40, 0], [1000, 30, 840]])
    assert station.tolist() == pytest.approx([0, line.length])
    assert distance.tolist() == pytest.approx([50, 50])


def test_stations_beyond_an_end_go_on_straight() -> None:
    line = Centreline.from_points([[0, 0, 0], [1000, 0, 0], [1000, 0, 800]], [200])
    assert np.allclose(line.pose_at([-100, line.length + 100]).at, [[-100, 0, 0], [1000, 0, 900]], atol=1e-9)


def test_a_joint_belongs_to_the_stretch_it_begins() -> None:
    line = Centreline.from_points([[0, 0, 0], [1000, 0, 0], [1000, 0, 800]], [200])
    assert line.stretch_at([0.0, 799.9, 800.0, 800 + 100 * np.pi, line.length, 1e9, -5.0]).tolist() == [
        0, 0, 1, 2, 2, 2, 0,
    ]  # fmt: skip


@given(poses(), st.floats(-np.pi, np.pi))
def test_a_direction_across_the_tube_turns_right_handed_about_the_travel(pose: Pose, roll: float) -> None:
    across = pose.direction(roll)
    assert np.dot(across, pose.t) == pytest.approx(0, abs=1e-14)
    assert np.dot(np.cross(pose.u, across), pose.t) == pytest.approx(np.sin(roll), abs=1e-14)
    assert np.dot(pose.u, across) == pytest.approx(np.cos(roll), abs=1e-14)


def test_on_a_rail_that_points_rearward_right_is_s_and_up_is_u() -> None:
    pose = Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1])
    assert (pose.t.tolist(), pose.s.tolist(), pose.u.tolist()) == ([1, 0, 0], [0, 1, 0], [0, 0, 1])
    assert np.allclose(pose.direction([0, QUARTER, np.pi, -QUARTER]), [[0, 0, 1], [0, -1, 0], [0, 0, -1], [0, 1, 0]])


@given(poses())
def test_travelled_back_twice_it_is_the_same_pose_and_right_handed_both_ways(pose: Pose) -> None:
    assert unsquare(pose) < 1e-14
    assert unsquare(pose.turned_back()) < 1e-14
    assert apart(pose.turned_back().turned_back(), pose) == 0.0
    assert apart(pose.mirrored().mirrored(), pose) < 1e-15


def test_a_top_that_leans_is_made_square_to_the_heading() -> None:
    pose = Pose.of([1, 2, 3], [2, 0, 0], [0.5, 0, 0.5])
    assert np.allclose(pose.u, [0, 0, 1], atol=1e-15)
    assert np.allclose(pose.t, [1, 0, 0])


@pytest.mark.parametrize(
    ("heading", "top", "says"),
    [
        ([0, 0, 0], [0, 0, 1], r"heading \[0.0, 0.0, 0.0\] has no direction"),
        ([1, 0, 0], [0, 0, 0], r"top \[0.0, 0.0, 0.0\] has no direction"),
        ([1, 0, float("nan")], [0, 0, 1], "heading .* has no direction"),
        ([1, 0, 0], [1, 0, 0], "the top face cannot look along the tube"),
        ([0, 0, 1], [0, 0, -3], "give a top that is square to the heading"),
    ],
)
def test_a_pose_without_two_directions_is_refused(heading: list[float], top: list[float], says: str) -> None:
    with pytest.raises(GeometryError, match=says):
        Pose.of([0, 0, 0], heading, top)


@pytest.mark.parametrize("points", [[[0, 0, 0], [0, 0, 0], [900, 0, 0]], [[0, 0, 0], [0, 0, 700], [900, 0, 700]]])
def test_points_that_start_nowhere_or_along_the_top_are_refused(points: list[list[float]]) -> None:
    with pytest.raises(GeometryError, match=r"no direction|cannot look along the tube"):
        Centreline.from_points(points, [100])


@pytest.mark.parametrize("points", [[[0, 0, 0], [500, 0, 0], [500, 0, 0], [900, 0, 200]]])
@pytest.mark.filterwarnings("error")
def test_points_on_one_spot_further_on_make_no_centreline(points: list[list[float]]) -> None:
    with pytest.raises(GeometryError, match="not a finite number"):
        Centreline.from_points(points, [100, 100])


def four_bends(first: float, second: float, order: str) -> Centreline:
    """Up by `first`, in by `second`, and both undone: in turn ("up in down out") or nested ("up down in out")."""
    rolls = {"up": 0.0, "down": np.pi, "in": QUARTER, "out": -QUARTER}
    angles = {"up": first, "down": first, "in": second, "out": second}
    names = order.split()
    roll = np.array([rolls[name] for name in names])
    rotation = np.diff(roll, prepend=0.0)
    rows = BendRows.of([500.0] * 4, rotation, np.radians([angles[name] for name in names]), [150.0] * 4, 500.0)
    return Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))


@pytest.mark.parametrize(("first", "second", "rolled"), [(20, 10, 3.4), (30, 15, 7.4), (15, 8, 2.1)])
def test_undoing_two_planes_in_turn_leaves_the_tube_rolled(first: float, second: float, rolled: float) -> None:
    # common practice, no source; the figures are the project's own arithmetic: about the product of the two angles
    end = four_bends(first, second, "up in down out").end
    roll = np.degrees(np.arctan2(end.s[2], end.u[2]))
    assert abs(roll) == pytest.approx(rolled, abs=0.051)
    assert abs(np.radians(roll)) == pytest.approx(np.radians(first) * np.radians(second), rel=0.07)


def test_it_also_leaves_heading_and_pitch_a_little_off() -> None:
    end = four_bends(20, 10, "up in down out").end
    heading, pitch = np.degrees(np.arctan2(end.t[1], end.t[0])), np.degrees(np.arcsin(end.t[2]))
    assert (abs(heading), abs(pitch)) == pytest.approx((0.6, 0.3), abs=0.05)


@given(st.floats(1, 45), st.floats(1, 45))
def test_finishing_one_plane_before_the_other_leaves_no_roll(first: float, second: float) -> None:
    for order in ("up down in out", "in out up down", "up in out down"):
        end = four_bends(first, second, order).end
        assert np.abs(np.array([end.t, end.s, end.u]) - np.eye(3)).max() < 1e-14
