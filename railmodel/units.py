"""Lengths as people write them, in and out. Inside the program every length is a float in millimetres.

1 in = 25.4 mm exactly (the international inch, in force since 1959; ISO 80000-3 lists it).
"""

import re
from fractions import Fraction
from functools import lru_cache
from math import copysign
from typing import Literal

Unit = Literal["in", "mm"]

LIMIT: float = 100_000.0
"""No length in a job is longer than this, mm (100 m); a longer one is a slip of the pen."""

_NOISE = 1e-9
"""What sums may leave in a length, and more than that: no unit is printed to so many places."""

_MM: dict[str, Fraction] = {
    "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": Fraction(254, 10), "ft": Fraction(3048, 10),
}  # fmt: skip
_SPELLINGS: dict[str, str] = {
    '"': "in", "in": "in", "inch": "in", "inches": "in", "'": "ft", "ft": "ft", "foot": "ft", "feet": "ft",
    "mm": "mm", "cm": "cm", "m": "m",
}  # fmt: skip
_FRACTIONS: dict[str, str] = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("′’‘", "'"),
        **dict.fromkeys("″”“", '"'),
        **{sign: f" {text}" for sign, text in _FRACTIONS.items()},
        **dict.fromkeys("\u00a0\u202f\u2009", " "),
        "⁄": "/",
        "−": "-",
    }
)

# Every repeat is bounded or over one class of characters that the next token cannot start with: the time is linear.
_NUMBER = (
    r"(?:(?P<whole>[0-9]{1,9})(?: +|-))?(?P<top>[0-9]{1,9})/(?P<bottom>[0-9]{1,9})"
    r"|(?P<decimal>[0-9]{1,12}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})"
)
_LENGTH = re.compile(
    r"(?P<sign>[-+]?) *"
    r"(?:(?P<feet>[0-9]{1,9}) *(?:'|ft|feet|foot)(?: *- *| *)(?=[0-9.]))?"
    rf"(?:{_NUMBER}) *(?P<unit>\"|''|in|inch|inches|'|ft|foot|feet|mm|cm|m)?\.?"
)
_LONGEST = 80
_DURATION = re.compile(r"([0-9]{1,9}(?:\.[0-9]{0,9})?) *(s|sec|min|minutes|h|hr|hours)?")
_MINUTES = {"s": 1 / 60, "sec": 1 / 60, "min": 1.0, "minutes": 1.0, "h": 60.0, "hr": 60.0, "hours": 60.0}


class LengthError(ValueError):
    """Text or a number that is not a length; the message quotes it and says what is allowed."""


def parse_length(value: str | int | float, unit: Unit) -> float:
    r"""A length in millimetres, from a number in `unit` or from text as people read a tape.

    Args:
        value: a number, or text such as `4 1/2`, `4-1/2"`, `3' 6 1/2"`, `3 ft 6.5 in`, `114 mm`, `11.4 cm`. A sign
            in front counts for the whole; typographic marks and fraction signs are read like plain ones.
        unit: what a bare number is in.

    Returns:
        Millimetres, the nearest float to the exact value.

    Raises:
        LengthError: anything else, or a length beyond `LIMIT`.

    >>> parse_length("4-1/2\"", "mm"), parse_length("3' 6 1/2\"", "in"), parse_length(2, "in")
    (114.3, 1079.5, 50.8)
    >>> parse_length("4 1/2 ells", "in")
    Traceback (most recent call last):
        ...
    railmodel.units.LengthError: found "4 1/2 ells"; allowed: a length such as 4.5, 4 1/2, 3' 6 1/2", 114 mm
    """
    if isinstance(value, str):
        return _typed(value, unit)
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise LengthError(_not_a_length(value))
    return _counted(float(value), unit) if abs(value) <= LIMIT else _within(Fraction(2 * int(LIMIT)), value)


@lru_cache(maxsize=4096)
def _typed(text: str, unit: Unit) -> float:
    return _within(_parsed(text, unit), text)


def _within(exact: Fraction, value: str | int | float) -> float:
    if abs(exact) > LIMIT:
        raise LengthError(f"found {quoted(value)}; allowed: lengths from -100 m to 100 m; check number and unit")
    return float(exact)


@lru_cache(maxsize=4096)
def _counted(value: float, unit: Unit) -> float:
    return _within(Fraction(repr(value)) * _MM[unit], value)


def _parsed(text: str, unit: Unit) -> Fraction:
    match = _LENGTH.fullmatch(text.translate(_PLAIN).strip().lower()) if len(text) <= _LONGEST else None
    if match is None:
        raise LengthError(_not_a_length(text))
    given = match["unit"]
    spelled = unit if given is None else _SPELLINGS['"' if given == "''" else given]
    if match["decimal"] is not None:
        size = Fraction(match["decimal"])
    else:
        top, bottom = int(match["top"]), int(match["bottom"])
        if bottom == 0 or (match["whole"] and top >= bottom):
            raise LengthError(_not_a_length(text))
        size = int(match["whole"] or 0) + Fraction(top, bottom)
    size *= _MM[spelled]
    if match["feet"]:
        if given is None or spelled != "in":
            raise LengthError(_not_a_length(text))
        size += int(match["feet"]) * _MM["ft"]
    return -size if match["sign"] == "-" else size


def parse_minutes(value: str | int | float) -> float:
    """A time in minutes, from a number of minutes or text such as `60 min`, `1.5 h`, `90 s`.

    Raises:
        ValueError: anything else, quoting it.
    """
    if isinstance(value, str):
        match = _DURATION.fullmatch(value.strip().lower()) if len(value) <= _LONGEST else None
        if match:
            return float(match[1]) * _MINUTES[match[2] or "min"]
    elif not isinstance(value, bool) and isinstance(value, int | float) and 0 <= value <= 1e6:
        return float(value)
    raise ValueError(f"found {quoted(value)}; allowed: a time such as 45, 60 min, 1.5 h")


def from_unit(value: float, unit: Unit) -> float:
    """Millimetres of a number in `unit`."""
    return value * float(_MM[unit])


def to_unit(mm: float, unit: Unit) -> float:
    """A length in `unit`."""
    return mm / float(_MM[unit])


def format_decimal(mm: float, unit: Unit, places: int | None = None) -> str:
    """A length as a plain decimal in `unit`, without the unit's name.

    Half a last digit is rounded up (ISO 80000-1, annex B, rule B), whatever noise sums left in the length.

    Args:
        mm: length, mm.
        unit: unit to print in.
        places: digits after the point; left out, 3 for inches and 1 for millimetres.

    >>> format_decimal(114.3, "in"), format_decimal(114.3, "mm"), format_decimal(-0.001, "mm")
    ('4.500', '114.3', '0.0')
    >>> format_decimal(25.4 / 16, "in"), format_decimal(-25.4 / 16, "in")
    ('0.063', '-0.063')
    """
    if places is None:
        places = 3 if unit == "in" else 1
    value = to_unit(mm, unit)
    text = f"{value + copysign(_NOISE, value):.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def format_tape(mm: float, step: int = 16, *, feet: bool = False) -> str:
    r"""The nearest mark on an inch tape.

    Args:
        mm: length, mm.
        step: marks to the inch, 16 or 32.
        feet: write 12 inches and more as feet and inches.

    >>> format_tape(114.3), format_tape(25.4 * 15.99), format_tape(-25.4 / 8), format_tape(25.4 * 42.5, feet=True)
    ('4 1/2"', '16"', '-1/8"', '3\' 6 1/2"')
    """
    marks = round(abs(mm) * step / 25.4)
    sign = "-" if mm < 0 and marks else ""
    whole, part = divmod(marks, step)
    words = []
    if feet and whole >= 12:
        words.append(f"{whole // 12}'")
        whole %= 12
    fraction = Fraction(part, step)
    inches = [str(whole)] if whole or not part else []
    if part:
        inches.append(f"{fraction.numerator}/{fraction.denominator}")
    return sign + " ".join([*words, " ".join(inches) + '"'])


def quoted(value: object, longest: int = 60) -> str:
    """A value as messages show it: text in quotes, control characters escaped, long ones cut short with "..."."""
    text = str(getattr(value, "raw", value))
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[: longest + 1])
    if len(shown) > longest:
        shown = shown[: longest - 3] + "..."
    return f'"{shown}"' if isinstance(value, str) else shown


def _not_a_length(value: object) -> str:
    found = "a list" if isinstance(value, list) else "a mapping" if isinstance(value, dict) else quoted(value)
    return f"""found {"nothing" if value is None else found}; allowed: a length such as 4.5, 4 1/2, 3' 6 1/2", 114 mm"""
