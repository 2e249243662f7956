"""The record of test bends: a CSV file that only ever grows.

One line is one bend. A line that cannot be used is named with its number and the others go on; nothing here ever
rewrites a line. Lengths are in the shop's unit or as people read a tape, angles in degrees, text cells that a
spreadsheet would take for a formula carry an apostrophe in front.
"""

import csv
import re
from dataclasses import dataclass
from functools import lru_cache
from math import degrees, radians
from pathlib import Path
from typing import Final, get_args

from railmodel.bending.legs import MeasuredTo
from railmodel.errors import InputError
from railmodel.findings import Finding
from railmodel.units import LengthError, Unit, from_unit, parse_length, quoted

COLUMNS: Final = (
    "date", "die", "tube", "wall", "grade", "heat", "set_angle", "measured_angle", "tube_used", "note",
    "blank_length", "leg_a", "leg_b", "measured_to",
)  # fmt: skip
"""The columns, in the order a new record gets them. The last four are raw measurements of tube use."""

REQUIRED: Final = ("die", "tube", "set_angle", "measured_angle")
TEXTS: Final = ("date", "die", "tube", "grade", "heat", "note", "measured_to")
LENGTHS: Final = ("wall", "tube_used", "blank_length", "leg_a", "leg_b")
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_EMPTY: Final = dict.fromkeys(COLUMNS, "")
_RULE: Final = "test bend"
_MOST_BACK: Final = radians(10)
_LEAST_KEPT: Final = 0.499
"""A bend that gave back more than this angle and kept less than this part of it was not written down right (common
practice, no source)."""

_LINE_END = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedBend:
    """One test bend, lengths in millimetres, angles in radians.

    Args:
        die: name of the die.
        tube: name of the tube.
        set_angle: what the bender was set to.
        measured_angle: what the tube measured after it was let go.
        date: when, free text on reading, year-month-day on writing.
        wall: wall thickness.
        grade: steel grade.
        heat: mill heat number.
        tube_used: stock the bend took up.
        note: anything.
        blank_length: flat length of a one-bend test piece.
        leg_a: leading leg, measured as `measured_to` says.
        leg_b: trailing leg.
        measured_to: "apex", "tangent", "outside" or "inside".
        line: line in the file, 1 is the header; 0 for a bend not written yet.
    """

    die: str
    tube: str
    set_angle: float
    measured_angle: float
    date: str = ""
    wall: float | None = None
    grade: str = ""
    heat: str = ""
    tube_used: float | None = None
    note: str = ""
    blank_length: float | None = None
    leg_a: float | None = None
    leg_b: float | None = None
    measured_to: MeasuredTo | None = None
    line: int = 0

    @property
    def springback(self) -> float:
        """Set less measured angle, radians."""
        return self.set_angle - self.measured_angle


@dataclass(frozen=True, slots=True, kw_only=True)
class BendLog:
    """What a record holds.

    Args:
        bends: the usable test bends, in file order.
        findings: one for each line that is not usable, and for anything odd about the file.
    """

    bends: tuple[LoggedBend, ...]
    findings: tuple[Finding, ...]


def read_bend_log(path: Path, unit: Unit) -> BendLog:
    """Read a record of test bends. A record that does not exist yet is empty, with a note.

    Args:
        path: the CSV file.
        unit: what its bare lengths are in.

    Raises:
        InputError: the file cannot be read, or its header lacks a required column.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        says = f"{path.name}: no test bends recorded yet; springback and tube use are estimates"
        return BendLog(bends=(), findings=(Finding(rule=_RULE, level="note", says=says),))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error}); check the path") from None
    lines = split_lines(decode(content))
    if not any(line.strip() for line in lines):
        says = f"{path.name}: the record is empty; springback and tube use are estimates"
        return BendLog(bends=(), findings=(Finding(rule=_RULE, level="note", says=says),))
    first = next(i for i, line in enumerate(lines) if line.strip())
    header = read_header(path, lines[first])
    bends: list[LoggedBend] = []
    findings = [
        Finding(
            rule=_RULE,
            level="note",
            says=f"{path.name}: column {quoted(name)} is not used; known are {', '.join(COLUMNS)}",
        )
        for name in header
        if name and name not in COLUMNS
    ]
    for number, line in enumerate(lines[first + 1 :], first + 2):
        if not line.strip(" ,\t") or line == lines[first]:
            continue
        read = _row(line, number, header, unit)
        if isinstance(read, LoggedBend):
            bends.append(read)
        else:
            says = f"{path.name} line {number}: {read}; the line is left out"
            findings.append(Finding(rule=_RULE, level="warn", says=says))
    return BendLog(bends=tuple(bends), findings=tuple(findings))


def split_lines(text: str) -> list[str]:
    """Lines as an editor counts them (not at form feeds and the like)."""
    return _LINE_END.split(text)


def decode(content: bytes) -> str:
    """Text of a record: UTF-8 with or without a byte order mark, or what an older spreadsheet saved."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def read_header(path: Path, line: str) -> list[str]:
    """The columns a header line names.

    Raises:
        InputError: a required column is missing or one stands twice.
    """
    try:
        cells = next(csv.reader([line], strict=True))
    except csv.Error:
        cells = []
    names = [cell.strip().lower().replace(" ", "_").replace("-", "_") for cell in cells]
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        hint = "; save it with commas between the columns" if ";" in line or "\t" in line else ""
        raise InputError(f"{path} line 1: found no column {', '.join(missing)}; needed are {', '.join(REQUIRED)}{hint}")
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise InputError(f"{path} line 1: column {twice[0]} stands twice; rename or remove one")
    return names


def _row(line: str, number: int, header: list[str], unit: Unit) -> LoggedBend | str:
    """The bend a line holds, or what is wrong with it in words."""
    try:
        cells = next(csv.reader([line], strict=True))
    except csv.Error as error:
        return f"the line cannot be split into cells ({error}); check its quotation marks"
    if len(cells) != len(header):
        if len(cells) > len(header) and any(cell.strip() for cell in cells[len(header) :]):
            return f"found {len(cells)} cells for {len(header)} columns; put text with commas in quotation marks"
        cells = (cells + [""] * len(header))[: len(header)]
    try:
        return _bend(_EMPTY | dict(zip(header, cells, strict=True)), number, unit)
    except ValueError as error:
        return str(error)


def _bend(cell: dict[str, str], number: int, unit: Unit) -> LoggedBend:
    die, tube = _text(cell["die"]), _text(cell["tube"])
    if not (die and tube):
        raise ValueError(f"{'tube' if die else 'die'} is empty; write the name the shop file uses")
    for name in ("die", "tube", "heat"):
        if not cell[name].isprintable():
            raise ValueError(f"{name} is {quoted(cell[name])}; allowed: plain text without control characters")
    bend = LoggedBend(
        die=die,
        tube=tube,
        set_angle=_angle("set_angle", cell["set_angle"]),
        measured_angle=_angle("measured_angle", cell["measured_angle"]),
        date=_text(cell["date"]),
        wall=_length("wall", cell["wall"], unit),
        grade=_text(cell["grade"]),
        heat=_text(cell["heat"]),
        tube_used=_length("tube_used", cell["tube_used"], unit),
        note=_text(cell["note"]),
        blank_length=_length("blank_length", cell["blank_length"], unit),
        leg_a=_length("leg_a", cell["leg_a"], unit),
        leg_b=_length("leg_b", cell["leg_b"], unit),
        measured_to=_measured_to(_text(cell["measured_to"])),
        line=number,
    )
    problem = contradiction(bend)
    if problem:
        raise ValueError(problem)
    return bend


def _text(cell: str) -> str:
    text = cell.strip()
    if text[:1] != "'":
        return text
    return text[1:] if text[1:].startswith(FORMULA) else text


@lru_cache(maxsize=8192)  # the same few angles and lengths come again and again
def _angle(name: str, cell: str) -> float:
    text = cell.strip().removesuffix("°").rstrip()
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 < value <= 180 or "_" in text:
        raise ValueError(f"{name} is {quoted(cell)}; allowed: degrees above 0 and up to 180")
    return radians(value)


@lru_cache(maxsize=8192)
def _length(name: str, cell: str, unit: Unit) -> float | None:
    text = cell.strip()
    if not text:
        return None
    try:
        value = from_unit(float(text), unit) if text.replace(".", "", 1).isdecimal() else parse_length(text, unit)
    except LengthError as error:
        raise ValueError(f"{name}: {error}") from None
    if not 0 < value < 1e5:
        raise ValueError(f"{name} is {quoted(cell)}; allowed: a length above 0 and below 100 m")
    return value


def _measured_to(text: str) -> MeasuredTo | None:
    if not text:
        return None
    allowed: tuple[MeasuredTo, ...] = get_args(MeasuredTo)
    for name in allowed:
        if text.lower() == name:
            return name
    raise ValueError(f"measured_to is {quoted(text)}; allowed: {', '.join(allowed)}")


def contradiction(bend: LoggedBend) -> str | None:
    """What in a bend cannot be true, in words."""
    if bend.measured_angle > bend.set_angle + 1e-12:
        return (
            f"measured {degrees(bend.measured_angle):g} degrees, above the {degrees(bend.set_angle):g} set; "
            "a tube springs open when it is let go, never further shut: check whether the two were swapped"
        )
    if bend.springback > _MOST_BACK and bend.measured_angle < _LEAST_KEPT * bend.set_angle:
        return (
            f"measured {degrees(bend.measured_angle):g} degrees, less than half of the {degrees(bend.set_angle):g} "
            "set; no tube springs open so far: check both for swapped digits"
        )
    if 0 < (bend.blank_length, bend.leg_a, bend.leg_b, bend.measured_to).count(None) < 4:
        return "tube use needs all four of blank_length, leg_a, leg_b and measured_to, or none of them"
    return None
