"""Mesh keep-clear shapes: triangles used as surfaces, closed ones also as what they hold.

The triangles are put in an order in which neighbours stay together (Z-order curve: G. M. Morton, 1966) and bundled, so
that the search opens only the few bundles that come near a part.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from railmodel.errors import GeometryError
from railmodel.fitting.motion import Index, Vector
from railmodel.fitting.shapes import turned
from railmodel.fitting.solids import Solids, polyhedron
from railmodel.geometry.rows import Array

_BUNDLES = (2048, 256, 32)
"""Triangles in a bundle, from the outermost to the innermost."""


@dataclass(frozen=True, eq=False)
class MeshShape:
    """Triangles in vehicle axes.

    Args:
        triangles: (n, 3, 3) corners, mm.
        closed: whether they close off an inside; a part wholly within is then found to be inside.
        warnings: what is wrong with the file but can be borne, one sentence each.

    Raises:
        GeometryError: no triangle, or a corner that is not a finite number.
    """

    triangles: Array
    closed: bool = False
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.triangles.ndim != 3 or self.triangles.shape[1:] != (3, 3) or not len(self.triangles):
            raise GeometryError(f"a mesh needs triangles of shape (n, 3, 3); given {self.triangles.shape}")
        if not np.isfinite(self.triangles).all():
            raise GeometryError("mesh: a corner is not a finite number; export it again from a model that is whole")

    @cached_property
    def extent(self) -> tuple[Array, Array]:
        """The least and the greatest x, y, z, mm."""
        low, high = (_over_corners(one, self.triangles) for one in (np.minimum, np.maximum))
        return low.min(axis=0), high.max(axis=0)

    def placed(self, at: Vector = (0.0, 0.0, 0.0), turn: Vector = (0.0, 0.0, 0.0)) -> "MeshShape":
        """The mesh turned about its own origin (X, then Y, then Z, radians) with that origin brought to `at`."""
        return replace(self, triangles=self.triangles @ turned(turn).T + np.asarray(at, dtype=float))

    def mirrored(self) -> "MeshShape":
        """The other side's copy."""
        return replace(self, triangles=self.triangles * [1.0, -1.0, 1.0])

    def solids(self) -> Solids:
        """Bundles within bundles, each a box square to its triangles' mean normal, and last the triangles."""
        triangles = self.triangles[_z_order(_over_corners(np.add, self.triangles) / 3)]
        count, middle = len(triangles), _over_corners(np.add, triangles) / 3
        starts = [np.arange(0, count, size) for size in _BUNDLES]
        first = np.cumsum([0] + [len(start) for start in starts])  # where each level begins, the triangles last
        bundles = int(first[-1])
        vertices = np.empty((bundles + count, 8, 3))
        points, normal = triangles, np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        for level, inside in zip(reversed(range(len(starts))), (1, *reversed(_BUNDLES)), strict=False):
            points, normal = _boxes(points, normal, starts[level] // inside)
            vertices[first[level] : first[level + 1]] = points
        vertices[bundles:] = triangles[:, [0, 1, 2, 0, 0, 0, 0, 0]]
        children = np.zeros((bundles + count, 2), dtype=np.int64)
        for level, (start, size) in enumerate(zip(starts, (*_BUNDLES[1:], 1), strict=True)):
            ends = -(-np.append(start[1:], count) // size)
            here = slice(first[level], first[level + 1])
            children[here] = first[level + 1] + np.stack([start // size, ends], axis=-1)
        none = np.zeros(bundles + count)
        off = triangles - middle[:, None]
        reach = np.sqrt(_over_corners(np.maximum, np.einsum("nci,nci->nc", off, off)))
        return Solids(
            vertices=vertices,
            ball=none,
            disc=none,
            axis=np.broadcast_to([1.0, 0.0, 0.0], (bundles + count, 3)),
            inside=np.concatenate([middle[np.concatenate(starts)], middle]),
            centre=np.concatenate([(vertices[:bundles, 0] + vertices[:bundles, 7]) / 2, middle]),
            radius=np.concatenate([np.linalg.norm(vertices[:bundles, 7] - vertices[:bundles, 0], axis=-1) / 2, reach]),
            group=np.zeros(bundles + count, dtype=np.int64),
            children=children,
            slack=none,
            turn=np.broadcast_to(np.eye(3), (bundles + count, 3, 3)),
            move=np.broadcast_to(np.zeros(3), (bundles + count, 3)),
            make=lambda index: polyhedron(vertices[index, :3], ((0, 1, 2),)),
        )

    def holds(self, point: Array) -> bool:
        """Whether a closed mesh has a point (3,) inside: a ray from it crosses the surface an odd number of times."""
        if not self.closed:
            return False
        low, high = self.extent
        if np.any(point < low) or np.any(point > high):
            return False
        ray = np.array([0.5773, 0.3141, 0.7537])  # along no edge of anything people draw
        first, second = self.triangles[:, 1] - self.triangles[:, 0], self.triangles[:, 2] - self.triangles[:, 0]
        across = np.cross(ray, second)
        volume = np.einsum("ni,ni->n", first, across)
        off = point - self.triangles[:, 0]
        over = np.cross(off, first)
        with np.errstate(divide="ignore", invalid="ignore"):
            u = np.einsum("ni,ni->n", off, across) / volume
            v = over @ ray / volume
            ahead = np.einsum("ni,ni->n", second, over) / volume
            crossed = (u >= 0) & (v >= 0) & (u + v <= 1) & (ahead > 0)
        return bool(np.count_nonzero(crossed) % 2)


def _over_corners(combine: np.ufunc, values: Array) -> Array:
    """Values (n, 3, ...) of triangles combined over their corners; faster than reducing along so short an axis."""
    return np.asarray(combine(combine(values[:, 0], values[:, 1]), values[:, 2]))


def _boxes(points: Array, normal: Array, start: Index) -> tuple[Array, Array]:
    """Boxes (m, 8, 3) around bundles, which begin at `start` (m,), of triangles or boxes with their corners (n, k, 3).

    `normal` (n, 3) is the sum of the normals in each; the sums in the bundles (m, 3) are given back beside the boxes.
    """
    normal = np.add.reduceat(normal, start)
    size = np.linalg.norm(normal, axis=-1, keepdims=True)
    z = np.where(size > 0, normal / np.where(size > 0, size, 1), [0.0, 0.0, 1.0])
    x = np.cross(z, np.eye(3)[np.argmin(np.abs(z), axis=-1)])
    x /= np.linalg.norm(x, axis=-1, keepdims=True)
    axes = np.stack([x, np.cross(z, x), z], axis=1)  # rows
    own = points @ np.repeat(axes, np.diff(np.append(start, len(points))), axis=0).transpose(0, 2, 1)
    own, first = own.reshape(-1, 3), start * points.shape[1]
    low, high = np.minimum.reduceat(own, first), np.maximum.reduceat(own, first)
    corner = ((np.arange(8)[:, None] >> np.arange(3)) & 1).astype(bool)
    return np.where(corner, high[:, None], low[:, None]) @ axes, normal


def _z_order(points: Array) -> Index:
    """An order of points (n, 3) that keeps neighbours together."""
    low, size = points.min(axis=0), np.ptp(points, axis=0).max()
    cell = ((points - low) / max(size, 1e-9) * 1023).astype(np.int64)
    code = np.zeros(len(points), dtype=np.int64)
    for bit in range(10):
        for axis in range(3):
            code |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(code, kind="stable")
