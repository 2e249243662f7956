"""The least distance between convex solids over a whole travel, with a proven bound.

Branch and bound over (solid, solid, box of travel parameters), with the lower bounds of `bounds`. The collision
library proposes directions and gives distances at single positions; a poor direction costs time, never truth. What is
reported is never above the true least distance of the solids, and below it by at most the tolerance.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.bounds import Bounds, Boxes, from_segments
from railmodel.fitting.motion import Index, MotionSet
from railmodel.fitting.solids import Solids
from railmodel.geometry.rows import Array

_EACH = 2048
"""Distance queries asked for in one round, shared among the pairs still open."""

_SEEDS = 512
"""Places of a mesh tried, roughly, for a start."""

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
        self.bounds, self.root = Bounds(a, b, motions), np.flatnonzero(b.roots)
        self.shape = (int(a.group.max()) + 1, int(b.group.max()) + 1)
        self.skip = np.zeros(self.shape, dtype=bool) if skip is None else skip
        count = self.shape[0] * self.shape[1]
        self.tolerance = np.tile(tolerance, self.shape[0])
        self.near, self.least = np.full(count, np.inf), np.full(count, np.inf)
        self.best_a, self.best_b = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        self.best_spot, self.best_normal = np.zeros((count, 4)), np.tile([0.0, 0.0, 1.0], (count, 1))
        self.queries = 0

    def run(self) -> Nearest:
        boxes = self.roots()
        self.seed()
        chosen = self.choose(boxes, 1)
        boxes = Boxes.together([boxes.take(~chosen), self.work(boxes.take(chosen))])
        boxes = self.prune(boxes)
        boxes = self.prune(self.bounds.improved(boxes, self.best_normal[boxes.pair]))
        if len(boxes):
            boxes = self.prune(self.bounds.improved(boxes, self.bounds.towards(boxes)))
        each = 1
        while len(boxes):
            each = min(2 * each, max(2, _EACH // len(np.unique(boxes.pair))))
            chosen = self.choose(boxes, each)
            boxes = self.prune(Boxes.together([boxes.take(~chosen), self.work(boxes.take(chosen))]))
        shape = self.shape
        return Nearest(
            bound=np.minimum(self.least, self.near).reshape(shape),
            near=self.near.reshape(shape),
            first=self.best_a.reshape(shape),
            second=self.best_b.reshape(shape),
            parameters=self.best_spot.reshape(*shape, 4),
            queries=self.queries,
        )

    def roots(self) -> Boxes:
        """Whole travels of every pair of solids, bounded by a segment and a ball around each."""
        roots, group = self.root, self.b.group[self.root]
        middle = self.bounds.carried(roots, self.b.centre[roots], self.bounds.box[group] / 2)
        inside = self.bounds.carried(roots, self.b.inside[roots], self.bounds.box[group] / 2)
        travel = (self.bounds.rate[roots] * self.bounds.box[group]).sum(-1) / 2
        found = []
        for body in range(self.shape[0]):
            mine = np.flatnonzero(self.a.group == body)
            start, along, around = self.bounds.start[mine], self.bounds.along[mine], self.bounds.around[mine]
            away = from_segments(start, along, middle)
            low = away - around[:, None] - self.b.radius[roots] - travel
            most = from_segments(start, along, inside) + around[:, None]
            pair = body * self.shape[1] + group
            least_most = np.full(self.shape[1], np.inf)
            np.minimum.at(least_most, group, most.min(axis=0))
            i, j = np.nonzero((low <= least_most[group]) & ~self.skip[body, group])
            end = self.bounds.box[group[j]]
            found.append(Boxes(pair[j], mine[i], roots[j], low[i, j], end / 2, np.zeros_like(end), end))
        return Boxes.together(found)

    def seed(self) -> None:
        """Ask for one distance of every pair whose second group is bundled, at a likely place: a good start."""
        innermost = self.b.holds.copy()
        innermost[innermost] = ~self.b.holds[self.b.children[innermost, 0]]
        for group in np.unique(self.b.group[innermost]):
            bundles = np.flatnonzero(innermost & (self.b.group == group))
            bundles = bundles[:: 1 + len(bundles) // _SEEDS]
            drivers = int(self.motions.drivers[group])
            corners = ((np.arange(2**drivers)[:, None] >> np.arange(4)) & 1).astype(float)
            spot = np.repeat(corners, len(bundles), axis=0)
            bundles = np.tile(bundles, len(corners))
            points = self.bounds.carried(bundles, self.b.inside[bundles], spot)
            for body in np.flatnonzero(~self.skip[:, group]):
                mine = np.flatnonzero(self.a.group == body)
                away = from_segments(self.bounds.start[mine], self.bounds.along[mine], points)
                i, j = np.unravel_index(int(away.argmin()), away.shape)
                one = spot[j : j + 1]
                pair = np.array([body * self.shape[1] + group])
                real = self.b.children[bundles[j : j + 1], 0]
                self.look(Boxes(pair, mine[i : i + 1], real, np.zeros(1), one, one, one), one)

    def choose(self, boxes: Boxes, each: int) -> NDArray[np.bool_]:
        """The boxes of each pair with the lowest bounds, at most so many a pair."""
        order = np.lexsort((boxes.low, boxes.pair))
        pair = boxes.pair[order]
        begins = np.flatnonzero(np.diff(pair, prepend=-1))
        rank = np.arange(len(pair)) - np.repeat(begins, np.diff(np.append(begins, len(pair))))
        chosen = np.zeros(len(boxes), dtype=bool)
        chosen[order[rank < each]] = True
        return chosen

    def prune(self, boxes: Boxes) -> Boxes:
        """The boxes that may still hold something nearer; the others leave their bound behind."""
        near = self.near[boxes.pair]
        close = np.where(np.isfinite(near), near - np.maximum(self.tolerance[boxes.pair], -_DEEP * near), np.inf)
        done = boxes.low >= close
        np.minimum.at(self.least, boxes.pair[done], boxes.low[done])
        return boxes.take(~done)

    def work(self, boxes: Boxes) -> Boxes:
        """Look into boxes: real solids are asked for their distance, bounds around several are cut or opened."""
        held = self.b.holds[boxes.b]
        size = (boxes.end - boxes.start) * self.bounds.most[boxes.b]
        far = held & (size.max(axis=-1) > self.b.radius[boxes.b])
        parts = []
        if not held.all():
            parts.append(self.halves(boxes.take(~held)))
        if far.any():
            some = boxes.take(far)
            parts.append(self.cut(some, size[far], self.guesses(some)))
        if (held & ~far).any():
            some = self.opened(boxes.take(held & ~far))
            parts.append(self.bounds.improved(some, self.guesses(some)))
        return self.prune(Boxes.together(parts))

    def guesses(self, boxes: Boxes) -> Array:
        """(n, 2, 3) directions to try without asking for a distance."""
        return np.stack([self.bounds.towards(boxes), self.best_normal[boxes.pair]], axis=1)

    def opened(self, boxes: Boxes) -> Boxes:
        """Each box once for every solid its bound holds."""
        children = self.b.children[boxes.b]
        count = children[:, 1] - children[:, 0]
        repeat = np.repeat(np.arange(len(boxes)), count)
        inner = np.arange(len(repeat)) - np.repeat(np.cumsum(count) - count, count)
        return replace(boxes.take(repeat), b=children[repeat, 0] + inner)

    def halves(self, boxes: Boxes) -> Boxes:
        """Ask for distances in boxes, bound them anew, and cut those that stay open in two."""
        normal = self.look(boxes, boxes.spot)
        boxes = self.bounds.improved(boxes, normal)
        still = ~self.bounds.moving[boxes.b]
        self.close(boxes.take(still))
        boxes, normal = self.open_ones(boxes.take(~still), normal[~still])
        if not len(boxes):
            return boxes
        other = self.look(boxes, (boxes.start + boxes.end) / 2)
        before = boxes.low
        boxes = self.bounds.improved(boxes, other)
        normal = np.where((boxes.low > before)[:, None], other, normal)
        size = (boxes.end - boxes.start) * self.bounds.most[boxes.b]
        keep = (size.max(axis=-1) > _SMALLEST) & self.is_open(boxes)
        self.close(boxes.take(~keep))
        return self.cut(boxes.take(keep), size[keep], np.stack([normal[keep], other[keep]], axis=1))

    def cut(self, boxes: Boxes, size: Array, normals: Array) -> Boxes:
        """Halve boxes across the parameter that seems to cost the bound most: by bending, or by turning n."""
        away = np.maximum(boxes.low, 1.0)[:, None]
        cost = self.bounds.curve[boxes.b] * (boxes.end - boxes.start) ** 2 + size * size / (8 * away + size)
        row, widest = np.arange(len(boxes)), cost.argmax(axis=-1)
        middle = (boxes.start[row, widest] + boxes.end[row, widest]) / 2
        start, end = boxes.start.copy(), boxes.end.copy()
        start[row, widest], end[row, widest] = middle, middle
        both = Boxes.together([replace(boxes, end=end), replace(boxes, start=start)])
        return self.bounds.improved(both, np.concatenate([normals, normals]))

    def is_open(self, boxes: Boxes) -> NDArray[np.bool_]:
        near = self.near[boxes.pair]
        return np.asarray(boxes.low < near - np.maximum(self.tolerance[boxes.pair], -_DEEP * near))

    def open_ones(self, boxes: Boxes, normal: Array) -> tuple[Boxes, Array]:
        """The boxes still open with their directions; the others are closed."""
        is_open = self.is_open(boxes)
        self.close(boxes.take(~is_open))
        return boxes.take(is_open), normal[is_open]

    def close(self, boxes: Boxes) -> None:
        np.minimum.at(self.least, boxes.pair, boxes.low)

    def look(self, boxes: Boxes, spot: Array) -> Array:
        """Distances at parameters `spot`; keeps the least of each pair and gives the directions (n, 3)."""
        distance, normal = self.bounds.distances(boxes.a, boxes.b, spot)
        self.queries += len(boxes)
        order = np.lexsort((distance, boxes.pair))
        pair = boxes.pair[order]
        lead = order[np.flatnonzero(np.diff(pair, prepend=-1))]
        lead = lead[distance[lead] < self.near[boxes.pair[lead]]]
        pair = boxes.pair[lead]
        self.near[pair], self.best_a[pair], self.best_b[pair] = distance[lead], boxes.a[lead], boxes.b[lead]
        self.best_spot[pair], self.best_normal[pair] = spot[lead], normal[lead]
        return normal
