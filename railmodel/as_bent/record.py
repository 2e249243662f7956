"""The shop's measurements of one bent tube: a small file, YAML or a spreadsheet saved as CSV. mm, radians once read.

```yaml
part: side rail            # which tube; may be left out where the job has one bent part
hand: right                # of a pair
numbered_from: front       # the end that straights and bends are counted from; left out: the leading end
units: in                  # left out: the job's
bent: 2                    # how many bends are made so far; left out: all
tools: {tape: 1/32, protractor: 0.3}   # nineteen of twenty readings lie within so much of the truth
legs:                      # straight 0 lies before bend 1
  - {straight: 1, between: tangents, reads: 15 3/16}
angles:                    # by protractor, on the straights beside the bend; several readings as a list
  - {bend: 1, reads: [14.8, 15.1]}
turns:                     # of a bend's plane about the tube from the bend before, as in the bend table
  - {bend: 2, reads: 179.5}
distances:                 # by tape, straight from place to place
  - {from: front end, to: "apex 3, top", reads: 104 1/8, sure_to: 1/16}
table:                     # places on a table or grid, wherever its own origin is
  - {place: front end, at: [0, 0, 1 1/2]}
set: as planned            # what the bender was set to; or a list such as - {bend: 1, angle: 16.2}
weights: {cab mount: 3}    # how much a fit point counts in the best fit
```

Places: `front end`, `rear end`, `apex 2`, `start of bend 2`, `end of bend 2`, `middle of straight 1`, `foot of NAME` of
a fit point; all but feet mean the middle of the tube, or with a face behind a comma the middle of that face.
"""

from collections.abc import Mapping
from math import radians
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, NamedTuple

from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)

from railmodel.job.fields import (
    BendAngle,
    EndName,
    Limit,
    Model,
    Name,
    Number,
    SideName,
    Size,
    Text,
    UnitName,
    number,
    one_of,
    shown,
    units_of,
)
from railmodel.units import Unit, from_unit, parse_length

MOST_READINGS: Final = 20
"""Readings of one thing in a list."""


_MOST: Final = 100_000
"""The largest plain number that is read as a length, in its unit."""


class Reading(NamedTuple):
    """One reading and how it was written, mm or radians."""

    value: float
    text: str


def _many(value: Any, read: Any) -> tuple[Reading, ...]:
    given = value if isinstance(value, list | tuple) else [value]
    if not 1 <= len(given) <= MOST_READINGS:
        raise ValueError(f"found {len(given)} readings; allowed: 1 to {MOST_READINGS}")
    return tuple(Reading(read(one), str(getattr(one, "raw", one)).strip()) for one in given)


def _length(value: Any, unit: Unit) -> float:
    """A length; a plain number may be out by 25.4 and still be read, so that this can be said of the whole record."""
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return from_unit(float(value), unit) if plain and abs(value) < _MOST else parse_length(value, unit)


def _lengths(value: Any, info: ValidationInfo) -> tuple[Reading, ...]:
    def read(one: Any) -> float:
        found = _length(one, units_of(info))
        if found < 0:
            raise ValueError(f"found {shown(one)}; allowed: a length of 0 or more")
        return found

    return _many(value, read)


def _plain(value: Any) -> Any:
    """A number that stands in quotes, or with a degree sign, as a number."""
    try:
        return float(value.removesuffix("°")) if isinstance(value, str) else value
    except ValueError:
        return value


def _degrees(low: float, allowed: str) -> BeforeValidator:
    def read(one: Any) -> float:
        found = number(_plain(one))
        if not low <= found <= 360:
            raise ValueError(f"found {shown(one)}; allowed: {allowed}")
        return radians(found)

    return BeforeValidator(lambda value: _many(value, read))


def _whole(low: int) -> BeforeValidator:
    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= 1000:
            raise ValueError(f"found {shown(value)}; allowed: a whole number from {low} on")
        return int(value)

    return BeforeValidator(read)


LengthReadings = Annotated[tuple[Reading, ...], BeforeValidator(_lengths)]
AngleReadings = Annotated[tuple[Reading, ...], _degrees(0.0, "degrees from 0 to 360")]
TurnReadings = Annotated[tuple[Reading, ...], _degrees(-360.0, "degrees from -360 to 360")]
BendNumber = Annotated[int, _whole(1)]
StraightNumber = Annotated[int, _whole(0)]


class Leg(Model):
    """Length of a straight.

    Args:
        straight: its number; 0 lies before bend 1.
        between: "tangents", or "apexes" where the legs' middle lines meet; an end of the tube counts as either.
        reads: what the tape read.
        sure_to: nineteen of twenty readings lie within so much of the truth.
    """

    straight: StraightNumber
    between: Annotated[Literal["tangents", "apexes"], one_of("tangents", "apexes")] = "tangents"
    reads: LengthReadings
    sure_to: Size | None = None


class AngleReading(Model):
    """A bend's angle by protractor."""

    bend: BendNumber
    reads: AngleReadings
    sure_to: Limit | None = None


class TurnReading(Model):
    """The turn of a bend's plane about the tube from the bend before; of the first bend from the top face."""

    bend: BendNumber
    reads: TurnReadings
    sure_to: Limit | None = None


class Distance(Model):
    """A straight distance between two places by tape."""

    start: Name = Field(alias="from")
    end: Name = Field(alias="to")
    reads: LengthReadings
    sure_to: Size | None = None


def _at(value: Any, info: ValidationInfo) -> tuple[Reading | None, ...]:
    if isinstance(value, str) or not isinstance(value, list | tuple) or not 2 <= len(value) <= 3:
        raise ValueError(f"found {shown(value)}; allowed: two or three lengths [x, y] or [x, y, z]")
    unit = units_of(info)
    given = [*value, None] if len(value) == 2 else list(value)
    return tuple(
        None if one is None else Reading(_length(one, unit), str(getattr(one, "raw", one)).strip()) for one in given
    )


class TablePoint(Model):
    """A place on a table or grid with axes of its own; a height that was not measured is left out."""

    place: Name
    at: Annotated[tuple[Reading | None, ...], BeforeValidator(_at)]
    sure_to: Size | None = None


class Tools(Model):
    """What nineteen of twenty readings of a tool lie within."""

    tape: Size | None = None
    protractor: Limit | None = None
    level: Limit | None = None
    grid: Size | None = None


class SetTo(Model):
    """What the bender was set to for a bend.

    Args:
        bend: its number.
        angle: set angle, radians.
    """

    bend: BendNumber
    angle: BendAngle


def _set(value: Any, listed: ValidatorFunctionWrapHandler) -> Any:
    if value is None or isinstance(value, list | tuple):
        return value if value is None else listed(value)
    if isinstance(value, str) and " ".join(value.split()).lower() == "as planned":
        return "as planned"
    raise ValueError(f"found {shown(value)}; allowed: as planned, or a list such as - {{bend: 1, angle: 16.2}}")


if TYPE_CHECKING:
    Settings = Literal["as planned"] | tuple[SetTo, ...] | None
else:  # a union would say of every wrong entry of the list that it is not the words as well
    Settings = Annotated[tuple[SetTo, ...], WrapValidator(_set), PlainSerializer(lambda value: value, return_type=Any)]


class Record(Model):
    """A whole record of measurements; every list may be left out, not all of them.

    Args:
        of_job: the job's name, to be sure of it.
        part: which part.
        hand: which hand of a pair.
        numbered_from: the end that straights and bends are counted from; None = the leading end.
        units: of bare lengths; None = the job's.
        date: free text.
        heat: mill heat number.
        measured_by: free text.
        note: free text.
        bent: bends made so far; None = all.
        tools: what the shop's tools read to.
        legs: lengths of straights.
        angles: bend angles.
        turns: turns between bends.
        distances: from place to place.
        table: places on a table.
        set: what the bender was set to; None where nobody says.
        weights: by fit point, in the best fit.
    """

    of_job: Name | None = None
    part: Name | None = None
    hand: SideName | None = None
    numbered_from: EndName | None = None
    units: UnitName | None = None
    date: Name | None = None
    heat: Name | None = None
    measured_by: Name | None = None
    note: Text | None = None
    bent: StraightNumber | None = None
    tools: Tools = Tools()
    legs: tuple[Leg, ...] = ()
    angles: tuple[AngleReading, ...] = ()
    turns: tuple[TurnReading, ...] = ()
    distances: tuple[Distance, ...] = ()
    table: tuple[TablePoint, ...] = ()
    set: Settings = None
    weights: dict[Name, Number] = Field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether nothing was measured."""
        return not (self.legs or self.angles or self.turns or self.distances or self.table)


SECTIONS: Final[Mapping[str, str]] = {
    "leg": "legs", "angle": "angles", "turn": "turns", "distance": "distances", "table": "table", "set": "set",
    "tool": "tools", "weight": "weights",
}  # fmt: skip
"""What a line of a spreadsheet may be called, and the list it goes to."""
