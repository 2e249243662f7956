"""How a bent tube moves when one value of its bend table is a little off: exact first derivatives. mm, radians.

Whatever goes wrong at a bend, the tube behind it moves as one rigid piece, to first order a screw: a turn w with a
shift v, so that a point p of the tube moves by w x p + v. Screws add up, and those of the piece that is laid against
the datum are taken off all others (kinematics of rigid bodies: any textbook of robotics, such as R. M. Murray, Z. Li
and S. S. Sastry, A Mathematical Introduction to Robotic Manipulation, 1994, chapter 2; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.centreline import Centreline, Stretch
from railmodel.geometry.rows import Array
from railmodel.tolerances import LENGTH

Working = Literal["marks fixed", "straights held"]
"""How the shop works.

"marks fixed": every mark is set out on the stock from its leading end before the first bend. A bend that takes up more
tube than it should, because its angle, its radius or its stretch came out larger, leaves the straight behind it
shorter, and the next mark is where it was. A mark that is off makes the straight before the bend longer and the one
behind it shorter.

"straights held": each bend is set out anew from the end of the bend before it, so that every straight comes out as
long as it was set, and what one bend does to the length is carried on to the end.
"""

Field = Literal["distance", "rotation", "angle", "radius", "roll", "tube use"]
"""A column of the bend table, or what a bend takes up of the stock.

distance: the straight before the bend (straights held), or the mark of the bend (marks fixed).
rotation: the turn from the bend before; all later bends turn with it.
angle: the finished bend, its radius held.
radius: the centreline radius, the angle held.
roll: the turn of this one bend on the tube itself; all other bends keep to their faces.
tube use: what the bend takes up of the stock beyond what was counted on; nothing to a shop that holds the straights.
"""

FIELDS: Final[tuple[Field, ...]] = get_args(Field)


@dataclass(frozen=True, slots=True)
class Columns:
    """The values of a bend table, in a row: distance of every bend, rotation of every bend, ... , then the tail.

    Args:
        bends: how many bends there are, n.
    """

    bends: int

    @property
    def count(self) -> int:
        """How many values: 6 n + 1."""
        return len(FIELDS) * self.bends + 1

    def of(self, field: Field, bend: int) -> int:
        """The place of a field of a bend; bends count from 1 at the leading end."""
        return FIELDS.index(field) * self.bends + bend - 1

    def block(self, field: Field) -> slice:
        """The places of a field of every bend."""
        begin = FIELDS.index(field) * self.bends
        return slice(begin, begin + self.bends)

    @property
    def tail(self) -> int:
        """The place of the last straight (straights held), or of the cut length (marks fixed)."""
        return len(FIELDS) * self.bends


@dataclass(frozen=True, slots=True)
class Place:
    """A place on a tube that is carried along as the tube changes.

    Args:
        stretch: straight 0, bend 1, straight 1, ... counted 0, 1, 2, ... as in `Centreline.stretches`.
        share: how far along the stretch, 0 to 1.
    """

    stretch: int
    share: float

    @property
    def bend(self) -> int | None:
        """Number of the bend, from 0; None on a straight."""
        return (self.stretch - 1) // 2 if self.stretch % 2 else None


def place_at(line: Centreline, station: float) -> Place:
    """The place at a length along a centreline, mm; beyond an end, that end."""
    index = int(line.stretch_at(station)[()])
    stretch = line.stretches[index]
    along = station - stretch.station
    return Place(index, float(np.clip(along / stretch.length, 0.0, 1.0)) if stretch.length > LENGTH else 0.0)


def screws(
    line: Centreline,
    places: Sequence[Place],
    working: Working = "marks fixed",
    *,
    datum: Place | None = None,
    stretch: ArrayLike = 0.0,
) -> Array:
    """How the tube moves at some places for each value of its bend table.

    Args:
        line: the tube from its leading end, n bends.
        places: m places.
        working: how the shop works.
        datum: the place that stays where it is; None = the leading end.
        stretch: (n,) part of each arc that comes from stretching, k: a bend takes up (1 - k) x arc.

    Returns:
        (m, 6 n + 1, 6) turn (3) and shift of the origin (3) of the tube's frame for one mm or one radian, in the order
        of `Columns`.
    """
    return movers(line, working, stretch=stretch).at(places, datum)


@dataclass(frozen=True, eq=False)
class Movers:
    """The screws of a tube, each at its full strength, with the leading end still.

    Args:
        line: the tube from its leading end, n bends.
        straight: (n + 1, 6) for each straight's length.
        angle: (n, 6).
        radius: (n, 6).
        roll: (n, 6).
        mix: (x, 4 n + 1) how the values of the bend table are made up of straights, angles, radii and rolls.
    """

    line: Centreline
    straight: Array
    angle: Array
    radius: Array
    roll: Array
    mix: Array

    def at(self, places: Sequence[Place], datum: Place | None = None) -> Array:
        """(m, x, 6) screws at places, less that of the datum; see `screws`."""
        wanted = [*places, *([datum] if datum is not None else [])]
        plain = self._plain(wanted)
        found: Array = np.einsum("xy,myc->mxc", self.mix, plain)
        return found if datum is None else np.asarray(found[:-1] - found[-1])

    def _plain(self, places: Sequence[Place]) -> Array:
        """(m, 4 n + 1, 6) for straights, angles, radii and rolls by themselves."""
        n = len(self.angle)
        which = np.array([place.stretch for place in places], dtype=int)[:, None]
        share = np.array([place.share for place in places], dtype=float)[:, None]
        straights, bends = np.arange(0, 2 * n + 1, 2), np.arange(1, 2 * n, 2)
        part = np.where(straights < which, 1.0, np.where(straights == which, share, 0.0))
        whole = np.where(bends < which, 1.0, 0.0)[..., None]
        found = np.concatenate(
            [part[..., None] * self.straight, whole * self.angle, whole * self.radius, whole * self.roll], axis=1
        )
        where = [(m, bend) for m, place in enumerate(places) if (bend := place.bend) is not None]
        if where:
            lanes, inside = np.array(where).T
            own = _bend_screws([self.line.bends[bend] for _, bend in where], share[lanes, 0])
            found[lanes[:, None], n + 1 + inside[:, None] + n * np.arange(3)] = own
        return found


def movers(line: Centreline, working: Working = "marks fixed", *, stretch: ArrayLike = 0.0) -> Movers:
    """The screws of a tube; see `screws`."""
    n = line.rows.count
    straight = _shift(np.array([part.start.t for part in line.straights]))
    bends = _bend_screws(line.bends, np.ones(n))
    mix = _mix(line, working, np.broadcast_to(np.asarray(stretch, dtype=float), (n,)))
    return Movers(line, straight, bends[:, 0], bends[:, 1], bends[:, 2], mix)


def _mix(line: Centreline, working: Working, stretch: Array) -> Array:
    """(x, 4 n + 1) what a value of the table does to straights (n + 1), angles, radii and rolls (n each)."""
    n, columns = line.rows.count, Columns(line.rows.count)
    mix = np.zeros((columns.count, 4 * n + 1))
    straight = np.eye(n + 1, 4 * n + 1)
    angle, radius, roll = (np.eye(n, 4 * n + 1, n + 1 + n * i) for i in range(3))
    mix[columns.block("distance")] = straight[:n]
    mix[columns.block("rotation")] = np.triu(np.ones((n, n))) @ roll
    mix[columns.block("angle")] = angle
    mix[columns.block("radius")] = radius
    mix[columns.block("roll")] = roll
    mix[columns.tail] = straight[n]
    if working == "marks fixed":
        rows, behind = line.rows, straight[1:]
        mix[columns.block("distance")] -= behind
        mix[columns.block("angle")] -= ((1 - stretch) * rows.radius)[:, None] * behind
        mix[columns.block("radius")] -= ((1 - stretch) * rows.angle)[:, None] * behind
        mix[columns.block("tube use")] = -behind
    return mix


def _bend_screws(bends: Sequence[Stretch], share: Array) -> Array:
    """(b, 3, 6) of angle, radius and roll at shares (b,) of bends."""
    starts = [(bend.start.at, bend.start.t, bend.start.s, bend.start.u) for bend in bends]
    at, t, s, u = np.array(starts).reshape(-1, 4, 3).swapaxes(0, 1)
    sizes = np.array([(bend.roll, bend.radius, bend.angle) for bend in bends]).reshape(-1, 3)
    roll, radius, angle = sizes.T[..., None]
    inward = np.cos(roll) * u - np.sin(roll) * s
    turn = angle * share[:, None]
    sine, versine = np.sin(turn), 2 * np.sin(turn / 2) ** 2
    out = sine * t + versine * inward
    there = t + sine * inward - versine * t
    about = _turn(crossed(t, inward), at + radius * inward)
    rolled = _turn(t, at) - _turn(there, at + radius * out)
    return np.stack([share[:, None] * about, _shift(out), rolled], axis=1)


def _turn(axis: Array, through: Array) -> Array:
    """(..., 6) a turn of one radian about an axis through a point."""
    return np.concatenate([axis, crossed(through, axis)], axis=-1)


def _shift(by: Array) -> Array:
    """(..., 6) a shift."""
    return np.concatenate([np.zeros_like(by), by], axis=-1)


def crossed(a: Array, b: Array) -> Array:
    """Vector product along the last axis; numpy.cross takes several times as long for a few vectors."""
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    i, j, k = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([y * k - z * j, z * i - x * k, x * j - y * i], axis=-1)


def moved(screw: Array, point: ArrayLike) -> Array:
    """Movement (..., 3) of points (..., 3) of a tube that moves by screws (..., 6)."""
    return np.asarray(crossed(screw[..., :3], np.asarray(point, dtype=float)) + screw[..., 3:])


def turned(screw: Array, direction: ArrayLike) -> Array:
    """Change (..., 3) of directions (..., 3) that are carried along by screws (..., 6)."""
    return crossed(screw[..., :3], np.asarray(direction, dtype=float))
