"""What `railmodel fit` may move, as it stands in a job file, and roll wishes; mm and radians once read.

A range is `[low, high]` in the file's unit or in degrees. The value written need not lie inside it.
"""

from collections.abc import Callable, Sequence
from math import isfinite, radians
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, ValidationInfo, model_validator

from railmodel.job.fields import Length, Limit, Model, Name, shown, units_of
from railmodel.units import parse_length

Range = tuple[float, float]


def _range(value: Any, read: Callable[[Any], float], what: str) -> Range:
    """Two values in order.

    Raises:
        ValueError: anything else.
    """
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise ValueError(f"found {shown(value)}; allowed: [low, high], two {what}")
    low, high = read(value[0]), read(value[1])
    if low > high:
        raise ValueError(f"found {shown(value[0])} before {shown(value[1])}; allowed: the smaller one first")
    return low, high


def _lengths(least: float, open_: bool) -> BeforeValidator:
    allowed = "a length above 0" if open_ else "a length of 0 or more"

    def read(value: Any, info: ValidationInfo) -> Range:
        unit = units_of(info)

        def one(item: Any) -> float:
            mm = parse_length(item, unit)
            if mm < least or (open_ and mm == least):
                raise ValueError(f"found {shown(item)}; allowed: {allowed}")
            return mm

        return _range(value, one, "lengths")

    return BeforeValidator(read)


def _angles(value: Any) -> Range:
    def one(item: Any) -> float:
        if isinstance(item, bool) or not isinstance(item, int | float) or not isfinite(item) or not 0 < item < 180:
            raise ValueError(f"found {shown(item)}; allowed: degrees above 0 and below 180, a plain number")
        return radians(item)

    return _range(value, one, "angles in degrees")


LengthRange = Annotated[Range, _lengths(float("-inf"), False)]
"""mm."""
DistanceRange = Annotated[Range, _lengths(0.0, False)]
"""mm, 0 or more."""
SizeRange = Annotated[Range, _lengths(0.0, True)]
"""mm, above 0."""
AngleRange = Annotated[Range, BeforeValidator(_angles)]
"""Radians, above 0 and below pi."""


class Free(Model):
    """Ranges of some values; at least one."""

    @model_validator(mode="after")
    def _some(self) -> Self:
        if not self.model_fields_set:
            raise ValueError(f"found no range; allowed: one or more of {', '.join(type(self).model_fields)}")
        return self

    def belongs(self, given: Model) -> None:
        """See that every range stands beside a value of its own.

        Raises:
            ValueError: one does not.
        """
        for key in sorted(self.model_fields_set):
            if getattr(given, key, None) is None:
                raise ValueError(f"found a range for {key}, which is not given here; give {key}, or take the range out")


class FreePlace(Free):
    """Where a point may go, axis by axis."""

    x: LengthRange | None = None
    y: LengthRange | None = None
    z: LengthRange | None = None


class FreeBend(Free):
    """What a bend's angle may be."""

    angle: AngleRange | None = None


class FreeOffset(Free):
    """What the values of an offset may be."""

    by: SizeRange | None = None
    angle: AngleRange | None = None
    over: SizeRange | None = None


class FreeRow(Free):
    """What the values of a bend row may be."""

    distance: DistanceRange | None = None
    angle: AngleRange | None = None


class FreeTail(Free):
    """What the tail of a part given by rows may be."""

    tail: DistanceRange | None = None


class Plumb(Model):
    """A place where the top face must look straight up, for a bracket or a crossmember.

    Args:
        name: what the place is called; left out, its part and station.
        part: part name.
        x: vehicle station, mm.
        within: how far the top face may be rolled there, radians.
    """

    name: Name | None = None
    part: Name
    x: Length
    within: Limit = radians(0.1)
