"""Bounded nonlinear least squares for many starts at once, every variable between 0 and 1.

The steps are those of Levenberg and Marquardt (K. Levenberg, 1944; D. W. Marquardt, 1963), held within the bounds by
fixing variables that would leave them and solving again for the rest (active set: J. Nocedal and S. J. Wright,
Numerical Optimization, 2nd edition, 2006, chapters 10 and 16). Every lane of the batch goes its own way.
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.rows import Array

Look = Callable[[Array], tuple[Array, Array]]
"""From variables (b, n) to residuals (b, m) and their slopes (b, m, n)."""

_MOST = 40
_GAIN = 1e-8
"""A step that lessens the sum of squares by less than this part of it is the last."""

_STILL = 1e-10
_FIRST, _LEAST, _MOST_DAMPED = 1e-3, 1e-12, 1e10
_PASSES = 4


def descend(look: Look, start: Array, home: Array, pulls: Sequence[float]) -> Array:
    """Minimise residuals and a pull toward `home`, from the strongest pull to the weakest.

    Args:
        look: the residuals.
        start: (b, n) where each lane starts.
        home: (n,) where the pull leads, or (b, n), each lane's own.
        pulls: its weights: pull x (x - home) are residuals too.

    Returns:
        (b, n) within 0 and 1.
    """
    x = np.clip(start, 0.0, 1.0)
    home = np.broadcast_to(home, x.shape)
    for pull in pulls:
        x = _settle(look, x, home, pull)
    return x


def _settle(look: Look, x: Array, home: Array, pull: float) -> Array:
    """The least sum of squares at one pull."""
    x = x.copy()
    residual, slope = (np.array(one) for one in look(x))
    cost = _cost(residual, x, home, pull)
    damped = np.full(len(x), _FIRST)
    alive = np.isfinite(cost)
    for _ in range(_MOST):
        mine = np.flatnonzero(alive)
        if not len(mine):
            break
        trial = _step(x[mine], residual[mine], slope[mine], home[mine], pull, damped[mine])
        residual_there, slope_there = look(trial)
        there = _cost(residual_there, trial, home[mine], pull)
        gain, moved = cost[mine] - there, np.abs(trial - x[mine]).max(axis=1, initial=0.0)
        better = gain > 0  # not where the trial is no shape
        done = (better & (gain <= _GAIN * cost[mine])) | (moved <= _STILL) | (damped[mine] >= _MOST_DAMPED)
        taken = mine[better]
        x[taken], residual[taken], slope[taken] = trial[better], residual_there[better], slope_there[better]
        cost[taken] = there[better]
        damped[mine] = np.where(better, np.maximum(damped[mine] / 5, _LEAST), damped[mine] * 5)
        alive[mine[done]] = False
    return x


def _cost(residual: Array, x: Array, home: Array, pull: float) -> Array:
    return np.asarray((residual**2).sum(axis=1) + pull**2 * ((x - home) ** 2).sum(axis=1))


def _step(x: Array, residual: Array, slope: Array, home: Array, pull: float, damped: Array) -> Array:
    """Where one damped step leads, (b, n), within the bounds."""
    count = x.shape[1]
    diagonal = np.arange(count)
    square = np.einsum("bmi,bmj->bij", slope, slope)
    square[:, diagonal, diagonal] += pull**2
    down = -np.einsum("bmi,bm->bi", slope, residual) - pull**2 * (x - home)
    fixed: NDArray[np.bool_] = ((x <= 0) & (down < 0)) | ((x >= 1) & (down > 0))
    step = np.zeros_like(x)
    heavy = square.copy()
    heavy[:, diagonal, diagonal] *= 1 + damped[:, None]
    for _ in range(_PASSES):
        kept = np.where(fixed, step, 0.0)
        side = np.where(fixed, step, down - np.einsum("bij,bj->bi", heavy, kept))
        held = heavy * ~(fixed[:, :, None] | fixed[:, None, :])
        held[:, diagonal, diagonal] = np.where(fixed, 1.0, heavy[:, diagonal, diagonal])
        step = np.linalg.solve(held, side[..., None])[..., 0]
        out = ~fixed & ((x + step < 0) | (x + step > 1))
        if not out.any():
            break
        step = np.where(out, np.clip(x + step, 0.0, 1.0) - x, step)
        fixed |= out
    return np.clip(x + step, 0.0, 1.0)
