"""What the second hand of a pair is bent differently from the first, in words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from exporters.sheets.steps import turn_over
from exporters.sheets.words import counted, listed
from railmodel.bending.mark_out import MarkedBend
from railmodel.bending.orders import Order
from railmodel.bending.plan import PartPlan
from railmodel.tolerances import LENGTH

Cell = Literal["face", "up", "turn", "mark", "set"]


@dataclass(frozen=True, slots=True)
class Differences:
    """What differs from the other hand.

    Args:
        other: the other hand.
        says: a sentence each; at least one.
        cells: what differs in the step table, by bend number.
        none: whether nothing differs.
    """

    other: str
    says: tuple[str, ...]
    cells: dict[int, set[Cell]]
    none: bool


def differences(own: PartPlan, other: PartPlan, say: Callable[[MarkedBend], str]) -> Differences:
    """Compare a part with the other hand of its pair.

    Args:
        own: the part that the sheet is for.
        other: the other hand.
        say: a mark and set angle in words.
    """
    hand = other.marks.reading.part.hand
    says: list[str] = []
    cells: dict[int, set[Cell]] = {}
    seams = own.orders.seam_when_loaded, other.orders.seam_when_loaded
    if seams[0] != seams[1]:
        says.append(f"Load with the weld seam {seams[0]} ({hand}: {seams[1]}).")
    for cell, title, words in _COLUMNS:
        groups: dict[tuple[str, str], list[int]] = {}
        for one, two in zip(own.orders.bends, other.orders.bends, strict=True):
            pair = words(own, one), words(other, two)
            if pair[0] != pair[1]:
                groups.setdefault(pair, []).append(one.bend)
                cells.setdefault(one.bend, set()).add(cell)
        if groups:
            told = [f"{counted(bends)} {mine} ({hand}: {theirs})" for (mine, theirs), bends in groups.items()]
            says.append(f"{title}: {listed(told)}.")
    moved = _moved(own, other, cells)
    if moved:
        theirs = listed([say(bend) for bend in other.marks.bends if bend.bend.number in moved])
        says.append(f"Marks or angles of {counted(moved)} ({hand}: {theirs}).")
    last = _alike(hand, alike=not says, moved=bool(moved))
    return Differences(hand, (*says, *last), cells, not says)


def _turn(plan: PartPlan, order: Order) -> str:
    """The turn in a word or two; nothing for the first bend, which has none."""
    if order.bend == 1:
        return ""
    return _TURNS[order.turn_degrees] + (f" {way}" if (way := turn_over(plan, order.bend)) else "")


_TURNS = {0: "none", 90: "clockwise", -90: "counter-clockwise", 180: "over"}
_COLUMNS: Sequence[tuple[Cell, str, Callable[[PartPlan, Order], str]]] = (
    ("up", "Face up", lambda _, order: order.face_up),
    ("face", "Face on the die", lambda _, order: order.face_on_die),
    ("turn", "Turn before", _turn),
)


def _moved(own: PartPlan, other: PartPlan, cells: dict[int, set[Cell]]) -> list[int]:
    """Numbers of the bends whose mark or set angle is not the other hand's."""
    found = []
    for one, two in zip(own.marks.bends, other.marks.bends, strict=True):
        where = abs(one.mark - two.mark) > LENGTH
        angle = abs(one.set_angle - two.set_angle) > 1e-6
        if where or angle:
            found.append(one.bend.number)
            cells.setdefault(one.bend.number, set()).update({"mark"} if where else set(), {"set"} if angle else set())
    return found


def _alike(hand: str, *, alike: bool, moved: bool) -> tuple[str, ...]:
    if alike:
        return (f"Nothing: marks, angles, faces and turns are those of the {hand} hand.",)
    return () if moved else (f"Marks, set angles and cut length are those of the {hand} hand.",)
