"""Bend tables: JSON, CSV and XLSX with the same columns, neutral enough for any bender.

Lengths leave in the job's unit and angles in degrees, never rounded. Every file says in words what its rotation and
its lengths mean, so nobody needs this program to read it.
"""

import csv
import io
import json
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import lru_cache
from math import degrees, nan, radians
from pathlib import Path
from typing import Any, SupportsFloat

from railmodel.files import replacing
from railmodel.part import RailPart
from railmodel.units import LengthError, Unit, parse_length, to_unit

ROTATION = (
    "Turn about the tube's centreline that brings the previous bend direction onto this one, right-handed in the "
    "direction of travel from the leading end to the tail: seen by a person at the tail looking toward the leading "
    "end, positive is counter-clockwise. The first row is measured from the top face."
)
LENGTHS = (
    "Finished lengths along the centreline: each distance is the straight between tangents before its bend, the tail "
    "is the straight after the last bend. Springback, stretch and trims are not in them."
)

COLUMNS: tuple[str, ...] = (
    "job", "revision", "part", "hand", "leading_end", "length_unit", "angle_unit",
    "bend", "distance", "rotation", "angle", "radius", "way", "toward", "die",
    "tail", "developed_length", "height", "width", "wall", "corner", "rotation_means", "lengths_mean",
)  # fmt: skip

Table = dict[str, Any]

_ALWAYS = datetime(1980, 1, 1)
"""The time a spreadsheet says it was made: the earliest its container can hold, so that it tells nothing."""


def table_of(part: RailPart, *, job: str, revision: str | None, unit: Unit) -> Table:
    """The bend table of one part, read from its leading end, as the bend table file holds it."""
    reading = part.read
    rows = reading.line.rows
    size = part.section
    return {
        "table": "bend rows",
        "version": 1,
        "job": job,
        "revision": revision or "",
        "part": part.name,
        "hand": part.hand,
        "units": {"length": unit, "angle": "deg"},
        "leading_end": reading.end,
        "rotation": ROTATION,
        "lengths": LENGTHS,
        "tube": {name: _length(getattr(size, name), unit) for name in ("height", "width", "wall", "corner")},
        "rows": [
            {
                "bend": bend.number,
                "distance": _length(rows.distance[i], unit),
                "rotation": _degrees(rows.rotation[i]),
                "angle": _degrees(rows.angle[i]),
                "radius": _length(rows.radius[i], unit),
                "way": bend.way,
                "toward": bend.toward,
                "die": bend.die,
            }
            for i, bend in enumerate(reading.bends)
        ],
        "tail": _length(rows.tail, unit),
        "developed_length": _length(reading.line.length, unit),
    }


def _length(mm: SupportsFloat, unit: Unit) -> float:
    """A length in a unit."""
    return _short_length(float(mm) + 0.0, unit)


@lru_cache(maxsize=4096)
def _short_length(exact: float, unit: Unit) -> float:
    def read(value: float) -> float:
        try:
            return parse_length(value, unit)
        except LengthError:  # so long that no file may hold it
            return nan

    return _exact(to_unit(exact, unit), exact, read)


def _degrees(angle: SupportsFloat) -> float:
    """An angle (radians) in degrees."""
    return _short_degrees(float(angle) + 0.0)


@lru_cache(maxsize=4096)
def _short_degrees(exact: float) -> float:
    return _exact(degrees(exact), exact, radians)


def _exact(value: float, exact: float, read: Callable[[float], float]) -> float:
    """The number of fewest digits that is read back as exactly what it stands for: 12.3, not 12.300000000000002.

    Where no number is, the nearest one.
    """
    few = read(float(f"{value:.12g}")) == exact  # if 12 digits do not do, no fewer can
    for digits in range(1 if few else 13, 17):
        short = float(f"{value:.{digits}g}")
        if read(short) == exact:
            return short
    return value


def as_json(tables: Sequence[Table] | Table) -> str:
    """JSON text with full precision."""
    return json.dumps(tables, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def as_csv(tables: Sequence[Table]) -> str:
    """CSV text: a header line, then a line a bend; a part without bends gives one line with its length."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in _lines(tables):
        writer.writerow([_inert(line[name]) for name in COLUMNS])
    return out.getvalue()


def write_xlsx(tables: Sequence[Table], path: Path) -> None:
    """A spreadsheet with the CSV's columns; text is written as text, never as a formula.

    The same tables give the same bytes whenever they are written.
    """
    import xlsxwriter

    with replacing(path) as temporary, xlsxwriter.Workbook(str(temporary), {"in_memory": True}) as book:
        book.set_properties({"title": "Bend table", "comments": f"{ROTATION} {LENGTHS}", "created": _ALWAYS})
        head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        number = book.add_format({"num_format": "0.000"})
        sheet = book.add_worksheet("bend rows")
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        for column, name in enumerate(COLUMNS):
            sheet.write_string(0, column, name, head)
            sheet.set_column(column, column, max(10, len(name) + 1))
        for row, line in enumerate(_lines(tables), start=1):
            for column, name in enumerate(COLUMNS):
                value = line[name]
                if isinstance(value, int):
                    sheet.write_number(row, column, value)
                elif isinstance(value, float):
                    sheet.write_number(row, column, value, number)
                elif value:
                    sheet.write_string(row, column, value)


def _lines(tables: Sequence[Table]) -> list[dict[str, Any]]:
    """One flat record a bend, every column filled."""
    lines = []
    for table in tables:
        shared = {name: table[name] for name in ("job", "revision", "part", "hand", "leading_end", "tail")}
        shared |= {"length_unit": table["units"]["length"], "angle_unit": table["units"]["angle"]}
        shared |= {"developed_length": table["developed_length"], **table["tube"]}
        shared |= {"rotation_means": table["rotation"], "lengths_mean": table["lengths"]}
        no_bend = dict.fromkeys(("bend", "distance", "rotation", "angle", "radius", "way", "toward", "die"))
        lines += [{**shared, **row} for row in table["rows"] or [no_bend]]
    return lines


def _inert(value: object) -> object:
    """A cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return "" if value is None else value
