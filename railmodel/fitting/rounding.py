"""Values a person can work with: angles on whole or half degrees, lengths on the marks of a tape.

Angles first: each is put on its nearest step and the rest solved again, then the angles are fixed one after the other,
the one nearest to a step first, on its nearest step and on the next on the other side, as long as that promises a
smaller change (branch and bound: L. A. Wolsey, Integer Programming, 2nd edition, 2020, chapter 7). Then lengths: all at
once on the nearest marks, or else one after the other as far as the wishes stay met.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import ceil, floor

import numpy as np

from railmodel.fitting.problem import Problem
from railmodel.fitting.solve import Answer, Task, polish, with_groups
from railmodel.fitting.wishes import AngleSteps, Wish
from railmodel.geometry.rows import Array

SOLVES = 40
"""Searches made for angles at most."""

_SAME_CHANGE = 1e-4
"""Changes (parts of ranges) that differ by less than this are one."""

_ENOUGH = 3
"""Lengths in a row that cannot be put on a mark, after which no more are tried."""

_ON_STEP = 1e-7
"""An angle this close to a step (radians) is on it."""

_MOVES = 1e-9
"""An angle whose slope by every free value is less than this does not change."""

Bend = tuple[int, int]
"""Number of a part and index of a bend from its front."""


Landed = tuple[Task, Answer]
"""A shape on its steps, with the task that keeps it there."""


def land_angles(task: Task, answer: Answer, step: float) -> Landed | None:
    """The shape with every angle that moves on a multiple of `step` (radians), changed as little as was found.

    Returns:
        None where no combination was found that meets every wish.
    """
    search = _Search(task, step, answer.x)
    angles = moving_angles(task.problem, answer.x)
    search.look(answer, {bend: max(round(angle / step), 1) * step for bend, angle in angles.items()})
    search.branch(answer, {})
    return search.best


@dataclass(slots=True)
class _Search:
    """A search over which step each angle is put on.

    Args:
        task: what is wished besides.
        step: of the angles, radians.
        home: (k,) the shape to stay near to.
        left: searches that may still be made.
        best: the shape nearest to it so far.
    """

    task: Task
    step: float
    home: Array
    left: int = SOLVES
    best: Landed | None = None

    def look(self, near: Answer, fixed: Mapping[Bend, float]) -> Answer | None:
        """The shape with some angles fixed; None where a wish is missed, or where it is no better than the best."""
        if self.left <= 0:
            return None
        self.left -= 1
        landed = with_groups(self.task, *_steps(self.task, fixed))
        found = polish(landed, near.x)
        if not found.ok or (self.best is not None and self.away(found) >= self.away(self.best[1]) - _SAME_CHANGE):
            return None
        if len(fixed) == len(moving_angles(self.task.problem, found.x)):
            self.best = landed, found
        return found

    def away(self, answer: Answer) -> float:
        """How far a shape lies from the one to stay near to, in parts of the ranges."""
        return float(np.linalg.norm(answer.x - self.home))

    def branch(self, answer: Answer, fixed: dict[Bend, float]) -> None:
        """Fix one more angle, the one nearest to a step, on either side."""
        moving = moving_angles(self.task.problem, answer.x)
        angles = {bend: angle for bend, angle in moving.items() if bend not in fixed}
        if not angles:
            return
        bend = min(angles, key=lambda one: abs(angles[one] - round(angles[one] / self.step) * self.step))
        for count in _beside(angles[bend] / self.step):
            more = fixed | {bend: count * self.step}
            found = self.look(answer, more)
            if found is not None:
                self.branch(found, more)


def moving_angles(problem: Problem, x: Array) -> dict[Bend, float]:
    """The angles (radians) that depend on a free value, at scaled values x (k,)."""
    laid = problem.lay_out(x[None])
    found = {}
    for part in sorted(problem.free & problem.plans.keys()):
        angle = laid[part].angle
        for bend in np.flatnonzero(np.abs(angle.slope[0]).max(axis=-1, initial=0.0) > _MOVES):
            found[part, int(bend)] = float(angle.value[0, bend])
    return found


def _steps(task: Task, fixed: Mapping[Bend, float]) -> Iterator[AngleSteps]:
    """Wishes that hold angles where they are fixed, part by part."""
    for part in dict.fromkeys(part for part, _ in fixed):
        bends = {bend: angle for (owner, bend), angle in fixed.items() if owner == part}
        name = task.problem.plans[part].real.name
        wishes = tuple(
            Wish(
                name=f"{name}: bend {bend + 1} on {np.degrees(angle):g} degrees", rule="angle step", unit="angle",
                low=angle, high=angle, parts=(part,),
            )
            for bend, angle in bends.items()
        )  # fmt: skip
        yield AngleSteps(part, tuple(bends), wishes)


def _beside(steps: float) -> Iterator[int]:
    """The two whole numbers around a number, the nearer one first, none below 1."""
    low, high = floor(steps + _ON_STEP), ceil(steps - _ON_STEP)
    for count in sorted({low, high}, key=lambda one: abs(one - steps)):
        if count >= 1:
            yield count


def land_lengths(task: Task, answer: Answer, step: float) -> tuple[Task, Answer]:
    """The shape with as many free lengths as can be on multiples of `step` (mm), every wish still met.

    Returns:
        The task whose ranges hold the lengths that landed, and the shape.
    """
    problem = task.problem
    values = problem.values(answer.x)
    marks = {}
    for number, variable in enumerate(problem.variables):
        mark = round(values[number] / step) * step
        unchanged = abs(values[number] - variable.written) < _ON_STEP
        if variable.kind == "length" and not unchanged and variable.low <= mark <= variable.high:
            marks[number] = mark
    every = _held(task, marks)
    found = polish(every, answer.x)
    if found.ok:
        return every, found
    failed = 0
    for number in sorted(marks, key=lambda one: abs(values[one] - marks[one])):
        trial = _held(task, {number: marks[number]})
        found = polish(trial, answer.x)
        failed = 0 if found.ok else failed + 1
        if found.ok:
            task, answer = trial, found
        if failed == _ENOUGH:
            break
    return task, answer


def _held(task: Task, values: Mapping[int, float]) -> Task:
    """The task with some free values held where they are told."""
    variables = tuple(
        replace(variable, low=values[i], high=values[i]) if i in values else variable
        for i, variable in enumerate(task.problem.variables)
    )
    return replace(task, problem=replace(task.problem, variables=variables))
