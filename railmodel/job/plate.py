"""Flat plates as they stand in a job file: outlines, holes, gussets, templates. Millimetres and radians once read."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from railmodel.job.fields import (
    FACES,
    BendAngle,
    Direction,
    Distance,
    FaceName,
    Model,
    Name,
    Position,
    Size,
    exactly_one,
    not_among,
    shown,
    units_of,
)
from railmodel.units import parse_length, quoted

MOST_CORNERS = 500
"""Corners of one outline."""


def _two(value: Any, info: ValidationInfo) -> tuple[float, float]:
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise ValueError(f"found {shown(value)}; allowed: two lengths [x, y]")
    found = []
    for axis, item in zip("xy", value, strict=True):
        try:
            found.append(parse_length(item, units_of(info)))
        except ValueError as error:
            raise ValueError(f"{axis}: {error}") from None
    return found[0], found[1]


def _two_sizes(value: Any, info: ValidationInfo) -> tuple[float, float]:
    found = _two(value, info)
    if min(found) <= 0:
        raise ValueError(f"found {quoted(str(list(value)))}; allowed: two lengths above 0")
    return found


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 10_000:
        raise ValueError(f"found {shown(value)}; allowed: a whole number from 1 to 10000")
    return int(value)


def _corner(value: Any) -> Any:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return {"at": value}
    if not isinstance(value, Mapping | Corner):
        raise ValueError(f"found {shown(value)}; allowed: [x, y] or {{at: [x, y], corner: radius}}")
    return value


def part_face(value: Any) -> Any:
    """`side rail right inboard` as part and face; anything but text is handed back.

    Raises:
        ValueError: text that is not a part and a face.
    """
    if not isinstance(value, str):
        return value
    part, _, face = value.strip().rpartition(" ")
    if not part.strip():
        raise ValueError(f"found {quoted(value)}; allowed: a part and its face, such as side rail right inboard")
    if face not in FACES:
        raise ValueError(f"found {quoted(value)}, which ends in no face; {not_among(face, FACES)}")
    return {"part": part.strip(), "face": face}


Point2 = Annotated[tuple[float, float], BeforeValidator(_two)]
"""(x, y) on the plate, mm."""
Size2 = Annotated[tuple[float, float], BeforeValidator(_two_sizes)]
"""Two lengths above 0, mm."""
Count = Annotated[int, BeforeValidator(_count)]


class Corner(Model):
    """A corner of an outline, with a radius of its own where one is given, mm."""

    at: Point2
    corner: Distance | None = None


class Hole(Model):
    """A round hole, mm."""

    at: Point2
    diameter: Size


class PartFace(Model):
    """A face of a part.

    Args:
        part: a part's name; that of a pair counts for both hands, with its hand (`side rail right`) for one.
        face: the face.
    """

    part: Name
    face: FaceName


PartFaceGiven = Annotated[PartFace, BeforeValidator(part_face)]


class Gusset(Model):
    """A three-cornered plate in the corner between two faces.

    Args:
        legs: along the first face and along the second, mm.
        between: the two faces, which give the angle and the place; or
        angle: between the legs, radians; None = 90 degrees.
        clip: length cut off each leg at the corner, to clear a weld or a rounding, mm.
        at: where along the corner of the two faces it stands (the nearest point counts); None = where the second
            part's centreline meets the first part.
    """

    legs: Size2
    between: Annotated[tuple[PartFaceGiven, ...], Field(min_length=2, max_length=2)] | None = None
    angle: BendAngle | None = None
    clip: Distance = 0.0
    at: Position | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.between is not None and self.angle is not None:
            raise ValueError("found between and angle; the two faces give the angle; take it out")
        if self.between is None and self.at is not None:
            raise ValueError("found at without between; name the two faces, or take at out")
        if self.clip >= min(self.legs):
            raise ValueError("found a clip as long as a leg; allowed: a clip shorter than both legs")
        return self


class PlatePlace(Model):
    """Where a plate lies in the vehicle: its back on the plane through `at`, its thickness along `normal`.

    Args:
        at: where the plate's own (0, 0) is, mm.
        normal: the way its face looks.
        up: where the plate's y goes.
    """

    at: Position
    normal: Direction
    up: Direction = (0.0, 0.0, 1.0)


class Plate(Model):
    """A plate cut from sheet or bar (exactly one of `outline`, `size`, `gusset`).

    Args:
        name: its name in the job.
        thickness: mm.
        outline: its corners in order, on axes of its own, seen from its face.
        size: width and height of a rectangle with its lower left corner at (0, 0), mm.
        gusset: a corner plate; its own (0, 0) is the corner, x along the first leg.
        corner: radius of every corner that gives none of its own, mm.
        holes: round holes.
        grade: steel grade, free text.
        count: how many are cut; None = as many as are placed, at least one.
        place: where it is in the vehicle; None = it is only cut.
        mirror: whether the vehicle's other side has its mirror image too.
    """

    name: Name
    thickness: Size
    outline: Annotated[
        tuple[Annotated[Corner, BeforeValidator(_corner)], ...] | None, Field(min_length=3, max_length=MOST_CORNERS)
    ] = None
    size: Size2 | None = None
    gusset: Gusset | None = None
    corner: Distance = 0.0
    holes: Annotated[tuple[Hole, ...], Field(max_length=MOST_CORNERS)] = ()
    grade: Name | None = None
    count: Count | None = None
    place: PlatePlace | None = None
    mirror: bool = False

    @model_validator(mode="after")
    def _check(self) -> Self:
        way = exactly_one(self, "outline", "size", "gusset")
        if self.place is not None and way == "gusset" and self.gusset is not None and self.gusset.between is not None:
            raise ValueError("found place on a gusset between two faces; the faces give its place; take one out")
        if self.mirror and self.place is None:
            raise ValueError("found mirror without place; give its place, or take mirror out")
        return self


class Templates(Model):
    """Bend-check templates: plates that sit inside the finished bends.

    Args:
        beyond: straight on either side of each bend, mm.
        depth: width of the band that follows the bend, mm; None = 40 mm.
    """

    beyond: Size
    depth: Size | None = None


class Nesting(Model):
    """Plates of one thickness laid out together on sheets.

    Args:
        sheet: length and width of a sheet, mm.
        gap: least distance between plates, mm.
        edge: least distance from the sheet's edge, mm.
    """

    sheet: Size2
    gap: Distance
    edge: Distance = 0.0

    @field_validator("edge")
    @classmethod
    def _room(cls, edge: float, info: ValidationInfo) -> float:
        sheet = info.data.get("sheet")
        if sheet is not None and 2 * edge >= min(sheet):
            raise ValueError("found an edge that leaves nothing of the sheet; allowed: less than half its width")
        return edge
