"""Tolerances added up along the tube, to first order: what each cause does to each number, and all of them together.

Root-sum-square is what independent causes come to; the worst case is every one of them at its limit at once and the
same way. mm, radians.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from railmodel.geometry.rows import Array
from railmodel.sureness.sensitivity import Measure
from railmodel.sureness.spread import Cause

K = TypeVar("K", bound=Hashable)

LIMIT: float = 2.0
"""How many standard deviations are called a cause's limit in the worst case: nineteen pieces in twenty are within."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Stack:
    """What causes do to numbers.

    Args:
        measures: the numbers, m.
        causes: what goes wrong, c.
        effects: (m, c) how far one standard deviation of each cause moves each number, with its sign.
    """

    measures: tuple[Measure, ...]
    causes: tuple[Cause, ...]
    effects: Array

    @property
    def spread(self) -> Array:
        """(m,) standard deviation of each number: root-sum-square of the effects."""
        return np.asarray(np.sqrt((self.effects**2).sum(axis=1)))

    def worst(self, limit: float = LIMIT) -> Array:
        """(m,) how far each number goes when every cause is at its limit (standard deviations) at once."""
        return np.asarray(limit * np.abs(self.effects).sum(axis=1))

    def shares(self, rows: Sequence[int], key: Callable[[Cause], K]) -> dict[K, float]:
        """What part of the spread of some numbers together each group of causes makes up, the greatest first.

        Args:
            rows: the numbers, all of one unit; their variances are added.
            key: the group a cause belongs to.
        """
        variance = (self.effects[list(rows)] ** 2).sum(axis=0)
        total = float(variance.sum())
        groups: dict[K, float] = {}
        for cause, one in zip(self.causes, variance, strict=True):
            groups[key(cause)] = groups.get(key(cause), 0.0) + float(one)
        shares = {group: value / total for group, value in groups.items() if value > 0}
        return dict(sorted(shares.items(), key=lambda item: -item[1]))


def stack(measures: Sequence[Measure], causes: Sequence[Cause]) -> Stack:
    """What causes do to numbers, to first order."""
    effects = np.zeros((len(measures), len(causes)))
    for m, measure in enumerate(measures):
        for c, cause in enumerate(causes):
            effects[m, c] = _effect(measure.slopes, cause)
    return Stack(measures=tuple(measures), causes=tuple(causes), effects=effects)


def _effect(slopes: Mapping[str, Array], cause: Cause) -> float:
    moved = sum(
        slopes[label][column] * by for label, hits in cause.hits.items() if label in slopes for column, by in hits
    )
    return float(moved) * cause.sigma.predictive
