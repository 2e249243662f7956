"""What to measure first: the few tape distances and angles that tell the most about the shape.

The choice is D-optimal: it makes the determinant of the information largest, which makes the volume within which the
shape may still lie smallest (V. V. Fedorov, Theory of Optimal Experiments, 1972, whose exchange is used: one after
another is taken for what it adds, then each is exchanged for a better one until none is). What the shop's spread tells
already counts as information (Bayesian D-optimality: K. Chaloner and I. Verdinelli, Statistical Science 10, 1995).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import hypot
from typing import Final

import numpy as np

from railmodel.as_bent.measured import SIGMA, TOOLS, Kind, Measured, apex_doubt, apexes
from railmodel.as_bent.rail import Rail, Readings
from railmodel.as_bent.spots import Spot, apex, slopes, where
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Place

SHORTEST: Final = 150.0
"""A tape distance shorter than this is not worth its tape, mm."""

_GAIN: Final = 1e-9
_FINE: Final = 0.5
"""How finely the places that matter need to be known, mm: knowing them better than that counts for little."""

MORE: Final = 2
"""So many things more than there are bends are measured, if nobody says how many."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Choice:
    """What to measure.

    Args:
        candidates: everything that could be measured, each at the value planned.
        chosen: indices of what to measure, the most telling first.
        gains: by how much each makes the volume smaller in which the shape may lie, as a factor below 1, in the order
            of `chosen`.
    """

    candidates: tuple[Measured, ...]
    chosen: tuple[int, ...]
    gains: tuple[float, ...]

    @property
    def measures(self) -> tuple[Measured, ...]:
        """What to measure, the most telling first."""
        return tuple(self.candidates[i] for i in self.chosen)


def candidates(rail: Rail, bent: int | None = None) -> tuple[Measured, ...]:
    """Angles, straights between tangents, and distances between ends and apexes, at their planned values.

    Args:
        rail: the part.
        bent: bends made so far; None = all.
    """
    reading, n = rail.reading, rail.columns.bends
    made = n if bent is None else bent
    ends = {"front": Place(0, 0.0), "rear": Place(2 * n, 1.0)}
    if reading.end == "rear":
        ends = {"front": ends["rear"], "rear": ends["front"]}
    spots = [Spot(f"{name} end", place) for name, place in ends.items()]
    spots = [spot for spot in spots if made == n or spot.place.stretch == 0]
    spots += [Spot(f"apex {i + 1}", apex(i), apex=True) for i in range(made)]
    found = [_candidate("angle", i, f"angle of bend {i + 1}") for i in range(made)]
    straights = range(made + (made == n))
    found += [_candidate("straight", i, f"straight {i} between tangents") for i in straights]
    for start, end in combinations(spots, 2):
        one = _candidate("distance", 0, f"{start.name} to {end.name}", (start, end))
        doubts = [apex_doubt(float(reading.line.rows.angle[bend]), one.sigma) for bend in apexes(one.spots)]
        found.append(replace(one, sigma=hypot(one.sigma, *doubts)))
    readings = Readings(rail, tuple(found), None)
    values = readings.look(np.zeros(readings.unknowns))[0]
    return tuple(
        replace(one, value=float(value))
        for one, value in zip(found, values, strict=True)
        if one.kind != "distance" or value >= SHORTEST
    )


def _candidate(kind: Kind, index: int, name: str, spots: tuple[Spot, ...] = ()) -> Measured:
    sigma = SIGMA[TOOLS[kind]]
    return Measured(kind=kind, index=index, spots=spots, value=0.0, sigma=sigma, text="", name=name, at="")


@dataclass(frozen=True, eq=False)
class Question:
    """What is to be known, and what could be measured for it, in standard deviations of what is known beforehand.

    Args:
        rows: (m, u) derivatives of readings, each over its own standard deviation, by u unknowns.
        matters: (k, u) derivatives of what matters, mm; None = the unknowns themselves.
    """

    rows: Array
    matters: Array | None = None

    def covariance(self, taken: Sequence[int]) -> Array:
        """(u, u) of the unknowns when some rows are measured."""
        own = self.rows[list(taken)]
        return np.asarray(np.linalg.inv(np.eye(self.rows.shape[1]) + own.T @ own))

    def information(self, taken: Sequence[int]) -> float:
        """Minus the logarithm of the determinant of the covariance of what matters when some rows are measured."""
        return -float(np.linalg.slogdet(self._open(self.covariance(taken)))[1])

    def _open(self, covariance: Array) -> Array:
        if self.matters is None:
            return covariance
        return np.asarray(self.matters @ covariance @ self.matters.T + _FINE**2 * np.eye(len(self.matters)))

    def gains(self, beside: Sequence[int]) -> Array:
        """(m,) what each row would add to the information beside others."""
        covariance = self.covariance(beside)
        moved = self.rows @ covariance
        known = 1 + np.einsum("mu,mu->m", moved, self.rows)
        if self.matters is None:
            return np.asarray(np.log(known))
        told = moved @ self.matters.T
        share = np.einsum("mk,km->m", told, np.linalg.solve(self._open(covariance), told.T)) / known
        return np.asarray(-np.log1p(-np.minimum(share, 1 - 1e-12)))

    def best(self, beside: Sequence[int]) -> tuple[int, float]:
        """The row that adds most beside others, and what it adds."""
        gains = self.gains(beside)
        gains[list(beside)] = -1.0
        best = int(np.argmax(gains))
        return best, float(gains[best])


def choose(
    rail: Rail,
    given: Sequence[Measured],
    count: int | None = None,
    *,
    beside: Sequence[Measured] = (),
    spots: Sequence[Spot] = (),
) -> Choice:
    """The readings that tell the most about where places that matter lie, or about the whole shape.

    Args:
        rail: the part and its spread.
        given: what could be measured.
        count: how many to choose; None = two more than there are bends.
        beside: what was measured already.
        spots: the places that matter; none = every straight, turn, angle and radius does alike.
    """
    rows, matters = telling(rail, given), _matters(rail, spots)
    held = [one for one in beside if one.kind != "table"]
    if held:  # what they tell is taken off, by measuring in the unknowns that are left
        own = telling(rail, held)
        left = np.linalg.cholesky(np.linalg.inv(np.eye(rows.shape[1]) + own.T @ own))
        rows, matters = rows @ left, None if matters is None else matters @ left
    question = Question(rows, matters)
    wanted = min(count or rail.columns.bends + MORE, len(given))
    order, gains = by_worth(question, exchange(question, wanted))
    return Choice(candidates=tuple(given), chosen=tuple(order), gains=tuple(gains))


def telling(rail: Rail, given: Sequence[Measured]) -> Array:
    """(m, u) derivatives of readings, each over its standard deviation, by unknowns in those of the prior."""
    readings = Readings(rail, tuple(given), None)
    slope = readings.look(np.zeros(readings.unknowns))[1]
    return np.asarray(slope * readings.scale / readings.sigmas[:, None])


def _matters(rail: Rail, spots: Sequence[Spot]) -> Array | None:
    """(3 m, u) movement of places from the leading end, mm, by unknowns in standard deviations of the prior."""
    if not spots:
        return None
    line = rail.reading.line
    moves = slopes(line, rail.movers(line), spots, where(line, spots))[:, rail.free]
    return np.asarray((moves * rail.spread[rail.free, None]).swapaxes(1, 2).reshape(-1, len(rail.free)))


def exchange(question: Question, count: int) -> list[int]:
    """Indices of `count` readings with the most information that greedy choice and exchanges find."""
    chosen: list[int] = []
    for _ in range(count):
        chosen.append(question.best(chosen)[0])
    better = True
    while better:
        better = False
        for i in range(count):
            rest = chosen[:i] + chosen[i + 1 :]
            new, gain = question.best(rest)
            if gain > float(question.gains(rest)[chosen[i]]) + _GAIN:
                chosen, better = [*rest[:i], new, *rest[i:]], True
    return chosen


def by_worth(question: Question, chosen: Sequence[int]) -> tuple[list[int], list[float]]:
    """Chosen readings with the most telling first, and the factor by which each shrinks what is left open."""
    left, order, gains = list(chosen), list[int](), list[float]()
    while left:
        adds = question.gains(order)[left]
        best = int(np.argmax(adds))
        gains.append(float(np.exp(-adds[best] / 2)))
        order.append(left.pop(best))
    return order, gains
