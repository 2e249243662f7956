"""The least distance between convex solids over a whole travel, with a proven bound.

Branch and bound over (solid, solid, box of travel parameters), with the lower bounds of `bounds`. The collision
library proposes directions and gives distances at single positions; a poor direction costs time, never truth. What is
reported is never above the true least distance of the solids, and below it by at most the tolerance.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.bounds import Bounds, Boxes, from_segments
from railmodel.fitting.cells import Cells, bounded, corners, cut, halves, on_the_cut
from railmodel.fitting.motion import Index, MotionSet
from railmodel.fitting.solids import Solids
from railmodel.geometry.rows import Array

_EACH = 2048
"""Distance queries asked for in one round, shared among the pairs still open."""

_SEEDS = 512
"""Places of a mesh tried, roughly, for a start."""

_CUTS = 2
"""Times that boxes are cut and bounded by planes before distances at their corners are asked for."""

_DEEP = 0.02
"""Overlaps are found within this part of their depth: how deep matters less than that it is so."""


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """What was found for each pair (first group, second group); arrays of that shape (g, h).

    Args:
        bound: proven not above the least distance over the travel, mm; negative is a depth of overlap.
        near: the least distance found, at most the tolerance above `bound`; infinite where nothing was asked.
        first: solid of the first set where it was found.
        second: solid of the second set.
        values: (g, h, 4) where in the travel: turn, roll, slide, lift.
        on_first: (g, h, 3) the nearest point of the first.
        on_second: (g, h, 3) the nearest point of the second.
        turn: (g, h, 3, 3) rotation of the collision library's shape of `second` there.
        move: (g, h, 3) its shift.
        queries: how many distances were worked out, for benches.
    """

    bound: Array
    near: Array
    first: Index
    second: Index
    values: Array
    on_first: Array
    on_second: Array
    turn: Array
    move: Array
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
        self.corners = 1 << int(motions.drivers.max())
        self.queries = 0

    def run(self) -> Nearest:
        boxes = self.roots()
        self.seed()
        cells = self.cells_of(boxes.take(np.zeros(0, dtype=np.int64)))
        boxes = self.prune(self.bounds.improved(boxes, self.best_normal[boxes.pair]))
        boxes = self.prune(self.bounds.improved(boxes, self.bounds.towards(boxes)))
        each = 1
        while len(boxes) or len(cells):
            pairs = len(np.unique(np.concatenate([boxes.pair, cells.boxes.pair])))
            each = min(2 * each, max(2, _EACH // pairs))
            boxes, cells = self.work(boxes, cells, each)
            cells = self.refine(cells, each)
        return self.answer()

    def answer(self) -> Nearest:
        a, b, spot, shape = self.best_a, self.best_b, self.best_spot, self.shape
        on_first, on_second = self.bounds.touching(a, b, spot)
        turn, move = self.bounds.placing(b, spot)
        return Nearest(
            bound=np.minimum(self.least, self.near).reshape(shape),
            near=self.near.reshape(shape),
            first=a.reshape(shape),
            second=b.reshape(shape),
            values=self.motions.values(self.b.group[b], spot).reshape(*shape, 4),
            on_first=on_first.reshape(*shape, 3),
            on_second=on_second.reshape(*shape, 3),
            turn=turn.reshape(*shape, 3, 3),
            move=move.reshape(*shape, 3),
            queries=self.queries,
        )

    def roots(self) -> Boxes:
        """Whole travels of every pair of outermost solids; also asks for one likely distance of every pair of groups.

        The bound is that of a segment and a ball around each solid.
        """
        roots, group = self.root, self.b.group[self.root]
        middle = self.bounds.carried(roots, self.b.centre[roots], self.bounds.box[group] / 2)
        inside = self.bounds.carried(roots, self.b.inside[roots], self.bounds.box[group] / 2)
        travel = (self.bounds.rate[roots] * self.bounds.box[group]).sum(-1) / 2
        found: list[Boxes] = []
        likely: list[Boxes] = []
        for body in range(self.shape[0]):
            mine = np.flatnonzero(self.a.group == body)
            start, along, around = self.bounds.start[mine], self.bounds.along[mine], self.bounds.around[mine]
            low = from_segments(start, along, middle) - around[:, None] - self.b.radius[roots] - travel
            most = from_segments(start, along, inside) + around[:, None]
            real, pair = ~self.a.holds[mine], body * self.shape[1] + group
            least_most = np.full(self.shape[1], np.inf)
            np.minimum.at(least_most, group, most[real].min(axis=0))
            wanted = (low <= least_most[group]) & ~self.skip[body, group]
            outermost, innermost = self.a.roots[mine][:, None], real[:, None] & ~self.b.holds[roots]
            for where, which in ((found, wanted & outermost), (likely, wanted & innermost)):
                one, other = np.nonzero(which)
                end, new = self.bounds.box[group[other]], np.zeros(len(one), dtype=bool)
                where.append(
                    Boxes(pair[other], mine[one], roots[other], low[one, other], end / 2, np.zeros_like(end), end, new)
                )
        seeds = Boxes.together(likely)
        seeds = seeds.take(lowest_of(seeds, 1))
        self.look(seeds, seeds.spot)
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
                mine = np.flatnonzero((self.a.group == body) & ~self.a.holds)
                away = from_segments(self.bounds.start[mine], self.bounds.along[mine], points)
                i, j = np.unravel_index(int(away.argmin()), away.shape)
                one = spot[j : j + 1]
                pair = np.array([body * self.shape[1] + group])
                real = self.b.children[bundles[j : j + 1], 0]
                self.look(Boxes(pair, mine[i : i + 1], real, np.zeros(1), one, one, one, real > 0), one)

    def is_open(self, boxes: Boxes) -> NDArray[np.bool_]:
        """Which boxes may still hold something nearer; the others leave their bound behind."""
        near = self.near[boxes.pair]
        done = boxes.low >= near - np.maximum(self.tolerance[boxes.pair], -_DEEP * near)
        done |= boxes.spent
        np.minimum.at(self.least, boxes.pair[done], boxes.low[done])
        return ~done

    def prune(self, boxes: Boxes) -> Boxes:
        return boxes.take(self.is_open(boxes))

    def work(self, boxes: Boxes, cells: Cells, each: int) -> tuple[Boxes, Cells]:
        """Look into the lowest boxes: real solids get their distances, bounds around several are cut or opened."""
        chosen = lowest_of(boxes, each)
        now, parts, more = boxes.take(chosen), [boxes.take(~chosen)], [cells]
        held = self.b.holds[now.b]
        if not held.all():
            looked = self.looked_into(now.take(~held))
            moving = self.bounds.moving[looked.b]
            more.append(self.cells_of(self.split(looked.take(moving))))
            inner = opened(self.a, looked.take(~moving), "a")
            parts.append(self.bounds.improved(inner, self.bounds.towards(inner)))
        if held.any():
            now = now.take(held)
            size = (now.end - now.start) * self.bounds.most[now.b]
            far = size.max(axis=-1) > self.b.radius[now.b]
            for some in (cut(now.take(far), size[far].argmax(axis=-1)), opened(self.b, now.take(~far), "b")):
                guesses = np.stack([self.bounds.towards(some), self.best_normal[some.pair]], axis=1)
                parts.append(self.bounds.improved(some, guesses))
        found = Cells.together(more)
        return self.prune(Boxes.together(parts)), found.take(self.is_open(found.boxes))

    def looked_into(self, boxes: Boxes) -> Boxes:
        """Boxes of real solids after one distance each, without those that need no more."""
        boxes = self.bounds.improved(boxes, self.look(boxes, boxes.spot)[1])
        return self.prune(replace(boxes, spent=~(self.bounds.moving[boxes.b] | self.a.holds[boxes.a])))

    def split(self, boxes: Boxes) -> Boxes:
        """What is left of boxes that were cut and bounded by planes alone, which asks for no distances."""
        for _ in range(_CUTS):
            if not len(boxes):
                break
            size = (boxes.end - boxes.start) * self.bounds.most[boxes.b]
            halves = cut(boxes, size.argmax(axis=-1))
            guesses = np.stack([self.bounds.towards(halves), self.best_normal[halves.pair]], axis=1)
            boxes = self.prune(self.bounds.improved(halves, guesses))
        return boxes

    def cells_of(self, boxes: Boxes) -> Cells:
        """Boxes with the distances at their corners, flattened where that can be."""
        boxes = self.bounds.flattened(boxes, self.best_normal[boxes.pair])
        spots = corners(boxes, self.corners)
        everywhere = np.ones(spots.shape[:2], dtype=bool)
        return self.held(bounded(self.bounds, boxes, *self.found_at(boxes, spots, everywhere)), boxes.low)

    def held(self, cells: Cells, low: Array) -> Cells:
        """The cells, but those that were flattened wrongly anew, as far as they may reach; `low` (n,) held before."""
        stands = self.bounds.stands(cells.boxes, cells.normal)
        if stands.all():
            return cells
        boxes = self.bounds.unflattened(replace(cells.boxes, low=low).take(~stands))
        spots = corners(boxes, self.corners)
        found = self.found_at(boxes, spots, np.ones(spots.shape[:2], dtype=bool))
        return Cells.together([cells.take(stands), bounded(self.bounds, boxes, *found)])

    def found_at(self, boxes: Boxes, spots: Array, wanted: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Distances (n, c) and directions (n, c, 3) at corners `wanted` (n, c) of boxes, which lie at `spots`.

        Corners that differ only in parameters in which a box has no width are the same.
        """
        wide = ((boxes.end > boxes.start) << np.arange(4)).sum(axis=-1)
        number = np.arange(self.corners)[None] & wide[:, None]
        row, corner = np.nonzero(wanted & (number == np.arange(self.corners)))
        gap, normal = np.zeros(wanted.shape), np.zeros((*wanted.shape, 3))
        gap[row, corner], normal[row, corner] = self.look(boxes.take(row), spots[row, corner])
        return np.take_along_axis(gap, number, axis=1), np.take_along_axis(normal, number[..., None], axis=1)

    def refine(self, cells: Cells, each: int) -> Cells:
        """Cut the lowest cells in two across the parameter that costs most, and look at the corners of the cut.

        Cells of a bundle that stands out by more than the cut would gain are opened instead.
        """
        chosen = lowest_of(cells.boxes, each)
        now = cells.take(chosen)
        if not len(now):
            return cells
        bundled = self.a.slack[now.boxes.a] > now.cost.max(axis=-1)
        bundled |= self.a.holds[now.boxes.a] & (now.gap.min(axis=-1) < 0)  # a bundle is deeper than what it holds
        inner = self.cells_of(opened(self.a, now.boxes.take(bundled), "a"))
        now = now.take(~bundled)
        across = now.cost.argmax(axis=-1)
        both = halves(self.bounds, now, across, self.found_at(now.boxes, *on_the_cut(now, across)))
        both = self.held(both, np.tile(now.boxes.low, 2))
        found = Cells.together([cells.take(~chosen), inner, both])
        return found.take(self.is_open(found.boxes))

    def look(self, boxes: Boxes, spot: Array) -> tuple[Array, Array]:
        """Distances at parameters `spot` (n, 4), keeping the least of each pair.

        Returns:
            Lower bounds (n,) of the distances by the planes square to the directions (n, 3) found.
        """
        distance, normal = self.bounds.distances(boxes.a, boxes.b, spot)
        planes = self.bounds.planes(boxes.a, boxes.b, spot, normal)
        distance = np.maximum(distance, planes)
        self.queries += len(boxes)
        real = np.flatnonzero(~(self.a.holds[boxes.a] | self.b.holds[boxes.b]))
        order = real[np.lexsort((distance[real], boxes.pair[real]))]
        pair = boxes.pair[order]
        lead = order[np.flatnonzero(np.diff(pair, prepend=-1))]
        lead = lead[distance[lead] < self.near[boxes.pair[lead]]]
        pair = boxes.pair[lead]
        self.near[pair], self.best_a[pair], self.best_b[pair] = distance[lead], boxes.a[lead], boxes.b[lead]
        self.best_spot[pair], self.best_normal[pair] = spot[lead], normal[lead]
        return planes, normal


def opened(solids: Solids, boxes: Boxes, which: Literal["a", "b"]) -> Boxes:
    """Each box once for every solid its bound a or b holds."""
    held = getattr(boxes, which)
    children = solids.children[held]
    count = children[:, 1] - children[:, 0]
    repeat = np.repeat(np.arange(len(boxes)), count)
    inner = np.arange(len(repeat)) - np.repeat(np.cumsum(count) - count, count)
    return replace(boxes.take(repeat), **{which: children[repeat, 0] + inner})


def lowest_of(boxes: Boxes, each: int) -> NDArray[np.bool_]:
    """The boxes of each pair with the lowest bounds, at most so many a pair."""
    order = np.lexsort((boxes.low, boxes.pair))
    pair = boxes.pair[order]
    begins = np.flatnonzero(np.diff(pair, prepend=-1))
    rank = np.arange(len(pair)) - np.repeat(begins, np.diff(np.append(begins, len(pair))))
    chosen = np.zeros(len(boxes), dtype=bool)
    chosen[order[rank < each]] = True
    return chosen
