"""Boxes of travel parameters with the directions at their corners: bounds of second order in every travel.

At each corner c of a box the collision library gives the direction n_c between two solids. Let n vary over the box as
the corners' mixture v (linear in each parameter). For a point x of the moving solid v . x then has, along each
parameter, a second derivative of at most |x''| + 2 |v'| |x'|, and the reach of the standing solid along v is a convex
function of it. So v's gap is at least its least at the corners, less the sum over the parameters of
width^2 / 8 x |x''| + (change of n) x (way of x) / 4; and as |v| <= 1 that is a lower bound of the distance.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.bounds import Bounds, Boxes
from railmodel.fitting.motion import Index
from railmodel.geometry.rows import Array

_AGREE = 0.1
"""Directions that agree less than this (cosine) bound no depth of overlap."""

_IDLE = 1e-3
"""A cell whose width costs its bound no more than this is not cut again, mm."""

_BITS = np.arange(4)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Boxes with what was found at their corners; bit i of a corner's number says at which end of parameter i it is.

    Args:
        boxes: the boxes.
        gap: (n, c) distance at each corner, by planes square to `normal`: proven not above the true one.
        normal: (n, c, 3) direction there.
        cost: (n, 4) what the width of each parameter costs the bound, mm.
    """

    boxes: Boxes
    gap: Array
    normal: Array
    cost: Array

    def __len__(self) -> int:
        return len(self.boxes)

    def take(self, which: NDArray[np.bool_] | Index) -> "Cells":
        """Some of them."""
        return Cells(self.boxes.take(which), self.gap[which], self.normal[which], self.cost[which])

    @staticmethod
    def together(parts: "list[Cells]") -> "Cells":
        """Several sets as one."""
        columns = (np.concatenate([getattr(part, name) for part in parts]) for name in ("gap", "normal", "cost"))
        return Cells(Boxes.together([part.boxes for part in parts]), *columns)


def corners(boxes: Boxes, count: int) -> Array:
    """(n, count, 4) parameters at the corners of boxes."""
    high = (np.arange(count)[:, None] >> _BITS & 1).astype(bool)
    return np.where(high, boxes.end[:, None], boxes.start[:, None])


def bounded(bounds: Bounds, boxes: Boxes, gap: Array, normal: Array) -> Cells:
    """Cells of boxes with distances (n, c) and directions (n, c, 3) at their corners, and with better bounds."""
    size, count = boxes.end - boxes.start, gap.shape[1]
    change = np.zeros_like(size)
    for bit in range(count.bit_length() - 1):
        below = np.flatnonzero(np.arange(count) >> bit & 1 == 0)
        off = normal[:, below | 1 << bit] - normal[:, below]
        change[:, bit] = np.sqrt(np.einsum("nci,nci->nc", off, off).max(axis=1))
    cost = bounds.curve[boxes.b] * size * size / 8 + change * size * bounds.most[boxes.b] / 4
    least, lowest = gap.min(axis=1) - cost.sum(axis=1), gap.argmin(axis=1)
    one = normal[np.arange(len(boxes)), lowest]
    agree = np.einsum("nci,ni->nc", normal, one).min(axis=1)  # no mixture of the directions is shorter than this
    deep = np.where(agree > _AGREE, least / np.maximum(agree, _AGREE), -np.inf)
    low = np.maximum(boxes.low, np.where(least >= 0, least, deep))
    torn = np.flatnonzero((least < 0) & (agree < 0))
    if len(torn):
        against = np.einsum("nci,ni->nc", normal[torn], one[torn]).argmin(axis=1)
        balanced = bounds.balanced(boxes.take(torn), one[torn], normal[torn, against])
        low[torn] = np.maximum(low[torn], balanced)
    spent = (cost.sum(axis=1) <= _IDLE) & ~bounds.a.holds[boxes.a]
    return Cells(bounds.improved(replace(boxes, low=np.asarray(low), spent=spent), one), gap, normal, cost)


def cut(boxes: Boxes, across: Index) -> Boxes:
    """The halves of boxes cut across parameters (n,): first all lower ones, then all upper ones."""
    row = np.arange(len(boxes))
    middle = (boxes.start[row, across] + boxes.end[row, across]) / 2
    start, end = boxes.start.copy(), boxes.end.copy()
    start[row, across], end[row, across] = middle, middle
    return Boxes.together([replace(boxes, end=end), replace(boxes, start=start)])


def on_the_cut(cells: Cells, across: Index) -> tuple[Array, NDArray[np.bool_]]:
    """Parameters (n, c, 4) in the middle of cells where a corner lies below the cut, and (n, c) which do."""
    boxes, count, row = cells.boxes, cells.gap.shape[1], np.arange(len(cells))
    spots = corners(boxes, count)
    spots[row, :, across] = (boxes.start[row, across] + boxes.end[row, across])[:, None] / 2
    return spots, np.arange(count)[None] >> across[:, None] & 1 == 0


def halves(bounds: Bounds, cells: Cells, across: Index, middle: tuple[Array, Array]) -> Cells:
    """Cells cut across parameters (n,), with distances and directions `middle` found on the cut below each corner."""
    number = np.arange(cells.gap.shape[1])[None]
    below, opposite = number >> across[:, None] & 1 == 0, number ^ 1 << across[:, None]
    gap, normal = middle
    over_gap = np.take_along_axis(gap, opposite, axis=1)
    over_normal = np.take_along_axis(normal, opposite[..., None], axis=1)
    lower = np.where(below, cells.gap, over_gap), np.where(below[..., None], cells.normal, over_normal)
    upper = np.where(below, gap, cells.gap), np.where(below[..., None], normal, cells.normal)
    both = (np.concatenate(pair) for pair in zip(lower, upper, strict=True))
    return bounded(bounds, cut(cells.boxes, across), *both)
