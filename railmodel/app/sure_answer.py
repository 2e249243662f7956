"""What `sure` answers, as plain data in the job's unit and degrees."""

from dataclasses import dataclass
from math import degrees, isfinite, radians
from typing import Any

from railmodel.frame import Frame
from railmodel.sureness.demands import Demand
from railmodel.sureness.exact import GapCheck
from railmodel.sureness.sample import STILL, Chance, Chances
from railmodel.sureness.screws import FIELDS, Field
from railmodel.sureness.sensitivity import Measure, Sensitivity
from railmodel.sureness.spread import Hands, Spread
from railmodel.sureness.what_if import WhatIf, tolerance_of
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]

ANGULAR: tuple[Field, ...] = ("rotation", "angle", "roll")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sure:
    """Everything `sure` found.

    Args:
        frame: the job.
        found: its bent parts and what is asked of them.
        spread: what goes wrong.
        chances: what came of it.
        what_ifs: single tolerances halved, the best first.
        gaps: how far clearances to first order lie from exact ones, where that was asked for.
        hands: whether both hands share one springback line.
        seed: of the random numbers.
    """

    frame: Frame
    found: Sensitivity
    spread: Spread
    chances: Chances
    what_ifs: tuple[WhatIf, ...]
    gaps: tuple[GapCheck, ...]
    hands: Hands
    seed: int


def sure_answer(sure: Sure) -> Answer:
    """All of it."""
    unit = sure.frame.unit
    return {
        "job": sure.frame.job.job,
        "revision": sure.frame.job.revision or "",
        "units": {"length": unit, "angle": "deg"},
        "working": sure.found.working,
        "hands": sure.hands,
        "samples": sure.chances.samples,
        "seed": sure.seed,
        "datum": [
            {"part": one.part.name, "hand": one.part.hand, "datum": one.datum_words} for one in sure.found.bent.values()
        ],
        "spread_from": list(sure.spread.sources),
        "counted_as_none": list(sure.spread.unknown),
        "left_out": list(sure.found.left_out),
        "demands": [
            _demand(sure, demand, chance) for demand, chance in zip(sure.chances.demands, sure.chances.met, strict=True)
        ],
        "bends": [
            {"part": one.part, "bend": one.bend, "average": one.average, "most": one.most, "at": one.at}
            for one in ranked(sure)
        ],
        "whole": {name: _chance(chance) for name, chance in sure.chances.wholes.items()},
        "what_if": [
            {
                "halved": {"owner": one.owner, "part": one.part, "field": one.field, "not_known": one.common},
                "chance_before": one.before,
                "chance_after": one.after,
                "average_gain": one.average,
            }
            for one in sure.what_ifs
        ],
        "gaps_checked": [
            {
                "shape": one.name,
                "part": one.on,
                "samples": one.samples,
                "largest_error": to_unit(one.largest, unit),
                "error_95": to_unit(one.usual, unit),
                "chance_exact": _chance(one.exact),
                "chance_first_order": _chance(one.linear),
            }
            for one in sure.gaps
        ],
    }


def _chance(chance: Chance) -> Answer:
    return {"value": chance.value, "error": chance.error}


def _demand(sure: Sure, demand: Demand, chance: Chance) -> Answer:
    return {
        "kind": demand.kind,
        "name": demand.name,
        "parts": sorted(demand.parts),
        "hand": demand.hand,
        "chance": _chance(chance),
        "numbers": [_number(sure, row, measure) for row, measure in zip(demand.rows, demand.measures, strict=True)],
        "causes": causes(sure, demand),
    }


def _number(sure: Sure, row: int, measure: Measure) -> Answer:
    found, unit = sure.chances, sure.frame.unit

    def shown(value: float) -> float | None:
        if not isfinite(value):
            return None
        return degrees(value) if measure.unit == "angle" else to_unit(value, unit)

    return {
        "what": measure.what,
        "unit": unit if measure.unit == "length" else "deg",
        "value": shown(measure.value),
        "low": shown(measure.low),
        "high": shown(measure.high),
        "mean": shown(float(found.mean[row])),
        "spread": shown(float(found.spread[row])),
        "root_sum_square": shown(float(found.stack.spread[row])),
        "worst_case": shown(float(found.stack.worst()[row])),
        "nineteen_in_twenty": [shown(float(found.low[row])), shown(float(found.high[row]))],
        "derivatives": derivatives(sure.found, measure, unit),
    }


def derivatives(found: Sensitivity, measure: Measure, unit: Unit) -> list[Answer]:
    """How a number changes for one unit of length or one degree at every field of every bend."""
    answers = []
    step = to_unit(1.0, unit)  # units in a mm
    for label, slopes in measure.slopes.items():
        one = found.bent[label]
        places = [(field, bend) for field in FIELDS for bend in range(1, one.columns.bends + 1)]
        for column, (field, bend) in enumerate([*places, ("tail", None)]):
            size = float(slopes[column])
            size *= step if measure.unit == "length" else degrees(1.0)
            size *= radians(1.0) if field in ANGULAR else 1 / step
            answers.append({"part": one.part.name, "hand": one.part.hand, "bend": bend, "field": field, "by": size})
    return answers


def causes(sure: Sure, demand: Demand) -> list[Answer]:
    """What makes up the spread of a demand's lengths, the greatest first."""
    stack = sure.chances.stack
    rows = moving(sure, demand)
    if not rows:
        return []
    fields = stack.shares(rows, lambda cause: (cause.owner, cause.label, cause.field))
    answers = []
    for (owner, label), share in stack.shares(rows, tolerance_of).items():
        part = None if label is None else sure.found.bent[label].part
        answers.append(
            {
                "owner": owner,
                "part": None if part is None else part.name,
                "hand": None if part is None else part.hand,
                "share": share,
                "fields": {one[2]: value for one, value in fields.items() if one[:2] == (owner, label)},
            }
        )
    return answers


@dataclass(frozen=True, slots=True)
class Ranked:
    """How much a bend matters.

    Args:
        part: name of its part; both hands of a pair together.
        bend: its number from the leading end.
        average: its part of the spread, averaged over the part's fit points and joints that move.
        most: the largest part, and
        at: where that is.
    """

    part: str
    bend: int
    average: float
    most: float
    at: str


def ranked(sure: Sure) -> list[Ranked]:
    """Every bend of every part, the one that matters most first."""
    stack, bent = sure.chances.stack, sure.found.bent
    shares: dict[tuple[str, int], list[tuple[float, str]]] = {}
    for demand in sure.chances.demands:
        rows = moving(sure, demand)
        if demand.kind == "clearance" or not rows:
            continue
        found = stack.shares(rows, lambda cause: (bent[cause.label].part.name if cause.label else None, cause.bend))
        for name in demand.parts:
            count = next(one.columns.bends for one in bent.values() if one.part.name == name)
            for bend in range(1, count + 1):
                shares.setdefault((name, bend), []).append((found.get((name, bend), 0.0), demand.name))
    answers = [
        Ranked(name, bend, sum(share for share, _ in own) / len(own), *max(own)) for (name, bend), own in shares.items()
    ]
    return sorted(answers, key=lambda one: -one.average)


def moving(sure: Sure, demand: Demand) -> list[int]:
    """The rows of a demand's lengths that move at all."""
    spread = sure.chances.stack.spread
    return [
        row
        for row, measure in zip(demand.rows, demand.measures, strict=True)
        if measure.unit == "length" and spread[row] > STILL
    ]
