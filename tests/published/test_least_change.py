"""The least change that meets all wishes, against a general-purpose optimiser: sequential quadratic programming.

Outside source: scipy.optimize.minimize, method SLSQP (D. Kraft, A software package for sequential quadratic
programming, DFVLR-FB 88-28, 1988), given the same quantities and limits as hard constraints.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from solver_jobs import JOINED, LEVEL, TWO_PLANES, point, task_of

from railmodel.fitting.solve import solve
from railmodel.geometry.rows import Array

JOBS = {
    "one rail": LEVEL + "fit_points:\n" + point("a", 300, 633.3, 100, 2) + point("b", 900, 671.7, 100, 2),
    "two planes": TWO_PLANES,
    "parts that meet": JOINED,
}


@pytest.mark.parametrize("name", JOBS)
def test_no_smaller_change_is_found_by_sequential_quadratic_programming(name: str) -> None:
    task = task_of(JOBS[name])
    problem, written = task.problem, task.problem.written
    ours = solve(task)
    assert ours.ok
    low, high = task.aims(task.found(written, np.zeros(len(task.wishes), dtype=bool)))
    level = low == high
    above, below = np.isfinite(low) & ~level, np.isfinite(high) & ~level

    def found(x: Array) -> Array:
        return problem.measure(problem.lay_out(x[None])).value[0] * task.scale

    def slope(x: Array) -> Array:
        return problem.measure(problem.lay_out(x[None])).slope[0] * task.scale[:, None]

    low, high = low * task.scale, high * task.scale
    constraints = [
        {"type": "ineq", "fun": lambda x: (found(x) - low)[above], "jac": lambda x: slope(x)[above]},
        {"type": "ineq", "fun": lambda x: (high - found(x))[below], "jac": lambda x: -slope(x)[below]},
    ]
    level &= np.abs(slope(written)).max(axis=1) > 1e-9  # it stumbles over what cannot change
    if level.any():
        constraints.append({"type": "eq", "fun": lambda x: (found(x) - low)[level], "jac": lambda x: slope(x)[level]})
    ends = []
    for start in (ours.x, written, np.full(len(written), 0.5)):
        other = minimize(
            lambda x: ((x - written) ** 2).sum() / 2, start, jac=lambda x: x - written, method="SLSQP",
            bounds=[(0, 1)] * len(written), constraints=constraints, options={"maxiter": 300, "ftol": 1e-13},
        )  # fmt: skip
        if other.status == 0:
            ends.append(float(np.linalg.norm(other.x - written)))
    assert ends
    assert ours.change <= min(ends) + 1e-3
    assert ours.change >= min(ends) - 1e-3  # nor do we call anything met that it does not
