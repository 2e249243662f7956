"""Many rails laid out at once from their datum, and how far fit points stand from them: exact, one block at a time.

Every array holds its batch last, so that each step runs through memory in order: numbers (b,), vectors (3, b). The
tube is laid out from the datum both ways, so that no rail has to be moved afterwards. The arithmetic is that of
`railmodel.geometry.centreline` and `railmodel.fitting.fit_point`. mm, radians.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Columns, Place, Working
from railmodel.sureness.sensitivity import Bent


@dataclass(frozen=True, slots=True, eq=False)
class Rails:
    """Bend tables of many rails that came out of one.

    Args:
        straights: n + 1 of (b,).
        angle: n of (b,).
        radius: n of (b,) or plain numbers, where no radius is off.
        roll: n of (b,) or plain numbers, likewise.
    """

    straights: Sequence[Array]
    angle: Sequence[Array]
    radius: Sequence[Array | float]
    roll: Sequence[Array | float]


def rails_off(bent: Bent, working: Working, off: Sequence[Array | None]) -> Rails:
    """The rails that come of one when the values of its bend table are off.

    Args:
        bent: the rail.
        working: how the shop works.
        off: for each of its `Columns`, how far it is off (b,), or None where it never is.
    """
    rows, columns = bent.line.rows, bent.columns
    n = columns.bends

    def of(field: slice) -> Sequence[Array | None]:
        return off[field]

    distance, rotation, angle, radius, roll, use = (
        of(columns.block(name)) for name in ("distance", "rotation", "angle", "radius", "roll", "tube use")
    )
    size = len(next((one for one in off if one is not None), np.zeros(1)))
    angles = [_plus(float(rows.angle[i]), angle[i]) + np.zeros(size) for i in range(n)]
    radii = [_plus(float(rows.radius[i]), radius[i]) for i in range(n)]
    turned: Array | float = 0.0
    rolls: list[Array | float] = []
    for i, nominal in enumerate(np.cumsum(rows.rotation).tolist()):
        turned = _plus(turned, rotation[i])
        rolls.append(_plus(nominal + turned, roll[i]))
    straights = [float(length) + np.zeros(size) for length in rows.straights]
    for i in range(n):
        by = distance[i]
        if by is not None:
            straights[i] += by
        if working == "marks fixed":
            arc = float(rows.radius[i] * rows.angle[i])
            straights[i + 1] -= (1 - float(bent.stretch[i])) * (angles[i] * radii[i] - arc)
            for more in (by, use[i]):
                if more is not None:
                    straights[i + 1] -= more
    if (last := off[columns.tail]) is not None:
        straights[n] += last
    return Rails(straights=straights, angle=angles, radius=radii, roll=rolls)


def _plus(value: Array | float, off: Array | None) -> Array | float:
    return value if off is None else value + off


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A straight or bend of many rails, in the direction it was laid out.

    Args:
        at: (3, b) where it begins.
        t: (3, b) travel direction there.
        u: (3, b) direction of the top face there.
        length: (b,) of a straight; of a bend its angle.
        inward: (3, b) direction to the centre of a bend; None on a straight.
        radius: of a bend.
        roll: of a bend, in the direction it was laid out.
    """

    at: Array
    t: Array
    u: Array
    length: Array
    inward: Array | None = None
    radius: Array | float = 0.0
    roll: Array | float = 0.0

    def taken(self, lanes: NDArray[np.intp]) -> "Piece":
        """Some of the rails."""

        def some(value: Array | float) -> Array | float:
            return value[..., lanes] if isinstance(value, np.ndarray) else value

        at, t, u, length = (np.asarray(some(one)) for one in (self.at, self.t, self.u, self.length))
        inward = None if self.inward is None else np.asarray(some(self.inward))
        return Piece(at, t, u, length, inward, some(self.radius), some(self.roll))


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The pieces of many rails one way from the datum, in order; the first is (part of) a straight."""

    pieces: tuple[Piece, ...]

    @property
    def end(self) -> tuple[Array, Array, Array]:
        """Place (3, b), direction and top face at the end."""
        last = self.pieces[-1]
        return last.at + last.length * last.t, last.t, last.u


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """Many rails laid out from their datum.

    Args:
        ahead: toward the tail.
        back: toward the leading end.
        datum: where the datum lies.
    """

    ahead: Chain
    back: Chain
    datum: Place

    def find(self, place: Place) -> tuple[Chain, int, bool]:
        """The chain a place lies on, its number there, and whether that chain runs back."""
        behind = place.stretch < self.datum.stretch
        if place.stretch == self.datum.stretch:
            behind = place.share < self.datum.share
        return (self.back if behind else self.ahead), abs(place.stretch - self.datum.stretch), behind


def lay_out(bent: Bent, rails: Rails) -> LaidOut:
    """Lay rails out from the datum of the one they came of."""
    datum = bent.datum
    middle, n = datum.stretch // 2, len(rails.angle)
    straight = bent.line.straights[middle]
    pose = straight.pose(straight.length * datum.share)
    first = rails.straights[middle]
    ahead = _march(pose, (1 - datum.share) * first, rails, range(middle, n), 1)
    back = _march(pose.turned_back(), datum.share * first, rails, range(middle - 1, -1, -1), -1)
    return LaidOut(ahead, back, datum)


def _march(pose: Pose, first: Array, rails: Rails, bends: Sequence[int], way: int) -> Chain:
    """Lay bends out one after another; `way` is -1 toward the leading end, where rolls are seen from the other side."""
    at, t, u = (np.repeat(one[:, None], len(first), axis=1) for one in (pose.at, pose.t, pose.u))
    pieces = [Piece(at, t, u, first)]
    for i in bends:
        at = at + pieces[-1].length * t
        roll, radius, angle = rails.roll[i], rails.radius[i], rails.angle[i]
        roll = roll if way > 0 else -roll
        leans, sides = np.cos(roll), np.sin(roll)
        inward = leans * u - sides * cross(u, t)
        pieces.append(Piece(at, t, u, angle, inward, radius, roll))
        sine, versine = np.sin(angle), 1 - np.cos(angle)
        step = sine * t + versine * inward
        at = at + radius * step
        u = u - leans * (versine * inward + sine * t)
        t = t + (sine * inward - versine * t)
        pieces.append(Piece(at, t, u, rails.straights[i + 1 if way > 0 else i]))
    return Chain(tuple(pieces))


def cross(a: Array, b: Array) -> Array:
    """Vector product along the first axis."""
    found = np.empty_like(a)
    found[0] = a[1] * b[2] - a[2] * b[1]
    found[1] = a[2] * b[0] - a[0] * b[2]
    found[2] = a[0] * b[1] - a[1] * b[0]
    return found


def dot(a: Array, b: Array) -> Array:
    """Scalar product along the first axis."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def face_gap(laid: LaidOut, place: Place, point: Array, roll: float, reach: float) -> Array:
    """(b,) how far a point stands from a face of each rail, square to it, wherever its foot now falls.

    Args:
        laid: the rails.
        place: where the foot of the point stood on the rail they came of.
        point: (3,) the point.
        roll: of the face, seen from the leading end.
        reach: from the centreline to the face.
    """
    chain, number, behind = laid.find(place)
    return _gap(chain, number, point[:, None], -roll if behind else roll) - reach


def _gap(chain: Chain, number: int, point: Array, roll: float, steps: int = 4) -> Array:
    """Distance from the centreline along a face's direction; rails whose foot left the piece look at the next one."""
    piece = chain.pieces[number]
    gap, along = (_on_straight if piece.inward is None else _on_bend)(piece, point, roll)
    if steps:
        for beyond, other in ((along < 0, number - 1), (along > piece.length, number + 1)):
            if 0 <= other < len(chain.pieces) and beyond.any():
                lanes = np.flatnonzero(beyond)
                some = Chain(tuple(one.taken(lanes) for one in chain.pieces))
                gap[lanes] = _gap(some, other, point, roll, steps - 1)
    return gap


def _on_straight(piece: Piece, point: Array, roll: float) -> tuple[Array, Array]:
    off = point - piece.at
    lean, side = np.cos(roll), np.sin(roll)
    if abs(side) < 1e-12:
        gap = lean * dot(off, piece.u)
    else:
        gap = lean * dot(off, piece.u) - side * dot(off, cross(piece.u, piece.t))
    return gap, dot(off, piece.t)


def _on_bend(piece: Piece, point: Array, roll: float) -> tuple[Array, Array]:
    assert piece.inward is not None
    off = point - piece.at
    ahead, out = dot(off, piece.t), piece.radius - dot(off, piece.inward)
    half = piece.length / 2
    turn = np.remainder(np.arctan2(ahead, out) - half + np.pi, 2 * np.pi) - np.pi + half
    depth = piece.radius - np.hypot(ahead, out)
    axial = dot(off, cross(piece.t, piece.inward))
    lean = roll - piece.roll
    return np.asarray(np.cos(lean) * depth + np.sin(lean) * axial), turn


def columns_off(columns: Columns, moved: Sequence[tuple[int, Array]]) -> list[Array | None]:
    """How far each value of a bend table is off, from what moves some of them."""
    found: list[Array | None] = [None] * columns.count
    for column, by in moved:
        before = found[column]
        found[column] = by if before is None else before + by
    return found
