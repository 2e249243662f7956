"""Bend rows: there and back from points, from either end, mirrored, batched, and what is refused."""

import numpy as np
import pytest
from drawn import bend_rows, poses
from hypothesis import given
from hypothesis import strategies as st

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows, points_from_rows, rows_from_points, same_shape, wrap

CLOSE = 1e-9  # mm, the bound the conventions set for every change of description


def lay_out(rows: BendRows, start: Pose) -> np.ndarray:
    return points_from_rows(rows, start.at, start.t, start.u)


@given(bend_rows(), poses())
def test_points_to_rows_to_points_is_the_same_within_a_billionth_of_a_millimetre(rows: BendRows, start: Pose) -> None:
    points = lay_out(rows, start)
    again = lay_out(rows_from_points(points, rows.radius, start.u), Pose.of(points[0], points[1] - points[0], start.u))
    assert np.abs(again - points).max() < CLOSE


@given(bend_rows(), poses())
def test_rows_to_points_to_rows_is_the_same_shape(rows: BendRows, start: Pose) -> None:
    assert same_shape(rows_from_points(lay_out(rows, start), rows.radius, start.u), rows)


@given(bend_rows(), poses())
def test_read_from_the_other_end_it_is_the_same_rail_and_rotations_keep_their_sign(
    rows: BendRows, start: Pose
) -> None:
    other, far = rows.reversed(), Centreline(rows, start).end.turned_back()
    assert np.abs(lay_out(other, far)[::-1] - lay_out(rows, start)).max() < CLOSE
    assert np.array_equal(other.rotation[1:], rows.rotation[:0:-1])
    assert np.array_equal(other.straights, rows.straights[::-1])
    assert np.array_equal(other.angle, rows.angle[::-1])
    assert np.array_equal(other.radius, rows.radius[::-1])


@given(bend_rows())
def test_turned_round_twice_it_is_the_table_that_was_written(rows: BendRows) -> None:
    again = rows.reversed().reversed()
    assert np.array_equal(again.straights, rows.straights)
    assert np.array_equal(again.rotation[1:], rows.rotation[1:])
    assert np.abs(wrap(again.rotation - rows.rotation)).max(initial=0) < 1e-14 * 8


@given(bend_rows(), poses())
def test_the_other_hand_is_the_mirror_image_with_rotations_negated(rows: BendRows, start: Pose) -> None:
    other = rows.mirrored()
    assert np.array_equal(other.rotation, np.where(rows.rotation == np.pi, np.pi, -rows.rotation))
    assert np.array_equal(other.angle, rows.angle)
    assert np.abs(lay_out(other, start.mirrored()) - lay_out(rows, start) * [1, -1, 1]).max() < CLOSE


@given(bend_rows())
def test_mirrored_twice_it_is_exactly_itself(rows: BendRows) -> None:
    again = rows.mirrored().mirrored()
    for name in ("distance", "rotation", "angle", "radius", "tail"):
        assert np.array_equal(getattr(again, name), getattr(rows, name))


def test_a_reversal_is_180_on_both_hands_and_from_both_ends_and_zero_has_no_sign() -> None:
    rows = BendRows.of([300, 200, 150], [0.0, np.pi, np.pi], [0.3, 0.3, 0.2], [150, 150, 150], 400)
    for other in (rows.mirrored(), rows.reversed(), rows.mirrored().reversed()):
        assert np.array_equal(other.rotation, [0.0, np.pi, np.pi])
        assert not np.signbit(other.rotation).any()


@pytest.mark.parametrize("lift", [150.0, -150.0])
@pytest.mark.parametrize("side", [0.0, 431.8, -431.8])
def test_an_offset_in_one_plane_reads_0_and_180_whichever_way_it_goes(lift: float, side: float) -> None:
    points = [[0, side, 0], [900, side, 0], [1300, side, lift], [2400, side, lift]]
    rotation = rows_from_points(points, [150, 150]).rotation
    assert np.array_equal(rotation, [0.0 if lift > 0 else np.pi, np.pi])


def test_four_corners_by_hand() -> None:
    # up, left, down, right: rearward is x, right is y, up is z; 90 degree bends of radius 100 take 100 off each leg
    points = [[0, 0, 0], [500, 0, 0], [500, 0, 700], [500, -900, 700], [500, -900, -400], [500, 300, -400]]
    rows = rows_from_points(points, [100, 100, 100, 100])
    assert np.allclose(rows.straights, [400, 500, 700, 900, 1100], rtol=0, atol=1e-12)
    assert np.allclose(np.degrees(rows.angle), 90, rtol=0, atol=1e-12)
    assert np.allclose(np.degrees(rows.rotation), [0, -90 + 180, 0, 0], rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("step", "rotation"),
    [((0, 0, 1), 0), ((0, 0, -1), 180), ((0, -1, 0), 90), ((0, 1, 0), -90)],
    ids=["top", "bottom", "left", "right"],
)
def test_the_first_rotation_counts_from_the_top_face_right_handed_about_the_travel(
    step: tuple[float, float, float], rotation: float
) -> None:
    # Conventions: on a rail that points rearward (x) the right is +y and up is +z; right-handed about x takes z to -y.
    points = np.array([[0, 0, 0], [800, 0, 0], np.array([1500, 0, 0]) + 200 * np.array(step)], dtype=float)
    assert np.degrees(rows_from_points(points, [150]).rotation) == pytest.approx([rotation], abs=1e-12)


def test_a_top_that_leans_along_the_first_leg_counts_by_its_part_across() -> None:
    points = [[0, 0, 0], [800, 0, 0], [1500, -200, 0]]
    assert rows_from_points(points, [150], top=[0.8, 0.0, 0.6]).rotation[0] == pytest.approx(np.pi / 2, abs=1e-15)


def test_an_offset_in_any_plane_is_never_minus_180_by_rounding() -> None:
    random = np.random.default_rng(11)
    across, along = random.normal(size=(2, 4000, 3))
    along /= np.linalg.norm(along, axis=-1, keepdims=True)
    run, rise = random.uniform([200, 40], [900, 300], size=(4000, 2)).T
    lean = np.cross(along, across)
    lean /= np.linalg.norm(lean, axis=-1, keepdims=True)
    second = 600 * along
    third = second + run[:, None] * along + rise[:, None] * lean
    points = np.stack([np.zeros_like(along), second, third, third + 700 * along], axis=1)
    rotation = rows_from_points(points, [100, 100], top=across).rotation[:, 1]
    assert rotation == pytest.approx(np.pi, abs=1e-11)


def test_bends_that_overlap_leave_a_negative_straight_by_that_much() -> None:
    points = [[0, 0, 0], [500, 0, 0], [500, 0, 150], [1000, 0, 150]]
    assert np.allclose(rows_from_points(points, [100, 100]).straights, [400, -50, 400], rtol=0, atol=1e-12)


def test_a_rail_without_bends_is_its_tail() -> None:
    rows = rows_from_points([[0, 0, 0], [300, 400, 0]], [])
    assert (rows.count, float(rows.tail), float(rows.developed_length)) == (0, 500.0, 500.0)
    assert rows.reversed().count == rows.mirrored().count == 0


@given(st.lists(bend_rows(5, 5), min_size=2, max_size=4), poses())
def test_a_batch_of_rails_is_each_rail_by_itself(rails: list[BendRows], start: Pose) -> None:
    columns = ("distance", "rotation", "angle", "radius", "tail")
    batch = BendRows.of(*(np.array([getattr(rail, name) for rail in rails]) for name in columns))
    points = lay_out(batch, start)
    found = rows_from_points(points, batch.radius, start.u)
    for i, rail in enumerate(rails):
        assert np.allclose(points[i], lay_out(rail, start), rtol=0, atol=CLOSE)
        alone = rows_from_points(points[i], rail.radius, start.u)
        for name in columns:
            assert np.array_equal(getattr(found, name)[i], getattr(alone, name))
    for made, each in ((batch.reversed(), BendRows.reversed), (batch.mirrored(), BendRows.mirrored)):
        for i, rail in enumerate(rails):
            for name in columns:
                assert np.array_equal(getattr(made, name)[i], getattr(each(rail), name))


def test_more_rails_than_one_block_and_any_batch_shape() -> None:
    random = np.random.default_rng(7)
    steps = random.uniform([200, -80, -80], [400, 80, 80], size=(5, 700, 5, 3))
    points = np.cumsum(steps, axis=-2)
    rows = rows_from_points(points, [100, 120, 140])  # one radius for each bend, the same on every rail
    assert rows.distance.shape == rows.rotation.shape == rows.angle.shape == rows.radius.shape == (5, 700, 3)
    assert rows.tail.shape == rows.developed_length.shape == (5, 700)
    for i, j in ((0, 0), (1, 324), (4, 699)):
        alone = rows_from_points(points[i, j], [100, 120, 140])
        assert np.array_equal(rows.straights[i, j], alone.straights)
        assert np.array_equal(rows.rotation[i, j], alone.rotation)


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        (([1, 2], [0], [0.1, 0.1], [50, 50], 10), r"do not fit together: shapes \(2,\), \(1,\), \(2,\), \(2,\), \(\)"),
        (([1], [0], [0.1], [50], [10, 20]), "do not fit together"),
        (([[1], [2]], [[0], [0]], [[0.1], [0.1]], [[50], [50]], 10), "do not fit together"),
        (([1], [float("nan")], [0.1], [50], 10), "not a finite number"),
        (([1], [0], [0.1], [float("inf")], 10), "not a finite number"),
        (([1], [0], [0.1], [50], float("-inf")), "not a finite number"),
    ],
)
def test_columns_that_make_no_table_are_refused(columns: tuple[object, ...], says: str) -> None:
    with pytest.raises(GeometryError, match=says):
        BendRows.of(*columns)


def test_a_table_cannot_be_changed_and_does_not_share_what_it_was_made_of() -> None:
    given_distance = np.array([100.0])
    rows = BendRows.of(given_distance, [0.0], [0.1], [50.0], 10.0)
    given_distance[0] = 5
    assert rows.distance[0] == 100
    with pytest.raises(ValueError, match="read-only"):
        rows.distance[0] = 1


@given(st.floats(-1e3, 1e3))
def test_wrapping_keeps_the_angle_and_lands_above_minus_180_up_to_180(angle: float) -> None:
    wrapped = float(wrap(angle))
    assert -np.pi < wrapped <= np.pi
    assert abs(np.exp(1j * wrapped) - np.exp(1j * angle)) < 1e-11


@pytest.mark.parametrize("hair", [0.0, 5e-16, -5e-16, 5e-13, -5e-13])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_within_a_hair_of_a_reversal_it_is_at_most_180_and_never_minus_180(hair: float, sign: float) -> None:
    assert np.pi - 1e-12 < float(wrap(sign * np.pi + hair)) <= np.pi
    assert not np.signbit(wrap(-0.0))


@pytest.mark.parametrize("turns", range(-3, 4))
def test_wrapping_a_reversal_gives_plus_180_and_a_full_turn_gives_zero(turns: int) -> None:
    assert float(wrap(np.pi + 2 * np.pi * turns)) == np.pi
    assert float(wrap(2 * np.pi * turns)) == pytest.approx(0.0, abs=1e-15)


@given(bend_rows())
def test_the_roll_of_a_bend_is_all_rotations_so_far(rows: BendRows) -> None:
    total = 0.0
    for rotation, roll in zip(rows.rotation, rows.roll, strict=True):
        total += rotation
        assert abs(np.exp(1j * roll) - np.exp(1j * total)) < 1e-13
        assert -np.pi < roll <= np.pi


def test_the_same_shape_is_told_from_another() -> None:
    rows = BendRows.of([300, 200], [0.0, np.pi], [0.3, 0.3], [150, 150], 400)
    assert same_shape(rows, rows)
    assert not same_shape(rows, BendRows.of([300], [0.0], [0.3], [150], 400))
    for change in ("distance", "rotation", "angle", "radius"):
        columns = {n: np.array(getattr(rows, n)) for n in ("distance", "rotation", "angle", "radius", "tail")}
        columns[change][1] += 1e-4
        assert not same_shape(rows, BendRows.of(**columns))
