"""What is measured on a part that is laid out in duals: feet of fit points, roll of the top face. mm, radians.

Where a foot or a station falls is decided by the values; the numbers then carry exact derivatives. That is enough: a
gap square to a face does not change to first order when its foot slides along.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.dual import Dual, arctan2, choose, cos, cross, dot, scaled, sin, sqrt
from railmodel.fitting.lay_out import Laid, turned
from railmodel.geometry.rows import Array

Which = NDArray[np.int64]

FAR = 1e6
"""The distance of a foot from the nearest bend of a part without bends, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Feet:
    """Feet of points on a part; every field is (b, f).

    Args:
        gap: distance of the point from the face, mm; negative is inside.
        aside: how far it lies off the middle of the face, across the tube, mm.
        clear: length from the foot to the nearest bend, mm; negative inside a bend.
        inside: length from the foot to the nearest end of the part, mm; negative beyond it.
    """

    gap: Dual
    aside: Dual
    clear: Dual
    inside: Dual


def feet(laid: Laid, points: Array, across: Array, reach: Array) -> Feet:
    """Feet of points (f, 3) on faces; see `railmodel.fitting.fit_point.foot_on`.

    Args:
        laid: the part.
        points: (f, 3).
        across: (f, 2) direction of each face in the tube, along s and u.
        reach: (f,) from the centreline to each face, mm.
    """
    which = nearest_stretch(laid, points)
    lane = np.arange(len(which))[:, None]
    at, t, u, length = (one[(lane, which)] for one in (laid.at, laid.t, laid.u, laid.length))
    side = cross(u, t)
    face = side * across[:, :1] + u * across[:, 1:]
    sideways = side * across[:, 1:] - u * across[:, :1]
    off = -at + points
    along, gap, aside = dot(off, t), dot(off, face), dot(off, sideways)
    ends = laid.length.shape[1] - 1
    none = Dual.constant(np.full(which.shape, FAR), along.count)
    before, behind = choose(which == 0, none, along), choose(which == ends, none, length - along)
    clear = choose(before.value < behind.value, before, behind)
    curved = which % 2 == 1
    if curved.any():
        bend = np.where(curved, (which - 1) // 2, 0)
        inward, radius = laid.inward[(lane, bend)], laid.radius[bend]
        off = off - inward * radius[..., None]
        out, ahead = -dot(off, inward), dot(off, t)
        turn, depth = arctan2(ahead, out), sqrt(out * out + ahead * ahead) * -1.0 + radius

        def seen(direction: Dual) -> Dual:  # how far the point lies along a direction carried round the bend
            leans = dot(direction, inward)
            return leans * depth + dot(direction - scaled(inward, leans), off)

        rest = length - turn * radius
        nearer = choose((turn * radius).value < rest.value, turn * radius, rest)
        gap, aside, along, clear = (
            choose(curved, one, other)
            for one, other in ((seen(face), gap), (seen(sideways), aside), (turn * radius, along), (-nearer, clear))
        )
    begin = np.cumsum(laid.length.value, axis=1) - laid.length.value
    slope = np.cumsum(laid.length.slope, axis=1)
    total = Dual(begin[:, -1:] + laid.length.value[:, -1:], slope[:, -1:])
    station = Dual(begin, slope - laid.length.slope)[(lane, which)] + along
    left = total - station
    inside = choose(station.value < left.value, station, left)
    return Feet(gap=gap - reach, aside=aside, clear=clear, inside=inside)


def nearest_stretch(laid: Laid, points: Array) -> Which:
    """(b, f) index of the stretch each point (f, 3) stands nearest to, by the values."""
    at, t, length = laid.at.value, laid.t.value, laid.length.value
    off = points[:, None] - at[:, None, ::2]  # (b, f, n + 1, 3)
    reach = np.maximum(length[:, None, ::2], 0.0)
    along = np.clip(np.einsum("bfsi,bsi->bfs", off, t[:, ::2]), 0.0, reach)
    distance = np.empty((len(at), len(points), at.shape[1]))
    distance[..., ::2] = np.linalg.norm(off - along[..., None] * t[:, None, ::2], axis=-1)
    if len(laid.radius):
        inward = laid.inward.value
        off = points[:, None] - (at[:, 1::2] + laid.radius[:, None] * inward)[:, None]
        out = -np.einsum("bfsi,bsi->bfs", off, inward)
        ahead = np.einsum("bfsi,bsi->bfs", off, t[:, 1::2])
        angle = laid.angle.value[:, None]
        turn = np.remainder(np.arctan2(ahead, out) - angle / 2 + np.pi, 2 * np.pi) - np.pi + angle / 2
        turn = np.clip(turn, 0.0, np.maximum(angle, 0.0))
        axial = np.einsum("bfsi,bfsi->bfs", off, off) - out**2 - ahead**2
        square = (out - laid.radius * np.cos(turn)) ** 2 + (ahead - laid.radius * np.sin(turn)) ** 2
        distance[..., 1::2] = np.sqrt(np.maximum(square + axial, 0.0))
    return np.asarray(distance.argmin(axis=-1), dtype=np.int64)


def roll_at(laid: Laid, x: float) -> Dual:
    """(b,) roll of the top face from plumb where the part first passes a vehicle station x.

    A part that does not reach the station is measured on the end nearest to it.
    """
    which, turn = _passing(laid, x)
    lane = np.arange(len(which))
    t, u = laid.t[(lane, which)], laid.u[(lane, which)]
    curved = which % 2 == 1
    if curved.any():
        bend = np.where(curved, (which - 1) // 2, 0)
        at, inward = laid.at[(lane, which)], laid.inward[(lane, bend)]
        radius = laid.radius[bend]
        # One step of Newton's method from the solution brings in the derivatives and nothing else.
        held = Dual.constant(turn, t.count)
        there = at[:, 0] + (sin(held) * t[:, 0] + (1.0 - cos(held)) * inward[:, 0]) * radius
        rate = (np.cos(turn) * t.value[:, 0] + np.sin(turn) * inward.value[:, 0]) * radius
        exact = held - (there - x) * (1 / np.where(np.abs(rate) > 1e-9, rate, 1e-9))
        cosines, sines = cos(exact), sin(exact)
        round_u = turned(u, t, inward, cosines, sines)
        round_t = scaled(t, cosines) + scaled(inward, sines)
        u, t = choose(curved[:, None], round_u, u), choose(curved[:, None], round_t, t)
    upright = scaled(t, -t[:, 2]) + np.array([0.0, 0.0, 1.0])
    return arctan2(dot(cross(upright, u), t), dot(upright, u))


def _passing(laid: Laid, x: float) -> tuple[Which, Array]:
    """The stretch (b,) in which each part passes a station, and how far round a bend (b,), radians."""
    at, t = laid.at.value[..., 0], laid.t.value[..., 0]
    length = laid.length.value
    lanes, count = at.shape
    turns = np.full((lanes, count), np.inf)
    found = np.zeros((lanes, count), dtype=bool)
    ahead = t[:, ::2]
    along = (x - at[:, ::2]) / np.where(np.abs(ahead) > 1e-12, ahead, 1e-12)
    found[:, ::2] = (along >= -1e-9) & (along <= length[:, ::2] + 1e-9)
    if count > 1:
        inward, angle = laid.inward.value[..., 0], laid.angle.value
        size = np.hypot(t[:, 1::2], inward)
        sine = ((x - at[:, 1::2]) / laid.radius - inward) / np.maximum(size, 1e-12)
        lean, arc = np.arctan2(inward, t[:, 1::2]), np.arcsin(np.clip(sine, -1, 1))
        both = np.stack([lean + arc, lean + np.pi - arc])
        both = np.remainder(both + 1e-9, 2 * np.pi) - 1e-9
        both = np.where((both <= angle + 1e-9) & (np.abs(sine) <= 1), both, np.inf)
        turns[:, 1::2] = both.min(axis=0)
        found[:, 1::2] = np.isfinite(turns[:, 1::2])
    nearer_end = np.abs(at[:, 0] - x) > np.abs(laid.end.value[:, 0] - x)
    which = np.where(found.any(axis=1), found.argmax(axis=1), np.where(nearer_end, count - 1, 0))
    turn = turns[np.arange(lanes), which]
    return np.asarray(which, dtype=np.int64), np.where(np.isfinite(turn), turn, 0.0)
