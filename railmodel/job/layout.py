"""The layout file: how a shop's own controller wants its bend table.

layout: back bay controller
units: mm
separator: ";"
columns:
- {value: feed, title: FEED, places: 2}
- {value: rotation, title: TURN, sign: -1, places: 1}
- {value: set_angle, title: BEND, places: 1}
"""

import re
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from railmodel.errors import InputError
from railmodel.job.fields import Model, Name, UnitName, one_of
from railmodel.job.problems import Problem, from_validation, raise_problems
from railmodel.job.source import read_bytes
from railmodel.job.yaml_tree import MAX_BYTES, read_tree
from railmodel.units import quoted

Value = Literal[
    "bend", "distance", "feed", "rotation", "roll", "angle", "set_angle", "radius", "way", "toward", "die", "mark",
    "mark_at_gauge", "tube_use",
]  # fmt: skip
VALUES: tuple[Value, ...] = (
    "bend", "distance", "feed", "rotation", "roll", "angle", "set_angle", "radius", "way", "toward", "die", "mark",
    "mark_at_gauge", "tube_use",
)  # fmt: skip
TEXTS = ("bend", "way", "toward", "die")


def _places(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 12:
        raise ValueError(f"found {quoted(value)}; allowed: a whole number from 0 to 12")
    return int(value)


def _sign(value: object) -> int:
    if isinstance(value, bool) or value not in (1, -1):
        raise ValueError(f"found {quoted(value)}; allowed: 1 or -1")
    return 1 if value == 1 else -1


def _ending(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9]{1,8}", value):
        raise ValueError(f"found {quoted(value)}; allowed: 1 to 8 letters or digits, such as csv")
    return value


def _separator(value: object) -> str:
    given = {"tab": "\t", "space": " "}.get(str(value), value)
    if not isinstance(given, str) or len(given) != 1 or given in "\r\n" or given.isalnum():
        raise ValueError(f"found {quoted(value)}; allowed: one sign such as ; or , or the words tab, space")
    return given


class Column(Model):
    """One column.

    Args:
        value: what stands in it: `feed` is the stock from the end of the last bend's draw to the next mark (the
            first from the leading cut end), `roll` the bend's turn from the top face, the rest as in the bend table
            and the plan; or
        text: the same words in every line.
        title: its heading; left out, the name of the value.
        sign: -1 turns the sign round.
        places: digits after the point; left out, as many as it takes to come back exact.
        full_circle: angles from 0 up to 360 instead of from -180 to 180.
    """

    value: Annotated[Value, one_of(*VALUES)] | None = None
    text: Name | None = None
    title: Name | None = None
    sign: Annotated[int, BeforeValidator(_sign)] = 1
    places: Annotated[int, BeforeValidator(_places)] | None = None
    full_circle: bool = False

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.value is None) == (self.text is None):
            raise ValueError("found both or neither of value and text; allowed: exactly one of them")
        return self


class Layout(Model):
    """A table as one controller wants it.

    Args:
        layout: its name.
        units: of its lengths.
        angles: of its angles.
        columns: in order.
        separator: between columns.
        decimal: the decimal sign.
        header: whether a line of headings stands first.
        tail: whether a last line holds the tail, under the first of `distance` and `feed`.
        line_end: how lines end.
        ending: of the file's name.
    """

    layout: Name
    units: UnitName
    angles: Annotated[Literal["degrees", "radians"], one_of("degrees", "radians")] = "degrees"
    columns: Annotated[tuple[Column, ...], Field(min_length=1)]
    separator: Annotated[str, BeforeValidator(_separator)] = ","
    decimal: Annotated[Literal[".", ","], one_of(".", ",")] = "."
    header: bool = True
    tail: bool = False
    line_end: Annotated[Literal["lf", "crlf"], one_of("lf", "crlf")] = "crlf"
    ending: Annotated[str, BeforeValidator(_ending)] = "txt"

    @model_validator(mode="after")
    def _signs_differ(self) -> Self:
        if self.separator == self.decimal:
            raise ValueError("found one sign for separator and decimal; give separator: ; or another")
        return self


def read_layout(path: Path) -> Layout:
    """Read a layout file.

    Raises:
        InputError: it cannot be read or is not valid.
    """
    tree = read_tree(read_bytes(path, MAX_BYTES), path.name)
    if not isinstance(tree.root.data, dict):
        raise InputError(f"{path.name}:1:1: found no keys; allowed: keys with values, starting with layout:")
    layout: Layout | None = None
    problems: list[Problem] = []
    try:
        layout = Layout.model_validate(tree.root.data)
    except ValidationError as error:
        problems += from_validation(error, Layout)
    raise_problems(tree, problems)
    assert layout is not None  # raise_problems has raised otherwise
    return layout
