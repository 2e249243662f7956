"""Where to mark the flat tube and what angle to set: the shop's numbers of one part, read from its leading end.

Marks count along the flat stock from its leading cut end, trims included. A rotary-draw bender draws stock from the
tail, so every bend is marked at its start; the stock a bend uses is a little less than its finished arc.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Protocol

from railmodel.job.shop import Die
from railmodel.part import Bend, Reading
from railmodel.tolerances import LENGTH


class SetsAngle(Protocol):
    """Springback: what to set for a finished angle (radians)."""

    def set_angle(self, finished: float) -> float:
        """Angle to set, radians."""
        ...


class UsesTube(Protocol):
    """Tube use: how much stock a bend takes up."""

    def used(self, angle: float, radius: float) -> float:
        """Stock used, mm, by a bend of a finished angle (radians) and radius (mm)."""
        ...


@dataclass(frozen=True, slots=True)
class Tooling:
    """What one bend is made with; the die is None where the shop has none."""

    die: Die | None
    springback: SetsAngle
    tube_use: UsesTube


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedBend:
    """One bend on the flat tube.

    Args:
        bend: which bend it is.
        mark: start of the bend from the leading cut end of the stock, mm.
        mark_at_gauge: where the mark is set on this die: `mark` with the die's mark offset, positive toward the tail.
        finished_angle: angle of the part, radians.
        set_angle: angle to set, rounded to the controller's step, radians.
        exact_set_angle: the same before rounding, radians.
        tube_use: stock the bend takes up, mm.
    """

    bend: Bend
    mark: float
    mark_at_gauge: float
    finished_angle: float
    set_angle: float
    exact_set_angle: float
    tube_use: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkOut:
    """A whole part on the flat tube, lengths in mm.

    Args:
        reading: the part as read from its leading end.
        cut_length: length to cut, trims included.
        trim_lead: extra at the leading end for the clamp to hold, cut off afterwards.
        trim_tail: extra at the tail, cut off afterwards.
        bends: the bends in order.
    """

    reading: Reading
    cut_length: float
    trim_lead: float
    trim_tail: float
    bends: tuple[MarkedBend, ...]

    @property
    def cut_off(self) -> tuple[tuple[str, float], ...]:
        """What is cut off after bending: at the "leading end" and at the "tail", mm; nothing where there is no trim."""
        both = (("leading end", self.trim_lead), ("tail", self.trim_tail))
        return tuple((end, trim) for end, trim in both if trim > LENGTH)

    @property
    def sum_check(self) -> float:
        """Last mark + last tube use + tail + tail trim - cut length, mm: nothing, or the sheet is wrong."""
        tail = float(self.reading.line.rows.tail)
        if not self.bends:
            return tail - self.cut_length
        last = self.bends[-1]
        return last.mark + last.tube_use + tail + self.trim_tail - self.cut_length


def mark_out(reading: Reading, tools: Sequence[Tooling], *, angle_step: float, trim_step: float) -> MarkOut:
    """Marks, set angles, trims and cut length of a part.

    Args:
        reading: the part from its leading end.
        tools: what each bend is made with, in that order.
        angle_step: step of the set angle, radians; 0 for none.
        trim_step: trims are rounded up to this, mm.
    """
    rows = reading.line.rows
    lead, tail = trims(reading, [tool.die for tool in tools], trim_step)
    along, marked = lead, []
    for i, (bend, tool) in enumerate(zip(reading.bends, tools, strict=True)):
        along += float(rows.distance[i])
        angle = float(rows.angle[i])
        exact = tool.springback.set_angle(angle)
        use = tool.tube_use.used(angle, float(rows.radius[i]))
        marked.append(
            MarkedBend(
                bend=bend,
                mark=along,
                mark_at_gauge=along + (tool.die.mark_offset if tool.die else 0.0),
                finished_angle=angle,
                set_angle=round(exact / angle_step) * angle_step if angle_step else exact,
                exact_set_angle=exact,
                tube_use=use,
            )
        )
        along += use
    return MarkOut(
        reading=reading,
        cut_length=along + float(rows.tail) + tail,
        trim_lead=lead,
        trim_tail=tail,
        bends=tuple(marked),
    )


def trims(reading: Reading, dies: Sequence[Die | None], step: float) -> tuple[float, float]:
    """Extra stock (mm) at the leading end and at the tail where a straight is too short for grip or tail."""
    if not dies:
        return 0.0, 0.0
    first, last, rows = dies[0], dies[-1], reading.line.rows
    return (
        _trim(float(rows.distance[0]), first.grip if first else None, step),
        _trim(float(rows.tail), last.tail if last else None, step),
    )


def _trim(found: float, needs: float | None, step: float) -> float:
    short = 0.0 if needs is None else needs - found
    return 0.0 if short <= LENGTH else ceil((short - LENGTH) / step) * step
