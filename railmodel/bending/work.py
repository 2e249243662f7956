"""The shop's work on a job: its record of test bends, what each bend is made with, and every part marked out.

Worked out once for a frame; checks, plan and paper all ask here.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import radians
from pathlib import Path

from railmodel.bending.bend_log import BendLog, read_bend_log
from railmodel.bending.elastic import Estimate, estimate_springback, lying
from railmodel.bending.grades import find_grade
from railmodel.bending.mark_out import MarkOut, Tooling, mark_out
from railmodel.bending.orders import Orders, Sense, orders
from railmodel.bending.springback import Springback, outside_tested
from railmodel.bending.springback_fit import springback_for
from railmodel.bending.tube_use import TubeUse, tube_use_for
from railmodel.errors import GeometryError
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.job.shop import Die
from railmodel.part import End, RailPart, Reading, Way
from railmodel.tolerances import LENGTH

ToolKey = tuple[str | None, str, Way, float]
"""Die name, tube name, way, finished radius (mm)."""

MM_TRIM_STEP = 1.0
DEFAULT_ANGLE_STEP = radians(0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolUse:
    """One die on one tube of the job, with what the record says of it.

    Args:
        name: die name; None stands for a bend without a die.
        tube: tube name in the job.
        way: the way it bends.
        radius: finished centreline radius, mm.
        die: the die.
        springback: what to add to a finished angle.
        tube_use: how much stock a bend takes up.
    """

    name: str | None
    tube: str
    way: Way
    radius: float
    die: Die | None
    springback: Springback
    tube_use: TubeUse


@dataclass(frozen=True, kw_only=True, eq=False)
class ShopWork:
    """The shop's work on a job.

    Args:
        log: the record of test bends; empty where the shop keeps none.
        tools: every die used on every tube.
        mark_outs: every part read from its leading end.
        orders: faces, turns and seam, in the order of `mark_outs`.
        sense: the way the bender bends; clockwise where nobody says.
        findings: about the record, the fits and bends outside what was tested.
    """

    log: BendLog
    tools: tuple[ToolUse, ...]
    mark_outs: tuple[MarkOut, ...]
    orders: tuple[Orders, ...]
    sense: Sense
    findings: tuple[Finding, ...]


@lru_cache(maxsize=8)
def shop_work(frame: Frame) -> ShopWork:
    """The shop's work on a frame."""
    log = _log(frame)
    found: dict[ToolKey, ToolUse] = {}
    findings = list(log.findings)
    for part in frame.parts:
        for key in dict.fromkeys(_keys(part)):
            if key not in found:
                found[key], more = _tool(frame, part, key, log)
                findings += more
    mark_outs = tuple(mark_part(frame, part.read, found) for part in frame.parts)
    findings += _untested(mark_outs, found)
    sense: Sense = frame.shop.bender.bends if frame.shop is not None else "clockwise"
    return ShopWork(
        log=log,
        tools=tuple(found.values()),
        mark_outs=mark_outs,
        orders=tuple(orders(marks.reading, sense) for marks in mark_outs),
        sense=sense,
        findings=tuple(dict.fromkeys(findings)),
    )


def mark_from(frame: Frame, part: RailPart, end: End) -> MarkOut:
    """A part marked out from either end, with the job's tools."""
    tools = {(tool.name, tool.tube, tool.way, tool.radius): tool for tool in shop_work(frame).tools}
    return mark_part(frame, part.read_from(end), tools)


def mark_part(frame: Frame, reading: Reading, tools: dict[ToolKey, ToolUse]) -> MarkOut:
    """A part marked out from the end it is read from."""
    shop = frame.shop
    step = 25.4 / shop.tape_step if shop is not None and frame.unit == "in" else MM_TRIM_STEP
    own = [tools[key] for key in _reading_keys(reading)]
    return mark_out(
        reading,
        [Tooling(tool.die, tool.springback, tool.tube_use) for tool in own],
        angle_step=shop.bender.set_angle_step if shop is not None else DEFAULT_ANGLE_STEP,
        trim_step=step,
    )


def record_path(frame: Frame) -> Path | None:
    """Where the shop keeps its record of test bends; beside the shop file unless given absolute."""
    source = frame.source
    if frame.shop is None or frame.shop.test_bends is None or source.shop_path is None:
        return None
    return source.shop_path.parent / frame.shop.test_bends


def _log(frame: Frame) -> BendLog:
    path = record_path(frame)
    if path is None or frame.shop is None:
        return BendLog(bends=(), findings=())
    return read_bend_log(path, frame.shop.units)


def _keys(part: RailPart) -> list[ToolKey]:
    return _reading_keys(part.read)


def _reading_keys(reading: Reading) -> list[ToolKey]:
    radii = reading.line.rows.radius
    return [(bend.die, reading.part.tube, bend.way, float(radii[bend.number - 1])) for bend in reading.bends]


def _tool(frame: Frame, part: RailPart, key: ToolKey, log: BendLog) -> tuple[ToolUse, list[Finding]]:
    name, tube, way, radius = key
    die = frame.shop.dies.get(name) if frame.shop is not None and name is not None else None
    estimate = _estimate(part, way, radius, die)
    springback, first = springback_for(log.bends, die=name, tube=tube, estimate=estimate)
    depth = lying(part.section, way).height
    use, second = tube_use_for(log.bends, die=name, tube=tube, radius=radius, depth=depth)
    found = ToolUse(
        name=name, tube=tube, way=way, radius=radius, die=die, springback=springback, tube_use=use,
    )  # fmt: skip
    return found, [*first, *second]


def _estimate(part: RailPart, way: Way, radius: float, die: Die | None) -> Estimate | None:
    """The material estimate, where the tube's grade is known and the radius is one a tube can take."""
    grade = find_grade(part.grade) if part.grade else None
    if grade is None or radius <= lying(part.section, way).height / 2 + LENGTH:
        return None
    try:
        return estimate_springback(
            part.section, way=way, radius=radius, yield_stress=grade.yield_stress, grade=grade.name,
            tool_radius=die.tool_radius if die is not None else None,
        )  # fmt: skip
    except GeometryError:
        return None


def _untested(mark_outs: tuple[MarkOut, ...], tools: dict[ToolKey, ToolUse]) -> list[Finding]:
    """Bends outside the angles that were tested."""
    found = []
    for marks in mark_outs:
        part = marks.reading.part
        for key, marked in zip(_reading_keys(marks.reading), marks.bends, strict=True):
            finding = outside_tested(
                tools[key].springback, marked.finished_angle, part=part.name, hand=part.hand, bend=marked.bend.number
            )
            if finding is not None:
                found.append(replace(finding, says=f"{part.label}: {finding.says}"))
    return found

