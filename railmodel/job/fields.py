"""What the values in a job or shop file may be: each field type reads a file's value and gives it in mm and radians.

Every type raises ValueError with the tail of a sentence, "found ...; allowed: ...", which `railmodel.job.problems`
puts behind file, line, column and place. A bare length is in the units of the validation context (mm without one);
an angle is always in degrees in the file.
"""

from collections.abc import Callable, Mapping, Sequence
from math import isfinite, radians
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from railmodel.part import End, Face
from railmodel.units import Unit, parse_length, parse_minutes, quoted

FACES: tuple[Face, ...] = ("top", "bottom", "left", "right", "inboard", "outboard")


class Model(BaseModel):
    """Base of everything that stands in a file: frozen, and no key that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


def units_of(info: ValidationInfo) -> Unit:
    """The length unit of the file being validated; mm outside a file."""
    context = info.context
    return context.get("units", "mm") if isinstance(context, Mapping) else "mm"


def _length(low: float | None, open_: bool, value: Any, info: ValidationInfo) -> float:
    mm = parse_length(value, units_of(info))
    if low is not None and (mm <= low if open_ else mm < low):
        raise ValueError(f"found {quoted(value)}; allowed: a length {'above 0' if open_ else 'of 0 or more'}")
    return mm


def number(value: Any) -> float:
    """A finite number.

    Raises:
        ValueError: anything else.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"found {shown(value)}; allowed: a number")
    if not abs(value) < 1e15:
        raise ValueError(f"found {shown(value)}; allowed: a number, less than 1e15 in size")
    return float(value)


def _angle(low: float, high: float, allowed: str, inside: Callable[[float], bool]) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
            raise ValueError(f"found {shown(value)}; allowed: {allowed}, a plain number")
        if not (low <= value <= high and inside(float(value))):
            raise ValueError(f"found {shown(value)}; allowed: {allowed}")
        return radians(value)

    return read


def _three(value: Any, read: Callable[[Any], float], what: str) -> tuple[float, float, float]:
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 3:
        raise ValueError(f"found {shown(value)}; allowed: {what}")
    found = []
    for axis, item in zip("xyz", value, strict=True):
        try:
            found.append(read(item))
        except ValueError as error:
            raise ValueError(f"{axis}: {error}") from None
    return found[0], found[1], found[2]


def _position(value: Any, info: ValidationInfo) -> tuple[float, float, float]:
    unit = units_of(info)
    return _three(value, lambda item: parse_length(item, unit), "three lengths [x, y, z]")


def _sizes(value: Any, info: ValidationInfo) -> tuple[float, float, float]:
    return _three(value, lambda item: _length(0.0, True, item, info), "three lengths above 0, [x, y, z]")


def _direction(value: Any) -> tuple[float, float, float]:
    found = _three(value, number, "three numbers [x, y, z]")
    if max(map(abs, found)) < 1e-9:
        raise ValueError(f"found {shown(value)}; allowed: a direction of some length, such as [1, 0, 0]")
    return found


def _turns(value: Any) -> tuple[float, float, float]:
    return _three(value, _angle(-360, 360, "degrees from -360 to 360", lambda _: True), "degrees about X, Y and Z")


def _text(longest: int, several_lines: bool, value: Any) -> str:
    raw = getattr(value, "raw", value)
    if not isinstance(raw, str):
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            raise ValueError(f"found {shown(raw)}; allowed: text")
        raw = repr(raw)
    raw = raw.strip()
    if not 1 <= len(raw) <= longest:
        raise ValueError(f"found {quoted(raw)}, {len(raw)} characters; allowed: 1 to {longest}")
    if any(not c.isprintable() and not (several_lines and c in "\n\t") for c in raw):
        raise ValueError(f"found {quoted(raw)}; allowed: text on one line without control characters")
    return raw


def shown(value: Any) -> str:
    """A value as messages show it."""
    kind = {dict: "a mapping", list: "a list", tuple: "a list", type(None): "nothing"}.get(type(value))
    return kind or quoted(value)


def one_of(*allowed: str) -> BeforeValidator:
    """A validator that takes exactly these words and suggests the nearest for any other."""

    def read(value: Any) -> str:
        if isinstance(value, str) and value in allowed:
            return str(value)
        raise ValueError(not_among(value, allowed))

    return BeforeValidator(read)


def not_among(value: Any, allowed: Sequence[str]) -> str:
    """The tail of a sentence for a name that is not among those allowed, with the nearest one."""
    from difflib import get_close_matches  # only when something is wrong

    names = ", ".join(allowed[:12]) + (f" and {len(allowed) - 12} more" if len(allowed) > 12 else "")
    said = f"found {shown(value)}; allowed: {names or 'none'}"
    near = get_close_matches(value, allowed, n=1, cutoff=0.6) if isinstance(value, str) and len(value) < 200 else []
    return f'{said}; did you mean "{near[0]}"?' if near else said


def _read_length(low: float | None, open_: bool) -> BeforeValidator:
    def read(value: Any, info: ValidationInfo) -> float:
        return _length(low, open_, value, info)

    return BeforeValidator(read)


def _read_text(longest: int, several_lines: bool = False) -> BeforeValidator:
    def read(value: Any) -> str:
        return _text(longest, several_lines, value)

    return BeforeValidator(read)


def _minutes(value: Any) -> float:
    return parse_minutes(value)


Length = Annotated[float, _read_length(None, False)]
"""mm."""
Distance = Annotated[float, _read_length(0.0, False)]
"""mm, 0 or more."""
Size = Annotated[float, _read_length(0.0, True)]
"""mm, above 0."""
Position = Annotated[tuple[float, float, float], BeforeValidator(_position)]
"""(x, y, z), mm."""
Sizes = Annotated[tuple[float, float, float], BeforeValidator(_sizes)]
"""(x, y, z), mm, each above 0."""
Direction = Annotated[tuple[float, float, float], BeforeValidator(_direction)]
"""(x, y, z), any length but nought."""
Turns = Annotated[tuple[float, float, float], BeforeValidator(_turns)]
"""Turns about X, then Y, then Z, radians."""
BendAngle = Annotated[
    float, BeforeValidator(_angle(0, 180, "degrees above 0 and below 180", lambda value: 0 < value < 180))
]
"""Radians, above 0 and below pi."""
Rotation = Annotated[
    float, BeforeValidator(_angle(-180, 180, "degrees above -180 and up to 180", lambda value: value > -180))
]
"""Radians, in (-pi, pi]."""
Turn = Annotated[float, BeforeValidator(_angle(-360, 360, "degrees from -360 to 360", lambda _: True))]
"""Radians, in [-2 pi, 2 pi]."""
Limit = Annotated[float, BeforeValidator(_angle(0, 180, "degrees from 0 to 180", lambda _: True))]
"""Radians, in [0, pi]."""
Number = Annotated[float, BeforeValidator(number)]
"""A finite number."""
Minutes = Annotated[float, BeforeValidator(_minutes)]
"""Minutes."""
Name = Annotated[str, _read_text(200)]
"""One line, 1 to 200 characters."""
Text = Annotated[str, _read_text(4000, several_lines=True)]
"""Free text, up to 4000 characters."""
FilePath = Annotated[str, _read_text(1000)]
"""A path as written in the file."""
FaceName = Annotated[Face, one_of(*FACES)]
EndName = Annotated[End, one_of("front", "rear")]
SideName = Annotated[Literal["left", "right"], one_of("left", "right")]
UnitName = Annotated[Unit, one_of("in", "mm")]


def exactly_one(model: BaseModel, *keys: str) -> str:
    """The one of some keys that is given.

    Raises:
        ValueError: none or several are.
    """
    given = [key for key in keys if getattr(model, key) is not None]
    if len(given) != 1:
        found = " and ".join(given) or "none of them"
        raise ValueError(f"found {found}; allowed: exactly one of {', '.join(keys)}")
    return given[0]


