"""A rail as moves in the tube's own frame, and the way from moves to bend rows and back.

Lengths in millimetres, angles and rolls in radians; a roll is the turn from the top face, right-handed about the
travel direction.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import atan2, cos, pi, sin, sqrt

import numpy as np

from railmodel.errors import GeometryError
from railmodel.geometry.rows import BendRows, wrap


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight between tangents, mm."""

    length: float


@dataclass(frozen=True, slots=True)
class Bend:
    """A bend toward a roll by an angle on a centreline radius."""

    roll: float
    angle: float
    radius: float


Move = Straight | Bend


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """An S: a bend toward a roll, a straight, and the opposite bend by the same angle.

    Args:
        roll: where it goes.
        by: sideways distance between the two parallel centrelines, mm.
        radius: centreline radius of both bends, mm.
        angle: angle of both bends; give this or `over`.
        over: distance along the first straight's direction from the first tangent to the last one, mm.
    """

    roll: float
    by: float
    radius: float
    angle: float | None = None
    over: float | None = None

    @property
    def moves(self) -> tuple[Bend, Straight, Bend]:
        """The three moves; the straight is negative where the offset is too small for its angle.

        Raises:
            GeometryError: `over` is too short for `by` on this radius, whatever the angle.
        """
        angle, straight = self._solved()
        back = float(wrap(self.roll + pi))
        return Bend(self.roll, angle, self.radius), Straight(straight), Bend(back, angle, self.radius)

    @property
    def least_by(self) -> float:
        """The smallest `by` this angle can make, with no straight between the bends, mm (0 when `over` is given)."""
        return 0.0 if self.angle is None else 2 * self.radius * (1 - cos(self.angle))

    def _solved(self) -> tuple[float, float]:
        if self.angle is not None:
            return self.angle, (self.by - self.least_by) / sin(self.angle)
        assert self.over is not None  # the job file allows one of the two and needs one
        square = self.over**2 + self.by**2 - 4 * self.radius * self.by
        if square < 0:
            raise TightOffset(self, sqrt(self.by * (4 * self.radius - self.by)))
        straight = sqrt(square)
        return atan2(self.by - 2 * self.radius, self.over) + atan2(2 * self.radius, straight), straight


class TightOffset(GeometryError):
    """An offset whose two bends do not fit in the length it is given.

    Args:
        offset: the offset.
        least_over: the smallest `over` that holds the two bends, mm.
    """

    def __init__(self, offset: Offset, least_over: float) -> None:
        self.offset, self.least_over = offset, least_over
        super().__init__(
            f"an offset by {offset.by:g} over {offset.over:g} does not fit two bends of radius {offset.radius:g}: "
            f"it needs at least {least_over:g}; lengthen `over`, or use a smaller `by` or radius"
        )


def rows_from_moves(moves: Iterable[Move]) -> BendRows:
    """Bend rows of a path; straights that follow one another add up, a missing one is 0."""
    straights, bends = [0.0], []
    for move in moves:
        if isinstance(move, Straight):
            straights[-1] += move.length
        else:
            bends.append(move)
            straights.append(0.0)
    roll = np.array([bend.roll for bend in bends], dtype=float)
    return BendRows.of(
        straights[:-1],
        wrap(np.diff(roll, prepend=0.0)),
        [bend.angle for bend in bends],
        [bend.radius for bend in bends],
        straights[-1],
    )


def moves_from_rows(rows: BendRows) -> Sequence[Move]:
    """The path of one rail's rows: straight, bend, straight, ... , straight."""
    moves: list[Move] = []
    for distance, roll, angle, radius in zip(rows.distance, rows.roll, rows.angle, rows.radius, strict=True):
        moves += [Straight(float(distance)), Bend(float(roll), float(angle), float(radius))]
    return (*moves, Straight(float(rows.tail)))
