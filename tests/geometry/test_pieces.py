"""Convex pieces leave nothing of the true tube out and stand out from it by no more than they promise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.pieces import ConvexPiece, outline, pieces
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)


def rail(rows: BendRows) -> Centreline:
    return Centreline(rows, Pose.of([10.0, -20.0, 30.0], [0.9, 0.2, -0.1], [0.0, 0.1, 1.0]))


def rounded(section: Section, count: int = 40) -> Array:
    """Points (m, 2) on the true outside of the section: the rounded rectangle itself, sampled."""
    middle = np.array([section.width, section.height]) / 2 - section.corner
    turn = np.linspace(0, np.pi / 2, count)
    quarter = middle + section.corner * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return np.concatenate([quarter * [a, b] for a in (1, -1) for b in (1, -1)])


def outside_distance(section: Section, points: Array) -> Array:
    """Signed distance of section points (m, 2) to the rounded rectangle, closed form: negative inside."""
    middle = np.array([section.width, section.height]) / 2 - section.corner
    over = np.abs(points) - middle
    return np.linalg.norm(np.maximum(over, 0), axis=-1) + np.minimum(over.max(-1), 0) - section.corner


def depth_below_faces(piece: ConvexPiece, points: Array) -> Array:
    """The largest signed distance (m,) of points over all faces of the piece's hull: not above 0 = inside."""
    hull = ConvexHull(piece.vertices)
    return np.max(points @ hull.equations[:, :3].T + hull.equations[:, 3], axis=-1)


rails = st.builds(
    lambda bends, tail: BendRows.of(
        [b[0] for b in bends],
        [b[1] for b in bends],
        [b[2] for b in bends],
        [b[3] for b in bends],
        tail,
    ),
    st.lists(
        st.tuples(
            st.floats(0, 800),
            st.sampled_from([0.0, np.pi / 2, np.pi, -np.pi / 2]) | st.floats(-3.1, 3.1),
            st.floats(0.02, 2.5),
            st.floats(60, 500),
        ),
        min_size=1,
        max_size=4,
    ),
    st.floats(0, 800),
)
sections = st.builds(
    lambda height, width, corner: Section(height=height, width=width, wall=2.0, corner=corner * min(height, width) / 2),
    st.floats(20, 80),
    st.floats(20, 80),
    st.floats(0, 1),
)


@given(sections, st.floats(0.01, 2))
def test_the_outline_stands_outside_the_rounding_by_at_most_the_sag(section: Section, sag: float) -> None:
    polygon = outline(section, sag)
    edges = np.roll(polygon, -1, axis=0) - polygon
    normals = np.stack([edges[:, 1], -edges[:, 0]], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    reach = np.max(rounded(section) @ normals.T, axis=0)
    assert np.all(reach <= np.sum(polygon * normals, axis=-1) + 1e-9)
    assert np.all(outside_distance(section, polygon) <= sag * (1 + 1e-9))


@given(rails, sections, st.sampled_from([0.05, 0.5, 3.0]))
def test_every_point_of_the_true_tube_lies_in_the_piece_at_its_station(
    rows: BendRows, section: Section, sag: float
) -> None:
    line, outside = rail(rows), rounded(section, 7)
    for piece in pieces(line, section, sag)[::3]:
        stretch = line.stretches[piece.stretch]
        pose = stretch.pose(np.linspace(piece.begin, piece.end, 5) - stretch.station)
        true = pose.at[:, None] + outside[:, :1] * pose.s[:, None] + outside[:, 1:] * pose.u[:, None]
        assert depth_below_faces(piece, true.reshape(-1, 3)).max() < 1e-7


@given(rails, sections, st.sampled_from([0.05, 0.5, 3.0]), st.randoms(use_true_random=False))
def test_no_point_of_a_piece_is_further_from_the_true_tube_than_the_sag(
    rows: BendRows, section: Section, sag: float, random: object
) -> None:
    line = rail(rows)
    rng = np.random.default_rng(random.getrandbits(32))  # type: ignore[attr-defined]
    for piece in pieces(line, section, sag)[::3]:
        stretch = line.stretches[piece.stretch]
        count = len(piece.vertices)
        mix = np.concatenate([np.eye(count), rng.dirichlet(np.full(count, 0.1), 20)])
        points = mix @ piece.vertices
        if stretch.kind == "straight":
            along = (points - stretch.start.at) @ stretch.start.t
        else:
            off = points - stretch.centre
            along = np.arctan2(off @ stretch.start.t, -(off @ stretch.inward)) * stretch.radius
        assert along.min() > piece.begin - stretch.station - 1e-6
        assert along.max() < piece.end - stretch.station + 1e-6
        pose = stretch.pose(along)
        across = np.stack([np.sum((points - pose.at) * d, axis=-1) for d in (pose.s, pose.u)], axis=-1)
        assert outside_distance(section, across).max() <= sag * (1 + 1e-9) + 1e-9


def test_pieces_follow_each_other_and_close_their_faces() -> None:
    rows = BendRows.of([100, 0, 250], [0.0, np.pi / 2, 0.3], [0.5, 1.2, 0.1], [177.8, 101.6, 300], 150)
    line = rail(rows)
    found = pieces(line, TUBE, 0.05)
    assert found[0].begin == pytest.approx(0.0)
    assert found[-1].end == pytest.approx(line.length)
    assert [p.end for p in found[:-1]] == pytest.approx([p.begin for p in found[1:]])
    assert {p.stretch for p in found} == {0, 1, 3, 4, 5, 6}  # straight 1 has no length and no piece
    for piece in found:
        a, b, c = np.moveaxis(piece.vertices[piece.triangles], 1, 0)
        volume = float(np.sum(np.cross(a, b) * c)) / 6
        assert volume == pytest.approx(ConvexHull(piece.vertices).volume, rel=1e-9)


def test_the_pieces_volume_nears_pappus_from_above() -> None:
    """Pappus: volume of a bend = section area x centreline length; the section here is the filled outline."""
    line = rail(BendRows.of([200.0], [np.pi / 2], [1.5], [177.8], 300.0))
    middle = TUBE.width * TUBE.height - (4 - np.pi) * TUBE.corner**2
    exact = middle * line.length
    excess = [
        sum(float(ConvexHull(p.vertices).volume) for p in pieces(line, TUBE, sag)) / exact - 1
        for sag in (1.0, 0.1, 0.01)
    ]
    assert excess[0] > excess[1] > excess[2] > 0
    assert excess[2] < 0.01 * TUBE.girth / middle


def test_the_collision_library_sees_the_same_solid() -> None:
    import coal

    line = rail(BendRows.of([200.0], [np.pi / 2], [1.5], [177.8], 300.0))
    for piece in pieces(line, TUBE, 0.5):
        solid = piece.solid()
        assert solid.num_points == len(piece.vertices)
        assert solid.computeVolume() == pytest.approx(ConvexHull(piece.vertices).volume, rel=1e-9)
        assert isinstance(solid, coal.Convex)


def test_a_sag_that_is_no_length_and_a_bend_through_its_own_centre_are_refused() -> None:
    line = rail(BendRows.of([200.0], [0.0], [1.0], [38.0], 300.0))
    with pytest.raises(GeometryError, match=r"sag 0 is not a length: it must be above 0"):
        pieces(line, TUBE, 0.0)
    with pytest.raises(GeometryError, match=r"bend 1: radius 38 puts the bend's centre inside the tube"):
        pieces(line, TUBE, 0.1)
