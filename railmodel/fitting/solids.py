"""Convex solids as arrays: a core polyhedron, swollen by a ball, and by a disc square to an axis.

With these three every solid here is exact and small: a sphere is a point and a ball, a capsule a segment and a ball,
a cylinder a segment and a disc, a straight tube with rounded corners a box and a disc along it. The farthest point in
any direction, and with it the gap across any pair of parallel planes, then has a closed form, and such a gap is a
lower bound of the distance whatever found the direction (separating planes: Boyd and Vandenberghe, Convex
Optimization, section 2.5). The collision library only proposes directions; no answer rests on its tolerances.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.motion import Index
from railmodel.geometry.rows import Array

Frame = tuple[Any, Array, Array]
"""A shape of the collision library with the rotation (3, 3) and shift (3,) that bring it to where it is drawn."""


@dataclass(frozen=True, eq=False)
class Solids:
    """`n` convex solids, drawn in vehicle axes, mm.

    Args:
        vertices: (n, v, 3) core corners; solids with fewer repeat one.
        ball: (n,) radius of the ball.
        disc: (n,) radius of the disc.
        axis: (n, 3) unit axis the disc is square to.
        inside: (n, 3) a point that certainly belongs to the true solid.
        centre: (n, 3) middle of a ball that holds the solid.
        radius: (n,) radius of that ball.
        group: (n,) which body or shape it is part of, from 0.
        children: (n, 2) range of solids that replace it when it is only a bound around them; empty where it is real.
        slack: (n,) how far a bound stands out from what it holds, mm; 0 where real, or where nobody needs to know.
        turn: (n, 3, 3) rotation that brings the collision library's shape to where the solid is drawn.
        move: (n, 3) shift that does so after it.
        make: makes the collision library's shape of the i-th solid.
    """

    vertices: Array
    ball: Array
    disc: Array
    axis: Array
    inside: Array
    centre: Array
    radius: Array
    group: Index
    children: Index
    slack: Array
    turn: Array
    move: Array
    make: Callable[[int], Any]

    def __len__(self) -> int:
        return len(self.vertices)

    @cached_property
    def _made(self) -> list[Any]:
        return [None] * len(self)

    @cached_property
    def _places(self) -> list[Any]:
        return [None] * len(self)

    def shapes(self, which: Index) -> list[Any]:
        """The collision library's shapes of solids (n,), each made once."""
        made = self._made
        for index in np.unique(which).tolist():
            if made[index] is None:
                made[index] = self.make(index)
        return [made[i] for i in which.tolist()]

    def places(self, which: Index) -> list[Any]:
        """What brings those shapes to where the solids are drawn, as the collision library's placings."""
        import coal

        made = self._places
        for index in np.unique(which).tolist():
            if made[index] is None:
                turn, move = (np.ascontiguousarray(one[index]) for one in (self.turn, self.move))
                made[index] = coal.Transform3s(turn, move)
        return [made[i] for i in which.tolist()]

    def frame(self, index: int) -> Frame:
        """The collision library's shape of one solid with what brings it there."""
        return self.shapes(np.array([index]))[0], self.turn[index], self.move[index]

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """(n,) the solids that are only bounds around others."""
        return np.asarray(self.children[:, 1] > self.children[:, 0])

    @cached_property
    def roots(self) -> NDArray[np.bool_]:
        """(n,) the solids that are no other's children."""
        found = np.ones(len(self), dtype=bool)
        for start, stop in self.children[self.holds]:
            found[start:stop] = False
        return found

    def farthest(self, which: Index, direction: Array) -> Array:
        """How far solids reach along directions.

        Args:
            which: (n,) indices.
            direction: (n, 3), or (n, c, 3) for c directions each; unit length.

        Returns:
            The largest x . direction over each solid, (n,) or (n, c).
        """
        if direction.ndim == 2:
            return self.farthest(which, direction[:, None])[:, 0]
        reach = np.matmul(direction, self.vertices[which].transpose(0, 2, 1)).max(axis=-1)
        along = np.matmul(direction, self.axis[which][:, :, None])[..., 0]
        across = np.sqrt(np.maximum(1 - along * along, 0))
        return np.asarray(reach + self.ball[which, None] + self.disc[which, None] * across)


def solids_of(
    vertices: Array,
    make: Callable[[int], Any],
    *,
    ball: Array | float = 0.0,
    disc: Array | float = 0.0,
    axis: Array | None = None,
    placed: tuple[Array, Array] | None = None,
) -> Solids:
    """One group of real solids from their cores (n, v, 3); the middle of each core is its inside point.

    `placed` is the rotation and shift of the collision library's shape, where it is not made in place.
    """
    count = len(vertices)
    ball, disc = (np.full(count, one, dtype=float) for one in (ball, disc))
    turned, moved = (np.eye(3), np.zeros(3)) if placed is None else placed
    centre = (vertices.min(axis=1) + vertices.max(axis=1)) / 2
    off = vertices - centre[:, None]
    return Solids(
        vertices=vertices,
        ball=ball,
        disc=disc,
        axis=np.tile([1.0, 0.0, 0.0], (count, 1)) if axis is None else axis,
        inside=vertices.mean(axis=1),
        centre=centre,
        radius=np.sqrt(np.einsum("nvi,nvi->nv", off, off).max(axis=1)) + ball + disc,
        group=np.zeros(count, dtype=np.int64),
        children=np.zeros((count, 2), dtype=np.int64),
        slack=np.zeros(count),
        turn=np.full((count, 3, 3), turned),
        move=np.full((count, 3), moved),
        make=make,
    )


def joined(parts: Sequence[Solids]) -> Solids:
    """Several sets as one, each set its own group."""
    if len(parts) == 1:
        return parts[0]
    begin = np.cumsum([0] + [len(part) for part in parts])
    width = max(part.vertices.shape[1] for part in parts)
    owner = np.repeat(np.arange(len(parts)), np.diff(begin))

    def make(index: int) -> Any:
        part = int(owner[index])
        return parts[part].frame(index - int(begin[part]))[0]

    def column(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in parts])

    return Solids(
        vertices=np.concatenate([_widened(part.vertices, width) for part in parts]),
        ball=column("ball"),
        disc=column("disc"),
        axis=column("axis"),
        inside=column("inside"),
        centre=column("centre"),
        radius=column("radius"),
        group=owner,
        children=np.concatenate([part.children + begin[i] for i, part in enumerate(parts)]),
        slack=column("slack"),
        turn=column("turn"),
        move=column("move"),
        make=make,
    )


_SIGNS = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)], dtype=float)


def box_corners(centre: Array, axes: Array, half: Array) -> Array:
    """(8, 3) corners of a box with half sizes (3,) along the rows of `axes` (3, 3)."""
    return np.asarray(centre + (_SIGNS * half) @ axes)


def polyhedron(vertices: Array, triangles: Sequence[Sequence[int]] | Index, ball: float = 0.0) -> Any:
    """A convex polyhedron, swollen by a ball, as the collision library's shape."""
    import coal

    points, faces = coal.StdVec_Vec3s(), coal.StdVec_Triangle()
    points.extend(list(np.ascontiguousarray(vertices, dtype=float)))
    faces.extend([coal.Triangle(int(a), int(b), int(c)) for a, b, c in triangles])
    found = coal.Convex(points, faces)
    found.setSweptSphereRadius(ball)
    return found


def _widened(vertices: Array, width: int) -> Array:
    more = width - vertices.shape[1]
    return vertices if not more else np.concatenate([vertices, np.repeat(vertices[:, :1], more, axis=1)], axis=1)
