"""Tubes and parts as they stand in a job file. Lengths are in mm and angles in radians once read."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from railmodel.errors import GeometryError
from railmodel.geometry.section import Section
from railmodel.job.fields import (
    BendAngle,
    Direction,
    Distance,
    EndName,
    FaceName,
    Model,
    Name,
    Position,
    Rotation,
    Size,
    exactly_one,
    one_of,
    shown,
    units_of,
)
from railmodel.job.free import DistanceRange, FreeBend, FreeOffset, FreePlace, FreeRow, FreeTail
from railmodel.units import Unit, to_unit


class Tube(Model):
    """A tube section of the job: height and width, or the diameter of a round one.

    Args:
        height: outside dimension that stands vertical in the rail, mm.
        width: the other outside dimension, mm.
        diameter: outside diameter of a round tube, mm.
        wall: wall thickness, mm.
        corner: outside corner radius, mm; None = 2 x wall.
        grade: steel grade, free text.
        seam_on: whether the mill puts the weld seam on a wide or a narrow face.
    """

    height: Size | None = None
    width: Size | None = None
    diameter: Size | None = None
    wall: Size
    corner: Distance | None = None
    grade: Name | None = None
    seam_on: Annotated[Literal["wide", "narrow"], one_of("wide", "narrow")] | None = None

    @property
    def section(self) -> Section:
        """The section, with the corner filled in; a round tube is all corner."""
        return _section(self, "mm")

    @model_validator(mode="after")
    def _fits(self, info: ValidationInfo) -> Self:
        if self.diameter is None:
            missing = [key for key in ("height", "width") if getattr(self, key) is None]
            if missing:
                verb = "is missing; it is" if len(missing) == 1 else "are missing; they are"
                raise ValueError(f"{' and '.join(missing)} {verb} required, or diameter for a round tube")
        else:
            for key in ("height", "width", "corner", "seam_on"):
                if getattr(self, key) is not None:
                    raise ValueError(f"found diameter and {key}; a round tube has no {key}; take it out")
        try:
            _section(self, units_of(info))
        except GeometryError as error:
            left_out = self.corner is None and self.diameter is None
            raise ValueError(f"{error}{' (corner left out counts as 2 x wall)' if left_out else ''}") from None
        return self


def _section(tube: Tube, unit: Unit) -> Section:
    """A tube's section in a unit."""
    height, width = (tube.diameter or 0.0 if value is None else value for value in (tube.height, tube.width))
    corner = 2 * tube.wall if tube.corner is None else tube.corner
    if tube.diameter is not None:
        corner = tube.diameter / 2
    height, width, wall, corner = (to_unit(value, unit) for value in (height, width, tube.wall, corner))
    return Section(height=height, width=width, wall=wall, corner=corner)


class BendNamed(Model):
    """What every bend may name: a die of the shop file, a centreline radius outright, or both (the radius holds).

    With neither, a die is chosen from the shop file; a job without one must give the radius.

    Args:
        die: name of a die.
        radius: centreline radius, mm.
    """

    die: Name | None = None
    radius: Size | None = None


class Point(BendNamed):
    """An end point or an intersection point.

    Args:
        at: (x, y, z), mm.
        free: where the solver may move it.
    """

    at: Position
    free: FreePlace | None = None


class BendStep(BendNamed):
    """A bend toward a face by a finished angle (radians), which the solver may change where it is `free`."""

    toward: FaceName
    angle: BendAngle
    free: FreeBend | None = None


class OffsetStep(BendNamed):
    """An S: a bend toward a face, a straight, and the opposite bend.

    Args:
        toward: face of the first bend.
        by: sideways distance between the two parallel centrelines, mm.
        angle: of each bend, radians; or
        over: distance along the first straight from the start of the first bend to the end of the second, mm.
        free: what the solver may change.
    """

    toward: FaceName
    by: Size
    angle: BendAngle | None = None
    over: Size | None = None
    free: FreeOffset | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        exactly_one(self, "angle", "over")
        if self.free is not None:
            self.free.belongs(self)
        return self


class Step(Model):
    """One move along a path: exactly one of a straight (mm, tangent to tangent), a bend, an offset.

    Args:
        free: what the solver may make of the straight; bends and offsets hold ranges of their own.
    """

    straight: Distance | None = None
    bend: BendStep | None = None
    offset: OffsetStep | None = None
    free: DistanceRange | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        given = exactly_one(self, "straight", "bend", "offset")
        if self.free is not None and self.straight is None:
            raise ValueError(f"found free beside {given}; put it inside {given}: {{...}}")
        return self


class Row(BendNamed):
    """One bend row; see `railmodel.geometry.rows`.

    Args:
        distance: straight before the bend, mm.
        rotation: turn from the previous bend (the first: from the top face), radians in (-pi, pi].
        angle: finished bend, radians.
        toward: the face it bends toward, checked against the rotation where given.
        way: checked against the section where given.
        bend: the row's number, checked where given.
        free: what the solver may change.
    """

    distance: Distance
    rotation: Rotation
    angle: BendAngle
    toward: FaceName | None = None
    way: Annotated[Literal["hard", "easy"], one_of("hard", "easy")] | None = None
    bend: int | None = None
    free: FreeRow | None = None


class Start(Model):
    """Where a part's front end is.

    Args:
        at: mm.
        heading: which way it points.
        top: where the top face looks.
        free: where the solver may move it.
    """

    at: Position = (0.0, 0.0, 0.0)
    heading: Direction = (1.0, 0.0, 0.0)
    top: Direction = (0.0, 0.0, 1.0)
    free: FreePlace | None = None


def _point(value: Any) -> Any:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return {"at": value}
    if not isinstance(value, Mapping | Point):
        raise ValueError(f"found {shown(value)}; allowed: [x, y, z] or {{at: [x, y, z], die: name}}")
    return value


PointGiven = Annotated[Point, BeforeValidator(_point)]


class Part(Model):
    """A part: one tube, given one of three ways (exactly one of `points`, `path`, `rows`).

    Args:
        name: its name in the job.
        tube: name of its tube.
        hand: "pair" (given for the right, the left is its mirror image) or "single".
        seam: face where the weld seam must end up.
        leading_end: the end the bend table is read from; None = front.
        points: end point, intersection points, end point.
        points_at: what the points were measured to.
        top: where the top face looks at the first point (with points); None = up.
        path: moves in the tube's own frame.
        rows: bend rows (already read, where they stand in a file of their own), from the front end.
        tail: straight after the last row, mm; None = 0.
        start: where the front end is (with path and rows); None = the defaults of `Start`.
        free: what the solver may make of the tail (with rows).
    """

    name: Name
    tube: Name
    hand: Annotated[Literal["pair", "single"], one_of("pair", "single")] = "single"
    seam: FaceName | None = None
    leading_end: EndName | None = None
    points: tuple[PointGiven, ...] | None = None
    points_at: (
        Annotated[
            Literal["centre", "top", "bottom", "inside", "outside"],
            one_of("centre", "top", "bottom", "inside", "outside"),
        ]
        | None
    ) = None
    top: Direction | None = None
    path: Annotated[tuple[Step, ...], Field(min_length=1)] | None = None
    rows: tuple[Row, ...] | None = None
    tail: Distance | None = None
    start: Start | None = None
    free: FreeTail | None = None

    @field_validator("points")
    @classmethod
    def _bends_inside(cls, points: tuple[Point, ...] | None) -> tuple[Point, ...] | None:
        if points is None:
            return None
        if len(points) < 2:
            raise ValueError(f"found {len(points)} points; allowed: 2 or more, from one end to the other")
        for i, point in enumerate(points):
            if (point.die is not None or point.radius is not None) and i in {0, len(points) - 1}:
                raise ValueError(f"[{i}]: found a die or radius at an end point; only points between bend; take it out")
        return points

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        way = exactly_one(self, "points", "path", "rows")
        for key, belongs in (
            ("top", {"points"}), ("points_at", {"points"}), ("tail", {"rows"}), ("start", {"path", "rows"}),
        ):  # fmt: skip
            if getattr(self, key) is not None and way not in belongs:
                remedy = {"top": "put it inside start", "start": "the first point says it"}.get(key, "take it out")
                raise ValueError(f"found {key} with {way}; {key} goes with {' or '.join(sorted(belongs))}; {remedy}")
        if self.free is not None:
            self.free.belongs(self)
        return self
