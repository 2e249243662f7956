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
    """A straight or bend of many rails, in the direction it was laid out; b may be 1 where all rails are alike.

    Args:
        at: (3, b) where it begins.
        t: (3, b) travel direction there.
        n: (3, b) direction across the tube at `roll` there: on a bend to its centre.
        m: (3, b) square to both, n x t; a bend leaves it as it is.
        roll: of n from the top face, in the direction it was laid out.
        length: (b,) of a straight; of a bend its angle.
        radius: of a bend; None on a straight.
    """

    at: Array
    t: Array
    n: Array
    m: Array
    roll: Array | float
    length: Array
    radius: Array | float | None = None

    def taken(self, lanes: NDArray[np.intp]) -> "Piece":
        """Some of the rails."""

        def some(value: Array) -> Array:
            return value[..., lanes] if value.shape[-1] > 1 else value

        roll = some(self.roll) if isinstance(self.roll, np.ndarray) else self.roll
        radius = some(self.radius) if isinstance(self.radius, np.ndarray) else self.radius
        at, t, n, m = some(self.at), some(self.t), some(self.n), some(self.m)
        return Piece(at, t, n, m, roll, some(self.length), radius)


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The pieces of many rails one way from the datum, in order; the first is (part of) a straight."""

    pieces: tuple[Piece, ...]

    @property
    def end(self) -> tuple[Array, Array, Array]:
        """Place (3, b), direction and top face at the end."""
        last = self.pieces[-1]
        return last.at + last.length * last.t, last.t, np.cos(last.roll) * last.n + np.sin(last.roll) * last.m


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
    at, t, n, m = (one[:, None] for one in (pose.at, pose.t, pose.u, pose.s))
    before: Array | float = 0.0
    pieces = [Piece(at, t, n, m, before, first)]
    for i in bends:
        at = pieces[-1].length * t + at
        roll, radius, angle = rails.roll[i] * way, rails.radius[i], rails.angle[i]
        n, m = _turned(n, m, roll - before)
        pieces.append(Piece(at, t, n, m, roll, angle, radius))
        sine, cosine = np.sin(angle), np.cos(angle)
        step = (radius * sine) * t
        step += (radius * (1 - cosine)) * n
        step += at
        at, before = step, roll
        ahead = cosine * t
        ahead += sine * n
        n = cosine * n
        n -= sine * t
        t = ahead
        pieces.append(Piece(at, t, n, m, roll, rails.straights[i + 1 if way > 0 else i]))
    return Chain(tuple(pieces))


def _turned(n: Array, m: Array, by: Array | float) -> tuple[Array, Array]:
    """Two directions across the tube turned about its travel."""
    if not isinstance(by, np.ndarray) and abs(by) < 1e-15:
        return n, m
    c, s = np.cos(by), np.sin(by)
    return np.asarray(c * n - s * m), np.asarray(s * n + c * m)


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
    gap = _gap(chain, number, point[:, None], -roll if behind else roll) - reach
    return np.broadcast_to(gap, laid.ahead.pieces[0].length.shape)


def _gap(
    chain: Chain, number: int, point: Array, roll: float, lanes: NDArray[np.intp] | None = None, steps: int = 4
) -> Array:
    """Distance from the centreline along a face's direction; rails whose foot left the piece look at the next one."""
    piece = chain.pieces[number] if lanes is None else chain.pieces[number].taken(lanes)
    off = point - piece.at
    along, toward = dot(off, piece.t), dot(off, piece.n)
    if piece.radius is not None:
        half = piece.length / 2
        turn = np.arctan2(along, piece.radius - toward) - half
        toward = piece.radius - np.hypot(along, piece.radius - toward)
        along = np.remainder(turn + np.pi, 2 * np.pi) - np.pi + half
    lean = roll - piece.roll
    gap = np.asarray(np.cos(lean) * toward - np.sin(lean) * dot(off, piece.m))
    before, behind = along < 0, along > piece.length
    for beyond, other in ((before, number - 1), (behind, number + 1)):
        if steps and 0 <= other < len(chain.pieces) and beyond.any():
            gap = np.broadcast_to(gap, behind.shape).copy()
            some = np.flatnonzero(np.broadcast_to(beyond, behind.shape))
            gap[some] = _gap(chain, other, point, roll, some if lanes is None else lanes[some], steps - 1)
    return gap


def columns_off(columns: Columns, moved: Sequence[tuple[int, Array]]) -> list[Array | None]:
    """How far each value of a bend table is off, from what moves some of them."""
    found: list[Array | None] = [None] * columns.count
    for column, by in moved:
        before = found[column]
        found[column] = by if before is None else before + by
    return found
