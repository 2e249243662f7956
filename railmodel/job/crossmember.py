"""Crossmembers as they stand in a job file: straight tubes from rail to rail. Lengths in mm once read."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from railmodel.job.fields import Length, Model, Name, Position, one_of

EndKind = Literal["square", "mitred", "coped"]


class Crossmember(Model):
    """A straight tube between two rails.

    Args:
        name: its name in the job.
        tube: name of its tube.
        between: a part that is a pair (its two hands), or two part labels such as `side rail right`.
        x: vehicle station where it crosses, square to the vehicle's centreline; or
        points: two points on its axis, where the rails' faces trim it.
        height: height of its centre (Z); left out, `flush` says.
        flush: which of the rails' faces it is level with; "centre" puts its axis at the rails' centres.
        ends: "coped" follows the rail's face, "mitred" is one plane cut, "square" is cut square and just fits.
    """

    name: Name
    tube: Name
    between: Annotated[tuple[Name, ...], Field(min_length=1, max_length=2)]
    x: Length | None = None
    points: Annotated[tuple[Position, ...], Field(min_length=2, max_length=2)] | None = None
    height: Length | None = None
    flush: Annotated[Literal["centre", "top", "bottom"], one_of("centre", "top", "bottom")] | None = None
    ends: Annotated[EndKind, one_of("square", "mitred", "coped")] = "coped"

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.x is None) == (self.points is None):
            found = "both" if self.x is not None else "neither"
            raise ValueError(f"found {found}; allowed: exactly one of x, points")
        if self.height is not None and self.flush is not None:
            raise ValueError("found height and flush; allowed: at most one of them")
        if self.points is not None and (self.height is not None or self.flush is not None):
            raise ValueError("found points with height or flush; the points give the height; take it out")
        return self
