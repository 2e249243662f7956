"""What can be measured on each bent part of a job: its places, its planned values, and what to measure first."""

from collections.abc import Sequence
from dataclasses import replace
from math import degrees
from typing import Any

import numpy as np

from railmodel.as_bent.choose import candidates, choose
from railmodel.as_bent.deviations import feet, targets
from railmodel.as_bent.measured import SIGMA, TOOLS, TWENTIETH, Kind, Measured
from railmodel.as_bent.prior import rail_of
from railmodel.as_bent.rail import Rail, Readings
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.units import format_decimal

Answer = dict[str, Any]


def bench_parts(frame: Frame) -> list[Answer]:
    """Every bent part that makes a solid."""
    found: list[Answer] = []
    for part in frame.parts:
        if part.line.rows.count:
            try:
                rail, _ = rail_of(frame, part, "marks fixed")
            except InputError as error:
                found.append({"label": part.label, "problem": error.problems[0]})
                continue
            found.append({"label": part.label, "problem": None, **_part(frame, part, rail)})
    return found


def _part(frame: Frame, part: RailPart, rail: Rail) -> Answer:
    n, rows = rail.columns.bends, part.read.line.rows
    ends = [f"{name} end" for name in ("front", "rear")]
    per_bend = [f"{word} {i}" for i in range(1, n + 1) for word in ("start of bend", "apex", "end of bend")]
    straights = [f"middle of straight {i}" for i in range(n + 1)]
    return {
        "part": part.name,
        "hand": part.hand,
        "leading_end": part.leading_end,
        "bends": n,
        "places": [*ends, *per_bend, *straights, *(f"foot of {name}" for name in feet(frame, part))],
        "faces": ["top", "bottom", *part.read.sides],
        "planned": {
            "tangents": [frame.mark(float(value)) for value in rows.straights],
            "apexes": [frame.mark(value) for value in _apexes(rail)],
            "angles": [f"{degrees(value):.2f}°" for value in rows.angle],
            "turns": [f"{degrees(value):.2f}°" for value in rows.rotation],
        },
    }


def _apexes(rail: Rail) -> list[float]:
    """Straights between the apexes beside them, mm."""
    taken = tuple(
        Measured(kind="apexes", index=i, value=0.0, sigma=1.0, text="", name="", at="")
        for i in range(rail.columns.bends + 1)
    )
    readings = Readings(rail, taken, None)
    return [float(value) for value in readings.look(np.zeros(readings.unknowns))[0]]


def first_of(frame: Frame, part: RailPart, bent: int | None, turned: bool) -> list[Answer]:
    """What to measure first on a part, the most telling first.

    Args:
        frame: the job.
        part: the part.
        bent: bends made so far; None = all.
        turned: whether its record counts from the trailing end.
    """
    rail, _ = rail_of(frame, part, "marks fixed")
    last = None if bent is None else bent - 1
    spots = [one.spot for one in targets(frame, part, {}, last=last)]
    if bent == 0:
        return []
    chosen = choose(rail, candidates(rail, bent), spots=spots).measures
    return suggestions(frame, chosen, rail.columns.bends, turned)


def suggestions(frame: Frame, chosen: Sequence[Measured], count: int, turned: bool) -> list[Answer]:
    """Measurements to make, each with the line of a record it belongs to.

    Args:
        frame: the job.
        chosen: at their planned values.
        count: bends of the part.
        turned: whether the record counts from the trailing end.
    """
    return [_suggestion(frame, one, count, turned) for one in chosen]


def _suggestion(frame: Frame, one: Measured, count: int, turned: bool) -> Answer:
    angular, sure = one.unit == "angle", TWENTIETH * one.sigma
    section, line, what = _line(one, count, turned)
    return {
        "what": what,
        "planned": f"{degrees(one.value):.2f}°" if angular else frame.mark(one.value),
        "sure_to": f"{degrees(sure):.1f}°" if angular else f"{format_decimal(sure, frame.unit)} {frame.unit}",
        "section": section,
        "line": line,
    }


def _line(one: Measured, count: int, turned: bool) -> tuple[str, dict[str, str], str]:
    """The list of a record, the entry in it, and what it is in words."""
    if one.kind == "distance":
        start, end = (_name(spot.name, count, turned) for spot in one.spots)
        return "distances", {"from": start, "to": end}, f"{start} to {end}"
    if one.kind == "straight":
        number = count - one.index if turned else one.index
        return "legs", {"straight": str(number), "between": "tangents"}, f"straight {number} between tangents"
    bend = count - one.index if turned else one.index + 1
    return "angles", {"bend": str(bend)}, f"angle of bend {bend}"


def _name(name: str, count: int, turned: bool) -> str:
    word, _, number = name.partition(" ")
    return f"apex {count + 1 - int(number)}" if turned and word == "apex" else name


def sure_words(frame: Frame) -> dict[str, str]:
    """What nineteen of twenty readings of each tool lie within where a record says nothing."""
    kinds: dict[str, Kind] = {tool: kind for kind, tool in TOOLS.items()}
    return {
        tool: f"{degrees(TWENTIETH * SIGMA[tool]):.1f}" if kinds[tool] in ("angle", "turn")  # type: ignore[index]
        else format_decimal(TWENTIETH * SIGMA[tool], frame.unit)  # type: ignore[index]
        for tool in kinds
    }  # fmt: skip


def bent_only(part: RailPart, rail: Rail, off: Any) -> RailPart:
    """A part as its bend table makes it with its values off by so much, standing on its leading end."""
    line = rail.line(off)
    return replace(part, line=line if part.leading_end == "front" else line.reversed(), cuts=None)
