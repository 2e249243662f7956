"""A rail as convex pieces that circumscribe its outside, for distance queries.

Corners become facets tangent to the true rounding; a straight is one prism; a bend is cut into slices, each
the convex hull of the true slice. No piece leaves any of the true tube out, and no point of a piece lies
further than `sag` from it: a distance measured to the pieces is never above the true one and at most `sag`
below it (`sag` of either body, where both are pieces). The tube counts as filled. The two proofs are short:

* a corner of radius r cut into k facets stands out by r (1 / cos(pi / 4k) - 1);
* a slice of half-angle h holds, at either end, the section stretched away from the bend's centre by
  1 / cos h on its outer side: chords then touch the outer wall from outside and cut inside the inner wall, and
  stand out by at most (1 / cos h - 1) x (radius of the outer wall).
"""

from dataclasses import dataclass
from functools import lru_cache
from math import acos, ceil, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Stretch
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.tolerances import LENGTH

Triangles = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class ConvexPiece:
    """One convex polyhedron of a rail: the section drawn at its beginning and, point for point, at its end.

    Args:
        vertices: (2m, 3) corners, mm: m at the beginning, counter-clockwise seen from ahead (travel direction
            toward the eye), then m at the end in the same order.
        stretch: index into `Centreline.stretches`.
        begin: station where it begins, mm.
        end: station where it ends, mm.
    """

    vertices: Array
    stretch: int
    begin: float
    end: float

    @property
    def triangles(self) -> Triangles:
        """(4m - 4, 3) outside faces as vertex indices, counter-clockwise seen from outside."""
        return _triangles(len(self.vertices) // 2)

    def solid(self) -> Any:
        """The piece as a `coal.Convex` shape, in the axes of the centreline."""
        return convex(self.vertices)


def pieces(line: Centreline, section: Section, sag: float) -> tuple[ConvexPiece, ...]:
    """Convex pieces of a rail's outside, in order from the start; straights of no length have none.

    Args:
        line: centreline.
        section: tube section; height along u, width along s.
        sag: how far a piece may stand out from the true tube, mm, above 0.

    Raises:
        GeometryError: a sag that is not positive, or a bend whose centre lies inside the tube.
    """
    if not 0 < sag < float("inf"):
        raise GeometryError(f"sag {sag:g} is not a length: it must be above 0; 0.05 is fine, 0.5 is fast")
    found: list[ConvexPiece] = []
    for index, stretch in enumerate(line.stretches):
        if stretch.length <= LENGTH:
            continue
        if stretch.kind == "straight":
            vertices, cuts = _prism(stretch, outline(section, sag))[None], np.array([0.0, stretch.length])
        else:
            vertices, cuts = _slices(stretch, section, sag)
        ends = stretch.station + cuts
        found += [ConvexPiece(corners, index, float(ends[i]), float(ends[i + 1])) for i, corners in enumerate(vertices)]
    return tuple(found)


@lru_cache(maxsize=64)
def outline(section: Section, sag: float) -> Array:
    """(m, 2) corners (s, u) of a polygon around the section, counter-clockwise, at most `sag` outside it."""
    radius = section.corner
    facets = 1 if radius <= sag else max(2, ceil(pi / (4 * acos(radius / (radius + sag)))))
    step = pi / 2 / facets
    turn = step * (np.arange(facets) + 0.5)
    corner = radius / np.cos(step / 2) * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    middle = np.array([section.width, section.height]) / 2 - radius
    if facets == 1:
        corner = np.full((1, 2), radius)
    quarters = []
    for sign_s, sign_u in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        quarter = (middle + corner) * (sign_s, sign_u)
        quarters.append(quarter if sign_s * sign_u > 0 else quarter[::-1])
    polygon = np.concatenate(quarters)
    polygon.flags.writeable = False
    return polygon


def convex(vertices: Array) -> Any:
    """A `coal.Convex` from corners laid out as in `ConvexPiece.vertices`."""
    import coal

    points = coal.StdVec_Vec3s()
    points.extend(list(np.ascontiguousarray(vertices, dtype=float)))
    return coal.Convex(points, _coal_triangles(len(vertices) // 2))


def _prism(stretch: Stretch, polygon: Array) -> Array:
    """(2m, 3) corners of a straight."""
    across = polygon @ np.stack([stretch.start.s, stretch.start.u])
    return np.concatenate([stretch.start.at + across, stretch.start.at + stretch.length * stretch.start.t + across])


def _slices(stretch: Stretch, section: Section, sag: float) -> tuple[Array, Array]:
    """Slices of a bend.

    Returns:
        (n, 2m, 3) corners, and (n + 1,) cuts as lengths from the start of the bend, mm.

    Raises:
        GeometryError: a bend whose centre lies inside the tube.
    """
    inward, axis = stretch.inward, stretch.axis
    across = outline(section, sag / 2) @ np.stack([stretch.start.s, stretch.start.u])
    out, along = stretch.radius - across @ inward, across @ axis  # from the bend's axis, and parallel to it
    if out.min() <= LENGTH:
        raise GeometryError(
            f"bend {stretch.number}: radius {stretch.radius:g} puts the bend's centre inside the tube, "
            f"{out.min():.4g} from its inner wall; choose a radius above {stretch.radius - out.min():.4g}"
        )
    count = max(1, ceil(stretch.angle / 2 / acos(out.max() / (out.max() + sag / 2))))
    half = stretch.angle / count / 2
    out, along = _stretched(out, along, 1 / np.cos(half))
    turn = np.linspace(0.0, stretch.angle, count + 1)
    radial = np.cos(turn)[:, None] * inward - np.sin(turn)[:, None] * stretch.start.t
    rings = stretch.centre - out[:, None] * radial[:, None, :] + along[:, None] * axis
    return np.concatenate([rings[:-1], rings[1:]], axis=1), turn * stretch.radius


def _stretched(out: Array, along: Array, by: float) -> tuple[Array, Array]:
    """The polygon (out, along) joined with itself stretched outward: outer corners move, inner ones stay.

    A corner where the outer side meets the inner one without a flat between them becomes two.
    """
    edge_out, edge_along = np.roll(out, -1) - out, np.roll(along, -1) - along
    # `out` runs against `inward` and (inward, axis) is a right-handed turn from the travel direction, so the
    # polygon runs clockwise in (out, along) and its outward normal is (-edge_along, edge_out)
    facing = np.where(np.abs(edge_along) <= 1e-9 * np.hypot(edge_out, edge_along), 0.0, -edge_along)
    before, after = np.roll(facing, 1), facing
    new_out: list[float] = []
    new_along: list[float] = []
    for here, height, first, second in zip(out, along, before, after, strict=True):
        sides = [by if side > 0 else 1.0 for side in (first, second) if side != 0]
        for scale in sides[:1] if len(set(sides)) == 1 else sides:
            new_out.append(here * scale)
            new_along.append(height)
    return np.array(new_out), np.array(new_along)


@lru_cache(maxsize=64)
def _triangles(count: int) -> Triangles:
    here = np.arange(count)
    after = (here + 1) % count
    sides = np.concatenate(
        [np.stack([here, after, count + after], -1), np.stack([here, count + after, count + here], -1)]
    )
    fan = np.arange(1, count - 1)
    begin = np.stack([np.zeros_like(fan), fan + 1, fan], -1)
    end = np.stack([np.full_like(fan, count), count + fan, count + fan + 1], -1)
    triangles = np.concatenate([begin, end, sides])
    triangles.flags.writeable = False
    return triangles


@lru_cache(maxsize=64)
def _coal_triangles(count: int) -> Any:
    import coal

    triangles = coal.StdVec_Triangle()
    triangles.extend([coal.Triangle(int(a), int(b), int(c)) for a, b, c in _triangles(count)])
    return triangles
