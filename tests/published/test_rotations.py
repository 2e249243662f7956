"""Bend rows laid out against rotations composed by scipy, a general reference library.

scipy's Rotation carries the tube frame (t, s, u) as a matrix and turns it about its own axes: first about t by the
rotation of the row, then by the bend angle about the axis that takes t toward u. Nothing of our trigonometry is used.
"""

import numpy as np
from drawn import bend_rows, centrelines, poses
from hypothesis import given
from scipy.spatial.transform import Rotation

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, points_from_rows, rows_from_points

CLOSE = 1e-9  # mm


def composed(rows: BendRows, start: Pose) -> tuple[np.ndarray, Rotation]:
    """Intersection points and the frame of the last leg, with the bend direction as its third axis."""
    frame = Rotation.from_matrix(np.column_stack([start.t, start.s, start.u]))
    point, points = start.at, [start.at]
    carried = 0.0
    for distance, rotation, angle, radius in zip(rows.distance, rows.rotation, rows.angle, rows.radius, strict=True):
        setback = radius / np.tan((np.pi - angle) / 2)
        point = point + frame.apply([carried + distance + setback, 0.0, 0.0])
        points.append(point)
        frame = frame * Rotation.from_rotvec([rotation, 0.0, 0.0]) * Rotation.from_rotvec([0.0, -angle, 0.0])
        carried = setback
    points.append(point + frame.apply([carried + float(rows.tail), 0.0, 0.0]))
    return np.array(points), frame


@given(bend_rows(), poses())
def test_points_are_where_composed_rotations_put_them(rows: BendRows, start: Pose) -> None:
    points, _ = composed(rows, start)
    assert np.abs(points_from_rows(rows, start.at, start.t, start.u) - points).max() < CLOSE


@given(bend_rows(), poses())
def test_rows_come_back_from_points_that_scipy_placed(rows: BendRows, start: Pose) -> None:
    points, _ = composed(rows, start)
    found = rows_from_points(points, rows.radius, start.u)
    assert np.abs(found.straights - rows.straights).max() < CLOSE
    assert np.abs(found.angle - rows.angle).max(initial=0) < 1e-9
    turned = np.abs(np.exp(1j * found.rotation) - np.exp(1j * rows.rotation))  # -180 and 180 are one turn
    assert turned.max(initial=0) < 1e-9


@given(centrelines())
def test_the_tube_frame_at_the_end_is_the_composed_one_less_the_roll(line: Centreline) -> None:
    # scipy's frame is turned to the last bend's direction; the tube itself was not, so take all rotations back out
    _, frame = composed(line.rows, line.start)
    roll = float(line.rows.rotation.sum())
    tube = (frame * Rotation.from_rotvec([-roll, 0.0, 0.0])).as_matrix()
    end = line.end
    assert np.abs(np.column_stack([end.t, end.s, end.u]) - tube).max() < 1e-12


@given(centrelines(least=1))
def test_a_bend_turns_its_start_frame_about_its_axis_onto_its_end_frame(line: Centreline) -> None:
    for bend in line.bends:
        turn = Rotation.from_rotvec(bend.axis * bend.angle)
        end = bend.pose(bend.length)
        for before, after in ((bend.start.t, end.t), (bend.start.s, end.s), (bend.start.u, end.u)):
            assert np.abs(turn.apply(before) - after).max() < 1e-12
        assert np.abs(turn.apply(bend.start.at - bend.centre) + bend.centre - end.at).max() < CLOSE
