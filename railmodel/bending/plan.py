"""The whole plan of a job: marks and orders of every part, the order of work, and the cuts."""

from dataclasses import dataclass
from functools import lru_cache

from railmodel.bending.changeovers import ChangeoverPlan, PartDies, plan_changeovers
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.orders import Orders
from railmodel.bending.rehearsal import BothEnds
from railmodel.bending.rehearse_job import rehearsals
from railmodel.bending.work import shop_work
from railmodel.frame import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPlan:
    """One part on the bender.

    Args:
        marks: marks, angles, trims.
        orders: faces, turns, seam.
        rehearsal: both ends rehearsed; None where the part has no bends or the bender is not described.
    """

    marks: MarkOut
    orders: Orders
    rehearsal: BothEnds | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPlan:
    """The plan of a job.

    Args:
        parts: every part, in the job's order.
        changeovers: the order of work; None where no bend has a die.
    """

    parts: tuple[PartPlan, ...]
    changeovers: ChangeoverPlan | None


@lru_cache(maxsize=8)
def plan_job(frame: Frame) -> JobPlan:
    """The plan of a frame."""
    work = shop_work(frame)
    by_label = {both.front.reading.part.label: both for both in rehearsals(frame)}
    parts = tuple(
        PartPlan(marks=marks, orders=orders, rehearsal=by_label.get(marks.reading.part.label))
        for marks, orders in zip(work.mark_outs, work.orders, strict=True)
    )
    return JobPlan(parts=parts, changeovers=_changeovers(frame))


def _changeovers(frame: Frame) -> ChangeoverPlan | None:
    """The order of work over all parts whose every bend has a die."""
    parts = []
    for marks in shop_work(frame).mark_outs:
        dies = tuple(marked.bend.die for marked in marks.bends)
        named = tuple(die for die in dies if die is not None)
        if named and len(named) == len(dies):
            parts.append(PartDies(label=marks.reading.part.label, dies=named))
    if not parts or frame.shop is None:
        return None
    minutes = {name: die.change_over for name, die in frame.shop.dies.items() if die.change_over is not None}
    return plan_changeovers(parts, minutes=minutes)
