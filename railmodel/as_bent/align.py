"""Laying one set of points on another: turned and shifted, never scaled or mirrored. mm.

Least squares by the singular values of the covariance, the last turned over where it would mirror (W. Kabsch, Acta
Crystallographica A 32, 1976, and A 34, 1978; K. S. Arun, T. S. Huang and S. D. Blostein, IEEE PAMI 9, 1987).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.rows import Array

AXLE, CAB, REST = 5.0, 3.0, 1.0
"""Weights of fit points whose name has axle, or cab, in it, and of all others (common practice, no source)."""


def rigid(points: ArrayLike, onto: ArrayLike, weights: ArrayLike) -> tuple[Array, Array]:
    """The turn and shift that lay points on others with the least weighted sum of squares.

    Args:
        points: (m, 3).
        onto: (m, 3).
        weights: (m,) 0 or more, some above 0.

    Returns:
        Turn (3, 3), of determinant +1, and shift (3,): points @ turn.T + shift lie on `onto`.
    """
    points, onto, weights = (np.asarray(one, dtype=float) for one in (points, onto, weights))
    share = weights / weights.sum()
    middle, target = share @ points, share @ onto
    spread = ((points - middle) * share[:, None]).T @ (onto - target)
    left, _, right = np.linalg.svd(spread)
    sign = np.sign(np.linalg.det(right.T @ left.T))
    turn = right.T @ np.diag([1.0, 1.0, sign]) @ left.T
    return turn, target - turn @ middle


def after_fit(points: Array, weights: Array, moves: Array) -> Array:
    """Small movements of points less the rigid one that fits them best, to first order.

    Args:
        points: (m, 3) where they are.
        weights: (m,).
        moves: (m, 3, x) movements for each of x causes.

    Returns:
        (m, 3, x) what is left.
    """
    count = len(points)
    rigid_moves = np.zeros((count, 3, 6))
    rigid_moves[:, :, :3] = np.eye(3)
    rigid_moves[:, :, 3:] = np.cross(np.eye(3)[None], points[:, None] - points.mean(axis=0)).swapaxes(1, 2)
    root = np.repeat(np.sqrt(weights), 3)
    design = rigid_moves.reshape(3 * count, 6)
    flat = moves.reshape(3 * count, -1)
    # the solver's least-norm answer leaves alone what the points do not tell, such as a turn about their common line
    best = np.linalg.lstsq(design * root[:, None], flat * root[:, None], rcond=1e-9)[0]
    return np.asarray((flat - design @ best).reshape(moves.shape))


def weight_of(name: str, given: Sequence[tuple[str, float]] = ()) -> float:
    """How much a fit point counts."""
    own = dict(given).get(name)
    if own is not None:
        return own
    words = name.lower().split()
    return AXLE if "axle" in words else CAB if "cab" in words else REST
