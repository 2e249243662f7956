"""What `plan` answers, as plain data in the job's unit and degrees."""

from collections.abc import Sequence
from math import degrees
from typing import Any

from railmodel.bending.cautions import cautions
from railmodel.bending.clearing import KeepOut
from railmodel.bending.cut_plan import Piece
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import JobPlan, PartPlan, plan_job
from railmodel.bending.rehearsal import Rehearsal
from railmodel.bending.rehearse_job import chosen
from railmodel.bending.set_angle import set_places
from railmodel.bending.work import ToolUse, shop_work
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.part import End, RailPart
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]


def plan_answer(frame: Frame, findings: Sequence[Finding]) -> Answer:
    """The whole plan as plain data.

    Args:
        frame: the job.
        findings: what the checks say of it; what stops a part stands with the part.
    """
    plan, unit = plan_job(frame), frame.unit
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "units": {"length": unit, "angle": "deg"},
        "bends": shop_work(frame).sense,
        "turns": f"as seen {STANDING}",
        "set_angle_places": set_places(frame),
        "parts": [_part(part, frame, stops_of(part.marks.reading.part, findings)) for part in plan.parts],
        "not_built": [finding.says for finding in frame.faults],
        "tools": [_tool(tool, unit) for tool in shop_work(frame).tools],
        "rehearsal": [
            _rehearsal(rehearsal, unit, part.rehearsal.best)
            for part in plan.parts
            if part.rehearsal is not None
            for rehearsal in (part.rehearsal.front, part.rehearsal.rear)
        ],
        "changeovers": _changeovers(plan),
        "cut_plan": _cut_plan(plan, frame),
        "cautions": list(cautions(frame)),
    }


def stops_of(part: RailPart, findings: Sequence[Finding]) -> list[str]:
    """What stops a part, a sentence each."""
    own = [f for f in findings if f.level == "stop" and f.part == part.name and f.hand in (None, part.hand)]
    return list(dict.fromkeys(finding.says for finding in own))


def plan_findings(frame: Frame) -> list[Finding]:
    """What only the cut plan can say: sticks the rack lacks. Pieces too long for any stick are a check of their own."""
    return [finding for cuts in plan_job(frame).cuts.values() if cuts.missing for finding in cuts.findings]


def _part(part: PartPlan, frame: Frame, stops: list[str]) -> Answer:
    marks, reading, unit = part.marks, part.marks.reading, frame.unit
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
        "seam_on_outer_wall": list(part.orders.seam_on_outer_wall),
        "stops": stops,
        "ends": _ends(reading.part, unit),
        "steps": [
            {
                "bend": marked.bend.number,
                "die": marked.bend.die,
                "mark": to_unit(marked.mark, unit),
                "mark_tape": frame.mark(marked.mark),
                "mark_at_gauge": to_unit(marked.mark_at_gauge, unit),
                "finished_angle": degrees(marked.finished_angle),
                "set_angle": degrees(marked.set_angle),
                "tube_use": to_unit(marked.tube_use, unit),
                "face_on_die": order.face_on_die,
                "face_up": order.face_up,
                "turn": order.turn,
                "turn_degrees": order.turn_degrees,
                "turn_over": turn_over(part, order.bend),
                "seam": order.seam,
            }
            for marked, order in zip(marks.bends, part.orders.bends, strict=True)
        ],
    }


def _ends(part: RailPart, unit: Unit) -> list[Answer]:
    """How a crossmember's ends are cut; nothing of other parts, whose ends are square."""
    ends: tuple[End, End] = ("front", "rear")
    return [
        {"end": end, "kind": cut.kind, "rail": cut.rail, "angle": degrees(cut.angle), "gap": to_unit(cut.gap, unit)}
        for end, cut in zip(ends, part.cuts or (), strict=False)
    ]


def _tool(tool: ToolUse, unit: Unit) -> Answer:
    return {
        "die": tool.name,
        "tube": tool.tube,
        "way": tool.way,
        "radius": to_unit(tool.radius, unit),
        "springback": {
            "kind": tool.springback.kind,
            "fixed": degrees(tool.springback.fixed),
            "proportional": tool.springback.proportional,
            "source": tool.springback.source,
        },
        "tube_use": {"stretch": tool.tube_use.stretch, "source": tool.tube_use.source},
    }


def turn_over(part: PartPlan, bend: int) -> str | None:
    """Which way to turn the tube over before a bend, seen from the tail; None where it is not turned over."""
    if part.rehearsal is None:
        return None
    return next((step.over for step in chosen(part.rehearsal).steps if step.kind == "turn" and step.bend == bend), None)


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
        says = "Nothing to bend on a die of the shop."
        return {"count": 0, "order": [], "proven": True, "bound": 0, "left_out": list(plan.no_die), "says": says}
    return {
        "count": work.changes,
        "order": [{"die": stage.die, "parts": list(stage.parts)} for stage in work.stages],
        "proven": work.proven,
        "bound": work.bound,
        "part_by_part": work.one_by_one_best,
        "minutes": work.minutes,
        "minutes_saved": work.minutes_saved,
        "left_out": list(plan.no_die),
        "says": work.says,
    }


def _cut_plan(plan: JobPlan, frame: Frame) -> Answer:
    unit = frame.unit
    hands = {part.label: part for part in frame.parts}
    return {
        "sticks": [
            {
                "tube": tube,
                "length": to_unit(stick.stock.length, unit),
                "pieces": [_piece(piece, hands.get(piece.label), unit) for piece in stick.pieces],
                "cuts": stick.cuts,
                "drop": to_unit(stick.drop, unit),
                "keep_drop": stick.keep,
                "to_buy": stick.bought,
            }
            for tube, cuts in plan.cuts.items()
            for stick in cuts.sticks
        ],
        "proven": all(cuts.proven for cuts in plan.cuts.values()),
        "bound": sum(cuts.bound for cuts in plan.cuts.values()),
        "not_planned": list(plan.no_stock),
    }


def _piece(piece: Piece, part: RailPart | None, unit: Unit) -> Answer:
    named = {"part": piece.label, "hand": None} if part is None else {"part": part.name, "hand": part.hand}
    return {**named, "length": to_unit(piece.length, unit)}
