"""Robust linear least squares for a handful of shop measurements.

Huber's estimate by scipy's least squares: measurements within 1.345 standard deviations count fully, wilder ones
ever less, so that one slip of the pen among ten rows moves the answer little. Standard errors follow P. J. Huber,
Robust Statistics (1981), section 7.6, the first of his three forms (section number from memory); without wild rows
they are those of ordinary least squares.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TUNING: float = 1.345
"""Huber's constant: 95 % as sharp as least squares when no row is wild."""

GAUGE_DOF: int = 3
"""The gauge's own repeatability counts as this many measurements when the scatter is judged from few rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RobustFit:
    """A linear fit: values = design @ coefficients + scatter.

    Args:
        coefficients: (p,) fitted.
        covariance: (p, p) of the coefficients.
        scatter: standard deviation of one measurement, the gauge's repeatability pooled in.
        residual: standard deviation of the residuals alone; None when there are no more rows than coefficients.
        dof: degrees of freedom of `scatter`, for Student's t.
        weights: (n,) 1 for a row that counts fully, towards 0 for a wild one.
    """

    coefficients: Array
    covariance: Array
    scatter: float
    residual: float | None
    dof: int
    weights: Array

    def half_width(self, row: Array, chance: float = 0.95) -> float:
        """Half the width of the interval that holds one new measurement at a design row with this chance."""
        return student(chance, self.dof) * sqrt(self.scatter**2 + float(row @ self.covariance @ row))


def fit_robust(design: Array, values: Array, *, gauge: float) -> RobustFit:
    """Fit a linear model robustly.

    Args:
        design: (n, p) of full column rank, n >= p.
        values: (n,).
        gauge: repeatability (one standard deviation) of what is measured, in the unit of `values`; the scale below
            which no deviation is called wild.
    """
    count, unknowns = design.shape
    start: Array = np.asarray(np.linalg.lstsq(design, values, rcond=None)[0], dtype=np.float64)
    scale = gauge
    clean = bool(np.all(np.abs(values - design @ start) <= TUNING * gauge))
    if not clean:
        rough = _minimise(design, values, start, "soft_l1", 0.1 * gauge, 1e-6)  # nearly least absolute deviations
        deviations = np.sort(np.abs(values - design @ rough))[unknowns - 1 :]
        scale = max(gauge, 1.4826 * float(np.median(deviations)))
        start = _minimise(design, values, rough, "huber", TUNING * scale, 1e-13)
    residuals = values - design @ start
    limit = TUNING * scale
    size = np.abs(residuals)
    weights = np.where(size <= limit, 1.0, limit / np.maximum(size, limit))
    inside = float(np.mean(size <= limit))
    freedom = count - unknowns
    variance = None
    if freedom > 0:
        correction = 1 + unknowns / count * (1 - inside) / inside if inside > 0 else 1.0
        clipped = np.clip(residuals, -limit, limit)
        variance = (correction / max(inside, 1e-9)) ** 2 * float(clipped @ clipped) / freedom
    pooled = (GAUGE_DOF * gauge**2 + freedom * (variance or 0.0)) / (GAUGE_DOF + freedom)
    return RobustFit(
        coefficients=start,
        covariance=pooled * np.linalg.inv(design.T @ design),
        scatter=sqrt(pooled),
        residual=None if variance is None else sqrt(variance),
        dof=GAUGE_DOF + freedom,
        weights=weights,
    )


def _minimise(design: Array, values: Array, start: Array, loss: str, scale: float, tolerance: float) -> Array:
    from scipy.optimize import least_squares

    scaled = design / scale  # residuals of order 1, so that the stopping rules mean what they say
    found = least_squares(
        lambda x: scaled @ x - values / scale,
        start,
        jac=lambda _x: scaled,
        loss=loss,
        x_scale="jac",
        ftol=tolerance,
        xtol=tolerance,
        gtol=tolerance,
        max_nfev=200,
    )
    return np.asarray(found.x, dtype=np.float64)


def student(chance: float, dof: float) -> float:
    """How many standard deviations to either side hold this chance, Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(dof, (1 + chance) / 2))
