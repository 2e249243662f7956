"""A whole job solved: dies where the job leaves them open, the shape, round numbers, and the text that holds them.

What is answered is measured on the changed text, read and built again. mm, radians.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from railmodel.errors import InputError
from railmodel.fitting.conflict import Conflict, conflicts
from railmodel.fitting.near import clearances_of
from railmodel.fitting.open_dies import at_level, level_count, naming, open_parts, same_dies, same_ways
from railmodel.fitting.problem import problem_of, right_part
from railmodel.fitting.rounding import land_angles, land_lengths
from railmodel.fitting.solve import STARTS, Answer, Task, Tell, solve
from railmodel.fitting.variables import Variable, variables_of
from railmodel.fitting.wish_groups import LargestAngle
from railmodel.fitting.write_back import DIGITS, changes_of
from railmodel.frame import Frame, build_frame
from railmodel.geometry.rows import Array
from railmodel.job.edit import set_values
from railmodel.job.reader import JobFile, job_from
from railmodel.job.yaml_tree import Loc

MM_STEP = 1.0
"""Lengths of a job in mm land on whole millimetres where they can."""

_TRIES = 24

_WAY_TURNS = 3
"""Times that dies are chosen anew because the shape found turns bends to the other way."""

_SEED = 7


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """A job solved.

    Args:
        source: the job as it was.
        task: what may change and what is wished; wishes about whole degrees stand behind the job's other smooth ones.
        answer: the shape found, or the one that misses least.
        before: (w,) each wish's quantity as the job was written; None where a part made no shape then.
        after: (w,) the same on the changed job.
        changes: what is to be written where.
        text: the changed job file.
        frame: the changed job, built.
        conflicts: the wishes that fight each other, where not all can be met.
        landed: whether angles came to lie on the step asked for; None where none was asked, or nothing can move.
    """

    source: JobFile
    task: Task
    answer: Answer
    before: Array | None
    after: Array
    changes: dict[Loc, str]
    text: str
    frame: Frame
    conflicts: tuple[Conflict, ...]
    landed: bool | None

    @property
    def ok(self) -> bool:
        """Whether every wish is met, angles on their step included."""
        return self.answer.ok and self.landed is not False


def solve_job(
    source: JobFile, limits: Callable[[Frame], LargestAngle], *, step: float | None = None, starts: int = STARTS,
    tell: Tell | None = None,
) -> Solved:  # fmt: skip
    """Solve a job.

    Args:
        source: the job.
        limits: what a shop can bend, of a frame.
        step: step on which angles are to land, radians; None leaves them where they are.
        starts: starting shapes to try.
        tell: hears of every shape looked at.

    Raises:
        InputError: no value is free, no value makes a shape, or a keep-clear file cannot be used.
    """
    variables = variables_of(source)
    if not variables:
        raise InputError(
            f"{source.path.name}: no value is free; put a range beside what may change, such as "
            "{at: [12, 15, 24], free: {z: [22, 26]}} or {straight: 30, free: [20, 40]}"
        )
    first = _buildable(source, variables)
    free = sorted({int(variable.loc[1]) for variable in variables})
    levels = level_count(first, free)
    for level in range(levels):
        last, shape = level == levels - 1, first
        for turn in range(_WAY_TURNS):
            frame = first if levels == 1 and not turn else build_frame(at_level(first, free, level, shape))
            if not _whole(frame, variables):
                break
            task = _task(frame, variables, limits(frame), [] if last else open_parts(first, free))
            before = None
            if first.source is source:
                before = _measured(task if frame is first else _task(first, variables, limits(first), []))
            answer = solve(task, starts=starts, tell=tell)
            if not (answer.ok or last):
                break
            solved = _finished(source, task, answer, before, step, {})
            if same_dies(frame, solved.frame, free) or not answer.ok:
                return solved
            if same_ways(shape, solved.frame, free):
                if last:
                    return _finished(source, task, answer, before, step, naming(source, frame, free))
                break
            shape = solved.frame  # a bend that came to go the other way takes other dies
        else:
            if last:
                return solved
    raise InputError(f"{source.path.name}: none of the shop's dies makes a shape of this job; name a die or a radius")


def _task(frame: Frame, variables: tuple[Variable, ...], largest: LargestAngle, roomy: Sequence[int]) -> Task:
    problem = replace(problem_of(frame, largest, roomy=roomy), variables=variables)
    return Task(problem, clearances_of(frame, problem.plans, problem.free))


def _buildable(source: JobFile, variables: tuple[Variable, ...]) -> Frame:
    """The job built as written, or else on the first values tried that make a shape of every part with free values.

    Raises:
        InputError: none do.
    """
    frame = first = build_frame(source)
    tries = _tries(variables)
    while not _whole(frame, variables):
        values = next(tries, None)
        if values is None:
            names = {variable.part for variable in variables}
            faults = [fault.says for fault in first.faults if fault.part in names]
            raise InputError([f"{source.path.name}: {says}; no free value tried makes it a shape" for says in faults])
        text = set_values(source.text, changes_of(source, variables, values, 6))
        frame = build_frame(job_from(text.encode(), source.path))
    return frame


def _tries(variables: tuple[Variable, ...]) -> Iterator[Array]:
    """Values to try: within the ranges as near as can be to what is written, the middle, then at random."""
    low, high = (np.array([getattr(variable, end) for variable in variables]) for end in ("low", "high"))
    yield np.array([variable.nearest for variable in variables])
    yield (low + high) / 2
    rng = np.random.default_rng(_SEED)
    for _ in range(_TRIES):
        yield low + rng.random(len(low)) * (high - low)


def _whole(frame: Frame, variables: tuple[Variable, ...]) -> bool:
    return all(right_part(frame, variable.part) is not None for variable in variables)


def _measured(task: Task) -> Array:
    """(w,) what is wished, on the job as its free values are written."""
    laid = task.problem.as_written()
    smooth = task.problem.measure(laid, task.more).value[0]
    return np.concatenate([smooth, task.clear.look(laid, np.ones(len(task.clear.wishes), dtype=bool))])


def _finished(
    source: JobFile, task: Task, answer: Answer, before: Array | None, step: float | None, dies: dict[Loc, str]
) -> Solved:
    """The answer on round numbers, written and read back, with dies named where they must be."""
    fights = () if answer.ok else conflicts(task, answer)
    landed: bool | None = None
    exact = (task, answer)
    if answer.ok and step is not None:
        on_step = land_angles(task, answer, step)
        landed = on_step is not None
        exact = on_step or exact
    trials = [exact]
    if answer.ok:
        tape = 25.4 / (source.shop.tape_step if source.shop is not None else 16)
        trials.insert(0, land_lengths(*exact, tape if source.job.units == "in" else MM_STEP))
    for chosen, found in trials:
        for digits in DIGITS:
            solved = _written(source, chosen, found, before, digits, fights, landed, dies)
            if not answer.ok or not chosen.missed(solved.after).any():
                return solved
    return solved


def _written(
    source: JobFile, task: Task, answer: Answer, before: Array | None, digits: int, fights: tuple[Conflict, ...],
    landed: bool | None, dies: dict[Loc, str],
) -> Solved:  # fmt: skip
    """The answer in the job's text, with so many decimals, and what is then measured."""
    variables = variables_of(source)
    changes = changes_of(source, variables, task.problem.values(answer.x), digits) | dies
    text = set_values(source.text, changes)
    changed = job_from(text.encode(), source.path)
    now = replace(task, problem=replace(task.problem, variables=variables_of(changed)))
    if before is not None:  # wishes about whole degrees came later
        own = replace(task, problem=replace(task.problem, variables=variables))
        smooth = own.problem.measure(own.problem.as_written(), own.more).value[0]
        before = np.concatenate([smooth, before[len(before) - len(task.clear.wishes) :]])
    return Solved(
        source=source, task=task, answer=answer, before=before, after=_measured(now), changes=changes, text=text,
        frame=build_frame(changed), conflicts=fights, landed=landed,
    )  # fmt: skip
