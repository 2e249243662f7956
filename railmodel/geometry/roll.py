"""The two-plane rule: a die grips flat faces, so every bend must go straight toward one of the four faces.

Rolls are radians from the top face, right-handed about the travel direction; `off` is how far a roll lies from the
nearest quarter turn.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from railmodel.geometry.centreline import Centreline, Stretch
from railmodel.geometry.rows import Array, BendRows, rows_from_points, wrap
from railmodel.geometry.vectors import cross
from railmodel.tolerances import ANGLE

QUARTER = np.pi / 2
_STEP = 1e-3  # mm, for central differences
_SETTLED = 1e-3  # mm, when another round no longer shortens the move
_ROUNDS = 40


def off_legal(roll: ArrayLike) -> Array:
    """How far rolls (...) lie beyond the nearest quarter turn, in [-pi/4, pi/4]."""
    roll = np.asarray(roll, dtype=float)
    return roll - QUARTER * np.round(roll / QUARTER)


def squared_up(rows: BendRows) -> BendRows:
    """The rows with every bend turned to the nearest legal roll: what the dies will make of them."""
    legal = QUARTER * np.round(rows.roll / QUARTER)
    return BendRows.of(rows.distance, wrap(np.diff(legal, prepend=0.0)), rows.angle, rows.radius, rows.tail)


@dataclass(frozen=True, slots=True)
class PointMove:
    """A move of one point that makes bends legal.

    Args:
        point: index of the point, 0 the first end.
        by: (3,) the move, mm.
        cures: bend indices (0 first) that it makes legal without upsetting one that was.
    """

    point: int
    by: Array
    cures: tuple[int, ...]

    @property
    def size(self) -> float:
        """Length of the move, mm."""
        return float(np.linalg.norm(self.by))


def smallest_move(points: ArrayLike, top: ArrayLike, bend: int) -> PointMove | None:
    """The smallest move of one point that makes a bend legal and keeps every legal bend legal.

    A move that makes all bends legal is preferred; where no single point can, one that cures the asked bend.

    Args:
        points: (n + 2, 3) intersection points, mm.
        top: (3,) where the top face looks at the first point.
        bend: index of the bend, 0 first.

    Returns:
        The move, or None where no single point can do it.
    """
    points, top = np.asarray(points, dtype=float), np.asarray(top, dtype=float)
    off = off_legal(_rolls(points, top))
    every = np.arange(len(off))
    legal_too = np.flatnonzero((np.abs(off) <= ANGLE) | (every == bend))
    near = range(max(bend - 1, 0), min(bend + 4, len(points)))
    for wanted, candidates in ((every, range(len(points))), (legal_too, near)):
        moves = [move for index in candidates if (move := _move(points, top, index, wanted)) is not None]
        if moves:
            return min(moves, key=lambda move: move.size)
    return None


def _rolls(points: Array, top: Array) -> Array:
    """Rolls (..., n) of polylines (..., n + 2, 3); radii do not matter for them."""
    return rows_from_points(points, np.zeros(points.shape[-2] - 2), top).roll


def _move(points: Array, top: Array, index: int, wanted: NDArray[np.intp]) -> PointMove | None:
    """Least-norm Newton steps for one point until the wanted bends are legal; None where that is impossible."""
    target = QUARTER * np.round(_rolls(points, top) / QUARTER)
    by = np.zeros(3)
    probes = np.concatenate([np.eye(3), -np.eye(3), np.zeros((1, 3))]) * _STEP
    shortest = np.linalg.norm(np.diff(points, axis=0), axis=1).min()
    for _ in range(_ROUNDS):
        trial = np.repeat(points[None], 7, axis=0)
        trial[:, index] += by + probes
        miss = wrap(_rolls(trial, top) - target)[:, wanted]
        if not np.isfinite(miss).all():
            return None
        slope = (miss[:3] - miss[3:6]).T / (2 * _STEP)
        closer = np.linalg.pinv(slope, rcond=1e-6) @ (slope @ by - miss[6])
        if np.abs(miss[6]).max() <= ANGLE and np.abs(closer - by).max() <= _SETTLED:
            cures = np.flatnonzero(np.abs(off_legal(_rolls(trial[6], top))) <= ANGLE)
            return PointMove(index, by, tuple(int(i) for i in cures))
        by = closer
        if np.linalg.norm(by) > shortest:
            return None
    return None


def plumb(straight: Stretch) -> float | None:
    """Roll of the top face on a straight, radians: 0 when it looks as nearly upward (+z) as it can.

    Positive is right-handed about the travel direction. None where the straight itself stands upright.
    """
    t, u = straight.start.t, straight.start.u
    upright = np.array([0.0, 0.0, 1.0]) - t * t[2]
    if np.linalg.norm(upright) < 1e-6:
        return None
    return float(np.arctan2(np.dot(cross(upright, u), t), np.dot(upright, u)))


def end_shift(line: Centreline) -> float:
    """How far the far end moves when every bend is turned to the nearest legal roll, mm."""
    return float(np.linalg.norm(Centreline(squared_up(line.rows), line.start).end.at - line.end.at))
