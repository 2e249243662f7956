"""Lower bounds of the distance of convex solids over boxes of travel parameters, and distances at single positions.

For a unit direction n the gap between the two planes square to n that touch the two solids is a lower bound of their
distance, or of minus their depth of overlap. Over a box of parameters each point of a moving solid has a coordinate
along n that is linear in slides and lifts and curved in turns by no more than (lever arm) x (turn)^2; so the least of
it over the box is at least the least over the corners of the box less the sum of curvature x width^2 / 8 (remainder of
linear interpolation: E. Isaacson and H. B. Keller, Analysis of Numerical Methods, chapter 6; from memory). Corners
have a closed form, so the bound is exact for travel along lines and of second order in turns.

Where the coordinate of every point rises with a parameter throughout the box, the least lies on the face of the box
where that parameter is least, and nothing is taken off for it: most nearest places lie at an end of the travel. The
slope at one edge of the box is the difference of its ends over its width; elsewhere in the box it differs from that by
no more than the second derivatives times the widths, half for the edge's own parameter.

A parameter that only shifts a solid moves all its points alike: where no direction in use looks against the shift, the
least lies at its beginning, and a box is flattened to that face. This holds for mixtures of the directions as well.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.motion import Index, MotionSet
from railmodel.fitting.solids import Solids
from railmodel.geometry.rows import Array

_BATCH = 4096
"""Boxes bounded at once."""

_FAR = 1e9
"""The collision library says minus infinity, nearly, where it finds no depth; nothing here is so deep, mm."""

_SHARP = 1e-9
"""Tolerance asked of the collision library. A direction is off by about the root of it: at its own 1e-6 a plane may
stand 0.03 mm off along 2 m of tube, at this one 1e-5 mm; below 1e-10 its depths begin to fail."""


@dataclass(frozen=True, slots=True, eq=False)
class Boxes:
    """Boxes of the travel of solids b against solids a, with what is known of them.

    Args:
        pair: (n,) number of the pair of groups.
        a: (n,) solid that stands still.
        b: (n,) solid that travels.
        low: (n,) lower bound of the distance within the box, mm.
        spot: (n, 4) parameters at which to look next.
        start: (n, 4) where the box begins.
        end: (n, 4) where it ends.
        spent: (n,) whether looking into it further would raise its bound no more.
    """

    pair: Index
    a: Index
    b: Index
    low: Array
    spot: Array
    start: Array
    end: Array
    spent: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.pair)

    def take(self, which: NDArray[np.bool_] | Index) -> "Boxes":
        """Some of them."""
        return Boxes(*(getattr(self, name)[which] for name in self.__slots__))

    @staticmethod
    def together(parts: "list[Boxes]") -> "Boxes":
        """Several sets as one."""
        return Boxes(*(np.concatenate([getattr(part, name) for part in parts]) for name in Boxes.__slots__))


class Bounds:
    """Two sets of solids, the second travelling, and how it travels.

    Attributes:
        moving: (n,) whether a solid of the second set travels.
        box: (h, 4) where the box of all travel of a motion ends; it begins at 0.
        rate: (n, 4) the most a solid's centre moves per unit of each parameter, mm.
        most: (n, 4) the most any of its points moves.
        curve: (n, 4) the largest second derivative of any of its points.
        mixed: (n, 4, 4) the largest of those by each two parameters; `curve` is its diagonal.
        shift: (h, 4, 3) how a motion shifts per unit of each parameter, mm.
        shifts: (h, 4) whether a parameter does nothing else.
        spin: (n, 4) the most its discs turn per unit of each parameter, times their radius, mm.
        start: (m, 3) beginning of a segment through each solid of the first set.
        along: (m, 3) the segment.
        around: (m,) radius around the segment that holds the solid.
    """

    def __init__(self, a: Solids, b: Solids, motions: MotionSet) -> None:
        self.a, self.b, self.motions = a, b, motions
        self.moving = motions.drivers[b.group] > 0
        self.box = (np.arange(4) < motions.drivers[:, None]).astype(float)  # (h, 4) where each box ends
        self.rate, self.most, self.mixed = self._travel(np.flatnonzero(b.roots))
        self.curve = np.ascontiguousarray(np.diagonal(self.mixed, axis1=1, axis2=2))
        self.spin = b.disc[:, None] * np.abs(motions.gain[:, :2]).sum(axis=1)[b.group]
        self.start, self.along, self.around = segments(a)
        self.shift = motions.gain[:, 2, :, None] * motions.slide[:, None]
        self.shift[..., 2] += motions.gain[:, 3]
        turning = (motions.gain[:, :2] != 0).any(axis=1)
        self.shifts = (np.arange(4) < motions.drivers[:, None]) & ~turning

    def _travel(self, roots: Index) -> tuple[Array, Array, Array]:
        """How solids travel (see `MotionSet.reach`); what a bound holds travels no further than the bound may."""
        found = [np.zeros((len(self.b), 4)), np.zeros((len(self.b), 4)), np.zeros((len(self.b), 4, 4))]
        which = roots[self.moving[roots]]
        if len(which):
            core = self.b.radius[which] - self.b.ball[which]  # a ball turns into itself
            reach = self.motions.reach(self.b.group[which], self.b.centre[which], core)
            for array, values in zip(found, reach, strict=True):
                array[which] = values
        for parent in np.flatnonzero(self.b.holds & self.moving):  # a bound stands before what it holds
            start, stop = self.b.children[parent]
            found[0][start:stop] = found[1][start:stop] = found[1][parent]
            found[2][start:stop] = found[2][parent]
        return found[0], found[1], found[2]

    def carried(self, solids: Index, points: Array, parameters: Array) -> Array:
        """Points (n, 3) of solids carried to parameters (n, 4)."""
        group, found = self.b.group[solids], points.copy()
        moves = np.flatnonzero(self.moving[solids])
        if len(moves):
            values = self.motions.values(group[moves], parameters[moves])
            rotation, shift = self.motions.place(group[moves], values)
            found[moves] = np.einsum("nij,nj->ni", rotation, points[moves]) + shift
        return found

    def towards(self, boxes: Boxes) -> Array:
        """(n, 3) unit directions from solid a's segment to solid b's middle."""
        start, along = self.start[boxes.a], self.along[boxes.a]
        off = self.carried(boxes.b, self.b.centre[boxes.b], (boxes.start + boxes.end) / 2) - start
        share = np.einsum("ni,ni->n", off, along) / np.maximum(np.einsum("ni,ni->n", along, along), 1e-300)
        off -= np.clip(share, 0, 1)[:, None] * along
        size = np.linalg.norm(off, axis=-1, keepdims=True)
        return np.where(size > 1e-9, off / np.maximum(size, 1e-9), [0.0, 0.0, 1.0])

    def improved(self, boxes: Boxes, normal: Array) -> Boxes:
        """The boxes with their bounds raised to those by planes square to `normal` (n, 3) or (n, m, 3)."""
        normal = normal if normal.ndim == 3 else normal[:, None]
        low, spot = boxes.low.copy(), boxes.spot.copy()
        for begin in range(0, len(boxes), _BATCH):
            part = slice(begin, begin + _BATCH)
            moving = self.moving[boxes.b[part]]
            still, moves = np.flatnonzero(~moving) + begin, np.flatnonzero(moving) + begin
            if len(still):
                n = normal[still]
                planes = -self.a.farthest(boxes.a[still], n) - self.b.farthest(boxes.b[still], -n)
                low[still] = np.maximum(low[still], planes.max(axis=-1))
            if len(moves):
                planes, at = self._corner(boxes.take(moves), normal[moves])
                low[moves] = np.maximum(low[moves], planes)
                spot[moves] = at
        return replace(boxes, low=low, spot=spot)

    def _corner(self, boxes: Boxes, normal: Array) -> tuple[Array, Array]:
        """The best bound (n,) by planes square to `normal` (n, m, 3), and the corner (n, 4) of the box it is met at."""
        group = self.b.group[boxes.b]
        drivers = int(self.motions.drivers[group].max())
        pick = ((np.arange(2**drivers)[:, None] >> np.arange(4)) & 1).astype(bool)
        corners = np.where(pick, boxes.end[:, None], boxes.start[:, None])
        rotation, shift = self.motions.place(group, self.motions.values(group, corners))
        count, several = normal.shape[:2]
        back = np.matmul(normal[:, None], rotation)  # (n, c, m, 3): rows n . rotation
        reach = -self.b.farthest(boxes.b, -back.reshape(count, -1, 3)).reshape(count, -1, several)
        reach += np.matmul(shift, normal.transpose(0, 2, 1))
        lowest = reach.argmin(axis=1)
        row = np.arange(count)
        planes = np.take_along_axis(reach, lowest[:, None], axis=1)[:, 0] - self.a.farthest(boxes.a, normal)
        best = planes.argmax(axis=-1)
        lowest = lowest[row, best]
        around = lowest[:, None] ^ np.append(0, 1 << np.arange(drivers))  # that corner and those one edge away
        at = row[:, None], around
        points = np.einsum("nki,nvi->nkv", back[row[:, None], around, best[:, None]], self.b.vertices[boxes.b])
        points += np.einsum("nki,ni->nk", shift[at], normal[row, best])[..., None]
        rise = (points[:, 1:] - points[:, :1]).min(axis=-1)
        size = (boxes.end - boxes.start)[:, :drivers]
        curve, mixed = (one[boxes.b, :drivers] for one in (self.curve, self.mixed))
        slack = np.einsum("nkj,nj->nk", mixed[..., :drivers], size) - curve * size / 2 + self.spin[boxes.b, :drivers]
        bent = np.where(rise >= slack * size, 0.0, curve * size * size / 8).sum(axis=-1)
        return planes[row, best] - bent, corners[row, lowest]

    def balanced(self, boxes: Boxes, one: Array, other: Array) -> Array:
        """(n,) lower bounds by the mean of the planes square to two directions (n, 3) each.

        Where an overlap is as deep one way as the other, either plane falls off to its side; their mean does not.
        """
        group, size = self.b.group[boxes.b], boxes.end - boxes.start
        pick = ((np.arange(1 << int(self.motions.drivers[group].max()))[:, None] >> np.arange(4)) & 1).astype(bool)
        corners = np.where(pick, boxes.end[:, None], boxes.start[:, None])
        rotation, shift = self.motions.place(group, self.motions.values(group, corners))
        reach = np.zeros(corners.shape[:2])
        for normal in (one, other):
            reach -= self.b.farthest(boxes.b, -np.einsum("ni,ncij->ncj", normal, rotation))
            reach += np.einsum("nci,ni->nc", shift, normal) - self.a.farthest(boxes.a, normal)[:, None]
        return np.asarray(reach.min(axis=-1) / 2 - (self.curve[boxes.b] * size * size).sum(-1) / 8)

    def flattened(self, boxes: Boxes, normal: Array) -> Boxes:
        """Boxes flattened to the end of the travel against directions (n, 3), in parameters that only shift."""
        group = self.b.group[boxes.b]
        rises = np.einsum("nki,ni->nk", self.shift[group], normal) >= 0
        flat = self.shifts[group] & np.where(rises, boxes.start == 0, boxes.end == 1)
        return replace(
            boxes,
            start=np.where(flat & ~rises, boxes.end, boxes.start),
            end=np.where(flat & rises, boxes.start, boxes.end),
        )

    def stands(self, boxes: Boxes, normal: Array) -> NDArray[np.bool_]:
        """Whether boxes were rightly flattened, for all directions (n, c, 3) in use."""
        group = self.b.group[boxes.b]
        rises = np.einsum("nki,nci->nkc", self.shift[group], normal)
        least, most = rises.min(axis=-1), rises.max(axis=-1)
        right = np.where(boxes.start == 0, least >= 0, most <= 0)
        return np.asarray((right | ~(self.shifts[group] & (boxes.start == boxes.end))).all(axis=-1))

    def unflattened(self, boxes: Boxes) -> Boxes:
        """Flattened boxes over all the travel there is in the parameters that only shift."""
        flat = self.shifts[self.b.group[boxes.b]] & (boxes.start == boxes.end)
        return replace(boxes, start=np.where(flat, 0.0, boxes.start), end=np.where(flat, 1.0, boxes.end))

    def planes(self, a: Index, b: Index, spot: Array, normal: Array) -> Array:
        """(n,) lower bounds of the distances at parameters `spot` by planes square to `normal` (n, 3)."""
        group = self.b.group[b]
        rotation, shift = self.motions.place(group, self.motions.values(group, spot))
        back = np.einsum("nij,ni->nj", rotation, normal)
        reach = self.a.farthest(a, normal) + self.b.farthest(b, -back)
        return np.asarray(np.einsum("ni,ni->n", shift, normal) - reach)

    def distances(self, a: Index, b: Index, spot: Array) -> tuple[Array, Array]:
        """Distances (n,) and directions (n, 3) from solids a to solids b at parameters, by the collision library."""
        distance, normal = [], np.empty((len(a), 3))
        for i, (apart, found) in enumerate(self._asked(a, b, spot)):
            distance.append(apart)
            normal[i] = found.normal  # the library's own memory, used again for the next
        size = np.linalg.norm(normal, axis=-1, keepdims=True)
        return np.array(distance), np.where(size > 0.5, normal / np.maximum(size, 0.5), [0.0, 0.0, 1.0])

    def touching(self, a: Index, b: Index, spot: Array) -> tuple[Array, Array]:
        """The nearest points (n, 3) of solids a and of solids b at parameters, by the collision library.

        Of solids that lie in the same place it may find none; a point of each solid then stands for them.
        """
        points = np.empty((2, len(a), 3))
        for i, (_, found) in enumerate(self._asked(a, b, spot)):
            points[0, i], points[1, i] = found.getNearestPoint1(), found.getNearestPoint2()
        own = np.stack([self.a.inside[a], self.carried(b, self.b.inside[b], spot)])
        on_a, on_b = np.where(np.isfinite(points), points, own)
        return on_a, on_b

    def placing(self, b: Index, spot: Array) -> tuple[Array, Array]:
        """Rotations (n, 3, 3) and shifts (n, 3) that bring the library's shapes of solids b to parameters."""
        group = self.b.group[b]
        rotation, shift = self.motions.place(group, self.motions.values(group, spot))
        return rotation @ self.b.turn[b], shift + np.einsum("nij,nj->ni", rotation, self.b.move[b])

    def _asked(self, a: Index, b: Index, spot: Array) -> Iterator[tuple[float, Any]]:
        """Distance and result of each question to the collision library; the result is used again for the next."""
        import coal

        request, result, there, ask = coal.DistanceRequest(), coal.DistanceResult(), coal.Transform3s(), coal.distance
        request.gjk_tolerance = _SHARP
        turns, moves = self.placing(b, spot)
        asked = zip(self.a.shapes(a), self.a.places(a), self.b.shapes(b), turns, moves, strict=True)
        for still, here, moving, turn, move in asked:
            there.setRotation(turn)
            there.setTranslation(move)
            result.clear()  # a used result keeps its direction
            apart = ask(still, here, moving, there, request, result)
            if not apart > -_FAR:
                result.clear()
                apart = ask(still, here, moving, there, coal.DistanceRequest(), result)
            yield apart, result


def segments(solids: Solids) -> tuple[Array, Array, Array]:
    """Start (n, 3) and vector (n, 3) of a segment through each solid, and the radius (n,) that holds it all."""
    axis, middle = solids.axis, solids.inside
    off = solids.vertices - middle[:, None]
    along = np.einsum("nvi,ni->nv", off, axis)
    low, high = along.min(axis=-1), along.max(axis=-1)
    across = off - along[..., None] * axis[:, None]
    radius = np.sqrt(np.einsum("nvi,nvi->nv", across, across).max(axis=-1)) + solids.ball + solids.disc
    return middle + low[:, None] * axis, (high - low)[:, None] * axis, radius


def from_segments(start: Array, along: Array, points: Array) -> Array:
    """Distances (n, m) of points (m, 3) from segments (n, 3) + [0, 1] (n, 3)."""
    length = np.maximum(np.einsum("ni,ni->n", along, along), 1e-300)
    off = points - start[:, None]
    share = np.clip(np.einsum("nmi,ni->nm", off, along) / length[:, None], 0, 1)
    off -= share[..., None] * along[:, None]
    return np.asarray(np.sqrt(np.einsum("nmi,nmi->nm", off, off)))
