"""Joints, fit points, shapes to keep clear and their motion, as they stand in a job file; mm and radians once read."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from railmodel.job.fields import (
    Direction,
    Distance,
    EndName,
    FaceName,
    FilePath,
    Length,
    Limit,
    Model,
    Name,
    Position,
    SideName,
    Size,
    Sizes,
    Turn,
    Turns,
    exactly_one,
    one_of,
)
from railmodel.units import quoted


class JointEnd(Model):
    """One end of one part.

    Args:
        part: part name.
        hand: "left" or "right" of a pair; None for a single part, and for a pair where both hands are meant.
        end: the first written end is the front.
    """

    part: Name
    hand: SideName | None = None
    end: EndName


_ENDS = {"front": "front", "rear": "rear", "leading": "front", "trailing": "rear"}


def joint_end(value: Any) -> Any:
    """`side rail right.rear` as part, hand and end; anything but text is handed back.

    Raises:
        ValueError: text that is not a part and an end.
    """
    if not isinstance(value, str):
        return value
    name, dot, end = value.strip().rpartition(".")
    if not dot or end.strip() not in _ENDS or not name.strip():
        raise ValueError(f"found {quoted(value)}; allowed: part.front or part.rear, such as side rail right.rear")
    name, hand = name.strip(), None
    for side in ("left", "right"):
        if name.endswith(f" {side}"):
            name, hand = name.removesuffix(f" {side}").strip(), side
    return {"part": name, "hand": hand, "end": _ENDS[end.strip()]}


JointEndGiven = Annotated[JointEnd, BeforeValidator(joint_end)]


class Joint(Model):
    """Two part ends that must meet; a limit left out is not checked.

    Args:
        between: the two ends.
        gap: largest gap, mm.
        offset: largest sideways offset, mm.
        angle: largest angle between the two centrelines, radians.
        roll: largest roll between the two sections, radians.
    """

    between: Annotated[tuple[JointEndGiven, ...], Field(min_length=2, max_length=2)]
    gap: Distance | None = None
    offset: Distance | None = None
    angle: Limit | None = None
    roll: Limit | None = None


class FitTarget(Model):
    """The face of a part that a fit point belongs to."""

    part: Name
    face: FaceName


class FitGap(Model):
    """Wanted gap and how far off it may be, mm."""

    want: Length
    within: Distance


class FitPoint(Model):
    """Where the vehicle holds on.

    Args:
        name: its name.
        at: (x, y, z), mm; on a pair it is mirrored for the left unless `hand` is given.
        to: part and face.
        gap: wanted distance from the face, along its normal, mm.
        on: "straight" when the foot must stand on a straight.
        from_bend: least distance of the foot from any bend, mm.
        hand: the one hand it is for.
        width: width of the bracket along the rail, mm.
    """

    name: Name
    at: Position
    to: FitTarget
    gap: FitGap
    on: Annotated[Literal["straight"], one_of("straight")] | None = None
    from_bend: Distance | None = None
    hand: SideName | None = None
    width: Size | None = None


class Place(Model):
    """Where a mesh's own origin goes.

    Args:
        at: mm.
        turn: about X, then Y, then Z, radians.
    """

    at: Position = (0.0, 0.0, 0.0)
    turn: Turns = (0.0, 0.0, 0.0)


class Round(Model):
    """A cylinder or capsule between two points; the ends of a capsule are half balls about them. mm."""

    start: Position = Field(alias="from")
    end: Position = Field(alias="to")
    diameter: Size

    @model_validator(mode="after")
    def _check(self) -> Self:
        if max(abs(a - b) for a, b in zip(self.start, self.end, strict=True)) < 1e-6:
            raise ValueError("found from and to at the same place; allowed: two points apart")
        return self


class Box(Model):
    """A box.

    Args:
        at: its centre, mm.
        size: full sizes along its own axes, mm.
        turn: about X, then Y, then Z, radians.
    """

    at: Position
    size: Sizes
    turn: Turns = (0.0, 0.0, 0.0)


class Ball(Model):
    """A sphere, mm."""

    at: Position
    diameter: Size


class Shape(Model):
    """Exactly one of a cylinder, box, sphere, capsule, or mesh file.

    Args:
        mesh: path of an STL, OBJ, GLB or STEP file as written; `JobFile.resolve` makes it whole.
        units: what the numbers in the mesh file mean (required with mesh).
        place: where the mesh goes.
    """

    cylinder: Round | None = None
    box: Box | None = None
    sphere: Ball | None = None
    capsule: Round | None = None
    mesh: FilePath | None = None
    units: Annotated[Literal["in", "mm", "cm", "m", "ft"], one_of("in", "mm", "cm", "m", "ft")] | None = None
    place: Place | None = None

    @property
    def kind(self) -> Literal["cylinder", "box", "sphere", "capsule", "mesh"]:
        """Which of the shapes it is."""
        return exactly_one(self, "cylinder", "box", "sphere", "capsule", "mesh")  # type: ignore[return-value]

    @model_validator(mode="after")
    def _check(self) -> Self:
        kind = self.kind
        if kind == "mesh" and self.units is None:
            raise ValueError("found a mesh without units; add units: mm (or in, cm, m, ft), what its numbers mean")
        for key in ("units", "place"):
            if kind != "mesh" and getattr(self, key) is not None:
                raise ValueError(f"found {key} with {kind}; {key} goes with mesh; take it out")
        return self


class Axis(Model):
    """A line to turn about.

    Args:
        at: a point on it, mm; None = the shape's own centre.
        axis: its direction; a turn is right-handed about it.
    """

    at: Position | None = None
    axis: Direction = (1.0, 0.0, 0.0)


class Swing(Model):
    """A turn about a line between two angles, radians."""

    about: Axis = Axis()
    start: Turn = Field(alias="from")
    end: Turn = Field(alias="to")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.start > self.end:
            raise ValueError("found from above to; allowed: from the smaller angle to the larger")
        return self


class Slide(Model):
    """A straight travel along a direction between two distances, mm."""

    along: Direction
    start: Length = Field(alias="from")
    end: Length = Field(alias="to")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.start > self.end:
            raise ValueError("found from above to; allowed: from the smaller distance to the larger")
        return self


def _swing(value: Any) -> Any:
    """A bare number of degrees is that much either way about X.

    Raises:
        ValueError: a number that is no roll.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        if not 0 <= value <= 360:
            raise ValueError(f"found {quoted(value)}; allowed: degrees from 0 to 360, the roll either way")
        return {"from": -value, "to": value}
    return value


Roll = Annotated[Swing, BeforeValidator(_swing)]


TravelName = Annotated[
    Literal["turns", "roll", "slide", "up"], one_of("turns", "roll", "slide", "up")
]
"""A travel of a motion; "up" is the lift, up and down together."""


class Motion(Model):
    """A named motion, made in the order turn, roll, slide, lift; each runs through its range on its own.

    Args:
        up: lift along +Z, mm.
        down: drop along -Z, mm.
        roll: about `roll.about`, or as a bare number of degrees either way about X through `pivot`.
        pivot: the point a bare `roll` turns about, mm; None = the shape's own centre.
        turns: about a line, such as steering.
        slide: along a direction.
        tied_to (`with`): travels that run together instead of each on its own, as `{roll: up}`: when the lift is a
            third of the way through its range, so is the roll.
    """

    up: Distance = 0.0
    down: Distance = 0.0
    roll: Roll | None = None
    pivot: Position | None = None
    turns: Swing | None = None
    slide: Slide | None = None
    tied_to: dict[TravelName, TravelName] = Field(default_factory=dict, alias="with")

    @model_validator(mode="before")
    @classmethod
    def _pivoted(cls, data: Any) -> Any:
        """A pivot belongs to a bare roll.

        Raises:
            ValueError: there is none.
        """
        if isinstance(data, Mapping) and data.get("pivot") is not None:
            roll = data.get("roll")
            if isinstance(roll, Mapping):
                raise ValueError("found pivot with roll: {about: ...}; give the place in about, or roll as a number")
            if roll is None:
                raise ValueError("found pivot without roll; add roll: the degrees either way, or take pivot out")
        return data

    @property
    def rolls(self) -> Swing | None:
        """The roll with the pivot filled in."""
        if self.roll is None or self.pivot is None:
            return self.roll
        return self.roll.model_copy(update={"about": Axis(at=self.pivot)})


class Moves(Model):
    """Travel of one shape: `up` and `down` in mm; `roll` about X through its centre (or as a full `about`)."""

    up: Distance = 0.0
    down: Distance = 0.0
    roll: Roll | None = None
    slide: Slide | None = None


class KeepClear(Model):
    """A shape the rails must not touch.

    Args:
        name: its name.
        shape: what it is.
        gap: least gap over the whole travel, mm.
        moves: its travel.
        turns: its turn, such as steering.
        motion: name of a shared motion, instead of `moves` and `turns`.
        mirror: the same on the other side of the vehicle as well.
    """

    name: Name
    shape: Shape
    gap: Distance = 0.0
    moves: Moves | None = None
    turns: Swing | None = None
    motion: Name | None = None
    mirror: bool = False

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.motion is not None and (self.moves is not None or self.turns is not None):
            raise ValueError("found motion together with moves or turns; give the travel in one place")
        return self

    def own_motion(self) -> Motion | None:
        """`moves` and `turns` as one motion; None where the shape stands still or names a shared motion."""
        if self.moves is None and self.turns is None:
            return None
        moves = self.moves or Moves()
        return Motion().model_copy(
            update={"up": moves.up, "down": moves.down, "roll": moves.roll, "slide": moves.slide, "turns": self.turns}
        )
