"""What several pieces of one part have in common, and how far they differ. mm, radians.

Every piece is off by what is wrong with the settings, which all of them share, and by chance, which each draws anew. To
first order about the shape of each piece its readings say both together; generalised least squares tells them apart.
How far chance goes is the shop's spread, corrected by what the pieces themselves differ: the spread counts as much as
`WORTH` degrees of freedom, and the pieces as many as their readings leave beside what they have in common.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from railmodel.as_bent.correct import Errors, Scatter
from railmodel.as_bent.estimate import Sifted
from railmodel.as_bent.rail import Rail
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import FIELDS, Field

WORTH: Final = 6.0
"""Degrees of freedom that the shop's spread counts as (our choice: the test bends of one die)."""

_OPEN: Final = 30.0
"""Nothing is known of the settings before but that they are right within so many standard deviations of one piece."""

_WIDE: Final = 30.0
"""How many times wider chance is taken for a value that came out far off in some pieces and not in all."""

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


def together(pieces: Sequence[Told]) -> Errors:
    """What is wrong with the settings, from two pieces or more.

    Args:
        pieces: of one part, every one bent to its end.
    """
    rail = pieces[0].rail
    free, fields = rail.free, _fields(rail)
    alike = set.intersection(*(set(one.sifted.off_plan) for one in pieces))
    wide = [_wide(one, free, alike, fields) for one in pieces]
    factors = np.ones(len(FIELDS))
    for _ in range(_ROUNDS):
        common, doubt, by_chance = _apart(pieces, [own * factors[fields] for own in wide])
        squares, freedom = np.zeros(len(FIELDS)), np.zeros(len(FIELDS))
        for own, (off, told) in zip(wide, by_chance, strict=True):
            np.add.at(squares, fields, np.where(own > 1, 0.0, off**2))
            np.add.at(freedom, fields, np.where(own > 1, 0.0, told * (1 - 1 / len(pieces))))
        factors = (WORTH + squares) / (WORTH + freedom)
    common, doubt, _ = _apart(pieces, [own * factors[fields] for own in wide])
    size, count = rail.spread[free], rail.columns.count
    off, covariance = np.zeros(count), np.zeros((count, count))
    off[free] = common * size
    covariance[free[:, None], free] = doubt * np.outer(size, size)
    scatter = []
    for i, field in enumerate(FIELDS):
        usual = float(np.sqrt(np.mean(size[fields == i] ** 2))) if (fields == i).any() else 0.0
        if usual > 0 and freedom[i] >= 0.5:
            sigma = usual * float(factors[i]) ** 0.5
            scatter.append(Scatter(field=field, sigma=sigma, usual=usual, freedom=float(freedom[i])))
    return Errors(off, covariance, len(pieces), tuple(scatter))


def _fields(rail: Rail) -> NDArray[np.intp]:
    """(free,) number of the field of each value, in the order of `FIELDS`; the cut length goes with the marks."""
    n = rail.columns.bends
    return np.array([0 if column == rail.columns.tail else column // n for column in rail.free.tolist()], dtype=np.intp)


def _wide(one: Told, free: NDArray[np.intp], alike: set[int], fields: NDArray[np.intp]) -> Array:
    """(free,) variance of chance in units of the spread, before the pieces are held against each other."""
    alone = set(one.sifted.off_plan) - alike
    wide = np.array([_WIDE**2 if column in alone else 1.0 for column in free.tolist()])
    if one.other:
        wide[np.isin(fields, [FIELDS.index(field) for field in _PLANES])] = _OPEN**4
    return wide


def _apart(pieces: Sequence[Told], chance: Sequence[Array]) -> tuple[Array, Array, list[tuple[Array, Array]]]:
    """What pieces have in common, what is in doubt of it, and of each piece what chance did and how well that is told.

    Args:
        pieces: the pieces.
        chance: for each (free,) variance of chance, in units of the spread.

    Returns:
        (free,) and (free, free) in units of the spread; of each piece (free,) likewise and (free,) from 0 to 1.
    """
    count = len(chance[0])
    known, pull, weighed = np.eye(count) / _OPEN**2, np.zeros(count), []
    for one, own in zip(pieces, chance, strict=True):
        weights = np.linalg.inv(one.noise + (one.slopes * own) @ one.slopes.T)
        weighed.append(one.slopes.T @ weights)
        known = known + weighed[-1] @ one.slopes
        pull = pull + weighed[-1] @ one.values
    doubt = np.asarray(np.linalg.inv(known), dtype=float)
    common = np.asarray(doubt @ pull)
    by_chance = [
        (own * (by @ (one.values - one.slopes @ common)), own * np.einsum("im,mi->i", by, one.slopes))
        for one, own, by in zip(pieces, chance, weighed, strict=True)
    ]
    return common, doubt, by_chance
