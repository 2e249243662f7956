"""The least distance between convex solids over a whole travel, with a proven bound.

Branch and bound over (solid, solid, box of travel parameters). For a unit direction n the gap between the two planes
square to n that touch the two solids is a lower bound of their distance, or of minus their depth of overlap. Over a
box of parameters each point of a moving solid has a coordinate along n that is linear in slides and lifts and curved
in turns by no more than (lever arm) x (turn)^2; so the least of it over the box is at least the least over the
corners of the box less the sum of curvature x width^2 / 8 (the remainder of linear interpolation). Corners have a
closed form, so the bound of a box is exact for travel along lines and of second order in turns. The collision
library proposes n and the nearest points; a poor n costs time, never truth.

What is reported is never above the true least distance of the solids, and below it by at most the tolerance.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.motion import MotionSet
from railmodel.fitting.solids import AS_DRAWN, Index, Solids
from railmodel.geometry.rows import Array

_BATCH = 4096
"""Boxes bounded at once."""

_EACH = 2048
"""Distance queries asked for in one round, shared among the pairs still open."""

_DEEP = 0.02
"""Overlaps are found within this part of their depth: how deep matters less than that it is so."""

_SMALLEST = 1e-4
"""A box across which nothing moves by more than this, mm, is not cut again."""


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """What was found for each pair (first group, second group); arrays of that shape (g, h).

    Args:
        bound: proven not above the least distance over the travel, mm; negative is a depth of overlap.
        near: the least distance found, at most the tolerance above `bound`; infinite where nothing was asked.
        first: solid of the first set where it was found.
        second: solid of the second set.
        parameters: (g, h, 4) where in the travel.
        queries: how many distances were worked out, for benches.
    """

    bound: Array
    near: Array
    first: Index
    second: Index
    parameters: Array
    queries: int


@dataclass(frozen=True, slots=True, eq=False)
class _Boxes:
    """Boxes of the travel of solid `b` against solid `a`, with what is known of them."""

    pair: Index
    a: Index
    b: Index
    low: Array  # lower bound of the distance, mm
    spot: Array  # (n, 4) parameters at which to look next
    start: Array  # (n, 4) the box
    end: Array

    def __len__(self) -> int:
        return len(self.pair)

    def take(self, which: NDArray[np.bool_] | Index) -> "_Boxes":
        return _Boxes(*(getattr(self, name)[which] for name in self.__slots__))

    @staticmethod
    def together(parts: "list[_Boxes]") -> "_Boxes":
        return _Boxes(*(np.concatenate([getattr(part, name) for part in parts]) for name in _Boxes.__slots__))


def nearest(
    first: Solids, second: Solids, motions: MotionSet, tolerance: Array, skip: NDArray[np.bool_] | None = None
) -> Nearest:
    """The least distance of each group of `first` to each group of `second`, which travels.

    Args:
        first: solids that stand still.
        second: solids that travel; group i by motion i.
        motions: one motion a group of `second`.
        tolerance: (h,) how far the bound may lie below the least distance, mm.
        skip: (g, h) pairs to leave out.
    """
    return _Search(first, second, motions, tolerance, skip).run()


class _Search:
    def __init__(
        self, a: Solids, b: Solids, motions: MotionSet, tolerance: Array, skip: NDArray[np.bool_] | None
    ) -> None:
        self.a, self.b, self.motions = a, b, motions
        self.shape = (int(a.group.max()) + 1, int(b.group.max()) + 1)
        self.skip = np.zeros(self.shape, dtype=bool) if skip is None else skip
        count = self.shape[0] * self.shape[1]
        self.tolerance = np.tile(tolerance, self.shape[0])
        self.near, self.bound = np.full(count, np.inf), np.full(count, np.inf)
        self.best_a, self.best_b = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        self.best_spot, self.best_normal = np.zeros((count, 4)), np.tile([0.0, 0.0, 1.0], (count, 1))
        self.queries = 0
        self.moving = motions.drivers[b.group] > 0
        self.box = (np.arange(4) < motions.drivers[:, None]).astype(float)  # (h, 4) where each box ends
        self.root = np.flatnonzero(b.roots)
        self.rate, self.most, self.curve = self.travel(self.root)
        self.start, self.along, self.around = segments(a)

    def travel(self, roots: Index) -> tuple[Array, Array, Array]:
        """How solids travel (see `MotionSet.reach`); what a bound holds travels no further than the bound may."""
        found = [np.zeros((len(self.b), 4)) for _ in range(3)]
        which = roots[self.moving[roots]]
        if len(which):
            reach = self.motions.reach(self.b.group[which], self.b.centre[which], self.b.radius[which])
            for array, values in zip(found, reach, strict=True):
                array[which] = values
        for parent in np.flatnonzero(self.b.holds & self.moving):  # a bound stands before what it holds
            start, stop = self.b.children[parent]
            found[0][start:stop] = found[1][start:stop] = found[1][parent]
            found[2][start:stop] = found[2][parent]
        return found[0], found[1], found[2]

    def run(self) -> Nearest:
        boxes = self.roots()
        chosen = self.choose(boxes, 1)
        boxes = _Boxes.together([boxes.take(~chosen), self.work(boxes.take(chosen))])
        boxes = self.prune(boxes)
        boxes = self.prune(self.bounded(boxes, self.best_normal[boxes.pair]))
        if len(boxes):
            boxes = self.prune(self.bounded(boxes, self.towards(boxes)))
        each = 1
        while len(boxes):
            each = min(2 * each, max(2, _EACH // len(np.unique(boxes.pair))))
            chosen = self.choose(boxes, each)
            boxes = self.prune(_Boxes.together([boxes.take(~chosen), self.work(boxes.take(chosen))]))
        shape = self.shape
        return Nearest(
            bound=np.minimum(self.bound, self.near).reshape(shape),
            near=self.near.reshape(shape),
            first=self.best_a.reshape(shape),
            second=self.best_b.reshape(shape),
            parameters=self.best_spot.reshape(*shape, 4),
            queries=self.queries,
        )

    def roots(self) -> _Boxes:
        """Whole travels of every pair of solids, bounded by a segment and a ball around each."""
        roots, group = self.root, self.b.group[self.root]
        middle = self.carried(roots, self.b.centre[roots], self.box[group] / 2)
        inside = self.carried(roots, self.b.inside[roots], self.box[group] / 2)
        travel = (self.rate[roots] * self.box[group]).sum(-1) / 2
        found = []
        for body in range(self.shape[0]):
            mine = np.flatnonzero(self.a.group == body)
            start, along, around = self.start[mine], self.along[mine], self.around[mine]
            away = from_segments(start, along, middle)
            low = away - around[:, None] - self.b.radius[roots] - travel
            most = from_segments(start, along, inside) + around[:, None]
            pair = body * self.shape[1] + group
            least_most = np.full(self.shape[1], np.inf)
            np.minimum.at(least_most, group, most.min(axis=0))
            i, j = np.nonzero((low <= least_most[group]) & ~self.skip[body, group])
            end = self.box[group[j]]
            found.append(_Boxes(pair[j], mine[i], roots[j], low[i, j], end / 2, np.zeros_like(end), end))
        return _Boxes.together(found)

    def carried(self, solids: Index, points: Array, parameters: Array) -> Array:
        """Points (n, 3) of solids carried to parameters (n, 4)."""
        group, found = self.b.group[solids], points.copy()
        moves = np.flatnonzero(self.moving[solids])
        if len(moves):
            values = self.motions.values(group[moves], parameters[moves])
            rotation, shift = self.motions.place(group[moves], values)
            found[moves] = np.einsum("nij,nj->ni", rotation, points[moves]) + shift
        return found

    def choose(self, boxes: _Boxes, each: int) -> NDArray[np.bool_]:
        """The boxes of each pair with the lowest bounds, at most so many a pair, few before anything was found."""
        order = np.lexsort((boxes.low, boxes.pair))
        pair = boxes.pair[order]
        begins = np.flatnonzero(np.diff(pair, prepend=-1))
        rank = np.arange(len(pair)) - np.repeat(begins, np.diff(np.append(begins, len(pair))))
        chosen = np.zeros(len(boxes), dtype=bool)
        chosen[order[rank < np.where(np.isfinite(self.near[pair]), each, 2)]] = True
        return chosen

    def prune(self, boxes: _Boxes) -> _Boxes:
        """The boxes that may still hold something nearer; the others leave their bound behind."""
        near = self.near[boxes.pair]
        close = np.where(np.isfinite(near), near - np.maximum(self.tolerance[boxes.pair], -_DEEP * near), np.inf)
        done = boxes.low >= close
        np.minimum.at(self.bound, boxes.pair[done], boxes.low[done])
        return boxes.take(~done)

    def work(self, boxes: _Boxes) -> _Boxes:
        """Look into boxes: real solids are asked for their distance, bounds around several are cut or opened."""
        held = self.b.holds[boxes.b]
        size = (boxes.end - boxes.start) * self.most[boxes.b]
        far = held & (size.max(axis=-1) > self.b.radius[boxes.b])
        parts = []
        if not held.all():
            parts.append(self.halves(boxes.take(~held)))
        if far.any():
            some = boxes.take(far)
            parts.append(self.cut(some, size[far], self.guesses(some)))
        if (held & ~far).any():
            some = self.opened(boxes.take(held & ~far))
            parts.append(self.bounded(some, self.guesses(some)))
        return self.prune(_Boxes.together(parts))

    def guesses(self, boxes: _Boxes) -> Array:
        """(n, 2, 3) directions to try without asking for a distance."""
        return np.stack([self.towards(boxes), self.best_normal[boxes.pair]], axis=1)

    def opened(self, boxes: _Boxes) -> _Boxes:
        """Each box once for every solid its bound holds."""
        children = self.b.children[boxes.b]
        count = children[:, 1] - children[:, 0]
        repeat = np.repeat(np.arange(len(boxes)), count)
        inner = np.arange(len(repeat)) - np.repeat(np.cumsum(count) - count, count)
        return replace(boxes.take(repeat), b=children[repeat, 0] + inner)

    def halves(self, boxes: _Boxes) -> _Boxes:
        """Ask for distances in boxes, bound them anew, and cut those that stay open in two."""
        normal = self.look(boxes, boxes.spot)
        boxes = self.bounded(boxes, normal)
        still = ~self.moving[boxes.b]
        self.close(boxes.take(still))
        boxes, normal = self.open_ones(boxes.take(~still), normal[~still])
        if not len(boxes):
            return boxes
        other = self.look(boxes, (boxes.start + boxes.end) / 2)
        before = boxes.low
        boxes = self.bounded(boxes, other)
        normal = np.where((boxes.low > before)[:, None], other, normal)
        size = (boxes.end - boxes.start) * self.most[boxes.b]
        small = size.max(axis=-1) <= _SMALLEST
        self.close(boxes.take(small))
        keep = ~small & self.is_open(boxes)
        return self.cut(boxes.take(keep), size[keep], np.stack([normal[keep], other[keep]], axis=1))

    def cut(self, boxes: _Boxes, size: Array, normals: Array) -> _Boxes:
        """Halve boxes across the parameter that seems to cost the bound most: by bending, or by turning n."""
        away = np.maximum(boxes.low, 1.0)[:, None]
        cost = self.curve[boxes.b] * (boxes.end - boxes.start) ** 2 + size * size / (8*away + size)
        row, widest = np.arange(len(boxes)), cost.argmax(axis=-1)
        middle = (boxes.start[row, widest] + boxes.end[row, widest]) / 2
        start, end = boxes.start.copy(), boxes.end.copy()
        start[row, widest], end[row, widest] = middle, middle
        both = _Boxes.together([replace(boxes, end=end), replace(boxes, start=start)])
        return self.bounded(both, np.concatenate([normals, normals]))

    def is_open(self, boxes: _Boxes) -> NDArray[np.bool_]:
        near = self.near[boxes.pair]
        return np.asarray(boxes.low < near - np.maximum(self.tolerance[boxes.pair], -_DEEP * near))

    def open_ones(self, boxes: _Boxes, normal: Array) -> tuple[_Boxes, Array]:
        """The boxes still open with their directions; the others are closed."""
        is_open = self.is_open(boxes)
        self.close(boxes.take(~is_open))
        return boxes.take(is_open), normal[is_open]

    def close(self, boxes: _Boxes) -> None:
        np.minimum.at(self.bound, boxes.pair, boxes.low)

    def towards(self, boxes: _Boxes) -> Array:
        """(n, 3) unit directions from solid a's segment to solid b's middle."""
        start, along = self.start[boxes.a], self.along[boxes.a]
        off = self.carried(boxes.b, self.b.centre[boxes.b], (boxes.start + boxes.end) / 2) - start
        share = np.einsum("ni,ni->n", off, along) / np.maximum(np.einsum("ni,ni->n", along, along), 1e-300)
        off -= np.clip(share, 0, 1)[:, None] * along
        size = np.linalg.norm(off, axis=-1, keepdims=True)
        return np.where(size > 1e-9, off / np.maximum(size, 1e-9), [0.0, 0.0, 1.0])

    def bounded(self, boxes: _Boxes, normal: Array) -> _Boxes:
        """The boxes with bounds by planes square to `normal` (n, 3) or (n, m, 3), where those are better."""
        normal = normal if normal.ndim == 3 else normal[:, None]
        low, spot = boxes.low.copy(), boxes.spot.copy()
        for begin in range(0, len(boxes), _BATCH):
            part = slice(begin, begin + _BATCH)
            moving = self.moving[boxes.b[part]]
            still, moves = np.flatnonzero(~moving) + begin, np.flatnonzero(moving) + begin
            if len(still):
                n = normal[still]
                planes = -self.a.farthest(boxes.a[still], n) - self.b.farthest(boxes.b[still], -n)
                low[still] = np.maximum(low[still], planes.max(axis=-1))
            if len(moves):
                planes, at = self.corner(boxes.take(moves), normal[moves])
                low[moves] = np.maximum(low[moves], planes)
                spot[moves] = at
        return replace(boxes, low=low, spot=spot)

    def corner(self, boxes: _Boxes, normal: Array) -> tuple[Array, Array]:
        """The best bound (n,) by planes square to `normal` (n, m, 3), and the corner (n, 4) of the box it is met at."""
        group = self.b.group[boxes.b]
        drivers = int(self.motions.drivers[group].max())
        pick = ((np.arange(2**drivers)[:, None] >> np.arange(4)) & 1).astype(bool)
        corners = np.where(pick, boxes.end[:, None], boxes.start[:, None])
        rotation, shift = self.motions.place(group, self.motions.values(group, corners))
        count, several = normal.shape[:2]
        back = np.matmul(normal[:, None], rotation)  # (n, c, m, 3): rows n . rotation
        reach = -self.b.farthest(boxes.b, -back.reshape(count, -1, 3)).reshape(count, -1, several)
        reach += np.matmul(shift, normal.transpose(0, 2, 1))
        lowest = reach.argmin(axis=1)
        row = np.arange(count)
        planes = np.take_along_axis(reach, lowest[:, None], axis=1)[:, 0] - self.a.farthest(boxes.a, normal)
        best = planes.argmax(axis=-1)
        size = boxes.end - boxes.start
        bent = (self.curve[boxes.b] * size * size).sum(-1) / 8
        return planes[row, best] - bent, corners[row, lowest[row, best]]

    def look(self, boxes: _Boxes, spot: Array) -> Array:
        """Distances at parameters `spot`; keeps the least of each pair and gives the directions (n, 3)."""
        distance, normal = self.distances(boxes.a, boxes.b, spot)
        order = np.lexsort((distance, boxes.pair))
        pair = boxes.pair[order]
        lead = order[np.flatnonzero(np.diff(pair, prepend=-1))]
        lead = lead[distance[lead] < self.near[boxes.pair[lead]]]
        pair = boxes.pair[lead]
        self.near[pair], self.best_a[pair], self.best_b[pair] = distance[lead], boxes.a[lead], boxes.b[lead]
        self.best_spot[pair], self.best_normal[pair] = spot[lead], normal[lead]
        return normal

    def distances(self, a: Index, b: Index, spot: Array) -> tuple[Array, Array]:
        """Distances (n,) and directions (n, 3) from solids a to solids b, by the collision library."""
        import coal

        group = self.b.group[b]
        rotation, shift = self.motions.place(group, self.motions.values(group, spot))
        shapes = [self.b.shape(int(j)) for j in b]
        shift = shift + np.einsum("nij,nj->ni", rotation, np.stack([shape[2] for shape in shapes]))
        rotation = rotation @ np.stack([shape[1] for shape in shapes])
        request, result = coal.DistanceRequest(), coal.DistanceResult()
        here, there = coal.Transform3s(), coal.Transform3s()
        distance, normal, placed = np.empty(len(a)), np.empty((len(a), 3)), AS_DRAWN
        for i, shape in enumerate(shapes):
            still, turn, move = self.a.shape(int(a[i]))
            if turn is not placed:
                here.setRotation(turn)
                here.setTranslation(move)
                placed = turn
            there.setRotation(rotation[i])
            there.setTranslation(shift[i])
            result.clear()  # a used result keeps its direction
            distance[i] = coal.distance(still, here, shape[0], there, request, result)
            normal[i] = result.normal
        self.queries += len(a)
        size = np.linalg.norm(normal, axis=-1, keepdims=True)
        return distance, np.where(size > 0.5, normal / np.maximum(size, 0.5), [0.0, 0.0, 1.0])


def segments(solids: Solids) -> tuple[Array, Array, Array]:
    """Start (n, 3) and vector (n, 3) of a segment through each solid, and the radius (n,) that holds it all."""
    axis, middle = solids.axis, solids.inside
    off = solids.vertices - middle[:, None]
    along = np.einsum("nvi,ni->nv", off, axis)
    low, high = along.min(axis=-1), along.max(axis=-1)
    across = off - along[..., None] * axis[:, None]
    radius = np.sqrt(np.einsum("nvi,nvi->nv", across, across).max(axis=-1)) + solids.ball + solids.disc
    return middle + low[:, None] * axis, (high - low)[:, None] * axis, radius


def from_segments(start: Array, along: Array, points: Array) -> Array:
    """Distances (n, m) of points (m, 3) from segments (n, 3) + [0, 1] (n, 3)."""
    length = np.maximum(np.einsum("ni,ni->n", along, along), 1e-300)
    off = points - start[:, None]
    share = np.clip(np.einsum("nmi,ni->nm", off, along) / length[:, None], 0, 1)
    off -= share[..., None] * along[:, None]
    return np.asarray(np.sqrt(np.einsum("nmi,nmi->nm", off, off)))
