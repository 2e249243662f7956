"""The linear and integer programs over cutting patterns, solved by HiGHS through scipy."""

from collections import Counter
from collections.abc import Iterable, Sequence
from math import inf, isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.bending.cut_greedy import Cost, Solution
from railmodel.bending.cut_patterns import Cutting, Pattern

Row = tuple[Cost, float]
"""One limit on the sticks: a number for each kind, and what their sum may not exceed."""


def relaxed(
    cutting: Cutting, patterns: Sequence[Pattern], cost: Cost, rows: Sequence[Row]
) -> tuple[float, tuple[float, ...], tuple[float, ...]]:
    """Value and dual prices of the linear relaxation over the given patterns."""
    from scipy.optimize import linprog

    costs, matrix, limits, kind_rows = _program(cutting, patterns, cost, rows)
    found = linprog(costs, A_ub=matrix, b_ub=limits, method="highs")
    duals = np.asarray(found.ineqlin.marginals, dtype=np.float64)
    count = len(cutting.demand)
    piece = np.maximum(-duals[:count], 0.0)
    stick = np.array(cost) - np.minimum(duals[count:], 0.0) @ kind_rows
    return float(found.fun), tuple(piece.tolist()), tuple(stick.tolist())


def _program(
    cutting: Cutting, patterns: Sequence[Pattern], cost: Cost, rows: Sequence[Row]
) -> tuple[NDArray[np.float64], Any, NDArray[np.float64], NDArray[np.float64]]:
    """Costs, matrix and limits of: pieces covered, sticks of each kind enough, further rows held; all as <=."""
    from scipy.sparse import csr_matrix

    kinds = np.array([kind for kind, _ in patterns])
    cover = -np.array([counts for _, counts in patterns], dtype=np.float64).T
    have = [(tuple(float(k == kind) for k in cutting.kinds), float(limit))
            for kind, limit in enumerate(cutting.limit) if limit is not None]  # fmt: skip
    kind_rows = np.array([row for row, _ in (*have, *rows)], dtype=np.float64).reshape(-1, len(cutting.usable))
    matrix = np.vstack([cover, kind_rows[:, kinds]])
    limits = np.array([*(-float(n) for n in cutting.demand), *(limit for _, limit in (*have, *rows))])
    return np.array(cost)[kinds], csr_matrix(matrix), limits, kind_rows


def integer(
    cutting: Cutting, patterns: Sequence[Pattern], cost: Cost, rows: Sequence[Row], seconds: float
) -> tuple[Solution | None, float]:
    """The integer program over the given patterns: an answer if there is one, and a bound (inf: there is none)."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    if seconds <= 0.01:
        return None, 0.0
    costs, matrix, limits, _ = _program(cutting, patterns, cost, rows)
    found = milp(
        costs,
        integrality=np.ones(len(costs)),
        bounds=Bounds(0, np.inf),
        constraints=LinearConstraint(matrix, -np.inf, limits),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if found.status == 2:
        return None, inf
    bound = found.mip_dual_bound
    bound = float(bound) if bound is not None and isfinite(bound) else 0.0
    if found.x is None:
        return None, bound
    answer = _counted(cutting, zip(patterns, np.round(found.x).astype(int).tolist(), strict=True))
    return (answer, bound) if _covers(cutting, answer) else (None, bound)


def _counted(cutting: Cutting, chosen: Iterable[tuple[Pattern, int]]) -> Solution:
    """An answer without the pieces too many, taken off the sticks with the longest drop."""
    sticks = [pattern for pattern, times in chosen for _ in range(times)]
    for i, wanted in enumerate(cutting.demand):
        over = sum(counts[i] for _, counts in sticks) - wanted
        while over > 0:
            at = max((s for s in range(len(sticks)) if sticks[s][1][i]), key=lambda s: cutting.drop(sticks[s]))
            kind, counts = sticks[at]
            fewer = min(over, counts[i])
            sticks[at] = (kind, (*counts[:i], counts[i] - fewer, *counts[i + 1 :]))
            over -= fewer
    return Solution(pattern for pattern in sticks if any(pattern[1]))


def _covers(cutting: Cutting, answer: Solution) -> bool:
    enough = all(
        sum(times * counts[i] for (_, counts), times in answer.items()) == wanted
        for i, wanted in enumerate(cutting.demand)
    )
    used = Counter(dict.fromkeys(cutting.kinds, 0))
    for (kind, _), times in answer.items():
        used[kind] += times
    within = all(limit is None or used[kind] <= limit for kind, limit in enumerate(cutting.limit))
    return enough and within and all(cutting.fits(pattern) for pattern in answer)


def longest_drop(
    cutting: Cutting, patterns: Sequence[Pattern], rows: Sequence[Row], seconds: float
) -> tuple[Solution | None, float]:
    """The answer with the longest single drop, and a length (nm) none can exceed.

    One stick is set apart and holds any pieces; the others take listed patterns.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    if seconds <= 0.01:
        return None, inf
    _, matrix, limits, kind_rows = _program(cutting, patterns, (0.0,) * len(cutting.usable), rows)
    count, kinds, scale = len(cutting.demand), len(cutting.usable), float(max(cutting.usable))
    columns = len(patterns) + kinds + kinds * count
    wide = np.zeros((matrix.shape[0] + 1 + kinds, columns))
    wide[: matrix.shape[0], : len(patterns)] = matrix.toarray()
    wide[count : matrix.shape[0], len(patterns) : len(patterns) + kinds] = kind_rows
    low, high = np.full(len(wide), -np.inf), np.zeros(len(wide))
    high[: len(limits)] = limits
    pick = slice(len(patterns), len(patterns) + kinds)
    wide[len(limits), pick], low[len(limits)], high[len(limits)] = 1.0, 1.0, 1.0  # one stick is set apart
    costs = np.zeros(columns)
    costs[pick] = -np.array(cutting.usable) / scale
    for kind in cutting.kinds:
        own = slice(len(patterns) + kinds + kind * count, len(patterns) + kinds + (kind + 1) * count)
        wide[:count, own] = -np.eye(count)
        wide[len(limits) + 1 + kind, own] = np.array(cutting.sizes[kind]) / scale
        wide[len(limits) + 1 + kind, len(patterns) + kind] = -cutting.rooms[kind] / scale
        costs[own] = np.array(cutting.sizes[kind]) / scale
    top = np.concatenate([np.full(len(patterns), np.inf), np.ones(kinds), np.tile(cutting.demand, kinds)])
    found = milp(
        costs,
        integrality=np.ones(columns),
        bounds=Bounds(0, top),
        constraints=LinearConstraint(csr_matrix(wide), low, high),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    bound = found.mip_dual_bound
    bound = -float(bound) * scale if bound is not None else inf
    if found.x is None:
        return None, bound
    whole = np.round(found.x).astype(int).tolist()
    apart = int(np.argmax(whole[pick]))
    begin = len(patterns) + kinds + apart * count
    pieces = (apart, tuple(whole[begin : begin + count]))
    answer = _counted(cutting, [*zip(patterns, whole[: len(patterns)], strict=True), (pieces, 1)])
    return (answer, bound) if _covers(cutting, answer) else (None, bound)
