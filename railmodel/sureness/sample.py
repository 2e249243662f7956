"""Chance of fit: the shop's spread played through many times.

Fit points and joints are exact in every sample; clearances, and all of a part that is laid as well as it fits, are
taken to first order from the nominal. Samples are drawn and laid out in blocks, so that memory does not grow with
their number. mm, radians.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.fit_job import Fit
from railmodel.geometry.rows import Array
from railmodel.sureness.demands import Demand, Flags, demands, wholes
from railmodel.sureness.march import LaidOut, columns_off, face_gap, lay_out, rails_off
from railmodel.sureness.meet import meet
from railmodel.sureness.sensitivity import Bent, Measure, Sensitivity, point_on
from railmodel.sureness.spread import Cause, Spread
from railmodel.sureness.stack import Stack, stack

SAMPLES: Final = 100_000
BLOCK: Final = 4096
"""Samples worked on at once: few enough to stay near the processor, enough to be worth a call."""

KEPT: Final = 100_000
"""Samples whose numbers are kept, to see between which limits they lie."""

STILL: Final = 1e-9
"""A number that spreads by less than this, mm or radians, does not move."""

SURE: Final = 20.0
"""A shape that is clear by this many standard deviations is clear in every sample, and not played."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A chance found by counting.

    Args:
        met: samples in which it came true.
        samples: of all.
    """

    met: int
    samples: int

    @property
    def value(self) -> float:
        """The chance."""
        return self.met / self.samples

    @property
    def error(self) -> float:
        """Its sampling error, one standard deviation; never 0 (A. Agresti and B. A. Coull, Am. Stat. 52, 1998)."""
        count = self.samples + 4
        middle = (self.met + 2) / count
        return sqrt(middle * (1 - middle) / count)


@dataclass(frozen=True, eq=False, kw_only=True)
class Chances:
    """What came of the samples.

    Args:
        samples: how many.
        stack: the effects of every cause, to first order.
        mean: (m,) of each number.
        spread: (m,) standard deviation of each number.
        low: (m,) nineteen in twenty lie between this and
        high: (m,) this.
        demands: what must be right, and
        met: the chance of each.
        wholes: the chance that every pair, and everything, fits.
    """

    samples: int
    stack: Stack
    mean: Array
    spread: Array
    low: Array
    high: Array
    demands: tuple[Demand, ...]
    met: tuple[Chance, ...]
    wholes: Mapping[str, Chance]


def chances(found: Sensitivity, spread: Spread, *, samples: int = SAMPLES, seed: int = 1) -> Chances:
    """Play the shop's spread through.

    Args:
        found: the job's parts and what is asked of them.
        spread: what goes wrong.
        samples: how many times.
        seed: of the random numbers; the same seed gives the same answer.
    """
    effects = stack(found.measures, spread.causes)
    asked = demands(found)
    groups = wholes(found, asked)
    players = Players(found, effects, asked)
    tally = _Tally(players.moving, min(samples, KEPT))
    always = np.array([one.met(players.nominal[:, None])[0] for one in asked], dtype=bool)
    open_ = [i for i, one in enumerate(asked) if set(one.rows) & set(players.moving.tolist())]
    met, whole = np.where(always, samples, 0), np.zeros(len(groups), dtype=np.int64)
    met[open_] = 0
    random = np.random.default_rng(seed)
    for begin in range(0, samples, BLOCK):
        drawn = draw(random, spread.causes, min(BLOCK, samples - begin))
        values = players.play(drawn)
        tally.add(values - players.nominal[:, None])
        right = {i: asked[i].met(values) for i in open_}
        for i, flags in right.items():
            met[i] += flags.sum()
        whole += [_together(right, rows, always, drawn.shape[1]) for rows in groups.values()]
    mean, deviation, low, high = tally.found(len(found.measures))
    nominal = players.nominal
    return Chances(
        samples=samples, stack=effects, mean=nominal + mean, spread=np.where(deviation > 0, deviation, effects.spread),
        low=nominal + low, high=nominal + high, demands=asked,
        met=tuple(Chance(int(count), samples) for count in met),
        wholes={name: Chance(int(count), samples) for name, count in zip(groups, whole, strict=True)},
    )  # fmt: skip


def _together(right: Mapping[int, Flags], rows: Sequence[int], always: Flags, count: int) -> int:
    """How many of some samples meet every one of some demands."""
    if not all(always[i] for i in rows if i not in right):
        return 0
    flags = [right[i] for i in rows if i in right]
    return int(np.logical_and.reduce(flags).sum()) if flags else count


def draw(random: np.random.Generator, causes: Sequence[Cause], samples: int) -> Array:
    """(c, samples) how far each cause goes, in its standard deviations for one new piece.

    Causes of one pool share the scale that their measurements leave open.
    """
    found = random.standard_normal((len(causes), samples))
    pools: dict[str, list[int]] = {}
    for i, cause in enumerate(causes):
        if np.isfinite(cause.sigma.dof):
            pools.setdefault(cause.pool, []).append(i)
    for rows in pools.values():
        dof = causes[rows[0]].sigma.dof
        scale = np.sqrt((dof - 2) / random.chisquare(dof, samples))
        for row in rows:
            found[row] *= scale
    return found


class Players:
    """Every number of a job for many draws of its causes."""

    def __init__(self, found: Sensitivity, effects: Stack, asked: Sequence[Demand]) -> None:
        self.found, self.effects = found, effects
        self.nominal = np.array([measure.value for measure in found.measures])
        moves = effects.spread > STILL
        risky = moves & (self.nominal - np.array([one.low for one in found.measures]) < SURE * effects.spread)
        fitted = [any(found.bent[label].held is not None for label in one.slopes) for one in found.measures]
        self.linear = [
            i
            for i, one in enumerate(found.measures)
            if (risky[i] if one.kind == "clearance" else fitted[i] and moves[i])
        ]
        first = set(self.linear)
        self.fits = [
            (i, one) for i, one in enumerate(found.measures) if moves[i] and i not in first and one.kind == "fit point"
        ]
        self.joints = [
            list(one.rows)
            for one in asked
            if one.kind == "joint" and moves[list(one.rows)].any() and not first & set(one.rows)
        ]
        played = [*self.linear, *(i for i, _ in self.fits), *(i for rows in self.joints for i in rows)]
        self.moving = np.array(sorted(played), dtype=int)
        needed = {label for _, one in self.fits for label in one.slopes}
        needed |= {label for rows in self.joints for label in found.measures[rows[0]].slopes}
        self.hits = {label: _hits(label, effects.causes) for label in found.bent if label in needed}

    def play(self, drawn: Array) -> Array:
        """(m, b) every number for draws (c, b)."""
        values = np.repeat(self.nominal[:, None], drawn.shape[1], axis=1)
        values[self.linear] += self.effects.effects[self.linear] @ drawn
        laid = {label: _laid(self.found, self.found.bent[label], hits, drawn) for label, hits in self.hits.items()}
        for row, measure in self.fits:
            values[row] = _gap(self.found.bent[measure.on], measure, laid[measure.on])
        for rows in self.joints:
            values[rows] = meet(self.found.measures[rows[0]], self.found.bent, laid)
        return values


def _hits(label: str, causes: Sequence[Cause]) -> list[tuple[int, int, float]]:
    """Column of the bend table, number of the cause, and how far one standard deviation goes."""
    return [
        (column, c, by * cause.sigma.predictive)
        for c, cause in enumerate(causes)
        for column, by in cause.hits.get(label, ())
    ]


def _laid(found: Sensitivity, bent: Bent, hits: Sequence[tuple[int, int, float]], drawn: Array) -> LaidOut:
    off = columns_off(bent.columns, [(column, by * drawn[c]) for column, c, by in hits])
    if not hits:
        off[bent.columns.tail] = np.zeros(drawn.shape[1])
    return lay_out(bent, rails_off(bent, found.working, off))


def _gap(bent: Bent, measure: Measure, laid: LaidOut) -> Array:
    fit, place = measure.about, measure.place
    assert isinstance(fit, Fit)
    assert place is not None
    part, face = bent.part, fit.point.to.face
    reach = (part.section.height if face in ("top", "bottom") else part.section.width) / 2
    return face_gap(laid, place, point_on(fit), part.read.roll_of(face), reach)


class _Tally:
    """Mean, spread and limits of how far numbers are off, which come in blocks."""

    def __init__(self, rows: NDArray[np.int_], kept: int) -> None:
        self._rows, self._count = rows, 0
        self._sum, self._squares = np.zeros(len(rows)), np.zeros(len(rows))
        self._kept = np.empty((len(rows), kept), dtype=np.float32)

    def add(self, off: Array) -> None:
        off = off[self._rows]
        room = self._kept.shape[1] - self._count
        if room > 0:
            self._kept[:, self._count : self._count + off.shape[1]] = off[:, :room]
        self._count += off.shape[1]
        self._sum += off.sum(axis=1)
        self._squares += np.einsum("mb,mb->m", off, off)

    def found(self, count: int) -> tuple[Array, Array, Array, Array]:
        """Mean, spread, and the limits of nineteen in twenty, of all `count` numbers; 0 where nothing was played."""
        kept = self._kept[:, : self._count]
        ranks = [round(share * (kept.shape[1] - 1)) for share in (0.025, 0.975)]
        ordered = np.partition(kept, ranks, axis=1)
        mean = self._sum / self._count
        spread = np.sqrt(np.maximum(self._squares / self._count - mean**2, 0.0))
        every = np.zeros((4, count))
        every[:, self._rows] = mean, spread, ordered[:, ranks[0]], ordered[:, ranks[1]]
        return every[0], every[1], every[2], every[3]
