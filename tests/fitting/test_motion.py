"""Travel: the order in which the variables act, ties, the other side's copy, and how fast and curved points travel."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from railmodel.errors import GeometryError
from railmodel.fitting.motion import STILL, Motion, MotionSet, Position, Sliding, Span, Turning

Array = NDArray[np.float64]

AXLE = Motion(
    turn=Turning((0.0, 600.0, 300.0), (0.1, 0.1, 1.0), Span(-0.5, 0.4)),
    roll=Turning((0.0, 0.0, 330.0), (1.0, 0.0, 0.0), Span(-0.1, 0.1)),
    slide=Sliding((2.0, 0.0, 1.0), Span(-20.0, 30.0)),
    lift=Span(-75.0, 100.0),
    name="front axle",
)

places = st.tuples(*[st.floats(-2000, 2000)] * 3)
ways = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda way: np.linalg.norm(way) > 0.1)
angles = st.tuples(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5)).filter(lambda ends: ends[0] != ends[1])
lengths = st.tuples(st.floats(-200, 200), st.floats(-200, 200)).filter(lambda ends: ends[0] != ends[1])
turnings = st.builds(lambda at, axis, ends: Turning(at, axis, Span(*ends)), places, ways, angles)
motions = st.builds(
    lambda turn, roll, way, slide, lift, tied: Motion(
        turn=turn,
        roll=roll,
        slide=Sliding(way, Span(*slide)),
        lift=Span(*lift),
        ties=(("roll", "turn"),) if tied else (("lift", "roll"),),
    ),
    turnings,
    turnings,
    ways,
    lengths,
    lengths,
    st.booleans(),
)


def about(through: Array, axis: Array, angle: float, points: Array) -> Array:
    """Points turned about an axis, by scipy's rotations."""
    turn = Rotation.from_rotvec(np.array(axis) / np.linalg.norm(axis) * angle)
    return turn.apply(points - through) + through


def test_turn_then_roll_then_slide_then_lift() -> None:
    points = np.random.default_rng(1).uniform(-500, 500, (5, 3))
    assert AXLE.turn is not None
    assert AXLE.roll is not None
    expected = about(np.array(AXLE.turn.through), np.array(AXLE.turn.axis), 0.3, points)
    expected = about(np.array(AXLE.roll.through), np.array(AXLE.roll.axis), -0.08, expected)
    expected = expected + 12.0 * np.array([2.0, 0.0, 1.0]) / np.sqrt(5) + [0.0, 0.0, 50.0]
    np.testing.assert_allclose(AXLE.carry(points, Position(up=50, roll=-0.08, turn=0.3, slide=12)), expected, atol=1e-9)
    np.testing.assert_allclose(AXLE.carry(points, Position()), points, atol=1e-12)


def test_one_wheel_up_lifts_the_right_wheel_for_a_positive_roll_about_x() -> None:
    """X rearward, Y to the right, Z up, right-handed: turning about X brings Y toward Z."""
    wheel = np.array([[0.0, 700.0, 330.0]])
    assert AXLE.carry(wheel, Position(roll=0.1))[0, 2] > 330.0


def test_variables_are_independent_unless_tied() -> None:
    assert AXLE.drivers == (("lift",), ("roll",), ("slide",), ("turn",))
    tied = Motion(turn=AXLE.turn, roll=AXLE.roll, lift=AXLE.lift, ties=(("roll", "lift"),))
    assert tied.drivers == (("roll", "lift"), ("turn",))
    quarter = tied.position([0.25, 1.0])
    assert (quarter.up, quarter.roll, quarter.turn) == pytest.approx((-75 + 175 / 4, -0.05, 0.4))
    chained = Motion(turn=AXLE.turn, roll=AXLE.roll, lift=AXLE.lift, ties=(("roll", "lift"), ("turn", "roll")))
    assert chained.drivers == (("turn", "roll", "lift"),)
    assert not STILL.moves


@given(motions, places, st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_the_other_sides_copy_is_the_mirror_image_at_the_same_values(
    motion: Motion, point: tuple[float, float, float], parameters: list[float]
) -> None:
    flip, at = np.array([1.0, -1.0, 1.0]), motion.position(parameters)
    seen = motion.mirrored().carry(np.array([point]) * flip, at)
    np.testing.assert_allclose(seen, motion.carry([point], at) * flip, atol=1e-6)
    assert motion.mirrored().position(parameters) == at


@given(motions, places, st.floats(1, 300), st.integers(0, 2**32 - 1))
def test_no_point_of_a_ball_travels_faster_or_more_curved_than_said(
    motion: Motion, centre: tuple[float, float, float], radius: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    one = MotionSet([motion])
    which = np.zeros(1, dtype=int)
    middle, most, second = one.reach(which, np.array([centre]), np.array([radius]))
    step = 1e-3
    off = rng.normal(size=3)
    for point, rate, curve in (
        (np.array(centre), middle[0], None),
        (np.array(centre) + radius * off / np.linalg.norm(off), most[0], second[0]),
    ):
        spot = rng.uniform(step, 1 - step, 4) * (np.arange(4) < len(motion.drivers))
        for driver in range(len(motion.drivers)):
            nearby = spot + step * np.outer([-1, 0, 1], np.eye(4)[driver])
            rotation, shift = one.place(np.zeros(3, dtype=int), one.values(np.zeros(3, dtype=int), nearby))
            before, here, after = rotation @ point + shift
            assert np.linalg.norm(after - before) / (2 * step) <= rate[driver] * (1 + 1e-6) + 1e-6
            if curve is not None:
                bend = np.linalg.norm(after - 2 * here + before) / step**2
                assert bend <= curve[driver, driver] * (1 + 1e-6) + 1e-3
                for other in range(driver):
                    both = spot + step * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) @ np.eye(4)[[driver, other]]
                    rotation, shift = one.place(np.zeros(4, dtype=int), one.values(np.zeros(4, dtype=int), both))
                    mixed = np.tensordot([1, -1, -1, 1], rotation @ point + shift, 1) / (4 * step**2)
                    assert np.linalg.norm(mixed) <= curve[driver, other] * (1 + 1e-6) + 1e-3


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Span(5, 5), r"travel from 5 to 5 is empty: give two different ends, or leave the travel out"),
        (lambda: Span(0, float("nan")), r"travel from 0 to nan is not a range: give two finite numbers"),
        (
            lambda: Turning((0, 0, 0), (0, 0, 0), Span(0, 1)),
            r"axis \[0, 0, 0\] has no direction; give a vector such as",
        ),
        (lambda: Turning((0, 0, 0), (0, 0, 1), Span(0, 7)), r"a travel of 1\.11 full turns goes over itself"),
        (lambda: Sliding((0, 0, 0), Span(0, 1)), r"slide direction \[0, 0, 0\] has no direction"),
        (lambda: Motion(lift=Span(0, 1), ties=(("roll", "lift"),)), r"roll goes with lift, but roll has no travel"),
        (lambda: Motion(lift=Span(0, 1), ties=(("lift", "lift"),)), r"lift cannot go with itself"),
    ],
)
def test_a_travel_that_makes_no_sense_says_so(make: object, says: str) -> None:
    with pytest.raises(GeometryError, match=says):
        make()  # type: ignore[operator]
