"""The least gap of every part to every keep-clear shape over its whole travel, and of parts to each other.

What is reported is never above the true gap; it is at most 0.05 mm below it for convex shapes and still meshes, and at
most 0.5 mm for moving meshes. The pieces of a part stand out by up to `bodies.SAG`, the search (`search.nearest`) gives
the rest away.

A negative gap is a depth of overlap, rounded to the deep side: how far the shape would have to be moved to come clear
of the tube at the place where it is deepest (never out along the tube, while the tube goes on). For a mesh it is the
depth of its deepest triangle. Which of several overlapping places is deepest is found within one part in fifty.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from railmodel.fitting.bodies import Body, Place
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import STILL, Index, Motion, MotionSet, Position, Vector
from railmodel.fitting.search import Nearest, nearest
from railmodel.fitting.shapes import KeepClear
from railmodel.fitting.solids import Frame, Solids, joined
from railmodel.geometry.rows import Array
from railmodel.tolerances import LENGTH

SEARCH: float = 0.02
"""What the search may give away on convex shapes and still meshes, mm."""

SEARCH_MESH: float = 0.45
"""What it may give away on moving meshes, mm."""

SEARCH_PARTS: float = 0.005
"""What it may give away between two parts, which both stand out by the sag of their pieces, mm."""

_LENGTHENINGS = 4
"""How often a piece is drawn out further to see how deep an overlap is."""

_DEEPEST = 1e5
"""No depth of a tube is more than this, mm."""

_CARE = 1e-4
"""How far off the collision library's depths may be, as a part of the depth: measured below 5e-5."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """The least gap of one part to one shape over its travel.

    Args:
        part: the body's name.
        shape: the shape's name.
        gap: mm, never above the true one; negative is the depth of overlap.
        on_part: the point of the part, vehicle axes, mm.
        on_shape: the point of the shape, at that position of its travel.
        place: where on the part that is.
        at: the position of travel.
    """

    part: str
    shape: str
    gap: float
    on_part: Vector
    on_shape: Vector
    place: Place
    at: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class PartGap:
    """The least gap between two parts; fields as in `Gap`."""

    first: str
    second: str
    gap: float
    on_first: Vector
    on_second: Vector
    first_place: Place
    second_place: Place


def gaps(bodies: Sequence[Body], shapes: Sequence[KeepClear]) -> tuple[Gap, ...]:
    """The least gap of every body to every shape over its whole travel.

    Returns:
        Body by body, within it shape by shape, in the order given.
    """
    if not bodies or not shapes:
        return ()
    first, second = joined([body.solids for body in bodies]), joined([shape.shape.solids() for shape in shapes])
    motions = MotionSet([shape.motion for shape in shapes])
    tolerance = np.array([_tolerance(shape) for shape in shapes])
    found = nearest(first, second, motions, tolerance)
    begin = np.cumsum([0] + [len(body.solids) for body in bodies])
    return tuple(
        _gap(body, shape, second, found, (i, j), int(begin[i]))
        for i, body in enumerate(bodies)
        for j, shape in enumerate(shapes)
    )


def part_gaps(bodies: Sequence[Body], exempt: Collection[frozenset[str]] = ()) -> tuple[PartGap, ...]:
    """The least gap between every two bodies, without those pairs of names that are exempt.

    Args:
        bodies: parts, each with a name of its own.
        exempt: pairs of names that may touch: parts that meet in a joint or are coped to each other.

    Returns:
        First with second, first with third, and so on, in the order given.
    """
    if len(bodies) < 2:
        return ()
    names = [body.name for body in bodies]
    skip = np.array([[i >= j or frozenset((a, b)) in exempt for j, b in enumerate(names)] for i, a in enumerate(names)])
    if skip.all():
        return ()
    solids = joined([body.solids for body in bodies])
    still = MotionSet([STILL] * len(bodies))
    found = nearest(solids, solids, still, np.full(len(bodies), SEARCH_PARTS), skip)
    begin = np.cumsum([0] + [len(body.solids) for body in bodies])
    return tuple(_part_gap(bodies, found, (int(i), int(j)), begin) for i, j in np.argwhere(~skip))


def _gap(body: Body, shape: KeepClear, solids: Solids, found: Nearest, pair: tuple[int, int], begin: int) -> Gap:
    gap, own = float(found.bound[pair]), int(found.first[pair]) - begin
    turn, roll, slide, up = found.values[pair].tolist()
    at = Position(up=up, roll=roll, turn=turn, slide=slide)
    if gap < -LENGTH:
        moved = solids.frame(int(found.second[pair]))[0], found.turn[pair], found.move[pair]
        gap = _depth(gap, lambda by: body.lengthened(own, by), moved)
    elif isinstance(shape.shape, MeshShape) and shape.shape.closed:
        seen = _as_drawn(body, shape.motion, at)
        if shape.shape.holds(seen[0]):
            gap = -_way_out(shape.shape, seen)
    return Gap(
        part=body.name,
        shape=shape.name,
        gap=gap,
        on_part=_vector(found.on_first[pair]),
        on_shape=_vector(found.on_second[pair]),
        place=body.place(own, found.on_first[pair]),
        at=at,
    )


def _part_gap(bodies: Sequence[Body], found: Nearest, pair: tuple[int, int], begin: Index) -> PartGap:
    first, second = (bodies[i] for i in pair)
    gap = float(found.bound[pair])
    one, other = int(found.first[pair] - begin[pair[0]]), int(found.second[pair] - begin[pair[1]])
    if gap < -LENGTH:
        against = second.lengthened(other, -gap)
        gap = _depth(gap, lambda by: first.lengthened(one, by), against)
    return PartGap(
        first=first.name,
        second=second.name,
        gap=gap,
        on_first=_vector(found.on_first[pair]),
        on_second=_vector(found.on_second[pair]),
        first_place=first.place(one, found.on_first[pair]),
        second_place=second.place(other, found.on_second[pair]),
    )


def _tolerance(shape: KeepClear) -> float:
    return SEARCH_MESH if shape.motion.moves and isinstance(shape.shape, MeshShape) else SEARCH


def _depth(gap: float, lengthened: Callable[[float], Frame], other: Frame) -> float:
    """A negative gap again, with the piece drawn out along the tube until it is the shortest way out that counts."""
    import coal

    def placed(frame: Frame) -> tuple[Any, Any]:
        return frame[0], coal.Transform3s(np.ascontiguousarray(frame[1]), np.ascontiguousarray(frame[2]))

    by, against, request = -gap, placed(other), coal.DistanceRequest()
    for _ in range(_LENGTHENINGS):
        found = float(coal.distance(*placed(lengthened(by)), *against, request, coal.DistanceResult())) * (1 + _CARE)
        if not found > -_DEEPEST:  # two pieces on one spot: the library's depth is no number
            break
        gap = min(gap, found)
        if -gap <= by:
            break
        by = -2 * gap
    return gap


def _as_drawn(body: Body, motion: Motion, at: Position) -> Array:
    """(n, 3) points of a body, a piece's middle first, as seen by a shape that stands as drawn."""
    rows = motion.carry(np.concatenate([np.zeros((1, 3)), np.eye(3)]), at)
    points = np.concatenate([body.solids.inside[:1], body.solids.vertices.reshape(-1, 3)])
    return np.asarray((points - rows[0]) @ (rows[1:] - rows[0]).T)


def _way_out(shape: MeshShape, points: Array) -> float:
    """How far, at most, points held by a mesh must move to come clear of it: out of its extent, the shortest way."""
    low, high = shape.extent
    return float(min((high - points.min(axis=0)).min(), (points.max(axis=0) - low).min()))


def _vector(point: Array) -> Vector:
    x, y, z = point.tolist()
    return x, y, z
