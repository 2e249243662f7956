"""The shop file: one bender and what it owns. Lengths in mm and angles in radians once read."""

from collections.abc import Mapping
from math import radians
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from railmodel.job.fields import (
    Distance,
    FilePath,
    Length,
    Limit,
    Minutes,
    Model,
    Name,
    Size,
    Text,
    UnitName,
    exactly_one,
    number,
    one_of,
    shown,
)
from railmodel.job.fit import Box, Round
from railmodel.job.freight import Freight, Money
from railmodel.job.spread import SpreadGiven


class Solid(Model):
    """Something that stands around the bender, in bender axes.

    Bender axes: origin at the start tangent on the tube's centreline, x toward the lead, z up; the die axis is at
    y = +radius for a counter-clockwise bend, -radius for a clockwise one.

    Args:
        name: what it is, such as "back wall".
        box: or
        cylinder: its shape, mm.
        moves: "arm" when it swings with the bending arm.
    """

    name: Name | None = None
    box: Box | None = None
    cylinder: Round | None = None
    moves: Annotated[Literal["fixed", "arm"], one_of("fixed", "arm")] = "fixed"

    @model_validator(mode="after")
    def _check(self) -> Self:
        exactly_one(self, "box", "cylinder")
        return self


class Bender(Model):
    """The bender.

    Args:
        bends: sense of the bend seen from above.
        centreline_height: floor to tube centreline, mm.
        mandrel_reach: longest piece from bend tangent to the back stop, mm.
        set_angle_step: the step the controller takes, radians.
        solids: floor, walls, bed, columns, arm.
    """

    bends: Annotated[Literal["clockwise", "counter-clockwise"], one_of("clockwise", "counter-clockwise")] = "clockwise"
    centreline_height: Size | None = None
    mandrel_reach: Size | None = None
    set_angle_step: Limit = radians(0.1)
    solids: tuple[Solid, ...] = ()


class Die(Model):
    """A die for one tube size and one way.

    Args:
        height: of the tube it takes as the rail stands, mm.
        width: likewise, mm.
        way: "hard" when it bends in the plane of the larger dimension.
        radius: finished centreline radius, mm.
        tool_radius: centreline radius cut into the die, mm.
        grip: straight the clamp needs ahead of the bend, mm.
        between: least straight between two bends, mm.
        tail: straight needed behind the last bend, mm.
        max_angle: largest set angle, radians.
        mark_offset: from the start of the bend to where the mark is set, positive toward the tail, mm.
        change_over: time to fit it, minutes.
        weight: free, in whatever the shop weighs in.
    """

    height: Size
    width: Size
    way: Annotated[Literal["hard", "easy"], one_of("hard", "easy")]
    radius: Size
    tool_radius: Size | None = None
    grip: Distance | None = None
    between: Distance | None = None
    tail: Distance | None = None
    max_angle: Limit | None = None
    mark_offset: Length = 0.0
    change_over: Minutes | None = None
    weight: Name | None = None


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 10_000:
        raise ValueError(f"found {shown(value)}; allowed: a whole number from 0 to 10000")
    return int(value)


Count = Annotated[int, BeforeValidator(_count)]


class Stock(Model):
    """Sticks of one tube.

    Args:
        tube: name of the tube in the job.
        length: of a stick, mm.
        count: how many there are; None = as many as needed.
        kerf: lost at each cut, mm.
        end_trim: lost once a stick, mm.
        price: of a stick.
        test_pieces: length kept from each batch for test bends, mm.
        keep_drop: a drop this long or longer is kept, mm.
    """

    tube: Name
    length: Size
    count: Count | None = None
    kerf: Distance
    end_trim: Distance
    price: Money | None = None
    test_pieces: Distance | None = None
    keep_drop: Distance | None = None


def _rates(value: Any) -> dict[str, float | str]:
    """Rates as one mapping; a list of one-key mappings is taken as well.

    Raises:
        ValueError: anything else.
    """
    items = value if isinstance(value, list | tuple) else [value]
    found: dict[str, float | str] = {}
    for item in items:
        if not isinstance(item, Mapping):
            raise ValueError(f"found {shown(item)}; allowed: names with numbers or text, such as hour: 90")
        for key, rate in item.items():
            if isinstance(rate, bool) or not isinstance(rate, int | float | str):
                raise ValueError(f"{key}: found {shown(rate)}; allowed: a number or text")
            try:
                found[str(key)] = str(rate) if isinstance(rate, str) else number(rate)
            except ValueError as error:
                raise ValueError(f"{key}: {error}") from None
    return found


def _tape_step(value: Any) -> int:
    step = {"1/16": 16, "1/32": 32, "16": 16, "32": 32}.get(str(getattr(value, "raw", value)).strip().strip('"'))
    if step is None:
        raise ValueError(f"found {shown(value)}; allowed: 1/16, 1/32")
    return step


class Shop(Model):
    """A whole shop file.

    Args:
        shop: its name.
        units: of bare numbers in the file.
        bender: the bender.
        dies: by name.
        test_bends: path of the record of test bends as written.
        table_layout: path of the layout file that says how this bender's controller wants its table.
        stock: sticks on the rack.
        rates: for the quote, by name.
        freight: how it packs and ships.
        roll_within: a bend whose roll is off the nearest quarter turn by more than this cannot be bent, radians.
        tape_step: marks to the inch on the shop's tapes.
        tolerances: what drawings say of them where the job says nothing.
        spread: how far off its bends come out, where test bends do not tell.
        note: free text.
    """

    shop: Name
    units: UnitName
    bender: Bender = Bender()
    dies: dict[Name, Die] = Field(default_factory=dict)
    test_bends: FilePath | None = None
    table_layout: FilePath | None = None
    stock: tuple[Stock, ...] = ()
    rates: Annotated[dict[str, float | str], BeforeValidator(_rates)] = Field(default_factory=dict)
    freight: Freight | None = None
    roll_within: Limit = radians(1.5)
    tape_step: Annotated[Literal[16, 32], BeforeValidator(_tape_step)] = 16
    tolerances: Text | None = None
    spread: SpreadGiven | None = None
    note: Text | None = None
