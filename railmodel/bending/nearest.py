"""The least clearance between rigid convex pieces on the move and solids that stand still.

Branch and bound over (piece, solid, interval of the motion). In the middle of an interval the collision library
gives the distance and the direction that separates the two; along that direction how near the piece can come over
the whole interval is known in closed form (`Motion.furthest`), and how near the solid stands as well. That is a true
lower bound for the interval, whatever the library's rounding. Intervals whose bound could still lower the result
are halved. So nothing passes unseen between samples, and the result is at most `within` below the least distance
of the pieces (more where they overlap, whose depth is approximate).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from railmodel.bending.pose import Motion, moved, undone
from railmodel.geometry.pieces import convex
from railmodel.geometry.rows import Array

Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

STRIDE = 400.0
"""Intervals of the first round are about this long on the fastest point's path, mm."""

DEEP = 0.25
"""How far off a depth inside may be, as a part of it."""

ROUNDING = 1e-4
"""The library's distances are exact to better than this, mm."""

_BATCH = 64
_NO_DIRECTION = np.zeros(3)


class Standing(Protocol):
    """A convex solid that stands still: what `Solids` needs to know of it."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def centre(self) -> Array:
        """(3,) centre of a box around it."""

    @property
    def turn(self) -> Array:
        """(3, 3) axes of that box, as columns; also those of `solid`."""

    @property
    def half(self) -> Array:
        """(3,) half sizes of that box."""

    @property
    def corners(self) -> Array:
        """(k, 3) corners, or disc centres."""

    @property
    def disc(self) -> float:
        """Radius of discs about the corners, square to the box's third axis."""

    def solid(self) -> Any:
        """Its shape in the collision library, about `centre` and along `turn`."""


@dataclass(frozen=True, eq=False)
class Solids:
    """Solids that stand still, as arrays over them."""

    items: tuple[Standing, ...]

    @cached_property
    def boxes(self) -> tuple[Array, Array, Array]:
        """Centres (o, 3), axes (o, 3, 3) and half sizes (o, 3) of the boxes around them."""
        return (
            np.array([item.centre for item in self.items]),
            np.array([item.turn for item in self.items]),
            np.array([item.half for item in self.items]),
        )

    @cached_property
    def spread(self) -> tuple[Array, Array]:
        """Corners (o, k, 3), short ones filled up with their last, and discs (o,)."""
        return _filled([item.corners for item in self.items]), np.array([item.disc for item in self.items])

    @cached_property
    def placed(self) -> list[tuple[Any, Any]]:
        """Shape and transform of each in the collision library."""
        import coal

        return [(item.solid(), coal.Transform3s(item.turn, item.centre)) for item in self.items]

    def closest(self, points: Array, which: Index) -> Array:
        """(e, 3) the place of each solid's box nearest to a point (e, 3)."""
        centre, turn, half = (array[which] for array in self.boxes)
        local = np.einsum("ei,eij->ej", points - centre, turn)
        nearest: Array = centre + np.einsum("eij,ej->ei", turn, np.clip(local, -half, half))
        return nearest

    def least_along(self, directions: Array, which: Index) -> Array:
        """(e,) how far the solids begin along directions (e, 3)."""
        corners, disc = self.spread
        begins = np.matmul(corners[which], directions[:, :, None])[..., 0].min(axis=1)
        across = np.einsum("ei,ei->e", directions, self.boxes[1][which][:, :, 2])
        begin: Array = begins - disc[which] * np.sqrt(np.maximum(1 - across**2, 0.0))
        return begin


@dataclass(frozen=True, eq=False)
class Body:
    """Convex pieces that move together.

    Args:
        pieces: (2m, 3) corners each, laid out as in `geometry.pieces.ConvexPiece.vertices`, in the body's own axes.
    """

    pieces: tuple[Array, ...]

    @cached_property
    def corners(self) -> Array:
        """(p, v, 3) corners, short ones filled up with their last."""
        return _filled(self.pieces)

    @cached_property
    def balls(self) -> tuple[Array, Array]:
        """Centres (p, 3) and radii (p,) of balls around the pieces."""
        centres = (self.corners.min(axis=1) + self.corners.max(axis=1)) / 2
        return centres, np.linalg.norm(self.corners - centres[:, None], axis=-1).max(axis=1)

    @cached_property
    def shapes(self) -> list[Any]:
        """The pieces in the collision library."""
        return [convex(piece) for piece in self.pieces]

    def first(self, count: int) -> "Body":
        """The first pieces alone, sharing what is worked out already."""
        body = Body(self.pieces[:count])
        if not count:
            return body
        centres, radii = self.balls
        shared = {"corners": self.corners[:count], "balls": (centres[:count], radii[:count]), "shapes": self.shapes}
        body.__dict__.update(shared)
        return body


@dataclass(frozen=True, slots=True)
class Place:
    """Where a clearance is.

    Args:
        solid: index of the solid.
        piece: index of the piece.
        local: (3,) the place on the piece, in the body's own axes, mm.
        fraction: where in the motion.
    """

    solid: int
    piece: int
    local: Array
    fraction: float


@dataclass(frozen=True, slots=True)
class Nearest:
    """The least clearance found.

    Args:
        gap: a lower bound of the clearance, mm; negative = about how deep inside.
        place: where; None when no clearance is below the one asked about, and `gap` then means nothing.
        touched: indices of the solids that are touched anywhere in the motion.
    """

    gap: float
    place: Place | None
    touched: frozenset[int]


NOTHING = Nearest(np.inf, None, frozenset())
"""Nothing to come near to."""


def least(
    body: Body,
    at: Array,
    motion: Motion,
    solids: Solids,
    *,
    skip: Mask | None = None,
    below: float = np.inf,
    within: float = 0.5,
) -> Nearest:
    """The least clearance of a body over a motion.

    Args:
        body: what moves.
        at: (4, 4) where it is before the motion's own matrix is applied.
        motion: the motion, applied after `at`.
        solids: what stands still.
        skip: (p, o) pairs of piece and solid to leave out.
        below: only a clearance below this is looked for, mm.
        within: how far the result may lie below the least distance, mm.
    """
    if not body.pieces or not solids.items or (skip is not None and skip.all()):
        return NOTHING
    return _Search(body, at, motion, solids, below, within).run(skip)


@dataclass(frozen=True, slots=True)
class _Intervals:
    """Intervals of the motion for pairs of piece and solid, each (e,), with a lower bound of the distance there."""

    piece: Index
    solid: Index
    middle: Array
    half: Array
    lower: Array

    def take(self, which: Any) -> "_Intervals":
        """Some of them."""
        return _Intervals(self.piece[which], self.solid[which], self.middle[which], self.half[which], self.lower[which])

    def halved(self) -> "_Intervals":
        """Both halves of each."""
        twice, half = self.take(np.tile(np.arange(len(self.lower)), 2)), self.half / 2
        middle = np.concatenate([self.middle - half, self.middle + half])
        return replace(twice, middle=middle, half=np.tile(half, 2))

    def with_others(self, others: "_Intervals") -> "_Intervals":
        """These and the others."""
        pairs = [(getattr(self, name), getattr(others, name)) for name in self.__slots__]
        return _Intervals(*(np.concatenate(pair) for pair in pairs))


class _Search:
    """One search: the best found so far, and what was set aside."""

    def __init__(self, body: Body, at: Array, motion: Motion, solids: Solids, below: float, within: float) -> None:
        import coal

        self.body, self.motion, self.solids = body, motion, solids
        self.at, self.within = at, within
        self.best = below
        self.found: Place | None = None
        self.bound = np.inf  # least lower bound among what was set aside
        self.touched = np.zeros(len(solids.items), dtype=bool)
        self.placed = moved(at, body.corners)
        self.travel = motion.travel(self.placed).max(axis=1)
        self.transform, self.distance = coal.Transform3s, coal.distance
        self.request, self.result = coal.DistanceRequest(True, True), coal.DistanceResult()

    def run(self, skip: Mask | None) -> Nearest:
        """Search, most promising intervals first, until none is left that could matter."""
        left = self._worth(self._first(skip))
        if not self.travel.any():
            self._unmoved(left)
            left = left.take(slice(0))
        while len(left.lower):
            order = np.argsort(left.lower, kind="stable")
            measured = self._measured(left.take(order[:_BATCH]))
            again = self._worth(measured).halved()
            left = self._worth(left.take(order[len(measured.lower) :]).with_others(again))
        touched = frozenset(np.flatnonzero(self.touched).tolist())
        return Nearest(min(self.best, self.bound), self.found, touched)

    def _unmoved(self, pairs: _Intervals) -> None:
        """All that is to be found where nothing moves: the distances themselves, less the library's rounding."""
        pairs = pairs.take(np.argsort(pairs.lower, kind="stable"))
        distance, _ = self._distances(pairs, np.zeros(len(pairs.lower), dtype=np.intp), self.at[None])
        rest = pairs.lower[len(distance) :]
        self.bound = min(self.bound, self.best - ROUNDING, float(np.min(rest, initial=np.inf)))

    def _worth(self, intervals: _Intervals) -> _Intervals:
        """Those that could lower the result, or touch a solid not touched so far; the others are set aside."""
        lower = intervals.lower
        keep = (lower < self._limit()) | ((lower < -self.within) & ~self.touched[intervals.solid])
        if keep.all():
            return intervals
        self.bound = min(self.bound, float(lower[~keep].min()))
        return intervals.take(keep)

    def _limit(self) -> float:
        """A bound at or above this cannot lower the result by more than is allowed for."""
        return self.best - max(self.within, -DEEP * self.best)

    def _first(self, skip: Mask | None) -> _Intervals:
        """All intervals of the first round with a cheap lower bound, from balls around the pieces."""
        count = max(1, int(np.ceil(self.travel.max() / STRIDE)))
        free = np.ones((len(self.body.pieces), len(self.solids.items)), dtype=bool) if skip is None else ~skip
        pair_piece, pair_solid = np.nonzero(free)
        piece, solid = np.tile(pair_piece, count), np.tile(pair_solid, count)
        middle = (np.arange(count) + 0.5) / count
        centres, radii = self.body.balls
        matrices = self.motion.matrix(middle) @ self.at
        carried = centres @ np.swapaxes(matrices[:, :3, :3], 1, 2) + matrices[:, None, :3, 3]
        spots = carried[:, pair_piece].reshape(-1, 3)
        toward = self.solids.closest(spots, solid) - spots
        away = np.sqrt(np.einsum("ei,ei->e", toward, toward))
        half = np.full(len(piece), 0.5 / count)
        if not self.travel.any():
            return _Intervals(piece, solid, half, half, np.where(away > 0, away - radii[piece], -np.inf))
        direction = toward / np.where(away > 0, away, 1.0)[:, None]
        reach = self.motion.furthest(direction, spots[:, None], half)[:, 0] + radii[piece]
        lower = np.where(away > 0, self.solids.least_along(direction, solid) - reach, -np.inf)
        return _Intervals(piece, solid, np.repeat(middle, len(pair_piece)), half, lower)

    def _measured(self, intervals: _Intervals) -> _Intervals:
        """The first of them, until one does not matter any more, with bounds from the distances in the middle."""
        fractions, of = np.unique(intervals.middle, return_inverse=True)
        matrices = self.motion.matrix(fractions)
        distance, normal = self._distances(intervals, of, matrices @ self.at)
        intervals, of = intervals.take(slice(len(distance))), of[: len(distance)]
        turn = matrices[of]
        points = self.placed[intervals.piece] @ np.swapaxes(turn[:, :3, :3], 1, 2) + turn[:, None, :3, 3]
        size = np.linalg.norm(normal, axis=-1, keepdims=True)
        normal = np.where(size > 0, normal / np.where(size > 0, size, 1.0), (0.0, 0.0, 1.0))
        reach = self.motion.furthest(normal, points, intervals.half).max(axis=1)
        plane = self.solids.least_along(normal, intervals.solid) - reach
        speed = distance - self.travel[intervals.piece] * intervals.half
        return replace(intervals, lower=np.maximum(np.maximum(plane, speed), intervals.lower))

    def _distances(self, intervals: _Intervals, of: Index, matrices: Array) -> tuple[Array, Array]:
        """Distances (e,) and separating directions (e, 3) of the first e intervals; keeps the least one's place.

        Stops where the bounds, which ascend, say that the rest cannot matter; what does not matter before that is
        passed over as minus infinity, which leaves its bound as it is.
        """
        places = [self.transform(matrix[:3, :3], matrix[:3, 3]) for matrix in matrices]
        shapes, placed, result = self.body.shapes, self.solids.placed, self.result
        distances, normals, limit = [], [], self._limit()
        columns = (intervals.piece, intervals.solid, of, intervals.lower)
        for piece, solid, f, lower in zip(*(column.tolist() for column in columns), strict=True):
            if lower >= limit and (lower >= -self.within or self.touched[solid]):
                if lower >= -self.within:
                    break
                distances.append(-np.inf)
                normals.append(_NO_DIRECTION)
                continue
            result.clear()
            gap = self.distance(shapes[piece], places[f], *placed[solid], self.request, result)
            distances.append(gap)
            normals.append(result.normal)
            self.touched[solid] |= gap < 0
            if gap < self.best:
                self.best = gap
                limit = self._limit()
                local = moved(undone(matrices[f]), np.asarray(result.getNearestPoint1()))
                self.found = Place(solid, piece, local, float(intervals.middle[len(distances) - 1]))
        return np.array(distances), np.array(normals).reshape(-1, 3)


def _filled(clouds: Sequence[Array]) -> Array:
    """(n, k, 3) point clouds (k_i, 3) of one length: short ones repeat their last point."""
    most = max(len(cloud) for cloud in clouds)
    filled: Array = np.array([np.concatenate([c, np.repeat(c[-1:], most - len(c), axis=0)]) for c in clouds])
    return filled
