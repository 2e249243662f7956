"""Which test bend to make next.

First the one that brings most of the job's bends inside the tested angles; among those, the one after which the set
angles of the job's bends are known best: the least of the greatest prediction variance of the line springback =
fixed + proportional x angle at the job's angles (G-optimal over the job; A. C. Atkinson & A. N. Donev, Optimum
Experimental Designs, 1992). What is usual counts as weak evidence beforehand, so that the question has an answer
before the first test bend. Angles in radians.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, radians, sqrt
from typing import Final

import numpy as np

from railmodel.bending.elastic import HIGH_FIXED
from railmodel.bending.robust import Array
from railmodel.bending.springback import GAUGE

USUAL: Final = tuple(radians(angle) for angle in (10, 20, 30, 45))
"""Bends of frame rails are mostly 8 to 30 degrees (common practice, no source)."""

LEAST: Final = radians(10)
"""No test bend smaller than this unless the job asks for one: a protractor says little about it (common practice)."""

_SLACK: Final = radians(0.1)
_PRIOR_FIXED: Final = HIGH_FIXED / 2
_PRIOR_PROPORTIONAL: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBend:
    """The test bend to make next.

    Args:
        angle: finished angle to aim for, radians.
        before: greatest standard error of the set angle over the job's bends now, radians.
        after: the same once this test bend is made.
        says: one sentence for the builder.
    """

    angle: float
    before: float
    after: float
    says: str


def next_test_bend(
    tested: Sequence[float],
    wanted: Sequence[float] = (),
    *,
    max_angle: float = radians(90),
    scatter: float = GAUGE,
) -> NextBend:
    """Choose the next test bend.

    Args:
        tested: finished angles of the test bends already made.
        wanted: finished angles of the job's bends; left out, the usual ones of frame rails.
        max_angle: largest angle the die bends.
        scatter: standard deviation of one test bend about the line.
    """
    goals = np.array(sorted(set(wanted)) or [angle for angle in USUAL if angle <= max_angle] or [max_angle])
    steps = np.arange(degrees(LEAST), degrees(max_angle) + 1e-9, 5.0)
    candidates = sorted({*np.radians(steps).tolist(), *goals[goals <= max_angle].tolist()} or {max_angle})
    known = np.diag([1 / _PRIOR_FIXED**2, 1 / _PRIOR_PROPORTIONAL**2]) + _information(tested, scatter)
    before = _errors(known, goals)

    def rank(angle: float) -> tuple[int, float, float, float]:
        errors = _errors(known + _information([angle], scatter), goals)
        mean = sqrt(float(np.mean(errors**2)))
        return _outside([*tested, angle], goals), round(float(errors.max()), 12), round(mean, 12), angle

    best = min(candidates, key=rank)
    after = _errors(known + _information([best], scatter), goals)
    low, high = degrees(float(goals[0])), degrees(float(goals[-1]))
    span = f"{low:.0f}" if high - low < 0.5 else f"{low:.0f} to {high:.0f}"
    says = (
        f"Bend {degrees(best):.0f} degrees next: it takes the doubt about the set angle of bends of {span} degrees "
        f"from {degrees(float(before.max())):.2f} to {degrees(float(after.max())):.2f} degrees (one standard error)."
    )
    return NextBend(angle=float(best), before=float(before.max()), after=float(after.max()), says=says)


def _information(angles: Sequence[float], scatter: float) -> Array:
    rows = np.column_stack([np.ones(len(angles)), np.asarray(angles, dtype=np.float64)])
    return np.asarray(rows.T @ rows / scatter**2, dtype=np.float64)


def _errors(information: Array, angles: Array) -> Array:
    rows = np.column_stack([np.ones_like(angles), angles])
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", rows, np.linalg.inv(information), rows)), dtype=np.float64)


def _outside(tested: Sequence[float], goals: Array) -> int:
    return int(np.sum((goals < min(tested) - _SLACK) | (goals > max(tested) + _SLACK)))
