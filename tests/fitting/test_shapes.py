"""Keep-clear shapes: how far they reach, where they are drawn, their mirror images, and values that make no shape."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from railmodel.errors import GeometryError
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Shape, Sphere, turned
from railmodel.fitting.solids import Solids, joined

Array = NDArray[np.float64]

FLIP = np.array([1.0, -1.0, 1.0])

SHAPES = [
    Box(at=(100, 50, -20), size=(40, 60, 80), turn=(0.3, -0.5, 1.1)),
    Sphere(at=(100, 50, -20), diameter=60),
    Cylinder(start=(0, 0, 0), end=(30, 80, 200), diameter=50),
    Capsule(start=(10, -30, 0), end=(30, -80, 100), diameter=50),
]

ways = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda way: np.linalg.norm(way) > 0.1)


def reach(solids: Solids, direction: Array) -> float:
    return float(solids.farthest(np.zeros(1, dtype=int), direction[None] / np.linalg.norm(direction))[0])


def surface(shape: Shape, rng: np.random.Generator) -> Array:
    """Points of a shape, written down from what it is: on it, or just within."""
    off = rng.normal(size=(4000, 3))
    off /= np.linalg.norm(off, axis=-1, keepdims=True)
    if isinstance(shape, Box):
        return np.array(shape.at) + (np.sign(off) * np.array(shape.size) / 2) @ turned(shape.turn).T
    if isinstance(shape, Sphere):
        return np.array(shape.at) + off * shape.diameter / 2
    assert isinstance(shape, Cylinder | Capsule)
    ends = np.array([shape.start, shape.end])
    if isinstance(shape, Cylinder):
        along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        off -= np.outer(off @ along, along)
        off /= np.linalg.norm(off, axis=-1, keepdims=True)
    return (ends[:, None] + off * shape.diameter / 2).reshape(-1, 3)


@pytest.mark.parametrize("shape", SHAPES)
@given(way=ways)
def test_a_shape_reaches_as_far_as_its_points(shape: Shape, way: tuple[float, float, float]) -> None:
    direction = np.array(way) / np.linalg.norm(way)
    most = (surface(shape, np.random.default_rng(0)) @ direction).max()
    assert most - 1e-9 <= reach(shape.solids(), direction) <= most + 0.3  # 4000 points miss the very edge


@pytest.mark.parametrize("shape", SHAPES)
@given(way=ways)
def test_the_collision_library_draws_the_same_shape(shape: Shape, way: tuple[float, float, float]) -> None:
    """Measured from a far plane: a thin slab square to the direction, 2 m away."""
    import coal

    direction, solids = np.array(way) / np.linalg.norm(way), shape.solids()
    drawn, turn, move = solids.frame(0)
    across = np.linalg.svd(direction[None])[2][1:]
    axes = np.stack([*across, np.cross(*across)], axis=-1)
    slab, far = coal.Box(4000.0, 4000.0, 2.0), coal.Transform3s(axes, direction * 2001.0)
    apart = coal.distance(drawn, coal.Transform3s(turn, move), slab, far, coal.DistanceRequest(), coal.DistanceResult())
    assert 2000.0 - apart == pytest.approx(reach(solids, direction), abs=0.01)


@pytest.mark.parametrize("shape", SHAPES)
@given(way=ways)
def test_the_mirror_image_reaches_as_far_the_mirrored_way(shape: Shape, way: tuple[float, float, float]) -> None:
    direction = np.array(way)
    mirrored = KeepClear(name="right", shape=shape).mirrored("left").shape
    assert reach(mirrored.solids(), direction * FLIP) == pytest.approx(reach(shape.solids(), direction), abs=1e-9)


def test_a_box_is_turned_about_x_then_y_then_z() -> None:
    quarter = np.pi / 2
    np.testing.assert_allclose(turned((quarter, 0, 0)) @ [0, 1, 0], [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(turned((quarter, quarter, 0)) @ [0, 1, 0], [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(turned((quarter, quarter, quarter)) @ [0, 1, 0], [0, 1, 0], atol=1e-12)


def test_several_sets_keep_their_own_shapes() -> None:
    one = joined([shape.solids() for shape in SHAPES])
    assert one.group.tolist() == [0, 1, 2, 3]
    way = np.tile([0.36, 0.48, 0.8], (4, 1))
    each = [reach(shape.solids(), way[0]) for shape in SHAPES]
    np.testing.assert_allclose(one.farthest(np.arange(4), way), each)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Box(at=(0, 0, 0), size=(1, 0, 1)), r"box: size along y 0 is not a length: it must be above 0"),
        (lambda: Box(at=(0, 0, float("inf")), size=(1, 1, 1)), r"box: at \[0, 0, inf\] is not a place"),
        (lambda: Sphere(at=(0, 0, 0), diameter=-1), r"sphere: diameter -1 is not a length"),
        (
            lambda: Cylinder(start=(1, 1, 1), end=(1, 1, 1), diameter=5),
            r"cylinder from .* has no length: give two points",
        ),
        (
            lambda: Capsule(start=(0, 0, 0), end=(1, 1, 1), diameter=float("nan")),
            r"capsule: diameter nan is not a length",
        ),
        (lambda: MeshShape(np.zeros((0, 3, 3))), r"a mesh needs triangles of shape \(n, 3, 3\); given \(0, 3, 3\)"),
        (lambda: MeshShape(np.full((1, 3, 3), np.nan)), r"mesh: a corner is not a finite number"),
    ],
)
def test_values_that_make_no_shape_say_so(make: object, says: str) -> None:
    with pytest.raises(GeometryError, match=says):
        make()  # type: ignore[operator]
