"""The heart of the promise: no bound is above a distance anywhere in its box, whatever the directions it is made of.

Distances are the collision library's at random positions of the box.
"""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from railmodel.fitting.bodies import SAG, rail_body
from railmodel.fitting.bounds import Bounds, Boxes
from railmodel.fitting.cells import bounded, corners
from railmodel.fitting.motion import Motion, MotionSet, Sliding, Span, Turning
from railmodel.fitting.shapes import Box, Capsule, Cylinder, Shape, Sphere
from railmodel.fitting.solids import joined
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

Array = NDArray[np.float64]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
RAIL = Centreline(
    BendRows.of([200.0, 60.0], [0.3, 1.2], [0.4, 0.9], [177.8, 120.0], 250.0), Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1])
)
BODY = rail_body("rail", RAIL, TUBE)


def a_bounds(rng: np.random.Generator) -> Bounds:
    """A rail, and one shape of each kind near it that turns, rolls, slides and lifts."""
    at = RAIL.pose_at(rng.uniform(0, RAIL.length)).at[0] + rng.normal(size=3) * 200
    far = tuple(at + rng.normal(size=3) * 120)
    size = rng.uniform(20, 200, 3)
    shapes: list[Shape] = [
        Box(at=tuple(at), size=tuple(size), turn=tuple(rng.uniform(-1, 1, 3))),
        Sphere(at=tuple(at), diameter=float(size[0])),
        Cylinder(start=tuple(at), end=far, diameter=float(size[0])),
        Capsule(start=tuple(at), end=far, diameter=float(size[0])),
    ]
    motion = Motion(
        turn=Turning(tuple(at + rng.normal(size=3) * 300), tuple(rng.normal(size=3)), Span(*rng.uniform(-1, 1, 2))),
        roll=Turning(tuple(at + rng.normal(size=3) * 300), (1, 0, 0), Span(*rng.uniform(-1, 1, 2))),
        slide=Sliding(tuple(rng.normal(size=3)), Span(*rng.uniform(-200, 200, 2))),
        lift=Span(*rng.uniform(-200, 200, 2)),
        ties=(("roll", "turn"),) if rng.random() < 0.3 else (),
    )
    return Bounds(BODY.solids, joined([shape.solids() for shape in shapes]), MotionSet([motion] * len(shapes)))


def some_boxes(rng: np.random.Generator, bounds: Bounds) -> Boxes:
    """Boxes of all sizes, each of a random solid of the rail and each shape."""
    count = 24
    b = np.arange(count) % 4
    whole = bounds.box[b]
    width = whole * 2.0 ** -rng.integers(0, 8, (count, 1))
    start = rng.uniform(0, 1, (count, 4)) * (whole - width)
    return Boxes(
        pair=b,
        a=rng.integers(0, len(BODY.pieces), count),
        b=b,
        low=np.full(count, -np.inf),
        spot=start,
        start=start,
        end=start + width,
        spent=np.zeros(count, dtype=bool),
    )


def least_found(rng: np.random.Generator, bounds: Bounds, boxes: Boxes) -> Array:
    """The least distance met at random positions, corners among them."""
    met = np.full(len(boxes), np.inf)
    for step in range(12):
        share = rng.uniform(0, 1, (len(boxes), 4))
        share = np.round(share) if step < 6 else share
        spot = boxes.start + share * (boxes.end - boxes.start)
        met = np.minimum(met, bounds.distances(boxes.a, boxes.b, spot)[0])
    return met


def slack(boxes: Boxes) -> Array:
    """How far the library's shapes may stand out from ours: its prisms at the rail's ends have facets."""
    return np.where(BODY.solids.disc[boxes.a] > 0, SAG + 1e-6, 1e-6)


@given(st.integers(0, 2**32 - 1))
def test_planes_of_any_direction_bound_the_whole_box(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bounds = a_bounds(rng)
    boxes = some_boxes(rng, bounds)
    guessed = rng.normal(size=(len(boxes), 1, 3))
    guessed /= np.linalg.norm(guessed, axis=-1, keepdims=True)
    found = bounds.distances(boxes.a, boxes.b, (boxes.start + boxes.end) / 2)[1][:, None]
    better = bounds.improved(boxes, np.concatenate([guessed, found], axis=1))
    assert np.all(better.low <= least_found(rng, bounds, boxes) + slack(boxes))
    assert np.all((better.spot == boxes.start) | (better.spot == boxes.end))


@given(st.integers(0, 2**32 - 1))
def test_directions_at_the_corners_bound_the_whole_box(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bounds = a_bounds(rng)
    boxes = some_boxes(rng, bounds)
    spots = corners(boxes, 1 << int(bounds.motions.drivers.max()))
    gap, normal = np.empty(spots.shape[:2]), np.empty((*spots.shape[:2], 3))
    for corner in range(spots.shape[1]):
        normal[:, corner] = bounds.distances(boxes.a, boxes.b, spots[:, corner])[1]
        gap[:, corner] = bounds.planes(boxes.a, boxes.b, spots[:, corner], normal[:, corner])
    cells = bounded(bounds, boxes, gap, normal)
    assert np.all(cells.boxes.low <= least_found(rng, bounds, boxes) + slack(boxes))
    least = gap.min(axis=-1) - cells.cost.sum(axis=-1)
    assert np.all(cells.boxes.low[least > 0] >= least[least > 0])


@given(st.integers(0, 2**32 - 1))
def test_a_plane_at_one_position_bounds_the_distance_there_and_meets_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bounds = a_bounds(rng)
    boxes = some_boxes(rng, bounds)
    distance, normal = bounds.distances(boxes.a, boxes.b, boxes.spot)
    planes = bounds.planes(boxes.a, boxes.b, boxes.spot, normal)
    assert np.all(planes <= distance + slack(boxes))
    assert np.all(planes >= distance - np.where(distance > 0, 2e-3, 2e-2 + 2e-4 * np.abs(distance)))


@given(st.integers(0, 2**32 - 1))
def test_the_mean_of_two_planes_bounds_the_whole_box(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bounds = a_bounds(rng)
    boxes = some_boxes(rng, bounds)
    one, other = (way / np.linalg.norm(way, axis=-1, keepdims=True) for way in rng.normal(size=(2, len(boxes), 3)))
    for second in (other, -one):
        low = bounds.balanced(boxes, one, second)
        assert np.all(low <= least_found(rng, bounds, boxes) + slack(boxes))


@given(st.integers(0, 2**32 - 1))
def test_a_box_flattened_to_one_end_of_a_shift_still_bounds_all_of_it(seed: int) -> None:
    """A box that is said to stand holds for the box it was flattened from; one that is not spreads over all travel."""
    rng = np.random.default_rng(seed)
    bounds = a_bounds(rng)
    boxes = some_boxes(rng, bounds)
    _, first = bounds.distances(boxes.a, boxes.b, boxes.start)
    flat = bounds.flattened(boxes, first)
    spots = corners(flat, 1 << int(bounds.motions.drivers.max()))
    normal = np.stack([bounds.distances(boxes.a, boxes.b, spots[:, c])[1] for c in range(spots.shape[1])], axis=1)
    gap = np.stack([bounds.planes(boxes.a, boxes.b, spots[:, c], normal[:, c]) for c in range(spots.shape[1])], axis=1)
    stands = bounds.stands(flat, normal)
    low = bounded(bounds, flat, gap, normal).boxes.low
    met = least_found(rng, bounds, boxes)
    assert np.all(low[stands] <= (met + slack(boxes))[stands])
    wide = bounds.unflattened(flat)
    assert np.all((wide.start <= boxes.start) & (wide.end >= boxes.end))
