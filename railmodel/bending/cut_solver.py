"""The fewest sticks, exactly: integer programming over cutting patterns.

Levels, each holding what the ones before reached: fewest sticks missing, fewest bought, fewest in all, least cost of
the kinds of stick used, longest single drop. Where all patterns can be listed the integer program decides. Otherwise
patterns are made as the linear relaxation asks for them (P. C. Gilmore & R. E. Gomory, Operations Research 9, 1961),
its value gives the bound, and when an integer answer does not meet it, all patterns whose reduced cost still allows a
better answer are listed and the integer program decides over those.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from time import monotonic
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from railmodel.bending.cut_patterns import MISSING, TO_BUY, Cutting, Pattern, all_patterns, best_fill

Solution = Counter[Pattern]
Row = tuple[tuple[float, ...], float]
"""One limit on the sticks: a number for each kind, and what their sum may not exceed."""

_LISTED: Final = 4000
_RELISTED: Final = 15_000
_EPS: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """An answer to a cutting problem.

    Args:
        sticks: one pattern a stick.
        sticks_bound: no answer that buys as few uses fewer sticks.
        proven: whether no answer buys fewer, and none that buys as few uses fewer.
        drop_proven: whether cost and longest drop are proven best, too.
    """

    sticks: tuple[Pattern, ...]
    sticks_bound: int
    proven: bool
    drop_proven: bool


@dataclass(slots=True)
class _Run:
    """What is known while solving."""

    cutting: Cutting
    deadline: float
    best: Solution
    pool: dict[Pattern, None] = field(default_factory=dict)
    complete: bool = False

    def left(self) -> float:
        """Seconds left."""
        return self.deadline - monotonic()

    def learn(self, answer: Solution) -> None:
        """Keep the patterns of an answer, and the answer where it is better."""
        self.pool.update(dict.fromkeys(answer))
        if _rank(self.cutting, answer) < _rank(self.cutting, self.best):
            self.best = answer


def solve(cutting: Cutting, seconds: float) -> Solved:
    """Solve a cutting problem, within the time or with the bounds that could be proven in it.

    Every piece must fit some kind of stick that is there without limit.
    """
    run = _Run(cutting, monotonic() + seconds, _first_answer(cutting))
    for answer in _greedy_answers(cutting):
        run.learn(answer)
    run.pool.update(dict.fromkeys(run.best))
    _list_all(run)
    ones = tuple(1.0 for _ in cutting.kinds)
    rows: list[Row] = []
    proven_so_far = True
    for least in dict.fromkeys((MISSING, TO_BUY)):
        counted = tuple(float(source >= least) for source in cutting.source)
        if not 0 < sum(counted) < len(counted):
            continue  # none of this kind, or all of them: the next level is the same
        reached, bound, _ = _level(run, counted, rows, 0.3 * run.left())
        proven_so_far = proven_so_far and reached == bound
        rows.append((counted, float(reached)))
    sticks, sticks_bound, relist = _level(run, ones, rows, 0.75 * run.left())
    if not run.complete and relist is not None and sticks == sticks_bound:
        listed = _listed(cutting, relist, float(sticks))
        if listed is not None:
            run.pool.update(dict.fromkeys(listed))
            run.complete = True
    rows += [(ones, float(sticks)), (tuple(-1.0 for _ in ones), -float(sticks))]
    final, proven = _finish(run, rows)
    return Solved(
        sticks=tuple(sorted(final.elements(), key=lambda p: (-cutting.usable[p[0]], p[0], cutting.drop(p), p[1]))),
        sticks_bound=sticks_bound,
        proven=proven_so_far and sticks == sticks_bound,
        drop_proven=proven,
    )


def _rank(cutting: Cutting, answer: Solution) -> tuple[float, ...]:
    counts = [sum(times for (kind, _), times in answer.items() if kind == k) for k in cutting.kinds]
    costs = [sum(n * each for n, each in zip(counts, cost, strict=True)) for cost in cutting.cost]
    missing, bought = (
        sum(n for n, source in zip(counts, cutting.source, strict=True) if source >= least)
        for least in (MISSING, TO_BUY)
    )
    longest = max((cutting.drop(pattern) for pattern in answer), default=0)
    return missing, bought, sum(counts), *(round(cost, 6) for cost in costs), -longest


# Quick answers


def _first_answer(cutting: Cutting) -> Solution:
    return next(_greedy_answers(cutting))


def _greedy_answers(cutting: Cutting) -> Iterator[Solution]:
    """Sticks filled one after another, rack first; long pieces first, or as full as can be."""
    down = sorted(cutting.kinds, key=lambda k: (cutting.source[k], -cutting.usable[k]))
    up = sorted(cutting.kinds, key=lambda k: (cutting.source[k], cutting.usable[k]))
    for kinds in dict.fromkeys([tuple(down), tuple(up)]):
        yield _filled(cutting, kinds, None)
        yield _filled(cutting, kinds, [float(length) for length in cutting.lengths])


def _filled(cutting: Cutting, kinds: Sequence[int], values: Sequence[float] | None) -> Solution:
    left, answer = list(cutting.demand), Solution()
    spare = {kind: limit if (limit := cutting.limit[kind]) is not None else sum(left) for kind in kinds}
    while any(left):
        pattern = next(
            found
            for kind in kinds
            if spare[kind] > 0 and any((found := (kind, _one_fill(cutting, kind, left, values)))[1])
        )
        times = min([spare[pattern[0]], *(have // take for have, take in zip(left, pattern[1], strict=True) if take)])
        spare[pattern[0]] -= times
        answer[pattern] += times
        left = [have - times * take for have, take in zip(left, pattern[1], strict=True)]
    return answer


def _one_fill(cutting: Cutting, kind: int, left: Sequence[int], values: Sequence[float] | None) -> tuple[int, ...]:
    sizes, room = cutting.sizes[kind], cutting.rooms[kind]
    if values is not None:
        chosen = best_fill(values, sizes, left, room)[1]
        if any(chosen):
            return chosen
    taken = []
    for size, have in zip(sizes, left, strict=True):
        taken.append(min(have, room // size))
        room -= taken[-1] * size
    return tuple(taken)


# One level: the least number of sticks that count


def _level(run: _Run, cost: tuple[float, ...], rows: list[Row], seconds: float) -> tuple[int, int, "_Prices | None"]:
    """Least sum of a whole-numbered cost, a bound on it, and the prices that prove the bound."""
    stop = min(run.deadline, monotonic() + seconds)

    def value() -> int:
        return round(sum(times * cost[kind] for (kind, _), times in run.best.items()))

    if run.complete:
        answer, bound = _integer(run.cutting, list(run.pool), cost, rows, stop - monotonic())
        if answer is not None:
            run.learn(answer)
        return value(), min(value(), ceil(bound - _EPS)), None
    prices = _relax(run, cost, rows, stop, value)
    bound = max(0, ceil(prices.bound - _EPS))
    if value() > bound:
        answer, _ = _integer(run.cutting, list(run.pool), cost, rows, 0.5 * (stop - monotonic()))
        if answer is not None:
            run.learn(answer)
    while value() > bound and monotonic() < stop:
        listed = _listed(run.cutting, prices, value() - 1.0)
        if listed is None:
            break
        target = [*rows, (cost, value() - 1.0)]
        answer, least = _integer(
            run.cutting, list({**run.pool, **dict.fromkeys(listed)}), cost, target, stop - monotonic()
        )
        if answer is None:
            if least == inf:
                bound = value()
            break
        run.learn(answer)
    return value(), bound, prices


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prices:
    """Dual prices of the linear relaxation: of each piece, of a stick of each kind, and the bound they prove."""

    piece: tuple[float, ...]
    stick: tuple[float, ...]
    bound: float


def _relax(run: _Run, cost: tuple[float, ...], rows: list[Row], stop: float, value: Any) -> _Prices:
    """Column generation. The bound allows for patterns the pricing may have missed."""
    cutting = run.cutting
    best: _Prices | None = None
    while True:
        least, piece, stick = _linear(cutting, list(run.pool), cost, rows)
        missing, slack = [], 0.0
        for kind in cutting.kinds:
            above, counts = best_fill(piece, cutting.sizes[kind], cutting.demand, cutting.rooms[kind])
            most = cutting.limit[kind] if cost[kind] == 0 else None
            if most is None:
                most = min(value(), cutting.limit[kind] if cutting.limit[kind] is not None else value())
            slack += max(0.0, above - stick[kind]) * most
            worth = sum(price * count for price, count in zip(piece, counts, strict=True))
            if worth > stick[kind] + _EPS and (kind, counts) not in run.pool:
                missing.append((kind, counts))
        if best is None or least - slack > best.bound:
            best = _Prices(piece=piece, stick=stick, bound=least - slack)
        if not missing or ceil(best.bound - _EPS) >= value() or monotonic() > stop:
            return best
        run.pool.update(dict.fromkeys(missing))
        order = sorted(cutting.kinds, key=lambda k: (cutting.source[k], -cutting.usable[k]))
        run.learn(_filled(cutting, order, piece))


def _linear(
    cutting: Cutting, patterns: Sequence[Pattern], cost: tuple[float, ...], rows: Sequence[Row]
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
    cutting: Cutting, patterns: Sequence[Pattern], cost: Sequence[float], rows: Sequence[Row]
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


def _listed(cutting: Cutting, prices: _Prices, target: float) -> list[Pattern] | None:
    """Every pattern an answer of cost `target` or less can hold; None when there are too many to list."""
    allowance = target - prices.bound + _EPS
    found: list[Pattern] = []
    for kind in cutting.kinds:
        listed = all_patterns(
            cutting.sizes[kind],
            cutting.demand,
            cutting.rooms[kind],
            values=prices.piece,
            floor=prices.stick[kind] - allowance,
            limit=_RELISTED,
        )
        if listed is None:
            return None
        found += [(kind, counts) for counts in listed]
    return found


def _list_all(run: _Run) -> None:
    cutting = run.cutting
    found: list[Pattern] = []
    for kind in cutting.kinds:
        listed = all_patterns(cutting.sizes[kind], cutting.demand, cutting.rooms[kind], limit=_LISTED)
        if listed is None or len(found) + len(listed) > _LISTED:
            return
        found += [(kind, counts) for counts in listed if any(counts)]
    run.pool = dict.fromkeys(found)
    run.complete = True


def _integer(
    cutting: Cutting, patterns: Sequence[Pattern], cost: Sequence[float], rows: Sequence[Row], seconds: float
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
    bound = float(found.mip_dual_bound) if found.mip_dual_bound is not None else 0.0
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


# The last levels: cost of the sticks, longest drop


def _finish(run: _Run, rows: list[Row]) -> tuple[Solution, bool]:
    cutting, proven = run.cutting, run.complete
    for cost in cutting.cost if len(cutting.usable) > 1 else ():
        answer, bound = _integer(cutting, list(run.pool), cost, rows, 0.4 * run.left())
        if answer is not None:
            run.learn(answer)
        value = sum(times * cost[kind] for (kind, _), times in run.best.items())
        proven = proven and bound >= value - 1e-6 * max(1.0, abs(value))
        rows.append((cost, value + 1e-7 * max(1.0, abs(value))))
    answer, bound = _longest_drop(run, rows)
    if answer is not None:
        run.learn(answer)
    longest = max((cutting.drop(pattern) for pattern in run.best), default=0)
    return run.best, proven and bound <= longest + 1e4  # a hundredth of a millimetre


def _longest_drop(run: _Run, rows: Sequence[Row]) -> tuple[Solution | None, float]:
    """The answer with the longest single drop, and a length (nm) none can exceed.

    One stick is set apart and holds any pieces; the others take listed patterns.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    cutting, patterns, seconds = run.cutting, list(run.pool), run.left()
    if seconds <= 0.01 or not run.best:
        return None, inf
    _, matrix, limits, kind_rows = _program(cutting, patterns, [0.0] * len(cutting.usable), rows)
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
    bound = -float(found.mip_dual_bound) * scale if found.mip_dual_bound is not None else inf
    if found.x is None:
        return None, bound
    whole = np.round(found.x).astype(int).tolist()
    apart = int(np.argmax(whole[pick]))
    begin = len(patterns) + kinds + apart * count
    pieces = (apart, tuple(whole[begin : begin + count]))
    answer = _counted(cutting, [*zip(patterns, whole[: len(patterns)], strict=True), (pieces, 1)])
    return (answer, bound) if _covers(cutting, answer) else (None, bound)
