"""What if one tolerance were halved: how much surer the job would fit, to first order, on one set of draws."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from railmodel.sureness.sample import Chances, draw
from railmodel.sureness.screws import Field
from railmodel.sureness.spread import Cause

DRAWS: Final = 20_000
FINE: Final = 1e-3
"""Gains that differ by less than this are told apart by how many demands are met on average."""


Tolerance = tuple[str, str | None, Field, bool]
"""Owner, part, field, and whether it is what is not known of a line or a stretch."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One tolerance halved.

    Args:
        owner: "bend 3", "every bend", "cut length", or what is common to several bends.
        part: name of the part; None for all.
        field: what of it, as in `railmodel.sureness.screws.Field`.
        common: whether it is what is not known of a springback line or a stretch.
        before: chance that everything fits as it is, to first order.
        after: and with this halved.
        average: how much the average chance of all demands grows.
    """

    owner: str
    part: str | None
    field: Field
    common: bool
    before: float
    after: float
    average: float


def what_ifs(found: Chances, names: Mapping[str, str], *, seed: int = 2) -> tuple[WhatIf, ...]:
    """Every single tolerance halved by itself, the one that buys the most first.

    A tolerance is one field of one bend, alike on both hands of a pair; one field of every bend; or what is not known
    of one springback line or stretch.

    Args:
        found: the chances as they are.
        names: name of the part of every label.
        seed: of the random numbers.
    """
    stack, causes = found.stack, found.stack.causes
    drawn = draw(np.random.default_rng(seed), causes, DRAWS)
    nominal = np.array([measure.value for measure in stack.measures])[:, None]
    base = nominal + stack.effects @ drawn
    before, average = _judged(found, base)
    answers = []
    for key, numbers in _tolerances(causes, names).items():
        halved = base - 0.5 * stack.effects[:, numbers] @ drawn[numbers]
        after, better = _judged(found, halved)
        owner, part, field, common = key
        gain = better - average
        answers.append(WhatIf(owner, part, field, common, before, after, gain))
    return tuple(sorted(answers, key=lambda one: (-round((one.after - before) / FINE), -one.average)))


def _judged(found: Chances, values: np.ndarray) -> tuple[float, float]:
    """Chance that everything fits, and the average chance of a demand."""
    met = np.array([demand.met(values) for demand in found.demands])
    return float(met.all(axis=0).mean()), float(met.mean())


def _tolerances(causes: Sequence[Cause], names: Mapping[str, str]) -> dict[Tolerance, list[int]]:
    """Numbers of the causes that belong to each tolerance."""
    groups: dict[Tolerance, list[int]] = {}
    for i, cause in enumerate(causes):
        part = None if cause.label is None else names[cause.label]
        groups.setdefault((cause.owner, part, cause.field, cause.common), []).append(i)
        if cause.bend is not None:
            groups.setdefault(("every bend", None, cause.field, False), []).append(i)
    return groups


def tolerance_of(cause: Cause) -> tuple[str, str | None]:
    """The owner and part of a cause, for `Stack.shares`."""
    return cause.owner, cause.label
