"""Keeping texts off each other, and lines off texts."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

Point = tuple[float, float]


class Rect(NamedTuple):
    """An upright rectangle; one without width or height is a line."""

    left: float
    low: float
    right: float
    high: float

    @classmethod
    def around(cls, x: float, y: float, width: float, height: float) -> "Rect":
        """The rectangle of a size about its middle."""
        return cls(x - width / 2, y - height / 2, x + width / 2, y + height / 2)

    def meets(self, other: "Rect") -> bool:
        """Whether the two share more than a border."""
        return self.left < other.right and other.left < self.right and self.low < other.high and other.low < self.high

    def within(self, other: "Rect") -> bool:
        """Whether it lies inside another."""
        return (
            other.left <= self.left and self.right <= other.right and other.low <= self.low and self.high <= other.high
        )

    def grown(self, by: float) -> "Rect":
        """The rectangle with a margin all round."""
        return Rect(self.left - by, self.low - by, self.right + by, self.high + by)


@dataclass
class Room:
    """What is taken on a sheet: texts, which lines leave out, and walls, which only texts keep off."""

    texts: list[Rect] = field(default_factory=list)
    walls: list[Rect] = field(default_factory=list)

    def free(self, rect: Rect) -> bool:
        """Whether nothing is there yet."""
        return not any(rect.meets(taken) for taken in (*self.texts, *self.walls))

    def pieces(self, a: Point, b: Point, shortest: float) -> Iterable[tuple[Point, Point]]:
        """What is left of a line beside the texts, without pieces shorter than `shortest`."""
        (x, y), (dx, dy) = a, (b[0] - a[0], b[1] - a[1])
        length = (dx * dx + dy * dy) ** 0.5
        begin = 0.0
        for start, stop in sorted(hidden for rect in self.texts if (hidden := _inside(rect, a, b))):
            if (start - begin) * length > shortest:
                yield (x + begin * dx, y + begin * dy), (x + start * dx, y + start * dy)
            begin = max(begin, stop)
        if (1 - begin) * length > shortest:
            yield (x + begin * dx, y + begin * dy), b


def spread(places: Sequence[float], apart: float) -> list[float]:
    """Rising places moved as little as possible (least squares) so that they stand `apart`, in the same order.

    Pooling of adjacent violators, as for isotonic regression.

    >>> spread([0, 1, 9], 2)
    [-0.5, 1.5, 9.0]
    """
    pools: list[tuple[float, int]] = []  # sum and count of what stands together, each less its own share of `apart`
    for i, place in enumerate(places):
        pools.append((place - i * apart, 1))
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            (total, count), (more, extra) = pools[-2:]
            pools[-2:] = [(total + more, count + extra)]
    level = [total / count for total, count in pools for _ in range(count)]
    return [place + i * apart for i, place in enumerate(level)]


def _inside(rect: Rect, a: Point, b: Point) -> tuple[float, float] | None:
    """The stretch of a line inside a rectangle, as fractions of its length (clipping after Liang and Barsky)."""
    start, stop = 0.0, 1.0
    for at, by, low, high in (
        (a[0], b[0] - a[0], rect.left, rect.right),
        (a[1], b[1] - a[1], rect.low, rect.high),
    ):
        if by == 0:
            if not low < at < high:
                return None
            continue
        near, far = sorted(((low - at) / by, (high - at) / by))
        start, stop = max(start, near), min(stop, far)
    return (start, stop) if start < stop else None
