"""The tables of an approval page, in words: parts, bends, fit points, gaps, joints, findings."""

from collections.abc import Mapping
from math import degrees
from typing import Any

from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.plates import plates
from railmodel.units import format_decimal, from_unit, to_unit

Row = dict[str, Any]

NARROW = "\u202f"
"""A narrow space that does not break: between whole inches and their fraction."""

LEVELS = {"stop": "Stop", "warn": "Look", "note": "Note"}


def part_rows(frame: Frame, named: Mapping[str, str]) -> list[Row]:
    """One row a part name."""
    rows = []
    for name, letter in named.items():
        part = _shown(frame, name)
        size = part.section
        across = (size.height, size.wall) if size.round else (size.height, size.width, size.wall)
        sides = (f"{to_unit(value, frame.unit):.4g}" for value in across)
        rows.append({
            "letter": letter, "name": name, "hand": "single" if part.hand == "single" else "right and left",
            "tube": ("round " if size.round else "") + " × ".join(sides), "grade": part.grade,
            "bends": part.line.rows.count, "length": _marked(frame, part.line.length),
        })  # fmt: skip
    return rows


def plate_rows(frame: Frame) -> list[Row]:
    """One row a plate."""
    return [
        {
            "name": plate.name, "grade": plate.grade, "count": plate.count, "shown": bool(plate.places),
            "size": " × ".join(format_decimal(side, frame.unit) for side in plate.size),
            "thickness": format_decimal(plate.thickness, frame.unit),
        }
        for plate in plates(frame)
    ]  # fmt: skip


def bend_tables(frame: Frame, named: Mapping[str, str]) -> list[Row]:
    """One table a bent part name; a pair's is that of its right hand."""
    tables = []
    for name, letter in named.items():
        part = _shown(frame, name)
        reading = part.read
        rows = reading.line.rows
        if not rows.count:
            continue
        tables.append({
            "letter": letter, "name": name, "pair": part.hand != "single", "end": reading.end,
            "tail": _marked(frame, float(rows.tail)), "length": _marked(frame, reading.line.length),
            "rows": [
                {
                    "badge": f"{letter}{bend.number}", "distance": _marked(frame, float(rows.distance[i])),
                    "rotation": _angle(degrees(rows.rotation[i])), "angle": _angle(degrees(rows.angle[i])),
                    "radius": format_decimal(float(rows.radius[i]), frame.unit), "toward": bend.toward, "way": bend.way,
                }
                for i, bend in enumerate(reading.bends)
            ],
        })  # fmt: skip
    return tables


def fit_rows(frame: Frame, answer: Mapping[str, Any]) -> list[Row]:
    """One row a fit point; both hands in one where they measure the same."""
    badges = {point.name: f"F{i}" for i, point in enumerate(frame.job.fit_points, start=1)}
    found: dict[tuple[Any, ...], list[str]] = {}
    for one in answer.get("fit", ()):
        want = f"{_number(frame, one['want'])} ± {one['within']:.4g}"
        same = (one["name"], one["part"], _number(frame, one["gap"]), want, one["ok"])
        found.setdefault(same, []).append(one["hand"])
    return [
        {
            "badge": badges.get(name, ""), "name": name, "part": part, "gap": gap, "want": want, "ok": ok,
            "hands": " and ".join(hand for hand in hands if hand in ("left", "right")),
        }
        for (name, part, gap, want, ok), hands in found.items()
    ]  # fmt: skip


def gap_rows(frame: Frame, answer: Mapping[str, Any]) -> list[Row]:
    """One row a shape: the part that comes nearest to it, measured against the gap wanted; the tightest first."""
    tightest: dict[str, Mapping[str, Any]] = {}
    for one in answer.get("gaps", ()):
        best = tightest.get(one["shape"])
        if best is None or one["gap"] - one["needs"] < best["gap"] - best["needs"]:
            tightest[one["shape"]] = one
    return [
        {
            "shape": one["shape"], "part": _label(one), "gap": _number(frame, one["gap"]), "inside": one["gap"] < 0,
            "needs": _number(frame, one["needs"]), "at": _travel(frame, one["at"]), "ok": one["ok"],
        }
        for one in sorted(tightest.values(), key=lambda one: float(one["gap"] - one["needs"]))
    ]  # fmt: skip


def joint_rows(frame: Frame, answer: Mapping[str, Any]) -> list[Row]:
    """One row a joint."""
    rows = []
    for i, one in enumerate(answer.get("joints", ()), start=1):
        between = one["between"]
        rows.append({
            "badge": f"J{i}", "between": [between] if isinstance(between, str) else list(between),
            "gap": _number(frame, one["gap"]), "offset": _number(frame, one["offset"]),
            "angle": _angle(one["angle"]), "roll": _angle(one["roll"]), "ok": one["ok"],
        })  # fmt: skip
    return rows


def finding_rows(answer: Mapping[str, Any]) -> list[Row]:
    """One row a finding; what is said of both hands of a pair in the same words is said once."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for one in answer["findings"]:
        says, hand = one["says"], one["hand"]
        if one["part"] and hand in ("left", "right"):
            says = says.replace(f"{one['part']} {hand}: ", f"{one['part']}: ", 1)
        hands = found.setdefault((LEVELS[one["level"]], one["rule"], says), [])
        if hand in ("left", "right") and hand not in hands:
            hands.append(hand)
    return [
        {"level": level, "rule": rule, "says": says, "hands": " and ".join(hands)}
        for (level, rule, says), hands in found.items()
    ]


def _shown(frame: Frame, name: str) -> RailPart:
    """The part of a name that its table shows: the right hand of a pair."""
    return next(part for part in frame.parts if part.name == name and part.hand != "left")


def _label(one: Mapping[str, Any]) -> str:
    return one["part"] if one["hand"] in (None, "single") else f"{one['part']} {one['hand']}"


def _marked(frame: Frame, length: float) -> tuple[str, str]:
    """A length as a decimal, and as it is marked on a tape; nothing for millimetres."""
    number, _, tape = frame.mark(length).partition(" (")
    return number.removesuffix(f" {frame.unit}"), tape.removesuffix(")").replace(" ", NARROW)


def _number(frame: Frame, value: float | None) -> str:
    return "not found" if value is None else format_decimal(from_unit(value, frame.unit), frame.unit)


def _length(frame: Frame, value: float) -> str:
    return f"{_number(frame, value)} {frame.unit}"


def _angle(value: float | None) -> str:
    if value is None:
        return "not found"
    text = f"{value:.2f}"
    return (text.removeprefix("-") if float(text) == 0 else text) + "°"


def _travel(frame: Frame, at: Mapping[str, float] | None) -> str:
    """A position of travel in words."""
    at = at or {}
    words = []
    if up := at.get("up"):
        words.append(f"{_length(frame, abs(up))} {'up' if up > 0 else 'down'}")
    if roll := at.get("roll"):
        words.append(f"rolled {roll:+.1f}°")
    if turn := at.get("turn"):
        words.append(f"turned {turn:+.1f}°")
    if slide := at.get("slide"):
        words.append(f"slid {_length(frame, slide)}")
    return ", ".join(words)
