"""Closed flat outlines of straight lines and circular arcs: rounding, what does not fit, exact area and length.

Millimetres and radians. An edge that is an arc is told by its bulge, the tangent of a quarter of the angle it turns
through, positive counter-clockwise: the form a DXF polyline keeps (DXF reference, group code 42).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.rows import Array
from railmodel.tolerances import ANGLE, LENGTH

_STEP = float(np.radians(2.0))  # arcs are looked at in steps of at most this where the exact form is not needed


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge of an outline.

    Args:
        start: (2,) where it begins, mm.
        end: (2,) where it ends, mm.
        turn: angle it turns through, radians, positive counter-clockwise; 0 for a straight line.
    """

    start: Array
    end: Array
    turn: float

    @property
    def chord(self) -> float:
        """Distance from end to end, mm."""
        return float(np.linalg.norm(self.end - self.start))

    @property
    def radius(self) -> float:
        """Radius of the arc, mm; infinite for a line."""
        return float(self.chord / (2 * abs(np.sin(self.turn / 2)))) if self.turn else np.inf

    @property
    def length(self) -> float:
        """Length along the edge, mm."""
        return self.radius * abs(self.turn) if self.turn else self.chord

    @property
    def centre(self) -> Array:
        """(2,) centre of the arc.

        Raises:
            ValueError: the edge is a line.
        """
        if not self.turn:
            raise ValueError("a straight edge has no centre")
        along = self.end - self.start
        left = np.array([-along[1], along[0]])
        return np.asarray((self.start + self.end) / 2 + left / (2 * np.tan(self.turn / 2)))

    def points(self, shares: Array) -> Array:
        """Points (m, 2) at shares (m,) of its length."""
        if not self.turn:
            return np.asarray(self.start + shares[:, None] * (self.end - self.start))
        centre, angle = self.centre, shares * self.turn
        out = self.start - centre
        across = np.array([-out[1], out[0]])
        return np.asarray(centre + np.cos(angle)[:, None] * out + np.sin(angle)[:, None] * across)

    def distance(self, point: Array) -> float:
        """Least distance from a point (2,), mm."""
        ends = min(float(np.linalg.norm(point - self.start)), float(np.linalg.norm(point - self.end)))
        if not self.turn:
            along = self.end - self.start
            share = float(np.dot(point - self.start, along) / np.dot(along, along))
            return ends if not 0 < share < 1 else float(np.linalg.norm(point - self.start - share * along))
        out, off = self.start - self.centre, point - self.centre
        sign = np.sign(self.turn)
        seen = sign * np.arctan2(out[0] * off[1] - out[1] * off[0], np.dot(out, off)) % (2 * np.pi)
        return abs(float(np.linalg.norm(off)) - self.radius) if seen < abs(self.turn) else ends


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed outline.

    Args:
        points: (n, 2) where its edges meet, in order, mm.
        bulge: (n,) of the edge from each point to the next, 0 for a line.
    """

    points: Array
    bulge: Array

    @classmethod
    def of(cls, points: ArrayLike, bulge: ArrayLike | None = None) -> "Outline":
        """An outline that runs counter-clockwise, whichever way it was given."""
        corners = np.asarray(points, dtype=float)
        bulges = np.zeros(len(corners)) if bulge is None else np.asarray(bulge, dtype=float)
        found = cls(corners, bulges)
        return found if found.area >= 0 else cls(corners[::-1], -np.roll(bulges[::-1], -1))

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """Its edges in order."""
        ends = np.roll(self.points, -1, axis=0)
        return tuple(
            Edge(start, end, 4 * float(np.arctan(bulge)))
            for start, end, bulge in zip(self.points, ends, self.bulge, strict=True)
        )

    @cached_property
    def area(self) -> float:
        """Area inside, mm^2: that of the polygon and of the segments its arcs cut off; negative when clockwise."""
        x, y = self.points.T
        flat = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2
        return float(flat + sum(e.radius**2 / 2 * (e.turn - np.sin(e.turn)) for e in self.edges if e.turn))

    @property
    def length(self) -> float:
        """Length all round, mm."""
        return sum(edge.length for edge in self.edges)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y, exact for arcs too."""
        every = [self.points]
        for edge in self.edges:
            if edge.turn:
                extremes = edge.centre + edge.radius * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
                every.append(np.array([p for p in extremes if edge.distance(p) < LENGTH]).reshape(-1, 2))
        low, high = np.concatenate(every).min(axis=0), np.concatenate(every).max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def moved(self, by: ArrayLike) -> "Outline":
        """The same outline elsewhere."""
        return Outline(self.points + np.asarray(by, dtype=float), self.bulge)

    def turned(self) -> "Outline":
        """The same outline turned a quarter counter-clockwise about the origin."""
        return Outline(self.points @ np.array([[0.0, 1.0], [-1.0, 0.0]]), self.bulge)

    def flattened(self, step: float = _STEP) -> Array:
        """(m, 2) corners of a polygon with its corners on the outline, arcs in steps of at most `step` radians."""
        found = []
        for edge in self.edges:
            count = max(1, int(np.ceil(abs(edge.turn) / step)))
            found.append(edge.points(np.arange(count) / count))
        return np.concatenate(found)

    def inside(self, point: ArrayLike) -> float:
        """How far a point (2,) lies inside the outline, mm; negative outside."""
        at = np.asarray(point, dtype=float)
        distance = min(edge.distance(at) for edge in self.edges)
        x, y = self.flattened().T
        next_x, next_y = np.roll(x, -1), np.roll(y, -1)
        spans = (y > at[1]) != (next_y > at[1])
        with np.errstate(divide="ignore", invalid="ignore"):
            crossing = x + (at[1] - y) / (next_y - y) * (next_x - x)
        return distance if np.count_nonzero(spans & (crossing > at[0])) % 2 else -distance


def turns(points: Array) -> Array:
    """(n,) turn at each corner of a closed polygon (n, 2), radians in (-pi, pi], positive counter-clockwise."""
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, np.sum(before * after, axis=1)))


@dataclass(frozen=True, slots=True)
class TightEdge:
    """An edge too short for the rounding of the corners at its ends.

    Args:
        first: index of its first corner.
        second: index of its second one.
        has: its length, mm.
        needs: what the two roundings take of it, mm.
    """

    first: int
    second: int
    has: float
    needs: float

    @property
    def share(self) -> float:
        """The fraction of the given radii that just fits."""
        return self.has / self.needs


def tight_edges(points: Array, radii: Array) -> Iterator[TightEdge]:
    """Edges of a closed polygon (n, 2) that do not hold the rounding of their corners by radii (n,), mm."""
    setback = radii * np.tan(np.abs(turns(points)) / 2)
    count = len(points)
    for i in range(count):
        after = (i + 1) % count
        has, needs = float(np.linalg.norm(points[after] - points[i])), float(setback[i] + setback[after])
        if needs > has + LENGTH:
            yield TightEdge(i, after, has, needs)


def rounded(points: ArrayLike, radii: ArrayLike) -> Outline:
    """A closed polygon (n, 2) with its corners rounded by radii (n,), mm; `tight_edges` says whether they fit.

    >>> round(rounded([(0, 0), (40, 0), (40, 30), (0, 30)], 5.0).area, 6)  # 40 x 30 less (4 - pi) 5^2
    1178.539816
    """
    corners = np.asarray(points, dtype=float)
    sizes = np.broadcast_to(np.asarray(radii, dtype=float), len(corners))
    legs = np.roll(corners, -1, axis=0) - corners
    legs = legs / np.linalg.norm(legs, axis=1, keepdims=True)
    turn = turns(corners)
    found: list[Array] = []
    bulges: list[float] = []
    for i, (corner, radius) in enumerate(zip(corners, sizes, strict=True)):
        back = radius * np.tan(abs(turn[i]) / 2)
        if back <= LENGTH:
            found.append(corner)
            bulges.append(0.0)
            continue
        found += [corner - back * legs[i - 1], corner + back * legs[i]]
        bulges += [float(np.tan(turn[i] / 4)), 0.0]
    kept = [  # roundings that meet leave no line between them
        i for i in range(len(found)) if bulges[i] or np.linalg.norm(found[(i + 1) % len(found)] - found[i]) > LENGTH
    ]
    return Outline.of(np.array([found[i] for i in kept]), [bulges[i] for i in kept])


def crossings(points: Array) -> Iterator[tuple[int, int]]:
    """Pairs of edges of a closed polygon (n, 2) that cross, touch or fold back on one another, by number from 0."""
    count = len(points)
    ends = np.roll(points, -1, axis=0)
    turn = np.abs(turns(points))
    for i in range(count):
        for j in range(i + 1, count):
            if j == i + 1 or (i == 0 and j == count - 1):
                shared = j if j == i + 1 else 0
                if np.pi - turn[shared] <= ANGLE:
                    yield i, j
            elif _meet(points[i], ends[i], points[j], ends[j]):
                yield i, j


def doubled(points: Array) -> Sequence[int]:
    """Indexes of corners of a closed polygon (n, 2) that lie on the next one."""
    return [int(i) for i in np.flatnonzero(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1) <= LENGTH)]


def _meet(a: Array, b: Array, c: Array, d: Array) -> bool:
    """Whether two straight edges share a point."""

    def side(p: Array, q: Array, r: Array) -> float:
        """Signed distance of r from the line through p and q, mm."""
        along = q - p
        return float((along[0] * (r[1] - p[1]) - along[1] * (r[0] - p[0])) / np.linalg.norm(along))

    sides = [side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)]
    near = [abs(value) <= LENGTH for value in sides]
    if not any(near):
        return sides[0] * sides[1] < 0 and sides[2] * sides[3] < 0
    for is_on, (p, q, r) in zip(near, ((a, b, c), (a, b, d), (c, d, a), (c, d, b)), strict=True):
        along = q - p
        if is_on and -LENGTH <= np.dot(r - p, along) / np.linalg.norm(along) <= np.linalg.norm(along) + LENGTH:
            return True
    return False
