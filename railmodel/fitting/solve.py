"""The bendable shape that meets the wishes and changes least from what is written.

Misses are driven out by bounded nonlinear least squares with exact derivatives, beside a pull toward the written values
that is made weaker step by step (a penalty method: J. Nocedal and S. J. Wright, Numerical Optimization, 2nd edition,
2006, section 17.1). Where all wishes can be met this ends at the smallest change that meets them, measured in parts of
each range; where they cannot, at the least sum of squares of the misses, an angle counting as what it makes at `ARM`.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.dual import join
from railmodel.fitting.least_squares import descend
from railmodel.fitting.near import MARGIN, Clearances, NearPlaces
from railmodel.fitting.problem import Problem
from railmodel.fitting.wishes import Group, Wish
from railmodel.geometry.rows import Array

Tell = Callable[[float, int, int], None]
"""Hears the least miss so far (mm, summed; 0 when every wish is met), and how many shapes of how many are looked at."""

ARM = 300.0
"""An angle counts as the length it makes at this distance, mm."""

LEFT_TO_SHOP = 0.5
"""The part of a wish's tolerance that is left to the shop where the shape allows it."""

SPARE = 0.02
"""How much more than a least straight the solver aims for, mm: values may then be rounded as they are written."""

MET_LENGTH, MET_ANGLE = 1e-6, 1e-9
"""A wish is met within this, mm and radians."""

HAIR = 1e-4
"""How far within its limits the solver brings a wish, mm."""

ON_STEP = 1e-5
"""An angle is on whole or half degrees within this, radians (0.0006 degrees)."""

_PULLS = (10.0, 0.3, 1e-2, 1e-3)
"""Weights of the pull toward the written values, in mm of miss for the whole of a range."""

_AGAIN = (0.3, 1e-2, 1e-3)
_EXACT, _NEARLY = 1e-7, 1.0
"""Shapes that miss wishes by a length between these, mm, are brought to meet them from where they are."""

_ROUNDS = 8
"""Times that nearest places are looked for anew."""

_SETTLED = 1e-4
"""Parts of a range by which nothing moves any more."""

_WORTH = 0.01
"""A round that lessens the misses by less than this part of them is the last."""

_ALIKE = 1e-3
"""Parts of a range within which two ends are one."""

_ENDS = 3
"""Ends of the smooth wishes from which clearances are looked into."""

STARTS = 16
"""Starting shapes tried at once, unless told otherwise: enough for every rail of the tests to be found again."""

_SAMPLES = 64
_SEED = 20240229


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """What a solve ended with.

    Args:
        x: (k,) scaled values.
        found: (w,) what each wish's quantity is; infinite where a clearance is not known.
        missed: (w,) how far each lies outside, in mm, an angle at `ARM`.
        ok: whether every wish asked for is met.
        change: root of the sum of squares of the changes, in parts of the ranges.
    """

    x: Array
    found: Array
    missed: Array
    ok: bool
    change: float

    @property
    def total(self) -> float:
        """Root of the sum of squares of the misses, mm."""
        return float(np.sqrt((self.missed**2).sum()))


@dataclass(frozen=True, eq=False)
class Task:
    """A problem with its clearances, and some of its wishes asked for.

    Args:
        problem: the smooth part.
        clear: the clearances.
        more: further smooth wishes, such as angles on whole degrees.
        held: scaled values that must stay, by number.
    """

    problem: Problem
    clear: Clearances
    more: tuple[Group, ...] = ()

    @cached_property
    def smooth(self) -> tuple[Wish, ...]:
        """Wishes that are measured in every step."""
        return (*self.problem.wishes, *(wish for group in self.more for wish in group.wishes))

    @cached_property
    def wishes(self) -> tuple[Wish, ...]:
        """All wishes: the smooth ones, then the clearances."""
        return (*self.smooth, *self.clear.wishes)

    @cached_property
    def low(self) -> Array:
        """(w,) least values that will do."""
        return np.array([wish.low for wish in self.wishes])

    @cached_property
    def high(self) -> Array:
        """(w,) largest values that will do."""
        return np.array([wish.high for wish in self.wishes])

    @cached_property
    def scale(self) -> Array:
        """(w,) mm for one unit of each quantity."""
        return np.array([ARM if wish.unit == "angle" else 1.0 for wish in self.wishes])

    @cached_property
    def met(self) -> Array:
        """(w,) misses no larger than this are none, mm."""
        within = [ON_STEP if wish.rule == "angle step" else MET_ANGLE for wish in self.wishes]
        angle = np.array([wish.unit == "angle" for wish in self.wishes], dtype=bool)
        gaps = np.array([wish.rule == "clearance" for wish in self.wishes], dtype=bool)  # the check gives nothing away
        return np.where(angle, np.array(within) * ARM, np.where(gaps, 0.0, MET_LENGTH))

    def found(self, x: Array, on: NDArray[np.bool_], *, everything: bool = False) -> Array:
        """(w,) every quantity at scaled values x (k,); clearances only where they are on, else infinite."""
        laid = self.problem.lay_out(x[None], slopes=False)
        smooth = self.problem.measure(laid, self.more).value[0]
        return np.concatenate([smooth, self.clear.look(laid, on[len(smooth) :], everything=everything)])

    def missed(self, found: Array) -> Array:
        """(..., w) how far quantities lie outside, mm; none within `met`."""
        out = np.maximum(_outside(found, self.low, self.high), 0.0) * self.scale
        return np.where(out <= self.met, 0.0, np.where(np.isnan(out), np.inf, out))

    def answer(self, x: Array, on: NDArray[np.bool_]) -> Answer:
        """The answer at scaled values x (k,) for the wishes that are on."""
        found = self.found(x, on)
        missed = np.where(on, self.missed(found), 0.0)
        change = float(np.linalg.norm(x - self.problem.written))
        return Answer(x=x, found=found, missed=missed, ok=not missed.any(), change=change)

    @cached_property
    def limits(self) -> tuple[Array, Array]:
        """Limits (w,) to come to: the wishes' own, less a hair, so that what comes to them meets them."""
        hair = np.minimum(HAIR / self.scale, (self.high - self.low) / 4)
        return self.low + hair, self.high - hair

    def aims(self, before: Array) -> tuple[Array, Array]:
        """Limits (w,) to aim for: with something left to the shop, but nothing that would do as it is must change."""
        low, high = (end.copy() for end in self.limits)
        for i, wish in enumerate(self.wishes):
            if wish.shared:
                spare = LEFT_TO_SHOP * (wish.high - max(wish.low, -wish.high)) / 2
            else:
                spare = {"clearance": MARGIN, "straight": SPARE, "fit place": SPARE}.get(wish.rule, 0.0)
            if spare:
                low[i], high[i] = wish.low + spare, wish.high - (spare if wish.shared else 0.0)
            if wish.miss(before[i]) == 0.0:
                low[i], high[i] = min(low[i], before[i]), max(high[i], before[i])
        return low, high


def solve(
    task: Task,
    *,
    asked: Collection[int] | None = None,
    starts: int = STARTS,
    near: Sequence[Array] = (),
    any_will_do: bool = False,
    tell: Tell | None = None,
) -> Answer:
    """The least changed shape that meets the wishes, or the least miss where none does.

    Args:
        task: what may change and what is wished.
        asked: numbers of the wishes asked for; None = all.
        starts: how many starting shapes to try: the written one, the middle of the ranges, then the best of a
            Latin hypercube.
        near: scaled values (k,) to start from before all others.
        any_will_do: stop at the first shape that meets them, however large the change.
        tell: hears of every shape looked at.
    """
    on = np.array([asked is None or i in asked for i in range(len(task.wishes))], dtype=bool)
    written = task.problem.written
    before = task.answer(written, on)
    if before.ok:
        return before
    aims, limits = task.aims(before.found), task.limits
    lanes = np.stack([*near, *_starts(task, on, starts)])
    best = before
    for pulls, goal in ([] if any_will_do else [(_PULLS, aims)]) + [(_PULLS if any_will_do else _AGAIN, limits)]:
        lanes = _descend(task, lanes, on, goal, pulls, None)
        ends = _distinct(task, lanes, on)
        for number, x in enumerate(ends, start=1):
            answer = _settled(task, x, on, goal)
            if _rank(answer) < _rank(best):
                best = answer
            if tell is not None:
                tell(0.0 if best.ok else best.total, number, len(ends))
            if any_will_do and best.ok:
                break
        if best.ok:
            break
    return best


def _distinct(task: Task, lanes: Array, on: NDArray[np.bool_]) -> list[Array]:
    """The different ends that the starts came to, the best ones first."""
    laid = task.problem.lay_out(lanes, slopes=False)
    smooth = task.problem.measure(laid, task.more).value
    every = np.concatenate([smooth, np.full((len(lanes), len(task.clear.wishes)), np.inf)], axis=1)
    total = np.where(on, task.missed(every), 0.0).sum(axis=1)
    change = np.linalg.norm(lanes - task.problem.written, axis=1)
    found: list[Array] = []
    for i in np.lexsort((change, np.round(total, 3))):
        if all(np.abs(lanes[i] - other).max() > _ALIKE for other in found):
            found.append(lanes[i])
    return found[:_ENDS]


def polish(task: Task, x: Array) -> Answer:
    """The answer nearest to a good shape (k,), where some more is asked of it than it meets."""
    on, limits = np.ones(len(task.wishes), dtype=bool), task.limits
    smooth = np.arange(len(on)) < len(task.smooth)
    near = _descend(task, x[None], on, limits, _AGAIN, None, x)[0]
    quick = task.answer(near, smooth)  # where these fail, nearest places need not be looked for
    return _settled(task, near, on, limits, x) if quick.ok else quick


def _rank(answer: Answer) -> tuple[float, float]:
    return (0.0, round(answer.change, 6)) if answer.ok else (answer.total + 1e-9, 0.0)


def _settled(
    task: Task, x: Array, on: NDArray[np.bool_], limits: tuple[Array, Array], home: Array | None = None
) -> Answer:
    """The answer with clearances: nearest places are looked for and kept away from, until nothing moves any more."""
    best = task.answer(x, on)
    asked = on[len(task.smooth) :]
    if not asked.any():
        return best
    for _ in range(_ROUNDS):
        if best.ok and _aimed(task, best, on, limits):
            break
        moved = _descend(task, x[None], on, limits, _AGAIN, task.clear.group(asked), home)[0]
        answer = task.answer(moved, on)
        step = float(np.abs(moved - x).max())
        stuck = not answer.ok and answer.total > best.total * (1 - _WORTH)
        x = moved
        if answer.ok or answer.total < best.total:
            best = answer
        if step <= _SETTLED or stuck:
            break
    return best


def _aimed(task: Task, answer: Answer, on: NDArray[np.bool_], limits: tuple[Array, Array]) -> bool:
    """Whether an answer meets what was aimed for, clearances included."""
    out = _outside(answer.found, *limits) * task.scale
    return bool((out[on] <= np.maximum(task.met, 1e-3)[on]).all())


def _outside(found: Array, low: Array, high: Array) -> Array:
    """How far quantities lie outside their limits, below nothing where they lie within."""
    above = np.full(found.shape, -np.inf)
    np.subtract(found, high, out=above, where=np.broadcast_to(np.isfinite(high), found.shape))
    return np.asarray(np.maximum(low - found, above))


def _descend(
    task: Task,
    starts: Array,
    on: NDArray[np.bool_],
    limits: tuple[Array, Array],
    pulls: Sequence[float],
    places: NearPlaces | None,
    home: Array | None = None,
) -> Array:
    """Scaled values (b, k) with the least misses and pull, from the strongest pull to the weakest.

    The pull leads to `home` (k,), or else to the written values.
    """
    problem = task.problem
    use = places if places is not None and places.places else None
    columns = list(range(len(task.smooth)))
    columns += [len(task.smooth) + number for number in use.numbers] if use is not None else []
    mine = np.array(columns)
    low, high = limits[0][mine], limits[1][mine]
    scale = np.where(on[mine], task.scale[mine], 0.0)

    def look(x: Array) -> tuple[Array, Array]:
        laid = problem.lay_out(x)
        found = problem.measure(laid, task.more)
        if use is not None:
            found = join([found, use.measure(laid)])
        miss = np.minimum(found.value - low, 0.0) + np.maximum(found.value - high, 0.0)
        return miss * scale, found.slope * (scale * (miss != 0))[..., None]

    ends = descend(look, starts, problem.written if home is None else home, pulls)
    missed = np.abs(look(ends)[0]).max(axis=1, initial=0.0)
    nearly = np.flatnonzero((missed > _EXACT) & (missed < _NEARLY))  # where the way to the least change is a bent gorge
    if len(nearly):
        ends[nearly] = descend(look, ends[nearly], ends[nearly], _AGAIN)
    return ends


def _starts(task: Task, on: NDArray[np.bool_], count: int) -> list[Array]:
    """Scaled starting values: as written, the middle, then the best of a Latin hypercube (M. D. McKay et al., 1979)."""
    written = task.problem.written
    found = [written, np.full(len(written), 0.5)][:count]
    if count > 2:
        rng = np.random.default_rng(_SEED)
        ranks = np.stack([rng.permutation(_SAMPLES) for _ in written], axis=1)
        samples = (ranks + rng.random(ranks.shape)) / _SAMPLES
        laid = task.problem.lay_out(samples, slopes=False)
        smooth = task.problem.measure(laid, task.more).value
        every = np.concatenate([smooth, np.full((_SAMPLES, len(task.clear.wishes)), np.inf)], axis=1)
        total = np.where(on, task.missed(every), 0.0).sum(axis=1)
        found += [samples[i] for i in np.argsort(total, kind="stable")[: count - 2]]
    return found


def with_groups(task: Task, *groups: Group) -> Task:
    """The same task with further smooth wishes."""
    return replace(task, more=(*task.more, *groups))
