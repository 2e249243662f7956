"""What `plan` answers: as plain data in the job's unit and degrees, and as tables to read."""

from math import degrees
from typing import Any

from railmodel.bending.cautions import BENDING, FIRST, NO_CERTIFICATE
from railmodel.bending.clearing import KeepOut
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import JobPlan, PartPlan, plan_job
from railmodel.bending.rehearsal import Rehearsal
from railmodel.bending.rehearse_job import chosen
from railmodel.frame import Frame
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]


def plan_answer(frame: Frame) -> Answer:
    """The whole plan as plain data."""
    plan, unit = plan_job(frame), frame.unit
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "units": {"length": unit, "angle": "deg"},
        "turns": f"as seen {STANDING}",
        "parts": [_part(part, unit) for part in plan.parts],
        "rehearsal": [
            _rehearsal(rehearsal, unit, part.rehearsal.best)
            for part in plan.parts
            if part.rehearsal is not None
            for rehearsal in (part.rehearsal.front, part.rehearsal.rear)
        ],
        "changeovers": _changeovers(plan),
        "cut_plan": _cut_plan(plan, unit),
        "cautions": [FIRST, *BENDING, NO_CERTIFICATE],
    }


def _part(part: PartPlan, unit: Unit) -> Answer:
    marks, reading = part.marks, part.marks.reading
    return {
        "part": reading.part.name,
        "hand": reading.part.hand,
        "leading_end": reading.end,
        "cut_length": to_unit(marks.cut_length, unit),
        "trim_lead": to_unit(marks.trim_lead, unit),
        "trim_tail": to_unit(marks.trim_tail, unit),
        "tail": to_unit(float(reading.line.rows.tail), unit),
        "seam": reading.part.seam,
        "seam_when_loaded": part.orders.seam_when_loaded,
        "steps": [
            {
                "bend": marked.bend.number,
                "die": marked.bend.die,
                "mark": to_unit(marked.mark, unit),
                "mark_at_gauge": to_unit(marked.mark_at_gauge, unit),
                "finished_angle": degrees(marked.finished_angle),
                "set_angle": degrees(marked.set_angle),
                "tube_use": to_unit(marked.tube_use, unit),
                "face_on_die": order.face_on_die,
                "face_up": order.face_up,
                "turn": order.turn,
                "turn_degrees": order.turn_degrees,
                "seam": order.seam,
            }
            for marked, order in zip(marks.bends, part.orders.bends, strict=True)
        ],
    }


def _rehearsal(rehearsal: Rehearsal, unit: Unit, best: str | None) -> Answer:
    least = rehearsal.least
    close = least.close if least is not None else None
    return {
        "part": rehearsal.reading.part.name,
        "hand": rehearsal.reading.part.hand,
        "leading_end": rehearsal.reading.end,
        "ok": rehearsal.ok,
        "least_gap": None if close is None else to_unit(close.gap, unit),
        "step": None if least is None else least.name,
        "against": None if close is None else close.against,
        "best": rehearsal.reading.end == best,
        "steps": [
            {
                "step": step.name,
                "gap": None if step.close is None else to_unit(step.close.gap, unit),
                "against": None if step.close is None else step.close.against,
                "keep_out": None if step.keep_out is None else _keep_out(step.keep_out, unit),
            }
            for step in rehearsal.steps
        ],
        "not_checked": list(rehearsal.unchecked),
    }


def _keep_out(area: KeepOut, unit: Unit) -> Answer:
    shown: Answer = {"kind": area.kind, "radius": to_unit(area.radius, unit)}
    if area.kind == "arc":
        return {**shown, "from": degrees(area.start), "to": degrees(area.end)}
    return {**shown, "behind": to_unit(-area.rear, unit), "ahead": to_unit(area.front, unit)}


def _changeovers(plan: JobPlan) -> Answer:
    work = plan.changeovers
    if work is None:
        return {"count": 0, "order": [], "proven": True, "bound": 0, "says": "Nothing to bend on a die of the shop."}
    return {
        "count": work.changes,
        "order": [{"die": stage.die, "parts": list(stage.parts)} for stage in work.stages],
        "proven": work.proven,
        "bound": work.bound,
        "part_by_part": work.one_by_one_best,
        "minutes": work.minutes,
        "minutes_saved": work.minutes_saved,
        "says": work.says,
    }


def _cut_plan(plan: JobPlan, unit: Unit) -> Answer:
    return {"sticks": [], "proven": True, "bound": 0}


def show_plan(frame: Frame) -> None:
    """Print the plan to read at the bench."""
    from rich.text import Text

    from railmodel.app.show import printer

    plan, console = plan_job(frame), printer()
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: plan of work", style="bold"))
    console.print(Text(FIRST, style="italic"))
    for part in plan.parts:
        _show_part(frame, part)
    _show_order(frame, plan)
    console.print()
    console.print(Text("Cautions", style="bold"))
    for caution in (*BENDING, NO_CERTIFICATE):
        console.print(Text(f"  - {caution}"))


def _show_part(frame: Frame, part: PartPlan) -> None:
    from rich.text import Text

    from railmodel.app.show import grid, printer

    marks, console = part.marks, printer()
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
            order.face_on_die, order.face_up, f"{degrees(marked.set_angle):.1f}", f"{degrees(marked.finished_angle):.2f}",
            frame.say(marked.tube_use),
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


def _show_order(frame: Frame, plan: JobPlan) -> None:
    from rich.text import Text

    from railmodel.app.show import grid, printer

    if plan.changeovers is None:
        return
    console = printer()
    console.print()
    console.print(Text(f"Order of work: {plan.changeovers.says}", style="bold"))
    table = grid("set-up", "die", "parts")
    for i, stage in enumerate(plan.changeovers.stages):
        table.add_row(str(i + 1), Text(stage.die), Text(", ".join(stage.parts)))
    console.print(table)
