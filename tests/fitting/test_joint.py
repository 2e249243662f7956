"""Joints between tube ends: each kind of misfit by itself, by closed form."""

import numpy as np
import pytest

from railmodel.fitting.joint import meeting, outward
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows

END = Pose.of([100, 0, 0], [1, 0, 0], [0, 0, 1])


def other(at=(100, 0, 0), heading=(-1, 0, 0), top=(0, 0, 1)) -> Pose:
    return Pose.of(at, heading, top)


def test_ends_that_meet_face_to_face() -> None:
    found = meeting(END, other())
    assert (found.gap, found.offset, found.angle, found.roll) == pytest.approx((0, 0, 0, 0))


def test_gap_and_overlap_count_along_the_first_tube() -> None:
    assert meeting(END, other(at=(103, 0, 0))).gap == pytest.approx(3)
    assert meeting(END, other(at=(98, 0, 0))).gap == pytest.approx(-2)


def test_offset_is_square_to_the_first_tube() -> None:
    found = meeting(END, other(at=(101, 3, 4)))
    assert (found.gap, found.offset) == pytest.approx((1, 5))


@pytest.mark.parametrize("degrees", [0.1, 2.0, 45.0, 90.0])
def test_angle_between_the_end_faces(degrees: float) -> None:
    turn = np.radians(degrees)
    assert meeting(END, other(heading=(-np.cos(turn), np.sin(turn), 0))).angle == pytest.approx(turn)


@pytest.mark.parametrize(("degrees", "found"), [(0.5, 0.5), (-3.0, 3.0), (180.0, 0.0), (90.0, 90.0)])
def test_roll_between_the_sections_half_a_turn_is_none(degrees: float, found: float) -> None:
    turn = np.radians(degrees)
    top = (0, np.sin(turn), np.cos(turn))
    assert np.degrees(meeting(END, other(top=top)).roll) == pytest.approx(found, abs=1e-9)


def test_both_ends_of_a_line_look_out_of_it() -> None:
    line = Centreline(BendRows.of([100], [0], [np.pi / 2], [50], 80), Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    assert outward(line, "front").t == pytest.approx([-1, 0, 0])
    assert outward(line, "rear").t == pytest.approx([0, 0, 1], abs=1e-12)
    assert outward(line, "rear").at == pytest.approx([150, 0, 130])
