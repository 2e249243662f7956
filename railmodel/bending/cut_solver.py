"""The fewest sticks, exactly: integer programming over cutting patterns.

Levels, each holding what the ones before reached: fewest sticks missing, fewest bought, fewest in all, least cost of
the kinds of stick used, longest single drop. Where all patterns can be listed the integer program decides. Otherwise
patterns are made as the linear relaxation asks for them (P. C. Gilmore & R. E. Gomory, Operations Research 9, 1961),
its value gives the bound, and when an integer answer does not meet it, all patterns whose reduced cost still allows a
better answer are listed and the integer program decides over those.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from time import monotonic
from typing import Final

import numpy as np

from railmodel.bending.cut_greedy import Cost, Solution, filled, greedy_answers, rank, spent
from railmodel.bending.cut_patterns import MISSING, TO_BUY, Cutting, Pattern, all_patterns, best_fill
from railmodel.bending.cut_program import Row, integer, longest_drop, relaxed

_LISTED: Final = 4000
_RELISTED: Final = 15_000
_PRICED: Final = 400
_POLISH: Final = 1.0
"""Seconds each of the last levels may take."""

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

    def value(self, cost: Cost) -> int:
        """A whole-numbered cost of the best answer."""
        return round(spent(self.best, cost))

    def rows(self, held: Iterable[Cost]) -> list[Row]:
        """Limits that hold costs at what the best answer has."""
        return [(cost, float(self.value(cost))) for cost in held]

    def learn(self, answer: Solution | None) -> None:
        """Keep the patterns of an answer, and the answer where it is better."""
        if answer is None:
            return
        self.pool.update(dict.fromkeys(answer))
        if rank(self.cutting, answer) < rank(self.cutting, self.best):
            self.best = answer


def solve(cutting: Cutting, seconds: float) -> Solved:
    """Solve a cutting problem, within the time or with the bounds that could be proven in it.

    Every piece must fit some kind of stick that is there without limit.
    """
    run = _Run(cutting, monotonic() + seconds, next(greedy_answers(cutting)))
    for answer in greedy_answers(cutting):
        run.learn(answer)
    run.pool.update(dict.fromkeys(run.best))
    _list_all(run)
    ones = tuple(1.0 for _ in cutting.kinds)
    bounds: list[tuple[Cost, int]] = []
    for least in (MISSING, TO_BUY):
        counted = tuple(float(source >= least) for source in cutting.source)
        if 0 < sum(counted) < len(counted):  # none of this kind, or all of them: the next level is the same
            bounds.append((counted, _level(run, counted, [cost for cost, _ in bounds], 0.3 * run.left())[0]))
    held = [cost for cost, _ in bounds]
    bound, prices = _level(run, ones, held, 0.8 * run.left())
    sticks = run.value(ones)
    if not run.complete and prices is not None and sticks == bound:
        listed = _listed(cutting, prices, float(sticks))
        if listed is not None and len(listed) <= _LISTED:
            run.pool.update(dict.fromkeys(listed))
            run.complete = True
    best, drop_proven = _finish(run, [*held, ones])
    return Solved(
        sticks=tuple(sorted(best.elements(), key=lambda p: (-cutting.usable[p[0]], p[0], cutting.drop(p), p[1]))),
        sticks_bound=bound,
        proven=all(run.value(cost) == least for cost, least in [*bounds, (ones, bound)]),
        drop_proven=drop_proven,
    )


def _level(run: _Run, cost: Cost, held: Sequence[Cost], seconds: float) -> tuple[int, "_Prices | None"]:
    """Bring the best answer to the least sum of a whole-numbered cost, holding what it has of earlier ones.

    Returns:
        A bound on that sum, and the prices that prove it.
    """
    cutting, stop = run.cutting, min(run.deadline, monotonic() + seconds)
    if run.complete:
        answer, least = integer(cutting, list(run.pool), cost, run.rows(held), stop - monotonic())
        run.learn(answer)
        return min(run.value(cost), ceil(min(least, 1e9) - _EPS)), None
    prices = _relax(run, cost, held, stop)
    bound = max(0, ceil(prices.bound - _EPS))
    if run.value(cost) > bound:
        answer, _ = integer(cutting, list(run.pool), cost, run.rows(held), 0.4 * (stop - monotonic()))
        run.learn(answer)
    while run.value(cost) > bound and monotonic() < stop:
        target = run.value(cost) - 1.0
        listed = _listed(cutting, prices, target)
        if listed is None:
            break
        patterns = list({**run.pool, **dict.fromkeys(listed)})
        answer, least = integer(cutting, patterns, cost, [*run.rows(held), (cost, target)], stop - monotonic())
        run.learn(answer)
        if answer is None:
            if least == inf:
                bound = run.value(cost)
            break
    return bound, prices


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prices:
    """Dual prices of the linear relaxation: of each piece, of a stick of each kind, and the bound they prove."""

    piece: tuple[float, ...]
    stick: tuple[float, ...]
    bound: float


def _relax(run: _Run, cost: Cost, held: Sequence[Cost], stop: float) -> _Prices:
    """Column generation. The bound allows for patterns the pricing may have missed."""
    cutting, rows = run.cutting, run.rows(held)
    active = dict(run.pool)
    best: _Prices | None = None
    order = sorted(cutting.kinds, key=lambda k: (cutting.source[k], -cutting.usable[k]))
    while True:
        value = run.value(cost)
        least, piece, stick = relaxed(cutting, list(active), cost, rows)
        missing: list[Pattern] = []
        slack = 0.0
        for kind in cutting.kinds:
            above, found = _priced(cutting, kind, piece, stick[kind])
            spare = cutting.limit[kind] if cost[kind] == 0 else None
            slack += max(0.0, above - stick[kind]) * (value if spare is None else spare)
            missing += [pattern for pattern in found if pattern not in active]
        if best is None or least - slack > best.bound:
            best = _Prices(piece=piece, stick=stick, bound=least - slack)
        if not missing or ceil(best.bound - _EPS) >= value or monotonic() > stop:
            return best
        answer = filled(cutting, order, piece)
        run.learn(answer)
        run.pool.update(dict.fromkeys(missing))
        active = _cheapest(active, piece, stick) | dict.fromkeys((*run.best, *missing, *answer))


def _cheapest(active: dict[Pattern, None], piece: Cost, stick: Cost) -> dict[Pattern, None]:
    """The patterns least above their price, so many that the linear program stays small."""
    most = 4 * (len(piece) + len(stick))
    if len(active) <= 2 * most:
        return active
    patterns = list(active)
    worth = np.array([counts for _, counts in patterns]) @ np.array(piece)
    above = np.array(stick)[[kind for kind, _ in patterns]] - worth
    return {patterns[i]: None for i in np.argsort(above, kind="stable")[:most].tolist()}


def _priced(cutting: Cutting, kind: int, piece: tuple[float, ...], stick: float) -> tuple[float, list[Pattern]]:
    """A worth no pattern of this kind exceeds, and patterns worth more than their stick's price, if any are found."""
    sizes, demand, room = cutting.sizes[kind], cutting.demand, cutting.rooms[kind]
    above, counts = best_fill(piece, sizes, demand, room)
    if sum(price * count for price, count in zip(piece, counts, strict=True)) > stick + _EPS:
        return above, [(kind, counts)]
    if above <= stick + _EPS:
        return above, []
    listed, complete = all_patterns(sizes, demand, room, values=piece, floor=stick + _EPS, limit=_PRICED)
    if complete and not listed:
        return stick + _EPS, []
    return above, [(kind, counts) for counts in listed]


def _listed(cutting: Cutting, prices: _Prices, target: float) -> list[Pattern] | None:
    """Every pattern an answer of cost `target` or less can hold; None when there are too many to list."""
    allowance = target - prices.bound + _EPS
    found: list[Pattern] = []
    for kind in cutting.kinds:
        listed, complete = all_patterns(
            cutting.sizes[kind],
            cutting.demand,
            cutting.rooms[kind],
            values=prices.piece,
            floor=prices.stick[kind] - allowance,
            limit=_RELISTED,
        )
        if not complete:
            return None
        found += [(kind, counts) for counts in listed]
    return found


def _list_all(run: _Run) -> None:
    cutting = run.cutting
    found: list[Pattern] = []
    for kind in cutting.kinds:
        listed, complete = all_patterns(cutting.sizes[kind], cutting.demand, cutting.rooms[kind], limit=_LISTED)
        if not complete or len(found) + len(listed) > _LISTED:
            return
        found += [(kind, counts) for counts in listed if any(counts)]
    run.pool = dict.fromkeys(found)
    run.complete = True


def _finish(run: _Run, held: Sequence[Cost]) -> tuple[Solution, bool]:
    """Least cost of the sticks, then the longest drop; the best answer, and whether both are proven."""
    cutting, proven = run.cutting, run.complete
    rows = run.rows(held)
    rows += [(tuple(-each for each in cost), -limit) for cost, limit in rows[-1:]]  # exactly so many sticks
    for cost in cutting.cost if len(cutting.usable) > 1 else ():
        answer, bound = integer(cutting, list(run.pool), cost, rows, min(_POLISH, run.left()))
        run.learn(answer)
        reached = spent(run.best, cost)
        proven = proven and bound >= reached - 1e-6 * max(1.0, reached)
        rows.append((cost, reached + 1e-7 * max(1.0, reached)))
    answer, bound = longest_drop(cutting, list(run.pool), rows, min(_POLISH, run.left()))
    run.learn(answer)
    longest = max((cutting.drop(pattern) for pattern in run.best), default=0)
    return run.best, proven and bound <= longest + 1e4  # a hundredth of a millimetre
