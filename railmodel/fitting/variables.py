"""The values of a job that `free:` lets the solver change, in the order of the file. mm, radians."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import degrees
from typing import Any, Literal

from railmodel.job.free import Free, Range
from railmodel.job.parts import Part
from railmodel.job.reader import JobFile
from railmodel.job.yaml_tree import Loc
from railmodel.units import Unit, format_decimal

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """One value that may change.

    Args:
        loc: its place in the job file.
        part: name of its part.
        words: what it is called beside its part: "points[2] z".
        kind: whether it is a length or an angle.
        low: least value allowed.
        high: largest value allowed.
        written: what the job says now; may lie outside.
    """

    loc: Loc
    part: str
    words: str
    kind: Literal["length", "angle"]
    low: float
    high: float
    written: float

    @property
    def nearest(self) -> float:
        """The written value, or the end of the range nearest to it."""
        return min(max(self.written, self.low), self.high)

    def say(self, value: float, unit: Unit) -> str:
        """A value in words."""
        if self.kind == "angle":
            return f"{degrees(value):.3f}".rstrip("0").rstrip(".") + " degrees"
        return f"{format_decimal(value, unit)} {unit}"


def variables_of(source: JobFile) -> tuple[Variable, ...]:
    """Every free value of a job."""
    return tuple(found for i, part in enumerate(source.job.parts) for found in _of_part(part, ("parts", i)))


def _of_part(part: Part, loc: Loc) -> Iterator[Variable]:
    for k, point in enumerate(part.points or ()):
        yield from _place(part, (*loc, "points", k), f"points[{k}]", point)
    if part.start is not None:
        yield from _place(part, (*loc, "start"), "start", part.start)
    for k, step in enumerate(part.path or ()):
        here, words = (*loc, "path", k), f"path[{k}]"
        if step.free is not None and step.straight is not None:
            yield _variable(part, (*here, "straight"), f"{words} straight", "length", step.free, step.straight)
        for key in ("bend", "offset"):
            yield from _fields(part, (*here, key), f"{words} {key}", getattr(step, key))
    for k, row in enumerate(part.rows or ()):
        yield from _fields(part, (*loc, "rows", k), f"rows[{k}]", row)
    yield from _fields(part, loc, "", part)


def _place(part: Part, loc: Loc, words: str, given: Any) -> Iterator[Variable]:
    """The free axes of a point or a start."""
    if given.free is None:
        return
    for axis, name in enumerate(AXES):
        span = getattr(given.free, name)
        if span is not None:
            at = (*loc, "at", axis)
            yield _variable(part, at, f"{words} {name}", "length", span, given.at[axis])


def _fields(part: Part, loc: Loc, words: str, given: Any) -> Iterator[Variable]:
    """The free values of anything that holds a `free` beside the values of the same names."""
    free = getattr(given, "free", None)
    if not isinstance(free, Free):
        return
    for key in type(free).model_fields:
        span = getattr(free, key)
        if span is not None:
            kind: Literal["length", "angle"] = "angle" if key == "angle" else "length"
            yield _variable(part, (*loc, key), f"{words} {key}".strip(), kind, span, getattr(given, key))


def _variable(
    part: Part, loc: Loc, words: str, kind: Literal["length", "angle"], span: Range, written: float
) -> Variable:
    low, high = span
    return Variable(loc=loc, part=part.name, words=words, kind=kind, low=low, high=high, written=written)
