"""The set-up card: a page for every die on every tube of a job, with blanks for what is set at the machine."""

from collections.abc import Sequence
from math import degrees
from pathlib import Path

from exporters.sheets.stopped import found_by, stopped_labels
from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import (
    Paper,
    counted,
    finished_angle,
    head,
    paper_of,
    plain,
    section_words,
)
from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.mark_out import MarkedBend
from railmodel.bending.names import key
from railmodel.bending.plan import JobPlan, PartPlan, plan_job
from railmodel.bending.set_angle import set_angle
from railmodel.bending.springback import Springback
from railmodel.bending.work import ToolUse, shop_work
from railmodel.files import write_whole
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH

LAST = 6
"""Test bends shown, the newest."""

_SURE = 0.95
"""Chance that a new bend's right set angle lies in the range shown."""


def write_setup_cards(
    frame: Frame, path: Path, *, findings: Sequence[Finding] | None = None, paper: Paper | None = None
) -> None:
    """Write the set-up cards of a job as a PDF file, whole or not at all; see `write_bend_sheets`."""
    write_whole(path, typeset("setup_card", setup_cards(frame, findings, paper)))


def setup_cards(frame: Frame, findings: Sequence[Finding] | None = None, paper: Paper | None = None) -> Data:
    """What the set-up cards show, in the order of work."""
    plan = plan_job(frame)
    stopped = stopped_labels(frame, found_by(frame, findings))
    order = [stage.die for stage in plan.changeovers.stages] if plan.changeovers is not None else []
    tools = sorted(
        shop_work(frame).tools, key=lambda tool: order.index(tool.name) if tool.name in order else len(order)
    )
    return {
        **head(frame, "Set-up card", paper_of(frame, paper)),
        "pages": [_page(frame, plan, tool, stopped) for tool in tools],
    }


def _page(frame: Frame, plan: JobPlan, tool: ToolUse, stopped: set[str]) -> Data:
    die = tool.die
    part = next(part for part in frame.parts if part.tube == tool.tube)
    return {
        "die": tool.name or "no die named",
        "way": f"{tool.way} way",
        "tube": section_words(frame, part),
        "radius": f"{frame.say(tool.radius)} finished"
        + (f", {frame.say(die.tool_radius)} cut in the die" if die is not None and die.tool_radius else ""),
        "grip": _or_blank(frame, None if die is None else die.grip),
        "between": _or_blank(frame, None if die is None else die.between),
        "tail": _or_blank(frame, None if die is None else die.tail),
        "max_angle": "" if die is None or die.max_angle is None else f"{degrees(die.max_angle):g}°",
        "offset": _offset(frame, 0.0 if die is None else die.mark_offset),
        "change_over": "" if die is None or die.change_over is None else f"{die.change_over:g} min",
        "weight": "" if die is None else die.weight or "",
        "springback": _springback(tool.springback),
        "tube_use": f"{1 - tool.tube_use.stretch:.4f} x the finished arc; from {tool.tube_use.source}",
        "setups": _setups(plan, tool),
        "bends": _bends(frame, plan, tool, stopped),
        "tests": [_test(frame, bend) for bend in _tests(frame, tool)[-LAST:]],
    }


def _or_blank(frame: Frame, length: float | None) -> str:
    """A length in words; nothing, so that the card shows a blank, where the shop file does not say."""
    return "" if length is None else frame.say(length)


def _offset(frame: Frame, offset: float) -> str:
    if abs(offset) <= LENGTH:
        return "none: the mark is the start of the bend"
    way = "the tail" if offset > 0 else "the leading end"
    return f"{frame.mark(abs(offset))} from the start of the bend toward {way}"


def _springback(found: Springback) -> str:
    """What is added to a finished angle, and what that rests on."""
    sign = "+" if found.fixed >= 0 else "-"
    line = f"set angle = {1 + found.proportional:.4f} x finished {sign} {abs(degrees(found.fixed)):.2f}°"
    if found.kind == "none":
        return "not known: make test bends before cutting parts"
    tested = ""
    if found.angles is not None:
        low, high = (degrees(angle) for angle in found.angles)
        tested = f" of {low:.0f}° to {high:.0f}°" if high - low > 1 else f" of {high:.0f}°"
    return f"{line}; from {found.source}{tested}"


def _setups(plan: JobPlan, tool: ToolUse) -> list[str]:
    """Where this die stands in the order of work."""
    if plan.changeovers is None:
        return []
    return [
        f"set-up {i} of {len(plan.changeovers.stages)}: {', '.join(stage.parts)}"
        for i, stage in enumerate(plan.changeovers.stages, start=1)
        if stage.die == tool.name
    ]


def _bends(frame: Frame, plan: JobPlan, tool: ToolUse, stopped: set[str]) -> list[Data]:
    """Every bend of the job on this die and tube, those that are alike in one line."""
    alike: dict[tuple[bool, str, str], dict[str, list[int]]] = {}
    uses: dict[tuple[bool, str, str], MarkedBend] = {}
    for part in plan.parts:
        label = part.marks.reading.part.label
        for marked in _bends_of(part, tool):
            line = label in stopped, finished_angle(marked.finished_angle), set_angle(frame, marked.set_angle)
            alike.setdefault(line, {}).setdefault(label, []).append(marked.bend.number)
            uses[line] = marked
    return [_bend(frame, tool, line[0], uses[line], named) for line, named in alike.items()]


def _bend(frame: Frame, tool: ToolUse, stopped: bool, marked: MarkedBend, named: dict[str, list[int]]) -> Data:
    low, high = tool.springback.set_range(marked.finished_angle, _SURE)
    return {
        "bends": _named(frame, named),
        "stopped": stopped,
        "finished": finished_angle(marked.finished_angle),
        "set": set_angle(frame, marked.set_angle),
        "low": set_angle(frame, low),
        "high": set_angle(frame, high),
        "use": plain(frame, marked.tube_use),
    }


def _named(frame: Frame, named: dict[str, list[int]]) -> str:
    """Parts with the numbers of their bends; both hands of a pair in one where they are alike."""
    hands = {part.label: part for part in frame.parts}
    groups: dict[tuple[str, str], list[str]] = {}
    for label, numbers in named.items():
        groups.setdefault((hands[label].name, counted(numbers)), []).append(label)
    return "; ".join(
        f"{name}, both hands: {bends}" if len(labels) == 2 else f"{labels[0]}: {bends}"
        for (name, bends), labels in groups.items()
    )


def _bends_of(plan: PartPlan, tool: ToolUse) -> list[MarkedBend]:
    marks = plan.marks
    return [
        marked
        for marked, radius in zip(marks.bends, marks.reading.line.rows.radius, strict=True)
        if (marked.bend.die, marks.reading.part.tube, marked.bend.way, float(radius))
        == (tool.name, tool.tube, tool.way, tool.radius)
    ]


def _tests(frame: Frame, tool: ToolUse) -> list[LoggedBend]:
    """Test bends of this die and tube, oldest first."""
    if tool.name is None:
        return []
    own = key(tool.name), key(tool.tube)
    return [bend for bend in shop_work(frame).log.bends if (key(bend.die), key(bend.tube)) == own]


def _test(frame: Frame, bend: LoggedBend) -> Data:
    return {
        "date": bend.date,
        "heat": bend.heat,
        "set": f"{degrees(bend.set_angle):.1f}",
        "measured": f"{degrees(bend.measured_angle):.1f}",
        "springback": f"{degrees(bend.springback):.1f}",
        "used": "" if bend.tube_used is None else plain(frame, bend.tube_used),
        "note": bend.note,
    }
