"""The solver's problem: a job's free values, and everything that is wished of the shape they make.

Values are scaled: x = 0 is the low end of each range and x = 1 the high end. Everything on a pair is worked out on its
right hand; what belongs to the left is mirrored over.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from railmodel.fitting.dual import Dual, join
from railmodel.fitting.lay_out import Laid, Plan
from railmodel.fitting.variables import Variable, variables_of
from railmodel.fitting.wish_groups import LargestAngle, groups_of
from railmodel.fitting.wishes import Group, Wish
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart


@dataclass(frozen=True, eq=False)
class Problem:
    """What may change and what is wished.

    Args:
        frame: the job as built, which gives radii, faces and sections.
        variables: the free values.
        plans: how each part that makes a shape is laid out, by its number in the job.
        groups: the smooth wishes; clearances are kept apart.
    """

    frame: Frame
    variables: tuple[Variable, ...]
    plans: dict[int, Plan]
    groups: tuple[Group, ...]

    @cached_property
    def free(self) -> frozenset[int]:
        """Numbers of the parts that change."""
        return frozenset(int(variable.loc[1]) for variable in self.variables)

    @cached_property
    def wishes(self) -> tuple[Wish, ...]:
        """The smooth wishes, in the order of the columns of `measure`."""
        return tuple(wish for group in self.groups for wish in group.wishes)

    @cached_property
    def low(self) -> Array:
        """(k,) low end of each range."""
        return np.array([variable.low for variable in self.variables])

    @cached_property
    def width(self) -> Array:
        """(k,) width of each range."""
        return np.array([variable.high - variable.low for variable in self.variables])

    @cached_property
    def written(self) -> Array:
        """(k,) scaled values nearest to those written."""
        return self.scaled(np.array([variable.nearest for variable in self.variables]))

    def scaled(self, values: Array) -> Array:
        """(..., k) values as parts of their ranges."""
        return np.asarray((values - self.low) / np.where(self.width > 0, self.width, 1.0))

    def values(self, x: Array) -> Array:
        """(..., k) values in mm and radians, exactly within their ranges."""
        high = self.low + self.width
        return np.clip(self.low + x * self.width, self.low, high)

    @cached_property
    def _still(self) -> dict[int, Laid]:
        """The parts that do not change, laid out once with a batch of one."""
        return self._unmoved(len(self.variables))

    def _unmoved(self, count: int) -> dict[int, Laid]:
        none = Dual.constant(np.zeros((1, len(self.variables))), count)
        return {index: plan.lay_out(none) for index, plan in self.plans.items() if index not in self.free}

    def lay_out(self, x: Array, *, slopes: bool = True) -> dict[int, Laid]:
        """Every part for scaled values (b, k); derivatives are by x."""
        return self._laid(self.values(x), slopes)

    def as_written(self) -> dict[int, Laid]:
        """The parts as the job has them, values outside their ranges included, without derivatives."""
        return self._laid(np.array([[variable.written for variable in self.variables]]), False)

    def _laid(self, values: Array, slopes: bool) -> dict[int, Laid]:
        count = len(self.variables) if slopes else 0
        slope = np.diag(self.width)[:, :count]
        given = Dual(values, np.broadcast_to(slope, (*values.shape, count)))
        with np.errstate(divide="ignore", invalid="ignore"):  # points on one spot make no shape, and no miss counts
            moved = {index: self.plans[index].lay_out(given) for index in self.free}
        return (self._still if slopes else self._unmoved(0)) | moved

    def measure(self, laid: dict[int, Laid], more: Sequence[Group] = ()) -> Dual:
        """(b, w) every smooth quantity, and those of more groups behind them."""
        lanes = max((len(laid[index].end.value) for index in self.free), default=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return join([_widened(group.measure(laid), lanes) for group in (*self.groups, *more)])


def _widened(found: Dual, lanes: int) -> Dual:
    """Quantities of parts that stand still, once for every lane."""
    if len(found.value) == lanes:
        return found
    return Dual(
        np.broadcast_to(found.value, (lanes, *found.value.shape[1:])),
        np.broadcast_to(found.slope, (lanes, *found.slope.shape[1:])),
    )


def plans_of(frame: Frame, variables: Sequence[Variable]) -> dict[int, Plan]:
    """How every part of the job that makes a shape is laid out; crossmembers follow their rails and have none."""
    where = {variable.loc: number for number, variable in enumerate(variables)}
    found = {}
    for index, part in enumerate(frame.job.parts):
        real = right_part(frame, part.name)
        if real is not None:
            radius = real.line.rows.radius
            found[index] = Plan(index=index, written=part, real=real, radius=radius, where=where)
    return found


def right_part(frame: Frame, name: str) -> RailPart | None:
    """The part of a name as written: the right one of a pair, or the single one; None where it makes no shape."""
    for part in frame.parts:
        if part.name == name and part.hand != "left":
            return part
    return None


def problem_of(frame: Frame, largest: LargestAngle, *, roomy: Collection[int] = ()) -> Problem:
    """The problem of a job.

    Args:
        frame: the job as built.
        largest: what the shop can bend.
        roomy: numbers of the parts whose end straights must hold grip and tail without a trim, as dies chosen for the
            job do.
    """
    variables = variables_of(frame.source)
    plans = plans_of(frame, variables)
    free = {int(variable.loc[1]) for variable in variables}
    return Problem(frame, variables, plans, tuple(groups_of(frame, plans, free, largest, roomy=roomy)))
