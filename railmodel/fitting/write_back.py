"""Solved values as a job file holds them: marks of the tape where they are on one, else decimals enough to hold.

Lengths go in and out of mm here, angles in and out of radians.
"""

from collections.abc import Sequence
from math import degrees, nextafter, radians

from railmodel.fitting.variables import Variable
from railmodel.geometry.rows import Array
from railmodel.job.reader import JobFile
from railmodel.job.yaml_tree import Loc
from railmodel.units import Unit, format_tape, parse_length, to_unit

DIGITS = (4, 6, 9, 12)
"""Decimals tried one after the other until what is read back meets the wishes."""

_SAME_LENGTH, _SAME_ANGLE = 1e-7, 1e-10
"""Values closer together than this are the same, mm and radians."""


def changes_of(source: JobFile, variables: Sequence[Variable], values: Array, digits: int) -> dict[Loc, str]:
    """What is to be written where, for the values that are not as written.

    Args:
        source: the job as read.
        variables: its free values.
        values: (k,) what they are to be, mm and radians.
        digits: decimals where a value is on no mark.
    """
    unit = source.job.units
    step = source.shop.tape_step if source.shop is not None else 16
    found: dict[Loc, str] = {}
    for variable, value in zip(variables, values, strict=True):
        same = _SAME_ANGLE if variable.kind == "angle" else _SAME_LENGTH
        if abs(value - variable.written) <= same and variable.low <= variable.written <= variable.high:
            continue
        text = text_of(variable, float(value), unit, step, digits)
        axis = variable.loc[-1]
        if isinstance(axis, int) and not source.tree.node(variable.loc[:-1])[1] and variable.loc[-3] == "start":
            place = variable.loc[:-1]  # a start whose place is left to its default gets all three values
            given = found.get(place, "[0, 0, 0]").strip("[]").split(", ")
            found[place] = f"[{', '.join([*given[:axis], text, *given[axis + 1 :]])}]"
        else:
            found[variable.loc] = text
    return found


def text_of(variable: Variable, value: float, unit: Unit, step: int, digits: int) -> str:
    """One value as it is written; read back, it lies in its range."""
    if variable.kind == "length" and unit == "in":
        marks = value * step / 25.4
        if abs(marks - round(marks)) * 25.4 / step <= _SAME_LENGTH:
            return format_tape(value, step).rstrip('"')
    shown = degrees(value) if variable.kind == "angle" else to_unit(value, unit)
    middle = (variable.low + variable.high) / 2
    inward = nextafter(shown, degrees(middle) if variable.kind == "angle" else to_unit(middle, unit))
    for text in (f"{shown:.{digits}f}", repr(shown), repr(inward)):
        if variable.low <= _read(variable, text, unit) <= variable.high:
            break
    return _plain(text)


def _plain(text: str) -> str:
    """A decimal without noughts at its end."""
    if "." in text and "e" not in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _read(variable: Variable, text: str, unit: Unit) -> float:
    return radians(float(text)) if variable.kind == "angle" else parse_length(text, unit)
