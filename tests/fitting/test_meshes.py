"""Mesh shapes: bundles hold what they hold, gaps against another library's, parts inside closed meshes, mirroring."""

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from railmodel.fitting.bodies import rail_body
from railmodel.fitting.clearance import gaps
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import STILL, Motion, Span, Turning
from railmodel.fitting.shapes import KeepClear, Sphere
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
LINE = Centreline.from_points([[0, 0, 0], [600, 0, 0], [900, 0, 160], [1500, 0, 160]], [177.8, 177.8])
BODY = rail_body("rail", LINE, TUBE)


def torus(count: int = 40) -> Array:
    """Triangles of a ring lying flat: 300 mm to its middle, 60 mm thick."""
    return np.array(trimesh.creation.torus(300, 30, count, count).triangles)


def gap(shape: MeshShape, motion: Motion = STILL) -> float:
    return gaps([BODY], [KeepClear(name="mesh", shape=shape, motion=motion)])[0].gap


def test_every_triangle_is_held_by_bundles_all_the_way_out() -> None:
    shape = MeshShape(torus())
    solids = shape.solids()
    real = np.flatnonzero(~solids.holds)
    assert len(real) == len(shape.triangles)
    held = np.zeros(len(solids), dtype=int)
    rng = np.random.default_rng(2)
    ways = rng.normal(size=(60, 3))
    ways /= np.linalg.norm(ways, axis=-1, keepdims=True)
    for bundle in np.flatnonzero(solids.holds):
        inner = np.arange(*solids.children[bundle])
        held[inner] += 1
        assert inner.min() > bundle
        outer = np.full(len(inner), bundle)
        for way in ways:
            each = np.tile(way, (len(inner), 1))
            assert np.all(solids.farthest(inner, each) <= solids.farthest(outer, each) + 1e-6)
        away = np.linalg.norm(solids.centre[inner] - solids.centre[bundle], axis=-1)
        assert np.all(away <= solids.radius[bundle] + 1e-6)
    assert np.all(held == ~solids.roots)
    found = {tuple(np.sort(t.ravel()).round(6)) for t in solids.vertices[real, :3]}
    assert found == {tuple(np.sort(t.ravel()).round(6)) for t in shape.triangles}


@pytest.mark.parametrize("at", [(300, 0, 500), (750, 420, 60), (2000, 0, 160), (760, 0, -150)])
def test_the_gap_of_a_still_mesh_is_that_of_points_all_over_the_part(at: tuple[float, float, float]) -> None:
    """trimesh measures from points on the true tube to the surface: never nearer than we say, hardly further."""
    shape = MeshShape(torus(24)).placed(at, (0.4, 0.2, 0.0))
    stations = np.linspace(0, LINE.length, 200)
    pose, middle = LINE.pose_at(stations), np.array([TUBE.width, TUBE.height]) / 2 - TUBE.corner
    turn = np.linspace(0, np.pi / 2, 4)
    quarter = middle + TUBE.corner * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    flat = np.concatenate([quarter * [a, b] for a in (1, -1) for b in (1, -1)])
    points = (pose.at[:, None] + flat[:, :1] * pose.s[:, None] + flat[:, 1:] * pose.u[:, None]).reshape(-1, 3)
    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(shape.triangles))
    nearest = float(np.min(np.linalg.norm(trimesh.proximity.closest_point_naive(mesh, points)[0] - points, axis=-1)))
    found = gap(shape)
    assert found <= nearest + 1e-6
    assert found >= nearest - 3.0  # the points stand 8 mm apart along the tube and 30 mm across its flats


@pytest.mark.parametrize(
    "motion",
    [
        STILL,
        Motion(lift=Span(-50, 90)),
        Motion(lift=Span(-50, 90), roll=Turning((700, 0, -300), (1, 0, 0), Span(-0.2, 0.2))),
    ],
)
def test_a_meshed_ball_comes_as_near_as_the_ball(motion: Motion) -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=120.0)
    at = (700.0, 160.0, -320.0)
    shape = MeshShape(np.array(ball.triangles) + np.array(at), closed=True)
    inner = min(np.linalg.norm(shape.triangles.mean(axis=1) - at, axis=-1))  # facets lie this far in
    true = gaps([BODY], [KeepClear(name="ball", shape=Sphere(at=at, diameter=240.0), motion=motion)])[0].gap
    below = 0.5 if motion.moves else 0.05
    assert true - below <= gap(shape, motion) <= true + 0.05 + (120.0 - inner)


def test_a_mesh_that_cuts_the_tube_has_a_negative_gap() -> None:
    shape = MeshShape(torus()).placed((300.0, 0.0, 300.0), (np.pi / 2, 0, 0))
    assert gap(shape) < -20.0
    sheet = np.array([[[300.0, -500, -500], [300, 500, -500], [300, 0, 900]]])  # one triangle right across
    assert gap(MeshShape(sheet)) < -20.0


def test_a_part_wholly_within_a_closed_mesh_is_inside_and_within_an_open_one_is_not_noticed() -> None:
    box = np.array(trimesh.creation.box((2400, 900, 900)).triangles) + [750.0, 0.0, 60.0]
    assert gap(MeshShape(box, closed=True)) < -350.0
    assert gap(MeshShape(box, closed=False)) > 0
    assert gap(MeshShape(box, closed=True), Motion(lift=Span(-30, 40))) < -350.0
    away = MeshShape(box + [0.0, 3000.0, 0.0], closed=True)
    assert gap(away) == pytest.approx(3000 - 450 - TUBE.width / 2, abs=0.05)


def test_a_small_mesh_wholly_within_the_tube_is_inside() -> None:
    nut = np.array(trimesh.creation.icosphere(subdivisions=1, radius=5.0).triangles) + [200.0, 0.0, 0.0]
    assert gap(MeshShape(nut, closed=True)) < -TUBE.width / 2 + 1


def test_the_mirrored_mesh_is_as_near_on_the_other_side() -> None:
    shape = MeshShape(torus()).placed((700.0, 450.0, 100.0), (0.3, 0.1, 0.2))
    left = rail_body("left", LINE.mirrored(), TUBE)
    mirrored = gaps([left], [KeepClear(name="mesh", shape=shape).mirrored("other")])[0]
    assert mirrored.gap == pytest.approx(gap(shape), abs=0.02)


def test_triangles_of_no_width_are_surfaces_too() -> None:
    needle = np.array([[[300.0, 0, 200], [300, 0, 900], [300, 0, 500]], [[300.0, 0, 200]] * 3])
    assert gap(MeshShape(needle)) == pytest.approx(200 - TUBE.height / 2, abs=0.05)
