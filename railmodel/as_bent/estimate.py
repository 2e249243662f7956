"""The most likely shape of a bent tube: weighted least squares of its readings about the shape planned.

Every value of the bend table is drawn to its plan by the shop's own spread (a prior: a reading like any other), so
that any subset of readings gives an answer. A reading, or a plan, that does not go with all the rest is found by its
residual over that residual's standard deviation, the worst first (data snooping: W. Baarda, A testing procedure for
use in geodetic networks, 1968; from memory). mm, radians.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from railmodel.as_bent.measured import Measured
from railmodel.as_bent.rail import Rail, Readings, table_rows
from railmodel.fitting.least_squares import descend
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import FIELDS, Field

TOLD: Final = 0.9
"""A value is told of where measuring leaves less than this of the spread it had before."""

WILD: Final = 4.0
"""A residual beyond so many of its standard deviations is looked into."""

TIE: Final = 0.02
"""Two that stick out alike within this part cannot be told apart."""

Explained = Callable[[Measured, float, float], bool]
"""Whether a usual slip turns a reading into what was expected of it, with the standard deviation of the difference."""

_WIDE: Final = 30.0
"""How many times wider the spread of a value is taken that came out far off its plan."""

_OUT: Final = 0.25
"""What weighs less than this has a residual beyond `WILD`."""

_EASE: Final = 1.4
_ROUNDS: Final = 4

_OFTEN: Final[tuple[Field, ...]] = ("angle", "distance", "tube use", "roll", "rotation", "radius")
"""What goes wrong in a shop, the most usual first (common practice, no source)."""

_REACH: Final = 60.0
"""The shape is looked for within so many standard deviations."""

_MOST: Final = 30
_STILL: Final = 1e-9
"""A step that would lessen the sum of squares by less than this part of it is not taken."""

_NEARLY: Final = 1e-4
_FEW_STEPS: Final = 12
_HALVED: Final = 2
"""Likewise where a rough shape will do, in so many steps, each cut to a quarter at most so often."""

_FAR: Final = 20.0
"""Further off than so many standard deviations, whole steps are not trusted."""

FEW: Final = 6
"""So many readings may be left out of any record; else no more than a quarter of it."""

_ROUGH: Final = 1.5
"""What first order finds this much too odd need not be looked at closely."""

_TRIED: Final = 3
"""So many readings, or values of the plan, are looked at closely; a record with more is one to measure again."""

_NOTHING: Final = 0.01
"""A reading of which the others check less than this part cannot be found odd."""


@dataclass(frozen=True, eq=False)
class Solution:
    """The best shape for some readings.

    Args:
        readings: what it was fitted to.
        unknowns: (u,) in standard deviations of the prior.
        covariance: (u, u) likewise.
        slopes: (m, u) derivatives of the readings there, in standard deviations of each.
        residuals: (m,) read less found, likewise.
        settled: whether no step betters it; else it is near enough to see which readings are odd.
    """

    readings: Readings
    unknowns: Array
    covariance: Array
    slopes: Array
    residuals: Array
    settled: bool = True

    @property
    def found(self) -> Array:
        """(u,) the unknowns, mm and radians."""
        return self.unknowns * self.readings.scale

    @cached_property
    def off(self) -> Array:
        """(6 n + 1,) how far each value of the bend table is off, mm and radians."""
        return self.readings.off(self.found)

    @cached_property
    def line(self) -> Centreline:
        """The tube as bent, from the leading end as planned."""
        return self.readings.rail.line(self.off)

    @cached_property
    def spread(self) -> Array:
        """(6 n + 1, 6 n + 1) covariance of the values of the bend table."""
        rail = self.readings.rail
        count = len(rail.free)
        size = self.readings.scale[:count]
        found = np.zeros((rail.columns.count, rail.columns.count))
        found[rail.free[:, None], rail.free] = self.covariance[:count, :count] * np.outer(size, size)
        return found

    @cached_property
    def shares(self) -> Array:
        """(m,) how much of each reading the others do not hold, its redundancy: 1 = all of it is checked by them."""
        return np.asarray(1.0 - np.einsum("mi,ij,mj->m", self.slopes, self.covariance, self.slopes))

    @cached_property
    def oddness(self) -> Array:
        """(m,) residual of each reading over the residual's standard deviation."""
        return np.where(self.shares > _NOTHING, self.residuals / np.sqrt(np.maximum(self.shares, _NOTHING)), 0.0)

    @cached_property
    def plan_oddness(self) -> Array:
        """(free,) the same for what was planned."""
        count = len(self.readings.rail.free)
        left = 1.0 - np.diag(self.covariance)[:count]
        return np.where(left > _NOTHING, self.unknowns[:count] / np.sqrt(np.maximum(left, _NOTHING)), 0.0)

    def without(self, i: int) -> tuple[float, float]:
        """What the others say a reading should be, and the standard deviation of reading less that."""
        one, share = self.readings.taken[i], max(float(self.shares[i]), _NOTHING)
        return one.value - float(self.residuals[i]) / share * one.sigma, one.sigma / share**0.5

    def sigma(self, slopes: Array) -> Array:
        """Standard error of linear functions, their derivatives (..., 6 n + 1) given."""
        return np.asarray(np.sqrt(np.maximum(np.einsum("...i,ij,...j->...", slopes, self.spread, slopes), 0.0)))


def solve(readings: Readings, start: Array | None = None, *, rough: bool = False) -> Solution:
    """The most likely shape: whole steps of Gauss and Newton while they lead nearer.

    Args:
        readings: what was read.
        start: (unknowns,) where to begin, mm and radians; None = as planned.
        rough: end after a few steps, halved where they lead astray, near enough to see which readings are odd.
    """
    scale, sigmas = readings.scale, readings.sigmas

    def seen(at: Array) -> tuple[Array, Array, float]:
        values, slope = readings.look(at * scale)
        residuals = (readings.values - values) / sigmas
        return residuals, slope * scale / sigmas[:, None], float(residuals @ residuals + at @ at)

    at = np.zeros(len(scale)) if start is None else np.clip(start / scale, -_REACH, _REACH)
    residuals, slopes, cost = seen(at)
    for _ in range(_FEW_STEPS if rough else _MOST):
        down = slopes.T @ residuals - at
        step = _covariance(slopes) @ down
        if step @ down <= (_NEARLY if rough else _STILL) * (1.0 + cost):
            break
        if rough:
            step *= min(1.0, _FAR / float(np.abs(step).max()))
        there = at + step
        found = seen(there) if rough or np.abs(there).max() < _FAR else None
        for _ in range(_HALVED if rough else 0):
            if found is None or found[2] < cost:
                break
            step /= 4
            there = at + step
            found = seen(there)
        if found is None or found[2] >= cost:
            if not rough:
                at = _held(seen, at)
                residuals, slopes, cost = seen(at)
            break
        at, (residuals, slopes, cost) = there, found
    return Solution(readings, at, _covariance(slopes), slopes, residuals, not rough)


def _held(seen: Callable[[Array], tuple[Array, Array, float]], at: Array) -> Array:
    """The most likely shape where whole steps lead astray: damped, and within bounds."""

    def look(x: Array) -> tuple[Array, Array]:
        found = [seen(_REACH * (2 * lane - 1)) for lane in x]
        return np.array([-one[0] for one in found]), np.array([one[1] for one in found]) * (2 * _REACH)

    home = np.full((1, len(at)), 0.5)
    return np.asarray(_REACH * (2 * descend(look, 0.5 + (at / (2 * _REACH))[None], home, [2 * _REACH])[0] - 1))


def _covariance(slopes: Array) -> Array:
    """(u, u) of the unknowns, in standard deviations of the prior, from slopes (m, u)."""
    return np.asarray(np.linalg.inv(np.eye(slopes.shape[1]) + slopes.T @ slopes), dtype=float)


@dataclass(frozen=True, eq=False)
class Sifted:
    """A shape, and what was done to reach it.

    Args:
        solution: the shape.
        dropped: readings left out, in the order they were, each with what the others said of it and the standard
            deviation of the two's difference.
        off_plan: columns of the bend table that came out further off than the shop's spread explains.
        against: how many readings stand against the rest where they are too many to say which of them are right; then
            the shape is no answer.
    """

    solution: Solution
    dropped: tuple[tuple[Measured, float, float], ...]
    off_plan: tuple[int, ...]
    against: int = 0


def sift(rail: Rail, taken: Sequence[Measured], explained: Explained) -> Sifted:
    """The most likely shape, without readings that do not go with the rest.

    The fewest readings and values of the plan that stand against all others are found together, so that a reading
    off by a foot bends nothing and a bend off by degrees, which several readings show, drops none of them. Where a
    reading and the plan stand against each other alone the reading counts, unless a usual slip of the pen explains it.

    Args:
        rail: the part.
        taken: all readings.
        explained: whether a usual slip explains a reading (see `railmodel.as_bent.slips`).
    """
    odd, off, near = _suspects(rail, taken)
    most = max(FEW, len(taken) // 4)
    if len(odd) > most:
        return Sifted(near, (), (), against=len(odd))
    left = [one for i, one in enumerate(taken) if i not in odd]
    out = [one for i, one in enumerate(taken) if i in odd]
    relaxed = {int(rail.free[i]) for i in off}

    def solved(columns: Iterable[int], readings: Sequence[Measured]) -> Solution:
        """Nearly the shape with some of the plan relaxed, from near where it will be."""
        return solve(Readings(_relaxed(rail, columns), tuple(readings), near.readings.pose), near.found, rough=True)

    nearly = _straightened(rail, near, taken)
    doubtful = _explained_by_the_plan(rail, left, explained)
    for column in sorted(relaxed)[:_TRIED] if doubtful else ():  # a plan that seems far off may be a slip of the pen
        solution = solved(relaxed - {column}, left)
        slip = _slip(solution, float(np.abs(solution.plan_oddness).max(initial=0.0)), explained)
        if slip is not None:
            out.append(left.pop(slip))
            relaxed.discard(column)
    for one in [one for one in out if _alone(nearly(relaxed, [*left, one]), _ROUGH)][:_TRIED]:
        solution = solved(relaxed, [*left, one])
        plan = np.abs(solution.plan_oddness)  # a reading that only the plan stands against counts
        if _alone(solution, 1 + TIE) and not explained(one, *solution.without(len(left))):
            left, out = [*left, one], [other for other in out if other is not one]
            if plan.max() > WILD:
                relaxed.add(int(rail.free[_likely(rail, plan)]))
    for column in sorted(relaxed) if out else ():  # what fits its plan after all is drawn to it again
        if _wildest(nearly(relaxed - {column}, left)) <= _ROUGH * WILD:
            relaxed -= {column} if _wildest(solved(relaxed - {column}, left)) <= WILD else set()
    solution = solved(relaxed, left)
    while (worst := _worst(solution)) is not None or not solution.settled:
        if worst is None or (not solution.settled and abs(solution.oddness[worst]) < 2 * _ROUGH * WILD):
            solution = solve(solution.readings, solution.found)
            continue
        out.append(left.pop(worst))
        if len(out) > most:
            return Sifted(solution, (), (), against=len(out))
        solution = solved(relaxed, left)
    far = tuple(column for column in sorted(relaxed) if abs(solution.off[column]) > WILD * rail.spread[column])
    return Sifted(solution, tuple(_expected(solution, out)), far)


def _straightened(
    rail: Rail, near: Solution, taken: Sequence[Measured]
) -> Callable[[Iterable[int], Sequence[Measured]], Solution]:
    """Shapes to first order about one that is near, to see quickly which are worth working out."""
    pose = near.readings.pose
    values, slope = Readings(rail, tuple(taken), pose).look(near.found)
    numbers = {id(one): i for i, one in enumerate(taken)}

    def tried(columns: Iterable[int], readings: Sequence[Measured]) -> Solution:
        own, rows = Readings(_relaxed(rail, columns), tuple(readings), pose), [numbers[id(one)] for one in readings]
        slopes = slope[rows] * own.scale / own.sigmas[:, None]
        off = (own.values - values[rows]) / own.sigmas + slopes @ (near.found / own.scale)
        covariance = _covariance(slopes)
        at = covariance @ (slopes.T @ off)
        return Solution(own, at, covariance, slopes, off - slopes @ at)

    return tried


def _alone(solution: Solution, within: float) -> bool:
    """Whether the last reading sticks out no further than the plan does, by this factor."""
    return bool(abs(solution.oddness[-1]) <= np.abs(solution.plan_oddness).max(initial=0.0) * within)


def _wildest(solution: Solution) -> float:
    """How far the reading, or value of the plan, that sticks out most does."""
    return float(max(np.abs(solution.plan_oddness).max(initial=0.0), np.abs(solution.oddness).max(initial=0.0)))


def _worst(solution: Solution) -> int | None:
    """The reading that sticks out too far, and further than any value of the plan does; None where none does."""
    odd, plan = np.abs(solution.oddness), np.abs(solution.plan_oddness)
    if not len(odd) or odd.max() <= max(WILD, float(plan.max(initial=0.0)) * (1 + TIE)):
        return None
    return int(np.argmax(odd))


def _explained_by_the_plan(rail: Rail, taken: Sequence[Measured], explained: Explained) -> bool:
    """Whether a usual slip turns any reading into what was planned."""
    readings = Readings.of(rail, taken)
    values, slope = readings.look(np.zeros(readings.unknowns))
    sigmas = np.sqrt(np.sum((slope * readings.scale) ** 2, axis=1) + readings.sigmas**2)
    return any(explained(one, float(v), float(s)) for one, v, s in zip(taken, values, sigmas, strict=True))


def _relaxed(rail: Rail, columns: Iterable[int]) -> Rail:
    """The part with some values of its plan next to unknown."""
    spread = rail.spread.copy()
    spread[list(columns)] *= _WIDE
    return replace(rail, spread=spread)


def _suspects(rail: Rail, taken: Sequence[Measured]) -> tuple[set[int], set[int], Solution]:
    """Readings, and free values of the plan, that stand against all the rest, by index, and the shape without them.

    Graduated non-convexity with the loss of Geman and McClure (H. Yang, P. Antonante, V. Tzoumas and L. Carlone, IEEE
    Robotics and Automation Letters 5, 2020; from memory), which begins as plain least squares and ends by counting
    what is out rather than how far, on the readings' slopes; these are taken anew where that leads.
    """
    odd, off = set[int](), set[int]()
    readings = Readings.of(rail, taken)
    at = np.zeros(readings.unknowns)
    for _ in range(_ROUNDS):
        values, slope = readings.look(at)
        slopes = slope * readings.scale / readings.sigmas[:, None]
        targets = (readings.values - values) / readings.sigmas + slopes @ (at / readings.scale)
        weights = _graduated(slopes, targets, len(rail.free))
        before = odd, off
        odd = {int(i) for i in np.flatnonzero(weights[: len(taken)] < _OUT)}
        off = {int(i) for i in np.flatnonzero(weights[len(taken) :] < _OUT)}
        wide = _relaxed(rail, rail.free[sorted(off)])
        kept = tuple(one for i, one in enumerate(taken) if i not in odd)
        solution = solve(Readings(wide, kept, readings.pose), at, rough=True)
        at = solution.found
        if (odd, off) == before:
            break
    return odd, off, solution


def _graduated(slopes: Array, targets: Array, free: int) -> Array:
    """Weights of readings (m, u) and of the u first `free` values of the plan: 1 in, toward 0 out."""
    count, unknowns = slopes.shape
    design, values = np.concatenate([slopes, np.eye(unknowns)]), np.concatenate([targets, np.zeros(unknowns)])
    weights = np.ones(len(values))
    ease = 0.0
    while True:
        root = np.sqrt(weights)
        found = np.linalg.lstsq(design * root[:, None], values * root, rcond=None)[0]
        squares = (values - design @ found) ** 2 / WILD**2
        squares[count + free :] = 0.0  # where the tube lies on the table is no plan
        ease = max(1.0, 2 * float(squares.max(initial=0.0))) if ease == 0.0 else ease / _EASE
        weights = (ease / (squares + ease)) ** 2
        if ease < 1.0:
            return np.asarray(weights[: count + free])


def _expected(solution: Solution, out: Sequence[Measured]) -> list[tuple[Measured, float, float]]:
    """Readings that were left out, what each should be, and the standard deviation of the reading less that."""
    readings = Readings(solution.readings.rail, tuple(out), solution.readings.pose)
    if not out or (readings.pose is None and any(one.kind == "table" for one in out)):
        return [(one, one.value, one.sigma) for one in out]
    values, slope = readings.look(solution.found)
    slopes = slope * readings.scale
    sigmas = np.sqrt(np.einsum("mi,ij,mj->m", slopes, solution.covariance, slopes) + readings.sigmas**2)
    return list(zip(out, values.tolist(), sigmas.tolist(), strict=True))


def _likely(rail: Rail, plan: Array) -> int:
    """The value of the plan that sticks out most; of several that do so alike, the one most often wrong in a shop."""
    alike = np.flatnonzero(plan >= plan.max() * (1 - TIE))
    n = rail.columns.bends
    columns = rail.free[alike].tolist()
    rank = [_OFTEN.index(FIELDS[column // n]) if column < len(FIELDS) * n else len(_OFTEN) for column in columns]
    return int(alike[int(np.argmin(rank))])


def _slip(solution: Solution, plan: float, explained: Explained) -> int | None:
    """The reading whose usual slip explains why the plan seems so far off; None where there is none."""
    odd = np.abs(solution.oddness)
    for i in np.argsort(-odd).tolist():
        if odd[i] < max(WILD, plan * (1 - TIE)):
            return None
        if explained(solution.readings.taken[i], *solution.without(i)):
            return int(i)
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """One dimension of the tube as bent.

    Args:
        kind: "straight", "turn", "angle" or "radius".
        number: straights count from 0, all others from 1, from the leading end.
        plan: as planned, mm or radians.
        value: as bent.
        sigma: standard error.
        before: standard deviation before anything was measured.
    """

    kind: str
    number: int
    plan: float
    value: float
    sigma: float
    before: float

    @property
    def learned(self) -> str:
        """How well it is determined: "well", "partly", or "not": the spread before is what is known still."""
        left = self.sigma / self.before if self.before > 0 else 1.0
        return "well" if left < 0.5 else "partly" if left < TOLD else "not"


def dimensions(solution: Solution, rail: Rail, bent: int) -> list[Known]:
    """Every straight, turn, angle and radius as bent, straights and bends in turn.

    Args:
        solution: the shape.
        rail: the part with the spread it had before anything was measured.
        bent: bends made.
    """
    plan, rows, n = rail.reading.line.rows, solution.line.rows, rail.columns.bends
    slopes = table_rows(rail.movers(solution.line)).T
    after, before = solution.sigma(slopes), np.sqrt(np.einsum("ij,j->i", slopes**2, rail.spread**2))
    found = []
    for i in range(bent + 1):
        if i < bent or bent == n:
            found.append(_known("straight", i, plan.straights[i], rows.straights[i], after[i], before[i]))
        if i < bent:
            for kind, begin in (("turn", n + 1), ("angle", 2 * n + 1), ("radius", 3 * n + 1)):
                field = {"turn": "rotation", "angle": "angle", "radius": "radius"}[kind]
                was, now = getattr(plan, field)[i], getattr(rows, field)[i]
                found.append(_known(kind, i + 1, was, now, after[begin + i], before[begin + i]))
    return found


def _known(kind: str, number: int, plan: float, value: float, sigma: float, before: float) -> Known:
    return Known(
        kind=kind, number=number, plan=float(plan), value=float(value), sigma=float(sigma), before=float(before)
    )
