"""The whole plan of a job: marks and orders of every part, the order of work, and the cuts."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import inf

from railmodel.bending.changeovers import ChangeoverPlan, PartDies, plan_changeovers
from railmodel.bending.cut_plan import CutPlan, Piece, Stock, plan_cuts
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.orders import Orders
from railmodel.bending.rehearsal import BothEnds
from railmodel.bending.rehearse_job import rehearsals
from railmodel.bending.work import shop_work
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH


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
        cuts: what is cut from which stick, by tube; tubes the shop lists no stock of are missing.
        no_die: labels of parts that the order of work leaves out: not every bend of theirs has a die of the shop's.
        no_stock: tubes that the cuts leave out.
    """

    parts: tuple[PartPlan, ...]
    changeovers: ChangeoverPlan | None
    cuts: Mapping[str, CutPlan]
    no_die: tuple[str, ...]
    no_stock: tuple[str, ...]


@lru_cache(maxsize=8)
def plan_job(frame: Frame) -> JobPlan:
    """The plan of a frame."""
    work = shop_work(frame)
    by_label = {both.front.reading.part.label: both for both in rehearsals(frame)}
    parts = tuple(
        PartPlan(marks=marks, orders=orders, rehearsal=by_label.get(marks.reading.part.label))
        for marks, orders in zip(work.mark_outs, work.orders, strict=True)
    )
    changeovers, no_die = _changeovers(frame)
    cuts = _cuts(frame)
    no_stock = tuple(sorted({part.tube for part in frame.parts} - set(cuts)))
    return JobPlan(parts=parts, changeovers=changeovers, cuts=cuts, no_die=no_die, no_stock=no_stock)


def sticks_of(frame: Frame, tube: str) -> list[Stock]:
    """The sticks the shop has or buys of a tube."""
    if frame.shop is None:
        return []
    return [
        Stock(
            length=stock.length, kerf=stock.kerf, end_trim=stock.end_trim, count=stock.count, price=stock.price,
            keep_drop=inf if stock.keep_drop is None else stock.keep_drop, name=f"{tube} {frame.say(stock.length)}",
        )
        for stock in frame.shop.stock
        if stock.tube == tube
    ]  # fmt: skip


def _cuts(frame: Frame) -> dict[str, CutPlan]:
    pieces: dict[str, list[Piece]] = {}
    for marks in shop_work(frame).mark_outs:
        if marks.cut_length > LENGTH:
            part = marks.reading.part
            pieces.setdefault(part.tube, []).append(Piece(part.label, marks.cut_length))
    for stock in frame.shop.stock if frame.shop is not None else ():
        if stock.test_pieces and stock.tube in pieces:
            pieces[stock.tube].append(Piece("test piece", stock.test_pieces))
    return {tube: plan_cuts(sticks, own) for tube, own in pieces.items() if (sticks := sticks_of(frame, tube))}


def _changeovers(frame: Frame) -> tuple[ChangeoverPlan | None, tuple[str, ...]]:
    """The order of work over all parts whose every bend has a die, and labels of the parts left out."""
    dies_owned = frame.shop.dies if frame.shop is not None else {}
    parts, left_out = [], []
    for marks in shop_work(frame).mark_outs:
        dies = tuple(marked.bend.die for marked in marks.bends)
        named = tuple(die for die in dies if die is not None and die in dies_owned)
        if len(named) < len(dies):
            left_out.append(marks.reading.part.label)
        elif named:
            parts.append(PartDies(label=marks.reading.part.label, dies=named))
    if not parts:
        return None, tuple(left_out)
    minutes = {name: die.change_over for name, die in dies_owned.items() if die.change_over is not None}
    return plan_changeovers(parts, minutes=minutes), tuple(left_out)
