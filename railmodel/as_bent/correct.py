"""What to change for the next piece, from what pieces measured. mm, radians.

One piece shows what is wrong with the settings and what chance did, mixed. What lies within twice the scatter of a bend
and of its measurement together is left alone; up to four times, half of it is corrected; beyond, all of it. So chance
alone is made worse by 3 % (root mean square) and an error of ten times the scatter is cut by more than five
(derived from the normal distribution; half-steps are common practice, no source). What all bends of one die have in
common is judged first, since it shows in all of them that were measured; what is left of each bend by itself is judged
after that. A bend that nothing tells of says nothing of the others, and gets what they have in common.

Several pieces (`railmodel.as_bent.several`) show the error of the settings the better the more they are: the same rule,
with what chance and measuring leave in doubt of what they have in common.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import tan
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from railmodel.as_bent.estimate import TOLD, Solution
from railmodel.as_bent.rail import Rail
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.springback import Springback
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Field

LEAVE: Final = 2.0
"""Nothing is changed within so many standard deviations, and"""

HALF: Final = 4.0
"""half of it within so many."""

MOST_SHIM: Final = 0.035
"""A plane further off than this (2 degrees) is no matter for a shim, radians (common practice, no source)."""

StepKind = Literal["leave", "half", "all"]
SHARE: Final[dict[StepKind, float]] = {"leave": 0.0, "half": 0.5, "all": 1.0}


def step_for(error: float, sigma: float) -> StepKind:
    """How much of an error to correct, by its standard deviation.

    >>> step_for(0.3, 0.2), step_for(-0.7, 0.2), step_for(1.0, 0.2)
    ('leave', 'half', 'all')
    """
    size = abs(error)
    return "leave" if size <= LEAVE * sigma else "half" if size <= HALF * sigma else "all"


def steps_for(
    errors: Array, sigmas: Array, groups: Sequence[object], told: NDArray[np.bool_] | None = None
) -> tuple[Array, Array]:
    """How much of each error to correct, what a group has in common judged first.

    Args:
        errors: (n,).
        sigmas: (n,) what chance and measuring give each.
        groups: (n,) errors of equal groups may have a common part, such as the springback of one die.
        told: (n,) whether anything tells of each; None = of all.

    Returns:
        (n,) what to take off each, and (n,) the common part of that.
    """
    common = np.zeros(len(errors))
    own = np.zeros(len(errors))
    known = np.ones(len(errors), dtype=bool) if told is None else told
    for group in dict.fromkeys(groups):
        all_of_it = np.array([other == group for other in groups])
        mine = all_of_it & known
        if not mine.any():
            continue
        several = mine.sum() > 1
        weights = 1 / sigmas[mine] ** 2
        middle, sigma = float(weights @ errors[mine] / weights.sum()), float(weights.sum() ** -0.5)
        if several:
            common[all_of_it] = SHARE[step_for(middle, sigma)] * middle
        left = errors[mine] - (middle if several else 0.0)
        alone = np.sqrt(sigmas[mine] ** 2 - (sigma**2 if several else 0.0))
        own[mine] = [SHARE[step_for(float(e), float(s))] * e for e, s in zip(left, alone, strict=True)]
    return common + own, common


@dataclass(frozen=True, slots=True, kw_only=True)
class BendCorrection:
    """What to change at one bend.

    Args:
        bend: its number from the leading end.
        told: whether anything measured tells of its angle.
        error: finished less planned angle, radians.
        sigma: standard deviation that chance and measuring give it.
        taken_off: how much of it is corrected, radians, and
        common: how much of that is common to all bends of its die.
        set_was: what the bender was set to.
        set_now: what to set, rounded to the controller's step.
        mark_was: mark on the flat tube, mm.
        mark_now: likewise.
        roll: how far its plane was off on the tube, right-handed about the travel direction, and
        roll_step: how much of that to correct.
        turn: how far to turn the tube before this bend, right-handed about the travel direction.
        shim: what to put under one edge of the face it rests on, mm; 0 for none, None where a shim is no cure.
    """

    bend: int
    told: bool
    error: float
    sigma: float
    taken_off: float
    common: float
    set_was: float
    set_now: float
    mark_was: float
    mark_now: float
    roll: float
    roll_step: StepKind
    turn: float
    shim: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightCorrection:
    """How far a straight was off beyond what the angle before it explains.

    Args:
        straight: its number from the leading end.
        error: mm, too long is positive.
        sigma: what chance and measuring give it.
        step: how much of it to correct.
    """

    straight: int
    error: float
    sigma: float
    step: StepKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How far pieces of one part differ from each other.

    Args:
        field: of the bend table.
        sigma: standard deviation from piece to piece, what the pieces show and the shop's spread together, mm or rad.
        usual: the shop's spread alone.
        freedom: degrees of freedom of what the pieces show.
    """

    field: Field
    sigma: float
    usual: float
    freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextPiece:
    """Everything to change for the next piece.

    Args:
        bends: bend by bend.
        straights: straight by straight.
        cut_was: cut length, mm.
        cut_now: likewise.
        pieces: how many were measured.
        scatter: how far they differ; nothing of one piece.
    """

    bends: tuple[BendCorrection, ...]
    straights: tuple[StraightCorrection, ...]
    cut_was: float
    cut_now: float
    pieces: int = 1
    scatter: tuple[Scatter, ...] = ()

    @property
    def nothing(self) -> bool:
        """Whether nothing is to be changed."""
        return all(one.step == "leave" for one in self.straights) and all(
            one.taken_off == 0 and one.roll_step == "leave" for one in self.bends
        )


@dataclass(frozen=True, eq=False)
class Errors:
    """What is wrong with the settings, as far as pieces tell.

    Args:
        off: (6 n + 1,) by values of the bend table, mm and radians.
        covariance: (6 n + 1, 6 n + 1) what chance and measuring leave in doubt of it.
        pieces: how many were measured.
        scatter: how far they differ.
        told: (6 n + 1,) whether measuring tells of each value; None where the covariance says so by itself.
    """

    off: Array
    covariance: Array
    pieces: int = 1
    scatter: tuple[Scatter, ...] = ()
    told: NDArray[np.bool_] | None = None

    @classmethod
    def of_one(cls, solution: Solution, rail: Rail) -> "Errors":
        """Of one piece: all that it is off, with what chance gives a piece.

        Args:
            solution: the piece as bent.
            rail: the part with the spread it had before anything was measured.
        """
        return cls(solution.off, solution.spread + np.diag(rail.spread**2), told=told_of(solution, rail))

    def sigma(self, mixed: Array) -> Array:
        """(m,) standard deviation of sums (m, 6 n + 1) of values."""
        return np.asarray(np.sqrt(np.maximum(np.einsum("mi,ij,mj->m", mixed, self.covariance, mixed), 0.0)))


def told_of(solution: Solution, rail: Rail) -> NDArray[np.bool_]:
    """(6 n + 1,) whether measuring tells of each value of a piece."""
    return np.asarray(np.sqrt(np.maximum(np.diag(solution.spread), 0.0)) < TOLD * rail.spread)


def next_piece(
    errors: Errors,
    rail: Rail,
    marks: MarkOut,
    springback: Sequence[Springback],
    dies: Sequence[object],
    was_set: Array,
    angle_step: float,
) -> NextPiece:
    """What to change for the next piece.

    Args:
        errors: what is wrong with the settings.
        rail: the part.
        marks: how it was marked out.
        springback: of the tool of each bend.
        dies: (n,) what each bend is made with; errors of bends of one die may have a common part.
        was_set: (n,) what the bender was set to, radians.
        angle_step: step of the set angle, radians; 0 for none.
    """
    columns, off = rail.columns, errors.off
    n = columns.bends
    straights = _straights(errors, rail)
    moved = -np.cumsum([SHARE[one.step] * one.error for one in straights])
    angle, roll = columns.block("angle"), columns.block("roll")
    sigmas = np.sqrt(np.diag(errors.covariance))
    told = np.ones(n, dtype=bool) if errors.told is None else errors.told[angle]
    taken, common = steps_for(off[angle], sigmas[angle], dies, told)
    bends = []
    for i in range(n):
        exact = float(was_set[i]) - float(taken[i]) * (1 + springback[i].proportional)
        rolled = float(off[roll][i] + np.sum(off[columns.block("rotation")][: i + 1]))
        rolls = step_for(rolled, float(sigmas[roll][i]) or float(sigmas[columns.block("rotation")][i]))
        turn = SHARE[rolls] * rolled
        across = _resting(marks, i)
        bends.append(
            BendCorrection(
                bend=i + 1, told=bool(told[i]), error=float(off[angle][i]), sigma=float(sigmas[angle][i]),
                taken_off=float(taken[i]), common=float(common[i]), set_was=float(was_set[i]),
                set_now=_rounded(exact, angle_step) if taken[i] else float(was_set[i]),
                mark_was=marks.bends[i].mark, mark_now=marks.bends[i].mark + float(moved[i]),
                roll=rolled, roll_step=rolls, turn=turn,
                shim=None if abs(turn) > MOST_SHIM else across * tan(abs(turn)),
            )
        )  # fmt: skip
    return NextPiece(
        bends=tuple(bends), straights=tuple(straights), cut_was=marks.cut_length,
        cut_now=marks.cut_length + float(moved[-1]), pieces=errors.pieces, scatter=errors.scatter,
    )  # fmt: skip


def _rounded(angle: float, step: float) -> float:
    return round(angle / step) * step if step else angle


def _resting(marks: MarkOut, i: int) -> float:
    """Width of the face the tube rests on for a bend, in the plane of the bend, mm."""
    part = marks.reading.part
    return part.depth_toward(marks.bends[i].bend.toward)


def _straights(errors: Errors, rail: Rail) -> list[StraightCorrection]:
    """How far each straight is off beyond what the angle of the bend before it explains."""
    columns, n = rail.columns, rail.columns.bends
    mixed = np.zeros((n + 1, columns.count))
    for i in range(n):
        mixed[i, columns.of("distance", i + 1)] = 1.0
        if rail.working == "marks fixed":
            mixed[i + 1, columns.of("distance", i + 1)] = -1.0
            mixed[i + 1, columns.of("tube use", i + 1)] = -1.0
            mixed[i + 1, columns.of("radius", i + 1)] = -(1 - rail.stretch[i]) * rail.reading.line.rows.angle[i]
    mixed[n, columns.tail] = 1.0
    found = zip((mixed @ errors.off).tolist(), errors.sigma(mixed).tolist(), strict=True)
    return [
        StraightCorrection(straight=i, error=error, sigma=sigma, step=step_for(error, sigma))
        for i, (error, sigma) in enumerate(found)
    ]
