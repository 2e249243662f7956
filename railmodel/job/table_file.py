"""A bend table file (JSON) read back in as a part's rows.

The file says which end and which hand it was read for; here it becomes the rows of the right hand of a pair (or of a
single part) from the front end, in mm and radians.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import degrees, isfinite, pi, radians
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from railmodel.errors import InputError
from railmodel.geometry.rows import BendRows, wrap
from railmodel.job.fields import FACES, not_among
from railmodel.job.fields import shown as said
from railmodel.job.parts import Row
from railmodel.job.source import decoded, read_bytes
from railmodel.part import OPPOSITE, Face, Hand, Way
from railmodel.units import LengthError, Unit, parse_length

MAX_BYTES: int = 1_000_000
MAX_ROWS: int = 1000
_NEAREST = radians(46)  # a bend goes toward the face within 45 degrees, and a little for rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A bend table as its file gives it.

    Args:
        name: how messages call the file.
        part: the part's name in the file, if any.
        hand: the hand it is for.
        rear: whether it is read from the rear end.
        rows: its rows, mm and radians.
        towards: face named in each row, or None.
        ways: way named in each row, or None.
        dies: die named in each row, or None.
    """

    name: str
    part: str | None
    hand: Hand
    rear: bool
    rows: BendRows
    towards: tuple[Face | None, ...]
    ways: tuple[Way | None, ...]
    dies: tuple[str | None, ...]

    def for_part(self, *, pair: bool, forward: bool = False) -> tuple[tuple[Row, ...], float]:
        """Rows and tail (mm) of the front-led right hand, or of the single part.

        Args:
            pair: whether the part it is read into is a pair; a table for the left hand is then un-mirrored.
            forward: whether that part is written with its front end heading toward -X, which puts `outboard` of the
                right hand on the other side of the tube.

        Raises:
            InputError: a row whose `toward` contradicts its rotation.
        """
        said = contradictions(self.rows.rotation, self.towards, self.hand, forward=forward, rear=self.rear)
        if said:
            raise InputError([f"{self.name}: rows[{i}] toward: {says}" for i, says in said])
        rows, order = self.rows, slice(None, None, -1 if self.rear else 1)
        if self.rear:
            rows = rows.reversed()
        if pair and self.hand == "left":
            rows = rows.mirrored()
        columns = zip(
            rows.distance, rows.rotation, rows.angle, rows.radius, self.ways[order], self.dies[order], strict=True
        )
        found = tuple(
            Row.model_construct(
                distance=float(distance), rotation=float(rotation), angle=float(angle), radius=float(radius),
                way=way, die=die, toward=None, bend=None,
            )
            for distance, rotation, angle, radius, way, die in columns
        )  # fmt: skip
        return found, float(rows.tail)


def contradictions(
    rotation: ArrayLike, towards: Sequence[Face | None], hand: Hand, *, forward: bool, rear: bool
) -> list[tuple[int, str]]:
    """Rows whose named face is not the one their rotation gives: index and tail of a sentence.

    On the right hand and on a single part, written heading rearward and read from the front, the face at +s is the
    right or outboard one, and a rotation of +90 degrees from the top goes toward its opposite. The other hand and
    the other end each turn that round; heading forward turns only inboard and outboard round.

    Args:
        rotation: (n,) radians.
        towards: the n names, or None.
        hand: of the table.
        forward: whether the part's front end is written heading toward -X.
        rear: whether the table is read from the rear end.
    """
    turned = (hand == "left") != rear
    right: Face = "left" if turned else "right"
    outboard: Face = "inboard" if turned != forward else "outboard"
    problems = []
    for i, (roll, toward) in enumerate(zip(wrap(np.cumsum(rotation)), towards, strict=True)):
        plus = outboard if toward in ("inboard", "outboard") else right
        around: tuple[Face, ...] = ("top", OPPOSITE[plus], "bottom", plus)
        if toward is None or abs(float(wrap(roll - around.index(toward) * pi / 2))) <= _NEAREST:
            continue
        face = around[round(float(roll) / (pi / 2)) % 4]
        says = (
            f'found "{toward}", but the rotations so far turn the bend toward "{face}" '
            f"({degrees(float(roll)):.1f} degrees from the top face); correct the rotation or the face"
        )
        problems.append((i, says))
    return problems


def read_table(path: Path, shown: str | None = None) -> Table:
    """Read a bend table file.

    Args:
        path: the file.
        shown: how messages call it.

    Raises:
        InputError: it is not a bend table of version 1, or a value in it is not valid.
    """
    name = shown or path.name
    data = _json(read_bytes(path, MAX_BYTES, name), name)
    if isinstance(data, list):
        if len(data) != 1:
            raise InputError(
                f"{name}: found a list of {len(data)} tables; allowed: one; write it with --part and --hand given"
            )
        data = data[0]
    if not isinstance(data, dict) or data.get("table") != "bend rows":
        raise InputError(f'{name}: found no "table": "bend rows"; allowed: a bend table file; check the name')
    reader = _Reader(name)
    table = reader.table(data)
    if reader.problems or table is None:
        raise InputError(reader.problems)
    return table


def _json(data: bytes, name: str) -> Any:
    def constant(text: str) -> float:
        raise ValueError(f"found {text}; allowed: finite numbers")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise ValueError(f"found the key {said(twice)} twice in one object; take one of the two out")
        return found

    try:
        return json.loads(decoded(data, name), parse_constant=constant, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        raise InputError(
            f"{name}:{error.lineno}:{error.colno}: not readable as JSON: {error.msg.lower()}; write the table again"
        ) from None
    except RecursionError:
        raise InputError(f"{name}: values nested too deep for a bend table; write the table again") from None
    except ValueError as error:
        raise InputError(f"{name}: {error}") from None


class _Reader:
    """Reads the values of one table, gathering problems."""

    def __init__(self, name: str) -> None:
        self.name, self.problems = name, list[str]()
        self.unit: Unit = "mm"

    def table(self, data: Mapping[str, Any]) -> Table | None:
        if data.get("version") != 1 or isinstance(data.get("version"), bool):
            self._bad("version", f"found {said(data.get('version'))}; allowed: 1; this program reads no other")
        units = data.get("units")
        units = units if isinstance(units, dict) else {}
        length = self._word(units.get("length"), "units length", ("in", "mm"))
        self._word(units.get("angle"), "units angle", ("deg",))
        self.unit = "in" if length == "in" else "mm"
        hand = self._word(data.get("hand"), "hand", ("left", "right", "single"))
        end = self._word(data.get("leading_end"), "leading_end", ("front", "rear"))
        rows = data.get("rows")
        if not isinstance(rows, list) or not len(rows) <= MAX_ROWS:
            self._bad("rows", f"found {said(rows)}; allowed: a list of up to {MAX_ROWS} rows")
            rows = []
        columns = [self._row(i, row) for i, row in enumerate(rows)]
        tail = self._length(data.get("tail"), "tail", 0)
        if self.problems:
            return None
        numbers = [[column[k] for column in columns] for k in range(4)]
        part = data.get("part")
        return Table(
            name=self.name,
            part=part if isinstance(part, str) else None,
            hand=hand,  # type: ignore[arg-type]
            rear=end == "rear",
            rows=BendRows.of(numbers[0], numbers[1], numbers[2], numbers[3], tail),
            towards=tuple(column[4] for column in columns),
            ways=tuple(column[5] for column in columns),
            dies=tuple(column[6] for column in columns),
        )

    def _row(self, i: int, row: Any) -> tuple[Any, ...]:
        where = f"rows[{i}]"
        if not isinstance(row, dict):
            self._bad(where, f"found {said(row)}; allowed: an object with distance, rotation, angle, radius")
            return (0.0,) * 7
        if row.get("bend") is not None and row["bend"] != i + 1:
            self._bad(f"{where} bend", f"found {said(row['bend'])}; allowed: {i + 1}; the rows stand in bending order")
        rotation = self._angle(row.get("rotation"), f"{where} rotation", -180, 180, "above -180 and up to 180")
        angle = self._angle(row.get("angle"), f"{where} angle", 0, 180, "above 0 and below 180")
        if angle >= pi:
            self._bad(f"{where} angle", "found 180; allowed: degrees above 0 and below 180")
        die = row.get("die")
        if die is not None and not (isinstance(die, str) and 1 <= len(die.strip()) <= 200 and die.isprintable()):
            self._bad(f"{where} die", f"found {said(die)}; allowed: a die's name, or null")
            die = None
        return (
            self._length(row.get("distance"), f"{where} distance", 0),
            rotation,
            angle,
            self._length(row.get("radius"), f"{where} radius", 1e-9),
            self._word(row.get("toward"), f"{where} toward", FACES, needed=False),
            self._word(row.get("way"), f"{where} way", ("hard", "easy"), needed=False),
            die and die.strip(),
        )

    def _bad(self, where: str, says: str) -> None:
        self.problems.append(f"{self.name}: {where}: {says}")

    def _word(self, value: Any, where: str, allowed: Sequence[str], *, needed: bool = True) -> str | None:
        if (value is None and not needed) or (isinstance(value, str) and value in allowed):
            return value
        self._bad(where, not_among(value, allowed))
        return None

    def _number(self, value: Any, where: str) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not -1e9 < value < 1e9:
            self._bad(where, f"found {said(value)}; allowed: a number")
            return None
        return float(value)

    def _length(self, value: Any, where: str, low: float) -> float:
        number = self._number(value, where)
        if number is None:
            return 0.0
        try:
            mm = parse_length(number, self.unit)
        except LengthError as error:
            self._bad(where, str(error))
            return 0.0
        if mm < low:
            self._bad(where, f"found {said(value)}; allowed: a length {'above 0' if low else 'of 0 or more'}")
        return mm

    def _angle(self, value: Any, where: str, above: float, up_to: float, allowed: str) -> float:
        number = self._number(value, where)
        if number is None:
            return 0.0
        if not above < number <= up_to or not isfinite(number):
            self._bad(where, f"found {said(value)}; allowed: degrees {allowed}")
            return 0.0
        return radians(number)
