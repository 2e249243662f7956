"""When no shape meets every wish: which wishes fight each other, and by how much.

A set of wishes that cannot all be met, of which every smaller part can, is found by taking wishes out one by one and
leaving out those without which the rest still cannot be met (deletion filter: J. W. Chinneck, Feasibility and
Infeasibility in Optimization, 2008, chapter 6). That a set cannot be met rests on searches from several starts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.fitting.solve import Answer, Task, solve
from railmodel.geometry.rows import Array

MOST = 3
"""Fights named at most."""

_AT_END = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conflict:
    """Wishes that cannot all be met, though without any one of them the others can.

    Args:
        wishes: numbers of the wishes.
        best: the shape that misses these wishes least.
        ends: numbers of the free values at an end of their range beyond which they would help.
    """

    wishes: tuple[int, ...]
    best: Answer
    ends: tuple[int, ...]


def conflicts(task: Task, best: Answer, starts: int = 2) -> tuple[Conflict, ...]:
    """Sets of wishes that fight each other, none with a wish in common.

    Args:
        task: what may change and what is wished.
        best: the shape that misses all wishes least.
        starts: starting shapes for each search.
    """
    left = list(range(len(task.wishes)))
    found: list[Conflict] = []
    while not best.ok and len(found) < MOST:
        core = _reduced(task, left, best, starts)
        own = solve(task, asked=core, starts=starts, near=[best.x])
        found.append(Conflict(wishes=tuple(core), best=own, ends=_ends(task, own)))
        left = [i for i in left if i not in core]
        best = solve(task, asked=left, starts=starts, near=[best.x], any_will_do=True)
    return tuple(found)


def _reduced(task: Task, wishes: Sequence[int], best: Answer, starts: int) -> list[int]:
    """An irreducible part of wishes that cannot all be met."""

    def cannot(some: Sequence[int], near: Answer) -> Answer | None:
        trial = solve(task, asked=some, starts=starts, near=[near.x], any_will_do=True)
        return None if trial.ok else trial

    core, near = list(wishes), best
    trial: Answer | None = best
    tested: set[int] = set()
    while True:
        if trial is not None:  # what is missed in a search that failed often fights alone
            fewer = [i for i in core if trial.missed[i] > 0]
            alone = cannot(fewer, trial) if len(fewer) < len(core) else None
            core, near = (fewer, alone) if alone is not None else (core, trial)
        open_ones = [i for i in core if i not in tested]
        if not open_ones or len(core) == 1:
            return core
        out = min(open_ones, key=lambda i: (near.missed[i], -i))
        tested.add(out)
        rest = [i for i in core if i != out]
        trial = cannot(rest, near)
        core = core if trial is None else rest


def _ends(task: Task, best: Answer) -> tuple[int, ...]:
    """Free values at an end of their range that would lessen the misses beyond it."""
    pull = _slope(task, best)
    at_low, at_high = best.x < _AT_END, best.x > 1 - _AT_END
    moves = (at_low & (pull > 0)) | (at_high & (pull < 0))
    significant = np.abs(pull) > 1e-6 * max(float(np.abs(pull).max(initial=0.0)), 1e-12)
    return tuple(int(i) for i in np.flatnonzero(moves & significant & (task.problem.width > 0)))


def _slope(task: Task, best: Answer) -> Array:
    """(k,) slope of half the sum of squares of the misses by the scaled values."""
    laid = task.problem.lay_out(best.x[None])
    smooth = task.problem.measure(laid, task.more)
    places = task.clear.group(best.missed[len(task.smooth) :] > 0)
    found, slope, number = smooth.value[0], smooth.slope[0], np.arange(len(task.smooth))
    if places.places:
        near = places.measure(laid)
        found, slope = np.concatenate([found, near.value[0]]), np.concatenate([slope, near.slope[0]])
        number = np.concatenate([number, len(task.smooth) + np.array(places.numbers)])
    asked = best.missed[number] > 0
    sign = np.where(found < task.low[number], -1.0, 1.0)
    miss = np.where(asked, best.missed[number] * task.scale[number] * sign, 0.0)
    return np.asarray(miss @ slope)
