"""Cutting patterns: which pieces come out of one stick. Whole numbers throughout, so that flush is flush.

A stick of usable length U holds n pieces with n - 1 saw cuts when the last one ends flush, so pieces fit where
sum(piece + kerf) <= U + kerf: `size` is a piece with its kerf, `room` the usable length with one kerf.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import frexp, ldexp
from typing import Final

import numpy as np

Counts = tuple[int, ...]
Pattern = tuple[int, Counts]
"""A kind of stick and how many pieces of each size are cut from it."""

ON_RACK: Final = 0
TO_BUY: Final = 1
MISSING: Final = 2
"""A stick the rack would need and does not have."""

_SMALL: Final = 900
"""Worths are multiplied by two so often at the most."""

_GRID: Final = 4096
_DEEPEST: Final = 400
_STEPS: Final = 25


@dataclass(frozen=True)
class Cutting:
    """A cutting problem in nanometres. Sizes run from long to short.

    Args:
        lengths: piece lengths, longest first.
        demand: pieces wanted of each.
        usable: usable length of each kind of stick.
        kerf: saw cut on each kind.
        limit: sticks there are of each kind, None for as many as wanted.
        source: where each kind comes from: ON_RACK, TO_BUY or MISSING.
        cost: what one stick of each kind costs at the third level (price or length), any unit.
    """

    lengths: Counts
    demand: Counts
    usable: Counts
    kerf: Counts
    limit: tuple[int | None, ...]
    source: Counts
    cost: tuple[tuple[float, ...], ...]

    @cached_property
    def kinds(self) -> range:
        """Numbers of the kinds of stick."""
        return range(len(self.usable))

    @cached_property
    def sizes(self) -> tuple[Counts, ...]:
        """Piece with kerf, for each kind of stick."""
        return tuple(tuple(length + kerf for length in self.lengths) for kerf in self.kerf)

    @cached_property
    def rooms(self) -> Counts:
        """Usable length with one kerf, for each kind of stick."""
        return tuple(usable + kerf for usable, kerf in zip(self.usable, self.kerf, strict=True))

    def load(self, pattern: Pattern) -> int:
        """Length a pattern takes up, one kerf a piece."""
        kind, counts = pattern
        return sum(count * size for count, size in zip(counts, self.sizes[kind], strict=True))

    def drop(self, pattern: Pattern) -> int:
        """What is left of the usable length, 0 where the last piece ends flush or all but."""
        return max(0, self.usable[pattern[0]] - self.load(pattern))

    def fits(self, pattern: Pattern) -> bool:
        """Whether a pattern fits its stick."""
        return self.load(pattern) <= self.rooms[pattern[0]]


def best_fill(values: Sequence[float], sizes: Counts, counts: Sequence[int], room: int) -> tuple[float, Counts]:
    """The pieces of greatest value that fit a room, nearly, by dynamic programming on a grid.

    Sizes are rounded down to the grid for a value that cannot be beaten, and up for pieces that surely fit where the
    ones of the first pass do not.

    Returns:
        A value no choice of pieces exceeds, and the pieces chosen.
    """
    low = [size * _GRID // room for size in sizes]
    above, chosen = _fill(values, low, sizes, counts, room)
    if sum(count * size for count, size in zip(chosen, sizes, strict=True)) <= room:
        return above, chosen
    high = [-(-size * _GRID // room) for size in sizes]
    return above, _fill(values, high, sizes, counts, room)[1]


def _fill(
    values: Sequence[float], weights: Sequence[int], sizes: Counts, counts: Sequence[int], room: int
) -> tuple[float, Counts]:
    best = np.zeros(_GRID + 1)
    taken: list[tuple[int, int, np.ndarray[tuple[int], np.dtype[np.bool_]]]] = []
    for i, value in enumerate(values):
        left = min(counts[i], room // sizes[i]) if value > 0 else 0
        copies = 1
        while left > 0:  # so many pieces as one, doubling: every number up to the limit can be made
            several = min(copies, left)
            weight, worth = weights[i] * several, value * several
            if weight > _GRID:
                break
            better = np.zeros(_GRID + 1, dtype=np.bool_)
            shifted = best[: _GRID + 1 - weight] + worth
            better[weight:] = shifted > best[weight:]
            best[weight:] = np.maximum(shifted, best[weight:])
            taken.append((i, several, better))
            left -= several
            copies *= 2
    at = int(np.argmax(best))
    top, chosen = float(best[at]), [0] * len(values)
    for i, several, better in reversed(taken):
        if better[at]:
            chosen[i] += several
            at -= weights[i] * several
    return top, tuple(chosen)


def all_patterns(
    sizes: Counts, counts: Counts, room: int, *, values: Sequence[float] | None = None, floor: float = 0.0, limit: int
) -> tuple[list[Counts], bool]:
    """Patterns to which no further piece can be added, and whether these are all.

    Args:
        sizes: piece with kerf.
        counts: pieces wanted of each.
        room: usable length with one kerf.
        values: worth of each piece; with it, only patterns worth at least `floor` are wanted.
        floor: least worth.
        limit: most patterns to return.
    """
    if len(sizes) > _DEEPEST:
        return [], False
    worth = list(values) if values is not None else [0.0] * len(sizes)
    power = min(-frexp(max(worth, default=0.0))[1], _SMALL)  # this changes nothing but that small ones can be divided
    worth, floor = [ldexp(one, power) for one in worth], ldexp(floor, power)
    order = sorted(range(len(sizes)), key=lambda i: (-worth[i] / sizes[i], -sizes[i]))
    search = _Enumeration(
        [sizes[i] for i in order], [counts[i] for i in order], [worth[i] for i in order], floor, limit
    )
    complete = search.go(0, room, 0.0)
    back = sorted(range(len(order)), key=order.__getitem__)
    return [tuple(pattern[i] for i in back) for pattern in search.found], complete


class _Enumeration:
    """Depth-first over the sizes, most worth for its length first."""

    def __init__(self, sizes: list[int], counts: list[int], worth: list[float], floor: float, limit: int) -> None:
        self.sizes, self.counts, self.worth, self.floor, self.limit = sizes, counts, worth, floor, limit
        self.ratio = [value / size for value, size in zip(worth, sizes, strict=True)] + [0.0]
        self.least = [min(sizes[i:]) for i in range(len(sizes))]
        self.taken = [0] * len(sizes)
        self.found: list[Counts] = []
        self.steps = 0

    def go(self, i: int, room: int, value: float) -> bool:
        """False when there are too many."""
        self.steps += 1
        if len(self.found) >= self.limit or self.steps > _STEPS * self.limit:
            return False
        while i < len(self.sizes) and self.sizes[i] > room:
            i += 1
        if value + room * self.ratio[i] < self.floor:
            return True
        if i == len(self.sizes):
            if self._full(room):
                self.found.append(tuple(self.taken))
            return True
        for count in range(min(self.counts[i], room // self.sizes[i]), -1, -1):
            self.taken[i] = count
            if not self.go(i + 1, room - count * self.sizes[i], value + count * self.worth[i]):
                return False
        self.taken[i] = 0
        return True

    def _full(self, room: int) -> bool:
        return all(
            size > room or taken == count
            for size, taken, count in zip(self.sizes, self.taken, self.counts, strict=True)
        )
