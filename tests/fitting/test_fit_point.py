"""Feet of fit points: gap square to the face, on straights and bends, against closed forms and dense sampling."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rails import random_legal_line, random_section

from railmodel.fitting.fit_point import foot_on
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

SECTION = Section(height=80, width=40, wall=3, corner=6)
STRAIGHT = Centreline(BendRows.of([], [], [], [], 1000.0), Pose.of([0, 0, 100], [1, 0, 0], [0, 0, 1]))
UP = Centreline(BendRows.of([300], [0], [np.pi / 2], [200], 300), Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))


@pytest.mark.parametrize(
    ("point", "roll", "gap", "aside"),
    [
        ([400, 0, 190], 0.0, 50.0, 0.0),  # above the top face
        ([400, 7, 40], np.pi, 20.0, 7.0),  # below the bottom face, a little to the right
        ([400, 50, 100], -np.pi / 2, 30.0, 0.0),  # right of the right face
        ([400, -15, 110], np.pi / 2, -5.0, 10.0),  # inside the tube
    ],
)
def test_gap_from_each_face_of_a_straight(point: list[float], roll: float, gap: float, aside: float) -> None:
    foot = foot_on(STRAIGHT, SECTION, point, roll)
    assert foot.gap == pytest.approx(gap)
    assert abs(foot.aside) == pytest.approx(aside)
    assert (foot.kind, foot.number, foot.along) == ("straight", 0, pytest.approx(400))
    assert foot.from_bend == np.inf
    assert foot.beyond == 0


def test_a_point_beyond_the_end_says_how_far() -> None:
    assert foot_on(STRAIGHT, SECTION, [1025, 0, 190], 0.0).beyond == pytest.approx(25)


def test_a_point_off_the_flat_of_the_face_says_how_far() -> None:
    assert foot_on(STRAIGHT, SECTION, [400, 20, 190], 0.0).off_face == pytest.approx(6)
    assert foot_on(STRAIGHT, SECTION, [400, 14, 190], 0.0).off_face == pytest.approx(0)


def test_the_inside_of_a_bend_is_measured_along_the_radius() -> None:
    centre, angle, out = np.array([300, 0, 200]), np.radians(30), 110.0
    point = centre + out * np.array([np.sin(angle), 0, -np.cos(angle)])
    foot = foot_on(UP, SECTION, point, 0.0)  # the bend goes toward the top face, so that is its inside
    assert foot.gap == pytest.approx(200 - 40 - out)
    assert (foot.kind, foot.number) == ("bend", 1)
    assert foot.along == pytest.approx(300 + 200 * angle)
    assert foot.from_bend == pytest.approx(-200 * angle)


def test_the_outside_of_a_bend_is_measured_along_the_radius() -> None:
    point = np.array([300, 0, 200]) + 300 * np.array([np.sin(0.5), 0, -np.cos(0.5)])
    assert foot_on(UP, SECTION, point, np.pi).gap == pytest.approx(300 - 200 - 40)


def test_the_tangent_belongs_to_the_straight() -> None:
    foot = foot_on(UP, SECTION, [300, 0, 90], 0.0)
    assert (foot.kind, foot.number) == ("straight", 0)
    assert foot.from_bend == pytest.approx(0, abs=1e-9)


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, np.pi / 2, np.pi, -np.pi / 2]))
def test_the_line_from_foot_to_point_is_square_to_the_tube(seed: int, roll: float) -> None:
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    line = random_legal_line(rng, int(rng.integers(0, 5)), section=section)
    station = rng.uniform(0.0, line.length)
    pose = line.pose_at(station)
    outward, upright = pose.direction(roll)[0], round(roll / (np.pi / 2)) % 2 == 0
    reach = (section.height if upright else section.width) / 2
    point = pose.at[0] + (reach + 5.0) * outward
    foot = foot_on(line, section, point, roll)
    nearest = float(line.closest(point)[1][0])
    if np.isclose(nearest, reach + 5.0):  # no other stretch of the tube comes nearer
        assert foot.gap == pytest.approx(5.0, abs=1e-6)
        assert np.linalg.norm(point - foot.at) == pytest.approx(5.0, abs=1e-6)


def test_a_rolled_tube_needs_a_wedge() -> None:
    leaning = Centreline(BendRows.of([], [], [], [], 500.0), Pose.of([0, 0, 0], [1, 0, 0], [0, 0.1, 1]))
    foot = foot_on(leaning, SECTION, [100, 0, 60], 0.0)
    assert foot.roll == pytest.approx(-np.arctan(0.1))
    assert foot.wedge(60) == pytest.approx(6.0)


def test_an_upright_tube_has_no_roll() -> None:
    post = Centreline(BendRows.of([], [], [], [], 500.0), Pose.of([0, 0, 0], [0, 0, 1], [1, 0, 0]))
    assert foot_on(post, SECTION, [60, 0, 100], 0.0).roll is None
