"""What a job wants of its shape: each wish is one quantity, with derivatives, between two limits. mm, radians.

A wish belongs to a group; a group measures all of its wishes at once on the parts that are laid out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, pi
from typing import Literal, Protocol

import numpy as np

from railmodel.fitting.dual import Dual, arctan2, cross, dot, join, norm, scaled, stack
from railmodel.fitting.lay_out import Laid
from railmodel.fitting.measures import feet, roll_at
from railmodel.geometry.roll import off_legal
from railmodel.geometry.rows import Array

Rule = Literal[
    "fit gap", "fit place", "clearance", "joint", "plumb", "roll", "straight", "angle", "offset", "angle step"
]

FLIP = np.array([1.0, -1.0, 1.0])
"""Through the vehicle's centre plane."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One quantity between two limits.

    Args:
        name: what it is, in words that name part and place.
        rule: what kind of wish.
        unit: what the quantity is.
        low: least value that will do.
        high: largest value that will do.
        parts: numbers of the parts it is measured on.
        shared: whether part of what is allowed is left to the shop where that can be had.
    """

    name: str
    rule: Rule
    unit: Literal["length", "angle"] = "length"
    low: float = -inf
    high: float = inf
    parts: tuple[int, ...] = ()
    shared: bool = False

    def miss(self, found: float) -> float:
        """How far a value lies outside, 0 where it will do."""
        above = found - self.high if self.high < inf else -inf
        return float(max(self.low - found, above, 0.0))


class Group(Protocol):
    """Wishes that are measured together."""

    @property
    def wishes(self) -> Sequence[Wish]:
        """The wishes, in the order of their columns."""
        ...

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """(b, w) the quantities."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class FitPoints:
    """Fit points of one part, all on its right hand.

    Args:
        part: number of the part.
        points: (f, 3).
        across: (f, 2) direction of each face along s and u.
        reach: (f,) from the centreline to the face.
        gaps: a wish each.
        places: a wish each where the foot must keep clear of bends; None where it may stand anywhere.
        inside: a wish each: the foot must stand on the part, and
        aside: on the flat of the face.
    """

    part: int
    points: Array
    across: Array
    reach: Array
    gaps: tuple[Wish, ...]
    places: tuple[Wish | None, ...]
    inside: tuple[Wish, ...]
    aside: tuple[Wish, ...]

    @property
    def wishes(self) -> Sequence[Wish]:
        """Gaps, then places, then feet on the part and on the flat."""
        return [*self.gaps, *(wish for wish in self.places if wish is not None), *self.inside, *self.aside]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        found = feet(laid[self.part], self.points, self.across, self.reach)
        placed = np.array([wish is not None for wish in self.places], dtype=bool)
        return join([found.gap, found.clear[:, placed], found.inside, found.aside])


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What shop and geometry ask of one part: straights, angles, offsets.

    Args:
        part: number of the part.
        straights: a wish for each straight.
        angles: a wish for each bend.
        offsets: a wish for each offset given by `over`.
    """

    part: int
    straights: tuple[Wish, ...]
    angles: tuple[Wish, ...]
    offsets: tuple[Wish, ...]

    @property
    def wishes(self) -> Sequence[Wish]:
        """Straights, angles, offsets."""
        return [*self.straights, *self.angles, *self.offsets]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        one = laid[self.part]
        return join([one.straights, one.angle, one.slack])


@dataclass(frozen=True, slots=True, eq=False)
class Rolls:
    """The two-plane rule: how far each bend's roll lies off a quarter turn."""

    part: int
    wishes: tuple[Wish, ...]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        roll = laid[self.part].roll
        return Dual(off_legal(roll.value), roll.slope)


@dataclass(frozen=True, slots=True, eq=False)
class PlumbPlaces:
    """Roll of a part's top face at vehicle stations (mm)."""

    part: int
    stations: tuple[float, ...]
    wishes: tuple[Wish, ...]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        return stack([roll_at(laid[self.part], x) for x in self.stations])


@dataclass(frozen=True, slots=True, eq=False)
class AngleSteps:
    """Bend angles that are to land on given values.

    Args:
        part: number of the part.
        bends: (w,) which bends.
        wishes: one each.
    """

    part: int
    bends: tuple[int, ...]
    wishes: tuple[Wish, ...]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        return laid[self.part].angle[:, list(self.bends)]


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """Two ends that must meet; see `railmodel.fitting.joint.meeting`.

    Args:
        first: part number, whether its left hand is meant, and which end.
        second: likewise.
        kinds: what each wish is about: "gap", "offset", "angle" or "roll".
        wishes: one each.
    """

    first: tuple[int, bool, str]
    second: tuple[int, bool, str]
    kinds: tuple[str, ...]
    wishes: tuple[Wish, ...]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """The quantities."""
        at, t, u = _end(laid, *self.first)
        other_at, other_t, other_u = _end(laid, *self.second)
        apart = other_at - at
        gap = dot(apart, t)
        up = other_u - scaled(t, dot(other_u, t))
        turn = arctan2(dot(cross(u, up), t), dot(u, up))
        found = {
            "gap": gap,
            "offset": norm(apart - scaled(t, gap)),
            "angle": arctan2(norm(cross(t, other_t)), -dot(t, other_t)),
            "roll": turn - pi * np.round(turn.value / pi),
        }
        return stack([found[kind] for kind in self.kinds])


def _end(laid: Mapping[int, Laid], part: int, left: bool, end: str) -> tuple[Dual, Dual, Dual]:
    """Place (b, 3), outward direction and top face at an end."""
    one = laid[part]
    pose = (one.end, one.end_t, one.end_u) if end == "rear" else (one.at[:, 0], -one.t[:, 0], one.u[:, 0])
    if left:
        pose = (pose[0] * FLIP, pose[1] * FLIP, pose[2] * FLIP)
    return pose
