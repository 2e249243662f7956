"""What `check` answers, as plain data in the job's unit and degrees, and as lines to read."""

from math import degrees, isinf
from typing import Any

from railmodel.findings import Finding, stops
from railmodel.fitting.clear_job import clearances
from railmodel.fitting.fit_job import Fit, fit_work
from railmodel.frame import Frame
from railmodel.geometry.roll import plumb
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]


def check_answer(frame: Frame, findings: list[Finding], *, gaps: bool = True) -> Answer:
    """Findings and everything measured; gaps, which take longest, only where they are asked for."""
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "units": {"length": frame.unit, "angle": "deg"},
        "ok": not stops(findings),
        "findings": [finding_answer(finding, frame.unit) for finding in findings],
        "fit": fit_answers(frame),
        "gaps": gap_answers(frame) if gaps else None,
        "joints": joint_answers(frame),
        "roll": rolls(frame),
    }


def finding_answer(finding: Finding, unit: Unit) -> Answer:
    """One finding with its numbers in the job's unit."""
    shown = {"length": unit, "angle": "deg", "": ""}[finding.unit]
    return {
        "rule": finding.rule,
        "level": finding.level,
        "part": finding.part,
        "hand": finding.hand,
        "bend": finding.bend,
        "where": None if finding.where is None else [to_unit(value, unit) for value in finding.where],
        "says": finding.says,
        "found": _shown(finding.found, finding.unit, unit),
        "needs": _shown(finding.needs, finding.unit, unit),
        "unit": shown,
    }


def _shown(value: float | None, kind: str, unit: Unit) -> float | None:
    if value is None:
        return None
    return to_unit(value, unit) if kind == "length" else degrees(value) if kind == "angle" else value


def fit_answers(frame: Frame) -> list[Answer]:
    """Every fit point on every hand it stands for."""
    unit = frame.unit
    return [
        {
            "name": fit.point.name,
            "part": fit.part.name,
            "hand": fit.part.hand,
            "face": fit.point.to.face,
            "gap": to_unit(fit.foot.gap, unit),
            "want": to_unit(fit.point.gap.want, unit),
            "within": to_unit(fit.point.gap.within, unit),
            "station": to_unit(float(fit.foot.at[0]), unit),
            "along": to_unit(fit.foot.along, unit),
            "on": fit.foot.kind,
            "from_bend": None if isinf(fit.foot.from_bend) else to_unit(fit.foot.from_bend, unit),
            "spacer": to_unit(fit.spacer, unit),
            "roll": None if fit.foot.roll is None else degrees(fit.foot.roll),
            "wedge": _wedge(fit, unit),
            "foot": [to_unit(float(value), unit) for value in fit.foot.at],
            "ok": fit.ok,
        }
        for fit in fit_work(frame).fits
    ]


def _wedge(fit: Fit, unit: Unit) -> float | None:
    """The wedge over the bracket's width, where the job gives one."""
    wedge = None if fit.point.width is None else fit.foot.wedge(fit.point.width)
    return None if wedge is None else to_unit(wedge, unit)


def joint_answers(frame: Frame) -> list[Answer]:
    """Every joint."""
    unit = frame.unit
    return [
        {
            "between": list(joined.names),
            "gap": to_unit(joined.found.gap, unit),
            "offset": to_unit(joined.found.offset, unit),
            "angle": degrees(joined.found.angle),
            "roll": degrees(joined.found.roll),
            "ok": joined.ok,
        }
        for joined in fit_work(frame).joints
    ]


def gap_answers(frame: Frame) -> list[Answer]:
    """The least gap of every part to every shape over its whole travel; negative is the depth inside."""
    unit, hands = frame.unit, {part.label: part for part in frame.parts}
    return [
        {
            "part": hands[gap.part].name,
            "hand": hands[gap.part].hand,
            "shape": gap.shape,
            "gap": to_unit(gap.gap, unit),
            "needs": to_unit(needs, unit),
            "where": [to_unit(value, unit) for value in gap.on_part],
            "where_on_shape": [to_unit(value, unit) for value in gap.on_shape],
            "at": {
                "up": to_unit(gap.at.up, unit),
                "roll": degrees(gap.at.roll),
                "turn": degrees(gap.at.turn),
                "slide": to_unit(gap.at.slide, unit),
            },
            "ok": gap.gap >= needs,
        }
        for gap, needs in clearances(frame).gaps
    ]


def rolls(frame: Frame) -> list[Answer]:
    """Roll of the top face on every straight, degrees; null where the straight stands upright."""
    return [
        {
            "part": part.name,
            "hand": part.hand,
            "straight": straight.number,
            "degrees": None if (roll := plumb(straight)) is None else degrees(roll),
        }
        for part in frame.parts
        for straight in part.read.line.straights
    ]
