"""Parts as solids: nothing of the true tube is left out, nothing stands out by more than the sag, places come back."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from rails import random_legal_line, random_section, rolled

from railmodel.errors import GeometryError
from railmodel.fitting.bodies import SAG, Body, rail_body, round_body
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)


def outside(section: Section, count: int) -> Array:
    """Points (m, 2) of the true outside of a section: the rounded rectangle."""
    middle = np.array([section.width, section.height]) / 2 - section.corner
    turn = np.linspace(0, np.pi / 2, count)
    quarter = middle + section.corner * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return np.concatenate([quarter * [a, b] for a in (1, -1) for b in (1, -1)])


def tube_points(line: Centreline, section: Section, stations: Array) -> Array:
    """(n, m, 3) points of the true tube's outside at stations (n,)."""
    pose, flat = line.pose_at(stations), outside(section, 6)
    return pose.at[:, None] + flat[:, :1] * pose.s[:, None] + flat[:, 1:] * pose.u[:, None]


def above(body: Body, which: Array, points: Array, rng: np.random.Generator) -> Array:
    """(n,) the most by which points (n, m, 3) lie beyond any of many planes that touch solids `which` (n,)."""
    most = np.full(len(which), -np.inf)
    for direction in rng.normal(size=(150, 3)):
        way = np.tile(direction / np.linalg.norm(direction), (len(which), 1))
        most = np.maximum(most, (points @ way[0]).max(axis=-1) - body.solids.farthest(which, way))
    return most


@given(st.integers(0, 2**32 - 1), st.booleans())
def test_no_piece_and_no_bundle_leaves_anything_of_the_true_tube_out(seed: int, oblique: bool) -> None:
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    line = random_legal_line(rng, int(rng.integers(0, 4)), section=section)
    if oblique:  # turned about itself the tube reaches further toward the bend's centre
        line = rolled(Centreline(replace(line.rows, radius=1.5 * line.rows.radius), line.start), 0.2)
    body = rail_body("rail", line, section)
    line, which = body.line, np.arange(len(body.solids))
    spans = [(piece.begin, piece.end) for piece in body.pieces]
    for start, stop in body.solids.children[len(body.pieces) :]:
        spans.append((spans[start][0], spans[stop - 1][1]))
    begin, end = np.array(spans).T
    for share in (0.0, 0.31, 1.0):
        stations = np.clip(begin + share * (end - begin), 0, line.length)
        assert above(body, which, tube_points(line, section, stations), rng).max() < 1e-6


@given(st.integers(0, 2**32 - 1))
def test_no_piece_stands_out_of_the_true_tube_by_more_than_the_sag(seed: int) -> None:
    """Every corner of a core, swollen by the ball, is within the sag of the square tube swollen by the same ball."""
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    body = rail_body("rail", random_legal_line(rng, int(rng.integers(0, 4)), section=section), section)
    for index in range(0, len(body.pieces), max(1, len(body.pieces) // 6)):
        piece = body.pieces[index]
        ball = float(body.solids.ball[index])
        half = np.array([section.width, section.height]) / 2 - ball
        stretch = body.line.stretches[piece.stretch]
        for corner in piece.vertices:
            station = body.place(index, corner).station
            pose = body.line.pose_at([station])
            off = corner - pose.at[0]
            across = np.abs([off @ pose.s[0], off @ pose.u[0]]) - half
            if ball == 0:  # a polyhedron around the true rounding
                over = across + section.corner
                out = np.linalg.norm(np.maximum(over, 0)) + min(over.max(), 0) - section.corner
            else:
                out = float(across.max())
            assert out <= SAG + 1e-6, (stretch.kind, piece)


def test_a_place_on_a_piece_is_a_station_of_the_part() -> None:
    line = Centreline.from_points([[0, 0, 0], [600, 0, 0], [600, 400, 0]], [150.0])
    body = rail_body("rail", line, TUBE)
    for index, piece in enumerate(body.pieces):
        station = (piece.begin + piece.end) / 2
        pose = line.pose_at([station])
        place = body.place(index, pose.at[0] + 20 * pose.s[0] - 30 * pose.u[0])
        assert place.station == pytest.approx(station, abs=1e-6)
        stretch = line.stretches[piece.stretch]
        assert (place.kind, place.number) == (stretch.kind, stretch.number)
    assert body.place(len(body.pieces) - 2, np.array([-50.0, 0.0, 0.0])).station == 0.0


def test_a_piece_is_lengthened_only_where_the_tube_goes_on() -> None:
    line = Centreline.from_points([[0, 0, 0], [600, 0, 0], [600, 400, 0]], [150.0])
    body = rail_body("rail", line, TUBE)
    first = next(i for i, piece in enumerate(body.pieces) if piece.begin == pytest.approx(0.0))
    shape = body.lengthened(first, 40.0)[0]
    x = [shape.point(i)[0] for i in range(shape.num_points)]
    assert min(x) == pytest.approx(0.0, abs=1e-9)
    assert max(x) == pytest.approx(TUBE.corner + 40.0)


def test_a_round_part_is_a_cylinder() -> None:
    body = round_body("bar", (0, 0, 0), (0, 300, 400), 60.0)
    reach = body.solids.farthest(np.zeros(2, dtype=int), np.array([[1.0, 0, 0], [0, 0.6, 0.8]]))
    np.testing.assert_allclose(reach, [30.0, 500.0])
    assert body.place(0, np.array([30.0, 60.0, 80.0])).station == pytest.approx(100.0)
    upright = round_body("post", (0, 0, 0), (0, 0, 400), 60.0)
    assert upright.line.length == pytest.approx(400.0)


def test_parts_that_make_no_solid_say_why() -> None:
    start = Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1])
    tight = Centreline(BendRows.of([100.0], [0.0], [0.5], [38.0], 100.0), start)
    with pytest.raises(GeometryError, match=r"bend 1: radius 38 puts the bend's centre inside the tube"):
        rail_body("rail", tight, TUBE)
    with pytest.raises(GeometryError, match=r"rail has no length: give it a straight or a bend"):
        rail_body("rail", Centreline(BendRows.of([], [], [], [], 0.0), start), TUBE)
