"""The plan as tables to read at the bench."""

from math import degrees
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.show import PLAIN_WIDTH, grid
from railmodel.bending.cautions import BENDING, FIRST, NO_CERTIFICATE
from railmodel.bending.clearing import KeepOut
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import JobPlan, PartPlan, plan_job
from railmodel.bending.rehearsal import Rehearsal
from railmodel.bending.rehearse_job import chosen
from railmodel.frame import Frame

if TYPE_CHECKING:
    from rich.console import Console


def plan_text(frame: Frame) -> str:
    """The plan as plain text."""
    from io import StringIO

    from rich.console import Console

    out = StringIO()
    show_plan(frame, Console(file=out, highlight=False, width=PLAIN_WIDTH))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def show_plan(frame: Frame, console: "Console") -> None:
    """Print the plan to read at the bench."""
    plan = plan_job(frame)
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: plan of work", style="bold"))
    console.print(Text(FIRST, style="italic"))
    for part in plan.parts:
        _show_part(frame, part, console)
    _show_order(plan, console)
    _show_cuts(frame, plan, console)
    console.print()
    console.print(Text("Cautions", style="bold"))
    for caution in (*BENDING, NO_CERTIFICATE):
        console.print(Text(f"  - {caution}"))


def _show_part(frame: Frame, part: PartPlan, console: "Console") -> None:
    marks = part.marks
    label = marks.reading.part.label
    console.print()
    console.print(Text(f"{label}: cut {frame.mark(marks.cut_length)}", style="bold"))
    for line in _notes(frame, part):
        console.print(Text(f"  {line}"))
    if not marks.bends:
        return
    table = grid("bend", "die", "mark", "mark at gauge", "on the die", "up", "set", "finished", "tube use")
    for marked, order in zip(marks.bends, part.orders.bends, strict=True):
        cells = (
            str(marked.bend.number), marked.bend.die or "-", frame.mark(marked.mark), frame.mark(marked.mark_at_gauge),
            order.face_on_die, order.face_up, f"{degrees(marked.set_angle):.1f}",
            f"{degrees(marked.finished_angle):.2f}", frame.say(marked.tube_use),
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    for order in part.orders.bends:
        console.print(Text(f"  before bend {order.bend}: {order.turn}"))
    console.print(table)


def _notes(frame: Frame, part: PartPlan) -> list[str]:
    marks, reading = part.marks, part.marks.reading
    if not marks.bends:
        return []
    notes = [f"{reading.end} end leads; marks count from the leading cut end; turns are {STANDING}"]
    if marks.trim_lead:
        notes.append(f"leading trim {frame.say(marks.trim_lead)}: cut off after bending")
    if marks.trim_tail:
        notes.append(f"tail trim {frame.say(marks.trim_tail)}: cut off after bending")
    if part.orders.seam_when_loaded:
        notes.append(f"load with the weld seam {part.orders.seam_when_loaded} (it ends up {reading.part.seam})")
    if part.rehearsal is not None:
        notes.append(part.rehearsal.why.removeprefix(f"{reading.part.label}: "))
        arc = _widest(chosen(part.rehearsal))
        if arc is not None:
            notes.append(f"keep people out of {frame.say(arc.radius)} about the die axis, and of the tube's own lane")
    notes.append(_sum(frame, marks))
    return notes


def _widest(rehearsal: Rehearsal) -> KeepOut | None:
    arcs = [step.keep_out for step in rehearsal.steps if step.keep_out is not None and step.keep_out.kind == "arc"]
    return max(arcs, key=lambda arc: arc.radius, default=None)


def _sum(frame: Frame, marks: MarkOut) -> str:
    last, tail = marks.bends[-1], float(marks.reading.line.rows.tail) + marks.trim_tail
    return (
        f"sum: last mark {frame.say(last.mark)} + tube use {frame.say(last.tube_use)} + tail {frame.say(tail)} "
        f"= cut length {frame.say(marks.cut_length)}"
    )


def _show_order(plan: JobPlan, console: "Console") -> None:
    if plan.changeovers is None:
        return
    console.print()
    console.print(Text(f"Order of work: {plan.changeovers.says}", style="bold"))
    table = grid("set-up", "die", "parts")
    for i, stage in enumerate(plan.changeovers.stages):
        table.add_row(str(i + 1), Text(stage.die), Text(", ".join(stage.parts)))
    console.print(table)


def _show_cuts(frame: Frame, plan: JobPlan, console: "Console") -> None:
    for tube, cuts in plan.cuts.items():
        console.print()
        console.print(Text(f"Cut list, tube {tube}: {cuts.says}", style="bold"))
        table = grid("stick", "length", "pieces in the order they are cut", "drop")
        for i, stick in enumerate(cuts.sticks):
            pieces = "; ".join(f"{piece.label} {frame.mark(piece.length)}" for piece in stick.pieces)
            drop = f"{frame.say(stick.drop)}{', keep' if stick.keep else ''}"
            table.add_row(str(i + 1), frame.say(stick.stock.length), Text(pieces), drop)
        console.print(table)
