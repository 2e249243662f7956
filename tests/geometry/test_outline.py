"""The outline by its girth: on the section, the right way round, as long as it says."""

from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rails import random_section

from railmodel.geometry.outline import around, borders, pieces_of
from railmodel.geometry.section import Section

TUBE = Section(height=100.0, width=50.0, wall=4.0, corner=8.0)
ROUND = Section(height=50.0, width=50.0, wall=4.0, corner=25.0)
SHARP = Section(height=100.0, width=50.0, wall=4.0, corner=0.0)


def off_outline(section: Section, s: float, u: float) -> float:
    """How far a point lies off a rounded rectangle (signed distance, the usual closed form)."""
    x, y = abs(s) - (section.width / 2 - section.corner), abs(u) - (section.height / 2 - section.corner)
    return hypot(max(x, 0), max(y, 0)) + min(max(x, y), 0) - section.corner


@given(st.integers(0, 2**32 - 1))
def test_points_lie_on_the_outline_and_are_as_far_apart_as_their_girths(seed: int) -> None:
    section = random_section(np.random.default_rng(seed))
    girth = np.linspace(0, section.girth, 20001)
    points = around(section, girth)
    assert max(abs(off_outline(section, s, u)) for s, u in points[::50]) < 1e-9
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    assert steps.sum() == pytest.approx(section.girth, rel=1e-4)  # chords and cut corners are a little shorter
    assert steps.max() <= section.girth / 20000 * (1 + 1e-9)


@pytest.mark.parametrize("section", [TUBE, ROUND, SHARP])
def test_it_begins_mid_corner_and_runs_up_the_face_at_minus_s(section: Section) -> None:
    half = section.corner * (1 - 1 / 2**0.5)
    first = (-section.width / 2 + half, -section.height / 2 + half)
    assert around(section, [0.0, section.girth]).tolist() == [pytest.approx(first), pytest.approx(first)]
    side = (section.height - 2 * section.corner) + section.corner * pi / 2
    top = (section.width - 2 * section.corner) + section.corner * pi / 2
    middles = around(section, [side / 2, side + top / 2, side * 1.5 + top, 2 * side + top * 1.5])
    wanted = [(-section.width / 2, 0), (0, section.height / 2), (section.width / 2, 0), (0, -section.height / 2)]
    assert middles.tolist() == [pytest.approx(spot, abs=1e-9) for spot in wanted]


def test_borders_are_where_flats_and_corners_meet() -> None:
    assert pieces_of(TUBE).sum() == pytest.approx(TUBE.girth)
    spots = around(TUBE, borders(TUBE))
    wanted = [(-25, -42), (-25, 42), (-17, 50), (17, 50), (25, 42), (25, -42), (17, -50), (-17, -50)]
    assert spots.tolist() == [pytest.approx(spot, abs=1e-9) for spot in wanted]


def test_once_round_is_the_same_place() -> None:
    assert around(TUBE, [30.0]) == pytest.approx(around(TUBE, [30.0 + TUBE.girth]))
    assert around(TUBE, [-30.0]) == pytest.approx(around(TUBE, [TUBE.girth - 30.0]))
