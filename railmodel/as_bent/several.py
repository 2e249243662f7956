"""What several pieces of one part have in common, and how far they differ. mm, radians.

Every piece is off by what is wrong with the settings, which all of them share, and by chance, which each draws anew. To
first order about the shape of each piece its readings say both together; generalised least squares tells them apart.
How far chance goes is the shop's spread, corrected by what the pieces themselves differ: the spread counts as much as
`WORTH` degrees of freedom, and the pieces as many as their readings leave beside what they have in common.

Many a reading tells of a sum: a turn between two planes, a distance across several marks. What is wrong is looked for
where the pieces by themselves found it, since all else is drawn to what was planned more closely.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from railmodel.as_bent.correct import Errors, Scatter, told_of
from railmodel.as_bent.estimate import TIE, WILD, Sifted
from railmodel.as_bent.rail import Rail
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import FIELDS, Field

WORTH: Final = 6.0
"""Degrees of freedom that the shop's spread counts as (our choice: the test bends of one die)."""

ASUNDER: Final = 9.0
"""Pieces do not go together where the squares of what is left of one are so many times its readings."""

_OPEN: Final = 60.0
"""A setting is right within so many standard deviations of one piece, where the readings tell of it by itself or most
pieces show it far off plan; what they do not, they leave in doubt by more than"""

_DOUBT: Final = 5.0
"""so many, and then it is right within"""

_CLOSE: Final = 2.0
"""so many."""

_WIDE: Final = 30.0
"""How many times wider chance is taken for a value that came out far off what the pieces have in common."""

_MOST: Final = 3
"""So many values of one piece may be far off what the pieces have in common."""

_UNTOLD: Final = 1e8
"""Variance of what a piece tells nothing of."""

_TELLS: Final = 0.05
"""A piece that knows less than this part of a value's variance tells nothing of it."""

_ROUNDS: Final = 8
_PLANES: Final[tuple[Field, ...]] = ("roll", "rotation")


@dataclass(frozen=True, eq=False)
class Told:
    """What one piece tells.

    Args:
        sifted: its most likely shape.
        rail: the part with the spread it had before anything was measured.
        changed: (6 n + 1,) how much further off than with the settings that are to be corrected its own put it.
        other: whether it is of the other hand; then it tells nothing of planes.
    """

    sifted: Sifted
    rail: Rail
    changed: Array
    other: bool

    @cached_property
    def slopes(self) -> Array:
        """(m, free) of the readings, in their standard deviations, by values off in units of the spread."""
        found, free = self.sifted.solution, self.rail.free
        return np.asarray(found.slopes[:, : len(free)] * (self.rail.spread[free] / found.readings.scale[: len(free)]))

    @cached_property
    def values(self) -> Array:
        """(m,) what was read less what was planned, in standard deviations, as if it was set like the others."""
        found, free = self.sifted.solution, self.rail.free
        return np.asarray(
            found.residuals + found.slopes @ found.unknowns
            - self.slopes @ (self.changed[free] / self.rail.spread[free])
        )  # fmt: skip

    @cached_property
    def noise(self) -> Array:
        """(m, m) variance of what was read, where the tube lay on the table not being known."""
        laid = self.sifted.solution.slopes[:, len(self.rail.free) :]
        return np.asarray(np.eye(len(self.values)) + laid @ laid.T)

    @cached_property
    def far(self) -> NDArray[np.bool_]:
        """(free,) whether a value came out far off its plan."""
        return np.isin(self.rail.free, self.sifted.off_plan)

    @cached_property
    def own(self) -> Array:
        """(free,) variance of chance in units of the spread, before the pieces are held against each other."""
        fields = _fields(self.rail)
        blind = np.isin(fields, [FIELDS.index(field) for field in _PLANES]) if self.other else np.zeros(len(fields))
        return np.where(blind, _UNTOLD, 1.0)

    def misfit(self, common: Array, chance: Array) -> float:
        """Mean square of what is left of its readings beside what pieces have in common, over its variance.

        Args:
            common: (free,) in units of the spread.
            chance: (free,) variance of chance, likewise.
        """
        left = self.values - self.slopes @ common
        squares = left @ np.linalg.solve(self.noise + (self.slopes * chance) @ self.slopes.T, left)
        return float(squares) / max(len(left), 1)


@dataclass(frozen=True, eq=False)
class _Apart:
    """What pieces have in common, and what chance did.

    Args:
        common: (free,) in units of the spread.
        doubt: (free, free) what is in doubt of it, likewise.
        off: (pieces, free) what chance did to each, likewise.
        told: (pieces, free) how well that is told, from 0 to 1.
    """

    common: Array
    doubt: Array
    off: Array
    told: Array

    def freedom(self, counts: NDArray[np.bool_]) -> Array:
        """(pieces, free) degrees of freedom beside what they have in common: none where one alone tells.

        Args:
            counts: (pieces, free) what counts.
        """
        told = np.where(counts, self.told, 0.0)
        return np.asarray(told * (1 - told / np.maximum(told.sum(axis=0), 1e-12)))


def together(pieces: Sequence[Told]) -> Errors:
    """What is wrong with the settings, from two pieces or more.

    Args:
        pieces: of one part, every one bent to its end.
    """
    rail = pieces[0].rail
    free, fields = rail.free, _fields(rail)
    prior = _prior(pieces)
    wide = _wide(pieces, prior)
    counts, factors = wide == 1, np.ones(len(FIELDS))
    for _ in range(_ROUNDS):
        found = _apart(pieces, wide * factors[fields], prior)
        squares, freedom = np.zeros(len(FIELDS)), np.zeros(len(FIELDS))
        np.add.at(squares, fields, np.where(counts, found.off**2, 0.0).sum(axis=0))
        np.add.at(freedom, fields, found.freedom(counts).sum(axis=0))
        factors = (WORTH + squares) / (WORTH + freedom)
    found = _apart(pieces, wide * factors[fields], prior)
    size, count = rail.spread[free], rail.columns.count
    off, covariance = np.zeros(count), np.zeros((count, count))
    off[free] = found.common * size
    covariance[free[:, None], free] = found.doubt * np.outer(size, size)
    scatter = []
    for i, field in enumerate(FIELDS):
        usual = float(np.sqrt(np.mean(size[fields == i] ** 2))) if (fields == i).any() else 0.0
        if usual > 0 and freedom[i] >= 0.5:
            sigma = usual * float(factors[i]) ** 0.5
            scatter.append(Scatter(field=field, sigma=sigma, usual=usual, freedom=float(freedom[i])))
    told = np.any([told_of(one.sifted.solution, one.rail) for one in pieces], axis=0)
    return Errors(off, covariance, len(pieces), tuple(scatter), told)


def asunder(pieces: Sequence[Told]) -> tuple[int, float] | None:
    """The piece that does not go with the others, and how many times too much its readings are off; None where all do.

    Two pieces are off what they have in common alike: then it is the one further off what was planned.

    Args:
        pieces: of one part, every one bent to its end.
    """
    prior = _prior(pieces)
    wide = _wide(pieces, prior)
    common = _apart(pieces, wide, prior).common
    left = [one.misfit(common, chance) for one, chance in zip(pieces, wide, strict=True)]
    if max(left) <= ASUNDER:
        return None
    odd = left if len(pieces) > 2 else [one.misfit(0 * common, one.own) for one in pieces]
    return int(np.argmax(odd)), max(left)


def _fields(rail: Rail) -> NDArray[np.intp]:
    """(free,) number of the field of each value, in the order of `FIELDS`; the cut length goes with the marks."""
    n = rail.columns.bends
    return np.array([0 if column == rail.columns.tail else column // n for column in rail.free.tolist()], dtype=np.intp)


def _prior(pieces: Sequence[Told]) -> Array:
    """(free,) variance of what is wrong with the settings, in units of the spread, before it is known.

    Open where the readings tell of a value by itself, or most of the pieces that tell of it at all show it far off.
    """
    own = np.array([one.own for one in pieces])
    found = _apart(pieces, own, np.full(own.shape[1], _OPEN**2))
    far = np.array([one.far for one in pieces]) & (own == 1)
    tells = (own == 1) & (found.told >= _TELLS) | far
    alike = 2 * far.sum(axis=0) > tells.sum(axis=0)
    return np.where(alike | (np.diag(found.doubt) < _DOUBT**2), _OPEN**2, _CLOSE**2)


def _wide(pieces: Sequence[Told], prior: Array) -> Array:
    """(pieces, free) variance of chance in units of the spread, wider where one is far off what they have in common.

    The furthest first, since it draws what they have in common to itself; of several alike what a piece by itself shows
    far off its plan.
    """
    wide = np.array([one.own for one in pieces])
    far = np.array([one.far for one in pieces])
    widened = np.zeros(len(pieces), dtype=int)
    while True:
        found, counts = _apart(pieces, wide, prior), (wide == 1) & (widened < _MOST)[:, None]
        left = found.freedom(wide == 1)
        odd = np.where(counts & (left > 0.01), np.abs(found.off) / np.sqrt(np.maximum(left, 0.01)), 0.0)
        if odd.max() <= WILD:
            return wide
        worst = odd >= odd.max() * (1 - TIE)
        column = int(np.argmax((worst * (1 + far)).max(axis=0)))
        wide[worst[:, column], column] = _WIDE**2
        widened += worst[:, column]


def _apart(pieces: Sequence[Told], chance: Array, prior: Array) -> _Apart:
    """What pieces have in common, and what chance did.

    Args:
        pieces: the pieces.
        chance: (pieces, free) variance of chance, in units of the spread.
        prior: (free,) variance of what they have in common, likewise.
    """
    known, pull, weighed = np.diag(1 / prior), np.zeros(len(prior)), []
    for one, own in zip(pieces, chance, strict=True):
        weights = np.linalg.inv(one.noise + (one.slopes * own) @ one.slopes.T)
        weighed.append(one.slopes.T @ weights)
        known = known + weighed[-1] @ one.slopes
        pull = pull + weighed[-1] @ one.values
    doubt = np.asarray(np.linalg.inv(known), dtype=float)
    common = np.asarray(doubt @ pull)
    every = list(zip(pieces, chance, weighed, strict=True))
    return _Apart(
        common=common, doubt=doubt,
        off=np.array([own * (by @ (one.values - one.slopes @ common)) for one, own, by in every]),
        told=np.array([own * np.einsum("im,mi->i", by, one.slopes) for one, own, by in every]),
    )  # fmt: skip
