"""The plan as tables to read at the bench."""

from collections.abc import Sequence
from math import degrees
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.plan_answer import stops_of, turn_over
from railmodel.app.printed import grid, text_of
from railmodel.bending.cautions import FIRST, cautions
from railmodel.bending.clearing import KeepOut
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import JobPlan, PartPlan, plan_job
from railmodel.bending.rehearsal import Rehearsal
from railmodel.bending.rehearse_job import chosen
from railmodel.bending.set_angle import set_angle
from railmodel.bending.work import shop_work
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH

if TYPE_CHECKING:
    from rich.console import Console


def plan_text(frame: Frame, findings: Sequence[Finding]) -> str:
    """The plan as plain text."""
    return text_of(lambda console: show_plan(frame, findings, console))


def show_plan(frame: Frame, findings: Sequence[Finding], console: "Console") -> None:
    """Print the plan to read at the bench; what stops a part stands with the part."""
    plan, work = plan_job(frame), shop_work(frame)
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: plan of work", style="bold"))
    console.print(Text(FIRST, style="italic"))
    if any(marks.bends for marks in work.mark_outs):
        console.print(Text(f"Faces and turns are for a bender that bends {work.sense}, seen from above."))
    for fault in frame.faults:
        console.print(Text(f"NOT PLANNED: {fault.says}", style="bold"))
    stops = {part.marks.reading.part.label: stops_of(part.marks.reading.part, findings) for part in plan.parts}
    for part in plan.parts:
        _show_part(frame, part, stops[part.marks.reading.part.label], console)
    _show_tools(frame, console)
    _show_order(plan, console)
    _show_cuts(frame, plan, {label for label, says in stops.items() if says}, console)
    console.print()
    console.print(Text("Cautions", style="bold"))
    for caution in cautions(frame):
        console.print(Text(f"  - {caution}"))


def _show_part(frame: Frame, part: PartPlan, stops: Sequence[str], console: "Console") -> None:
    marks = part.marks
    label = marks.reading.part.label
    console.print()
    console.print(Text(f"{label}: cut {frame.mark(marks.cut_length)}", style="bold"))
    for says in stops:
        console.print(Text(f"  DO NOT CUT: {says}", style="bold"))
    for line in (*_ends(frame, part), *_notes(frame, part)):
        console.print(Text(f"  {line}"))
    if not marks.bends:
        return
    table = grid("bend", "die", "mark", "mark at gauge", "on the die", "up", "set", "finished", "tube use")
    for marked, order in zip(marks.bends, part.orders.bends, strict=True):
        cells = (
            str(marked.bend.number), marked.bend.die or "-", frame.mark(marked.mark), frame.mark(marked.mark_at_gauge),
            order.face_on_die, order.face_up, set_angle(frame, marked.set_angle),
            f"{degrees(marked.finished_angle):.2f}", frame.say(marked.tube_use),
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    for order in part.orders.bends:
        over = turn_over(part, order.bend)
        way = f" ({over}, where there is more room)" if over else ""
        console.print(Text(f"  before bend {order.bend}: {order.turn}{way}"))
    console.print(table)


def _ends(frame: Frame, part: PartPlan) -> list[str]:
    """How a crossmember's ends are cut."""
    words = []
    for end, cut in zip(("front", "rear"), part.marks.reading.part.cuts or (), strict=False):
        how = f"{end} end {cut.kind}, against {cut.rail}"
        if cut.kind != "square":
            how += f", {degrees(cut.angle):.2f} degrees off square"
        elif cut.gap > LENGTH:
            how += f", gap of {frame.say(cut.gap)} at one side"
        words.append(how)
    return words


def _notes(frame: Frame, part: PartPlan) -> list[str]:
    marks, reading = part.marks, part.marks.reading
    if not marks.bends:
        return []
    notes = [f"{reading.end} end leads; marks count from the leading cut end; turns are as seen {STANDING}"]
    if marks.trim_lead:
        notes.append(f"leading trim {frame.say(marks.trim_lead)}: cut off after bending")
    if marks.trim_tail:
        notes.append(f"tail trim {frame.say(marks.trim_tail)}: cut off after bending")
    if part.orders.seam_when_loaded:
        notes.append(f"load with the weld seam {part.orders.seam_when_loaded} (it ends up {reading.part.seam})")
    if part.orders.seam_on_outer_wall:
        numbers = ", ".join(map(str, part.orders.seam_on_outer_wall))
        notes.append(f"the weld seam lies on the outer, stretched wall of bend {numbers}: watch it for splits")
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


def _show_tools(frame: Frame, console: "Console") -> None:
    """What the set angles and the tube use rest on."""
    tools = shop_work(frame).tools
    if tools:
        console.print()
        console.print(Text("What set angles and tube use rest on", style="bold"))
    for tool in tools:
        die = "no die" if tool.name is None else f"die {tool.name}"
        console.print(
            Text(
                f"  {die}, tube {tool.tube}, {tool.way} way, radius {frame.say(tool.radius)}: springback from "
                f"{tool.springback.source}; tube use from {tool.tube_use.source}"
            )
        )


def _show_order(plan: JobPlan, console: "Console") -> None:
    if plan.changeovers is not None:
        console.print()
        console.print(Text(f"Order of work: {plan.changeovers.says}", style="bold"))
        table = grid("set-up", "die", "parts")
        for i, stage in enumerate(plan.changeovers.stages):
            table.add_row(str(i + 1), Text(stage.die), Text(", ".join(stage.parts)))
        console.print(table)
    if plan.no_die:
        console.print(Text(f"Not in the order of work, for want of a die: {', '.join(plan.no_die)}"))


def _show_cuts(frame: Frame, plan: JobPlan, stopped: set[str], console: "Console") -> None:
    for tube, cuts in plan.cuts.items():
        console.print()
        console.print(Text(f"Cut list, tube {tube}: {cuts.says}", style="bold"))
        table = grid("stick", "length", "pieces in the order they are cut", "drop")
        for i, stick in enumerate(cuts.sticks):
            pieces = "; ".join(
                f"{piece.label} {frame.mark(piece.length)}{' DO NOT CUT' if piece.label in stopped else ''}"
                for piece in stick.pieces
            )
            drop = f"{frame.say(stick.drop)}{', keep' if stick.keep else ''}"
            table.add_row(str(i + 1), frame.say(stick.stock.length), Text(pieces), drop)
        console.print(table)
    if plan.no_stock:
        console.print()
        console.print(Text(f"No cut list, for want of stock in the shop file: tube {', '.join(plan.no_stock)}"))
