"""Answers to a cutting problem: how they are ranked, and some that are found quickly."""

from collections import Counter
from collections.abc import Iterator, Sequence

from railmodel.bending.cut_patterns import MISSING, TO_BUY, Cutting, Pattern, best_fill

Solution = Counter[Pattern]
"""How many sticks are cut to each pattern."""
Cost = tuple[float, ...]
"""What one stick of each kind counts."""


def spent(answer: Solution, cost: Cost) -> float:
    """Cost of an answer."""
    return sum(times * cost[kind] for (kind, _), times in answer.items())


def rank(cutting: Cutting, answer: Solution) -> tuple[float, ...]:
    """Sticks missing, bought and in all, their costs, and the longest drop: less is better, the first counts most."""
    counts = [sum(times for (kind, _), times in answer.items() if kind == k) for k in cutting.kinds]
    costs = [sum(n * each for n, each in zip(counts, cost, strict=True)) for cost in cutting.cost]
    missing, bought = (
        sum(n for n, source in zip(counts, cutting.source, strict=True) if source >= least)
        for least in (MISSING, TO_BUY)
    )
    longest = max((cutting.drop(pattern) for pattern in answer), default=0)
    return missing, bought, sum(counts), *(round(cost, 6) for cost in costs), -longest


def greedy_answers(cutting: Cutting) -> Iterator[Solution]:
    """Sticks filled one after another, rack first; long pieces first, or as full as can be."""
    down = sorted(cutting.kinds, key=lambda k: (cutting.source[k], -cutting.usable[k]))
    up = sorted(cutting.kinds, key=lambda k: (cutting.source[k], cutting.usable[k]))
    for kinds in dict.fromkeys([tuple(down), tuple(up)]):
        yield filled(cutting, kinds, None)
        yield filled(cutting, kinds, [float(length) for length in cutting.lengths])


def filled(cutting: Cutting, kinds: Sequence[int], values: Sequence[float] | None) -> Solution:
    """Sticks filled one after another with the pieces worth most, or the longest that still fit.

    Args:
        cutting: the problem.
        kinds: kinds of stick in the order they are used up.
        values: worth of each piece; None for longest first.
    """
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
